package people

import (
	"context"
	"database/sql"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"

	"heeltap/lots"
)

// Person is somebody who may sign in.
type Person struct {
	ID              int64
	Name, Login     string
	Role            Role
	HasPIN, Off     bool
	Invited         bool // has not set a password yet
	Created, LastIn time.Time

	means means
}

// means is how a person came to act, where that changes what they may do.
type means string

const (
	console means = "console" // at the machine itself, where whoever can read the file can do anything
	pin     means = "pin"
)

// Console is whoever works at the machine itself, on the command line, under the name they give there; they need not be in the list.
func Console(who string) Person {
	who = strings.TrimSpace(who + " (command line)")
	return Person{Name: who, Login: who, means: console}
}

const personColumns = "id, name, login, role, pin <> '', off, password = '', created, last_in"

func scanPerson(scan func(...any) error, more ...any) (p Person, err error) {
	var created, lastIn int64
	err = scan(append([]any{&p.ID, &p.Name, &p.Login, &p.Role, &p.HasPIN, &p.Off, &p.Invited, &created, &lastIn}, more...)...)
	p.Created, p.LastIn = at(created), at(lastIn)
	return p, err
}

// person reads one person.
func (t *tx) person(id int64) (Person, error) {
	p, err := scanPerson(t.row("SELECT "+personColumns+" FROM person WHERE id = ?", id).Scan)
	if none(err) {
		return p, noPerson(id)
	}
	return p, err
}

// People lists everybody, by name.
func (b *Book) People(ctx context.Context) (out []Person, err error) {
	err = b.view(ctx, func(t *tx) error {
		return t.each(func(rows *sql.Rows) error {
			p, err := scanPerson(rows.Scan)
			out = append(out, p)
			return err
		}, "SELECT "+personColumns+" FROM person ORDER BY off, name, id")
	})
	return out, err
}

// ByLogin finds a person by login.
func (b *Book) ByLogin(ctx context.Context, login string) (p Person, err error) {
	err = b.view(ctx, func(t *tx) error {
		p, err = scanPerson(t.row("SELECT "+personColumns+" FROM person WHERE login = ?", fold(login)).Scan)
		if none(err) {
			return lots.Errorf(lots.NotFound, "nobody has the login %s: heeltap people lists them", fold(login))
		}
		return err
	})
	return p, err
}

// Names lists the names that somebody has or had: the journal's entries in these names are theirs.
func (b *Book) Names(ctx context.Context, id int64) (out []string, err error) {
	err = b.view(ctx, func(t *tx) error {
		return t.each(func(rows *sql.Rows) error {
			out = append(out, "")
			return rows.Scan(&out[len(out)-1])
		}, "SELECT name FROM called WHERE person = ? ORDER BY name", id)
	})
	return out, err
}

// Empty reports whether nobody can sign in who may manage people: the set-up link is then due.
func (b *Book) Empty(ctx context.Context) (empty bool, err error) {
	err = b.view(ctx, func(t *tx) error {
		n, err := t.managers(0)
		empty = n == 0
		return err
	})
	return empty, err
}

// managers counts who can sign in and manage people, but for one.
func (t *tx) managers(but int64) (n int, err error) {
	err = t.each(func(rows *sql.Rows) error {
		p, err := scanPerson(rows.Scan)
		if p.Role.May(Manage) {
			n++
		}
		return err
	}, "SELECT "+personColumns+" FROM person WHERE off = 0 AND password <> '' AND id <> ?", but)
	return n, err
}

// add adds a person without a password.
func (t *tx) add(name, login string, role Role) (Person, error) {
	login = fold(login)
	if role.row().role == "" {
		return Person{}, lots.Errorf(lots.Invalid, "there is no role %q: choose one of %s", role, listed(Roles()))
	}
	if err := checkLogin(login); err != nil {
		return Person{}, err
	}
	var taken int
	if err := t.row("SELECT count(*) FROM person WHERE login = ?", login).Scan(&taken); err != nil {
		return Person{}, err
	} else if taken > 0 {
		return Person{}, lots.Errorf(lots.Conflict, "the login %s is taken: choose another", login)
	}
	var id int64
	if err := t.row("INSERT INTO person (login, name, role, created) VALUES (?, '', ?, ?) RETURNING id", login, role, t.now.UnixMilli()).Scan(&id); err != nil {
		return Person{}, err
	}
	if err := t.call(id, name); err != nil {
		return Person{}, err
	}
	return t.person(id)
}

// call gives a person a name that nobody else has or had.
func (t *tx) call(id int64, name string) error {
	name, err := checkName(name)
	if err != nil {
		return err
	}
	var other int
	if err := t.row("SELECT count(*) FROM called WHERE key = ? AND person <> ?", fold(name), id).Scan(&other); err != nil {
		return err
	} else if other > 0 {
		return lots.Errorf(lots.Conflict, "somebody else is or was called %s, and the journal names people by name: add something to tell them apart", name)
	}
	if err := t.exec("INSERT INTO called (key, name, person) VALUES (?, ?, ?) ON CONFLICT (key) DO UPDATE SET name = excluded.name", fold(name), name, id); err != nil {
		return err
	}
	return t.exec("UPDATE person SET name = ? WHERE id = ?", name, id)
}

func checkLogin(login string) error {
	bad := strings.ContainsFunc(login, func(r rune) bool {
		return !unicode.IsLetter(r) && !unicode.IsDigit(r) && !strings.ContainsRune("._-@+", r)
	})
	if n := utf8.RuneCountInString(login); bad || n < 2 || n > 64 {
		return lots.Errorf(lots.Invalid, "a login has 2 to 64 letters, digits and . _ - @ +, with no spaces")
	}
	return nil
}

func checkName(name string) (string, error) {
	name = strings.Join(strings.Fields(norm.NFC.String(name)), " ")
	bad := strings.ContainsFunc(name, func(r rune) bool { return !unicode.IsPrint(r) })
	if n := utf8.RuneCountInString(name); bad || n < 1 || n > 80 {
		return "", lots.Errorf(lots.Invalid, "a name has 1 to 80 characters: the journal names people by it")
	}
	return name, nil
}

// listed writes words one after the other.
func listed[T ~string](all []T) string {
	out := make([]string, len(all))
	for i, x := range all {
		out[i] = string(x)
	}
	return strings.Join(out, ", ")
}
