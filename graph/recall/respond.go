package recall

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"heeltap/lots"
	"heeltap/lots/store"
)

// Standing is where one party stands.
type Standing struct {
	Party    string  `json:"party"`
	Name     string  `json:"name"`
	State    string  `json:"state"` // to tell, tell again, tried, told, answered, settled
	Tries    int     `json:"tries"`
	Notified string  `json:"notified"` // when it was first reached; empty where it was not
	How      string  `json:"how"`
	Answered string  `json:"answered"`
	Left     float64 `json:"unexplained"` // cases and kegs of it that are not explained
	OnHand   float64 `json:"on_hand"`     // there still, by its answer
	OnTheWay float64 `json:"on_the_way"`  // it says it sent them back, and they have not arrived
	Due      string  `json:"due"`         // when to remind it; empty where nothing waits
	Overdue  bool    `json:"overdue"`
	Accounts int     `json:"accounts"` // on its own list
	NeedList bool    `json:"needs_list"`
	// Again says why it is to be told again; empty where what it was told still stands. It was told of
	// so many cases and kegs, by that version, and the scope as it stands has so many with it.
	Again    string `json:"tell_again"`
	ToldBy   int    `json:"told_version"`
	ToldOf   int64  `json:"told_of"`
	Received int64  `json:"received"`
}

// The settings that say after how many minutes a party should have been told, and when it is
// tried or reminded again, and their defaults.
const (
	SettingTell     = "tell.minutes"
	tellOtherwise   = 60
	SettingRemind   = "remind.minutes"
	remindOtherwise = 4 * 60
)

// Standings tells where every consignee in scope stands, those that wait first.
func (r *Recall) Standings(tx *store.Tx, s *Scope) ([]Standing, error) {
	consignees, err := s.Consignees(tx)
	if err != nil {
		return nil, err
	}
	a, err := r.Reconcile(tx, s)
	if err != nil {
		return nil, err
	}
	remind := time.Duration(settingOr(tx, SettingRemind, remindOtherwise)) * time.Minute
	out := []Standing{}
	for _, c := range consignees {
		x := Standing{Party: c.Party, Name: c.Name, State: "to tell"}
		open := false
		for _, rec := range a.Consignees {
			if rec.Party == c.Party {
				x.Left, x.OnHand, x.OnTheWay = x.Left+rec.Unexplained, x.OnHand+rec.OnHand, x.OnTheWay+rec.OnTheWay
				open = open || rec.Unexplained != 0 || rec.OnHand > 0 || rec.OnTheWay > 0
			}
		}
		if again, ok := r.TellAgain(s, c.Party); ok {
			x.Again, x.ToldBy, x.ToldOf, x.Received = again.Text(), again.Version, again.Was, again.Now
		}
		x.fill(tx, r, c, open, remind)
		out = append(out, x)
	}
	slices.SortStableFunc(out, func(a, b Standing) int { return order(a.State) - order(b.State) })
	return out, tx.Err()
}

func order(state string) int {
	return slices.Index([]string{"to tell", "tell again", "tried", "told", "answered", "settled"}, state)
}

// fill tells what passed between us and the party, and what is due.
func (x *Standing) fill(tx *store.Tx, r *Recall, c Consignee, open bool, remind time.Duration) {
	contact := r.Contacts[c.Party]
	if contact == nil {
		contact = &Contact{}
	}
	zone := tx.Site().Zone
	x.Tries, x.Accounts = len(contact.Tries), len(contact.Accounts)
	x.NeedList = c.Further && x.Accounts == 0
	last := r.OpenedAt
	if n := len(contact.Tries); n > 0 {
		x.State, last, x.How = "tried", contact.Tries[n-1].At, contact.Tries[n-1].How
	}
	if !contact.Notified.IsZero() {
		x.State, x.Notified, x.How = "told", lots.RFC3339(contact.Notified.Unix(), zone), contact.How
	}
	if contact.Answer != nil {
		x.State, x.Answered = "answered", lots.RFC3339(contact.Answered.Unix(), zone)
		if !open && !x.NeedList {
			x.State = "settled"
		}
	}
	if x.Again != "" {
		x.State = "tell again"
	}
	if x.State == "settled" || !r.Open {
		return
	}
	due, atOnce := last.Add(remind), time.Duration(settingOr(tx, SettingTell, tellOtherwise))*time.Minute
	switch changed := r.changedFor(c.Party, x.ToldBy); {
	case x.State == "to tell": // at once: overdue where it takes longer than the site allows
		due = r.OpenedAt.Add(atOnce)
	case x.Again != "" && !changed.IsZero():
		due = changed.Add(atOnce)
	}
	x.Due, x.Overdue = lots.RFC3339(due.Unix(), zone), !due.After(r.Now)
}

// Wants says in words why a party is not settled.
func (x Standing) Wants() string {
	var parts []string
	add := func(n float64, text string) {
		if n != 0 {
			parts = append(parts, strconv.FormatFloat(n, 'f', -1, 64)+" "+text)
		}
	}
	if x.Again != "" {
		parts = append(parts, x.Again)
	}
	add(x.OnHand, "still on hand there, neither sent back nor destroyed")
	add(x.OnTheWay, "said to be sent back and not arrived")
	add(max(0, x.Left), "not explained")
	add(max(0, -x.Left), "more than it received: ask again")
	if x.NeedList {
		parts = append(parts, "its own list is missing")
	}
	return strings.Join(parts, ", ")
}

// accountColumns are what a consignee's list of its own customers may have; name must be there.
var accountColumns = []string{"name", "contact", "phone", "email", "address", "product", "date_code", "quantity", "unit"}

// mostListBytes is more than any list of customers takes.
const mostListBytes = 16 << 20

// ReadAccounts reads a consignee's list of whom it supplied: a CSV file with a heading, of
// columns name, contact, phone, email, address, product, date_code, quantity, unit (case or
// keg), in any order; only name is needed. All faults come at once, with their lines.
func ReadAccounts(in io.Reader) ([]SubAccount, error) {
	rows := csv.NewReader(io.LimitReader(in, mostListBytes))
	rows.FieldsPerRecord = -1
	rows.TrimLeadingSpace = true
	head, err := rows.Read()
	if errors.Is(err, io.EOF) {
		return nil, lots.Errorf(lots.Invalid, "the list is empty: its first line names the columns %s", strings.Join(accountColumns, ", "))
	}
	if err != nil {
		return nil, lots.Errorf(lots.Invalid, "the list can not be read: %w", err)
	}
	var faults lots.Faults
	at := map[string]int{}
	for i, h := range head {
		h = strings.ToLower(strings.TrimSpace(strings.TrimPrefix(h, "\ufeff")))
		if !slices.Contains(accountColumns, h) {
			faults = append(faults, lots.Fault{Line: 1, Column: h, Reason: "is no column of such a list: it has " + strings.Join(accountColumns, ", ")})
		}
		at[h] = i
	}
	if _, ok := at["name"]; !ok {
		faults = append(faults, lots.Fault{Line: 1, Column: "name", Reason: "is missing"})
	}
	var out []SubAccount
	for len(faults) == 0 {
		row, err := rows.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, lots.Errorf(lots.Invalid, "the list can not be read: %w", err)
		}
		line, _ := rows.FieldPos(0)
		a, fault := readAccount(row, at)
		if fault != nil {
			fault.Line = line
			faults = append(faults, *fault)
			out = nil
			continue
		}
		out = append(out, a)
	}
	if len(faults) > 0 {
		return nil, faults
	}
	if len(out) == 0 {
		return nil, lots.Errorf(lots.Invalid, "the list names nobody")
	}
	return out, nil
}

func readAccount(row []string, at map[string]int) (SubAccount, *lots.Fault) {
	cell := func(name string) string {
		if i, ok := at[name]; ok && i < len(row) {
			return strings.TrimSpace(row[i])
		}
		return ""
	}
	a := SubAccount{Name: cell("name"), Contact: cell("contact"), Phone: cell("phone"), Email: cell("email"), Address: cell("address"),
		Product: cell("product"), DateCode: cell("date_code"), Unit: cell("unit")}
	if a.Name == "" {
		return a, &lots.Fault{Column: "name", Reason: "is missing"}
	}
	if a.Unit != "" && a.Unit != "case" && a.Unit != "keg" {
		return a, &lots.Fault{Column: "unit", Reason: strconv.Quote(a.Unit) + " is not case or keg"}
	}
	if q := cell("quantity"); q != "" {
		n, err := strconv.ParseFloat(q, 64)
		if err != nil || !quantityOK(n) {
			return a, &lots.Fault{Column: "quantity", Reason: strconv.Quote(q) + " is no quantity"}
		}
		a.Quantity = n
	}
	return a, nil
}

// mostQuantity is more cases or kegs than any party has.
const mostQuantity = 1e9

// quantityOK reports whether a number can be a quantity of cases or kegs.
func quantityOK(q float64) bool { return q >= 0 && q <= mostQuantity } // no comparison holds of what is no number

// receivedBy refuses a party that received nothing in scope.
func (r *Recall) receivedBy(tx *store.Tx, party string) (Consignee, error) {
	s, err := r.Scope(tx)
	if err != nil {
		return Consignee{}, err
	}
	list, err := s.Consignees(tx)
	if err != nil {
		return Consignee{}, err
	}
	var names []string
	for _, c := range list {
		if c.Party == party {
			return c, nil
		}
		names = append(names, c.Party)
	}
	who := "; who did: " + strings.Join(names, ", ")
	if len(names) == 0 {
		who = "; nobody did"
	}
	for _, x := range s.LeftOut {
		if x.Consignee == party {
			who = fmt.Sprintf("; its %d of %s left before anything affected stood on it (%s)%s", x.Quantity, x.Unit, x.ToppedUp, who)
			break
		}
	}
	return Consignee{}, lots.Errorf(lots.NotFound, "%s received nothing in scope by the records%s", party, who)
}

// Checkable refuses a check that can not be, before it is logged.
func (r *Recall) Checkable(tx *store.Tx, c *Checked) error {
	if !quantityOK(c.OnSale) {
		return lots.Errorf(lots.Invalid, "%g is no quantity of cases or kegs", c.OnSale)
	}
	_, err := r.receivedBy(tx, c.Party)
	return err
}

// GaveList prepares a party's list of whom it supplied. Rows that it gave before are refused, so
// that a list read twice does not count twice; replace puts it in place of what it gave before.
func (r *Recall) GaveList(party string, accounts []SubAccount, replace bool) (*PassedOn, error) {
	if c := r.Contacts[party]; c != nil && !replace {
		had := slices.DeleteFunc(slices.Clone(accounts), func(a SubAccount) bool { return !slices.Contains(c.Accounts, a) })
		if len(had) > 0 {
			return nil, lots.Errorf(lots.Conflict, "%d of the %s are recorded already, the first is %s: leave them out, or put this list in place of the one before with --replace", len(had), plural(len(accounts), "row"), had[0].Name)
		}
	}
	return &PassedOn{Party: party, Accounts: accounts, Replace: replace}, nil
}

// PassedOn compares what a party says it passed on with the sum of its own list; ok is false
// where it says nothing, or its list has no quantities.
func (c *Contact) PassedOn() (says, listed float64, ok bool) {
	if c == nil || c.Answer == nil {
		return 0, 0, false
	}
	for _, l := range c.Answer.Lines {
		says += l.PassedOn
	}
	for _, a := range c.Accounts {
		listed += a.Quantity
	}
	return says, listed, listed > 0
}

// Answerable refuses an answer with quantities that can not be, before it is logged, and tells of
// what is odd about it.
func (r *Recall) Answerable(tx *store.Tx, a *Answered) ([]string, error) {
	c, err := r.receivedBy(tx, a.Party)
	if err != nil {
		return nil, err
	}
	if err := possible(a); err != nil {
		return nil, err
	}
	var odd []string
	for _, kegs := range []bool{false, true} {
		moved, sum, word := c.moved(kegs), 0.0, "cases"
		if kegs {
			word = "kegs"
		}
		for _, l := range a.Lines {
			if l.Kegs == kegs {
				sum += l.OnHand + l.Sold + l.PassedOn
			}
		}
		if most := moved.Shipped + moved.MayBe; sum > most {
			odd = append(odd, fmt.Sprintf("%s accounts for %g %s and received %g at most: ask again, or a delivery is not entered", a.Party, sum, word, most))
		}
	}
	return odd, nil
}

// possible refuses quantities that can not be.
func possible(a *Answered) error {
	for _, l := range a.Lines {
		for _, q := range []float64{l.OnHand, l.Sold, l.PassedOn, l.Returned, l.Destroyed} {
			if !quantityOK(q) {
				return lots.Errorf(lots.Invalid, "%g is no quantity of cases or kegs", q)
			}
		}
		if l.Returned+l.Destroyed > l.OnHand {
			return lots.Errorf(lots.Invalid, "%g sent back and %g destroyed are more than the %g that were on hand: on hand is what it had when the notice came", l.Returned, l.Destroyed, l.OnHand)
		}
	}
	return nil
}

// DrawSample prepares the draw of whom to check, among the consignees in scope.
func (r *Recall) DrawSample(tx *store.Tx, level string, percent float64, seed string) (*Sampled, error) {
	s, err := r.Scope(tx)
	if err != nil {
		return nil, err
	}
	list, err := s.Consignees(tx)
	if err != nil {
		return nil, err
	}
	var parties []string
	for _, c := range list {
		parties = append(parties, c.Party)
	}
	level = strings.ToUpper(strings.TrimSpace(level))
	n, percent, err := SampleSize(level, percent, len(parties))
	if err != nil {
		return nil, err
	}
	if seed == "" {
		seed = r.Code
	}
	return &Sampled{Level: level, Percent: percent, Seed: seed, Of: len(parties), Parties: Draw(parties, n, seed)}, nil
}
