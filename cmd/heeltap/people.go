package main

import (
	"cmp"
	"context"
	"errors"
	"io/fs"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"heeltap/cmd/internal/people"
	"heeltap/lots"
	"heeltap/lots/store"
)

func (e *env) peopleCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "people",
		Short: "Say who may sign in to the pages, and what each may do",
		Long: `Say who may sign in to the pages, and what each may do. Without a verb, everybody is listed.

Passwords are not in the database: they lie in a file beside it (heeltap.db has heeltap-people.db), which only the user
that heeltap runs as can read. Keep a backup of both. The command line asks for no password: whoever can
write these files can do anything with them.`,
		Example: `  heeltap people
  heeltap people add mika --name "Mika Aldous" --role floor
  heeltap people role mika quality
  heeltap people reset mika
  heeltap people off mika`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return e.readPeople(cmd.Context(), func(b *people.Book, zone *time.Location) error { return e.listPeople(cmd.Context(), b, zone) })
		},
	}
	cmd.Flags().BoolVar(&e.json, "json", false, "answer as JSON")
	cmd.AddCommand(e.peopleAddCommand(), e.peopleRoleCommand(), e.peopleRenameCommand(), e.peopleOffCommand(true), e.peopleOffCommand(false), e.peopleResetCommand(),
		e.peopleRolesCommand(), e.peopleHappenedCommand())
	return cmd
}

// siteZone reads the site's time zone, and with it makes sure that there is a database to sign in to.
func (e *env) siteZone(ctx context.Context) (*time.Location, error) {
	zone := time.UTC
	err := e.question(ctx, func(tx *store.Tx) error {
		zone = cmp.Or(tx.Site().Zone, zone)
		return nil
	})
	return zone, err
}

// changePeople runs f on the list of people, which it begins if there is none.
func (e *env) changePeople(ctx context.Context, f func(*people.Book, *time.Location) error) (err error) {
	zone, err := e.siteZone(ctx)
	if err != nil {
		return err
	}
	b, err := people.Open(ctx, people.PathFor(e.path()))
	if err != nil {
		return err
	}
	defer func() { err = cmp.Or(err, b.Close()) }()
	b.Now = e.now
	return f(b, zone)
}

// readPeople runs f on the list of people; where there is none it says so, and begins none.
func (e *env) readPeople(ctx context.Context, f func(*people.Book, *time.Location) error) error {
	if _, err := e.siteZone(ctx); err != nil {
		return err
	}
	if _, err := os.Lstat(people.PathFor(e.path())); errors.Is(err, fs.ErrNotExist) {
		return lots.Errorf(lots.NotFound, "nobody can sign in yet: add the first with heeltap people add LOGIN --name NAME --role admin")
	}
	return e.changePeople(ctx, f)
}

// personShown is a person as JSON.
type personShown struct {
	Login   string      `json:"login"`
	Name    string      `json:"name"`
	Role    people.Role `json:"role"`
	State   string      `json:"state"`
	PIN     bool        `json:"pin"`
	Created string      `json:"created"`
	LastIn  string      `json:"last_in"`
}

func stateOf(p people.Person) string {
	switch {
	case p.Off:
		return "off"
	case p.Invited:
		return "invited"
	}
	return "on"
}

// stamp writes a time of the list of people; empty where there is none.
func stamp(t time.Time, zone *time.Location) string {
	if t.IsZero() {
		return ""
	}
	return t.In(zone).Format(time.RFC3339)
}

func (e *env) listPeople(ctx context.Context, b *people.Book, zone *time.Location) error {
	all, err := b.People(ctx)
	if err != nil {
		return err
	}
	out := []personShown{}
	t := &table{head: []string{"login", "name", "role", "state", "PIN", "last signed in"}}
	for _, p := range all {
		s := personShown{p.Login, p.Name, p.Role, stateOf(p), p.HasPIN, stamp(p.Created, zone), stamp(p.LastIn, zone)}
		out = append(out, s)
		t.add(s.Login, s.Name, string(s.Role), s.State, yesDash(s.PIN), minute(s.LastIn))
	}
	if e.json {
		return e.writeJSON(out)
	}
	e.print(t)
	return nil
}

func yesDash(yes bool) string {
	if yes {
		return "yes"
	}
	return "-"
}

func (e *env) peopleRolesCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "roles",
		Short: "Show what each role may do",
		Example: `  heeltap people roles
  heeltap people roles --json`,
		Args: cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error { return e.showRoles() },
	}
	cmd.Flags().BoolVar(&e.json, "json", false, "answer as JSON")
	return cmd
}

// rightShown is one line of the table of rights as JSON.
type rightShown struct {
	Right string        `json:"right"`
	Words string        `json:"words"`
	Roles []people.Role `json:"roles"`
	PIN   bool          `json:"pin"`
}

func (e *env) showRoles() error {
	var out []rightShown
	t := &table{head: []string{"right"}}
	for _, r := range people.Roles() {
		t.head = append(t.head, string(r))
	}
	t.head = append(t.head, "by PIN", "allows to")
	for _, x := range people.Rights() {
		s := rightShown{Right: string(x), Words: x.Words(), PIN: x.ByPIN()}
		row := []string{s.Right}
		for _, r := range people.Roles() {
			row = append(row, mayText(r, x))
			if r.May(x) {
				s.Roles = append(s.Roles, r)
			}
		}
		out = append(out, s)
		byPIN := yesDash(s.PIN)
		if x == people.Correct {
			byPIN = "own"
		}
		t.add(append(row, byPIN, s.Words)...)
	}
	if e.json {
		return e.writeJSON(out)
	}
	e.print(t)
	e.printf("\n")
	for _, r := range people.Roles() {
		e.printf("  %-8s %s\n", r, r.Words())
	}
	e.printf("\nBy PIN, on a shared tablet, a person has only the rights marked for it, and corrects their own entries only.\n")
	return nil
}

// mayText is one cell of the table of rights.
func mayText(r people.Role, x people.Right) string {
	if x == people.Correct && r.May(x) && r.OwnOnly() {
		return "own"
	}
	return yesDash(r.May(x))
}

func (e *env) peopleHappenedCommand() *cobra.Command {
	var most int
	cmd := &cobra.Command{
		Use:     "happened",
		Short:   "Show who signed in, what failed, and who changed what, the latest first",
		Example: `  heeltap people happened --most 20`,
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return e.readPeople(cmd.Context(), func(b *people.Book, zone *time.Location) error {
				return e.showHappened(cmd.Context(), b, zone, most)
			})
		},
	}
	cmd.Flags().BoolVar(&e.json, "json", false, "answer as JSON")
	cmd.Flags().IntVar(&most, "most", 50, "how many lines at most")
	return cmd
}

// happeningShown is one thing that happened as JSON.
type happeningShown struct {
	Seq  int64  `json:"seq"`
	At   string `json:"at"`
	What string `json:"what"`
	Who  string `json:"who"`
	By   string `json:"by"`
	From string `json:"from"`
	Note string `json:"note"`
}

func (e *env) showHappened(ctx context.Context, b *people.Book, zone *time.Location, most int) error {
	all, err := b.Happened(ctx, most)
	if err != nil {
		return err
	}
	out := []happeningShown{}
	t := &table{head: []string{"at", "what", "who", "by", "from", "note"}}
	for _, h := range all {
		s := happeningShown{h.Seq, stamp(h.At, zone), h.What, h.Who, h.By, h.From, h.Note}
		out = append(out, s)
		t.add(minute(s.At), s.What, orDash(s.Who), orDash(s.By), orDash(s.From), s.Note)
	}
	if e.json {
		return e.writeJSON(out)
	}
	e.print(t)
	return nil
}

// rolesText lists the roles, for help and errors.
func rolesText() string {
	var out []string
	for _, r := range people.Roles() {
		out = append(out, string(r))
	}
	return strings.Join(out, ", ")
}

// roleNamed reads a role.
func roleNamed(text string) (people.Role, error) {
	r := people.Role(strings.ToLower(strings.TrimSpace(text)))
	if r == "" {
		return "", lots.Errorf(lots.Invalid, "say what they may do: --role with one of %s (heeltap people roles shows what that is)", rolesText())
	}
	if !slices.Contains(people.Roles(), r) {
		return "", lots.Errorf(lots.Invalid, "there is no role %q: choose one of %s (heeltap people roles shows what they may do)", text, rolesText())
	}
	return r, nil
}
