package recall

import (
	"encoding/csv"
	"errors"
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
	State    string  `json:"state"` // to tell, tried, told, answered, settled
	Tries    int     `json:"tries"`
	Notified string  `json:"notified"` // when it was first reached; empty where it was not
	How      string  `json:"how"`
	Answered string  `json:"answered"`
	Left     float64 `json:"unexplained"` // cases and kegs of it that are not explained
	Due      string  `json:"due"`         // when to remind it; empty where nothing waits
	Overdue  bool    `json:"overdue"`
	Accounts int     `json:"accounts"` // on its own list
	NeedList bool    `json:"needs_list"`
}

// The setting that says after how many minutes a party is tried or reminded again, and its default.
const (
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
				x.Left += rec.Unexplained
				open = open || rec.Unexplained != 0 || rec.OnHand > 0
			}
		}
		x.fill(tx, r, c, open, remind)
		out = append(out, x)
	}
	slices.SortStableFunc(out, func(a, b Standing) int { return order(a.State) - order(b.State) })
	return out, tx.Err()
}

func order(state string) int {
	return slices.Index([]string{"to tell", "tried", "told", "answered", "settled"}, state)
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
		x.State, x.Notified = "told", lots.RFC3339(contact.Notified.Unix(), zone)
	}
	if contact.Answer != nil {
		x.State, x.Answered = "answered", lots.RFC3339(contact.Answered.Unix(), zone)
		if !open && !x.NeedList {
			x.State = "settled"
		}
	}
	if x.State == "settled" || !r.Open {
		return
	}
	due := last.Add(remind)
	if x.State == "to tell" {
		due = r.OpenedAt
	}
	x.Due, x.Overdue = lots.RFC3339(due.Unix(), zone), !due.After(r.Now)
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
		if err != nil || n < 0 || n > 1e9 {
			return a, &lots.Fault{Column: "quantity", Reason: strconv.Quote(q) + " is no quantity"}
		}
		a.Quantity = n
	}
	return a, nil
}

// Answerable refuses an answer with quantities that can not be, before it is logged.
func (r *Recall) Answerable(tx *store.Tx, a *Answered) error {
	s, err := r.Scope(tx)
	if err != nil {
		return err
	}
	list, err := s.Consignees(tx)
	if err != nil {
		return err
	}
	if !slices.ContainsFunc(list, func(c Consignee) bool { return c.Party == a.Party }) {
		var names []string
		for _, c := range list {
			names = append(names, c.Party)
		}
		return lots.Errorf(lots.NotFound, "%s received nothing in scope by the records; who did: %s", a.Party, strings.Join(names, ", "))
	}
	for _, l := range a.Lines {
		for _, q := range []float64{l.OnHand, l.Sold, l.PassedOn, l.Returned, l.Destroyed} {
			if q < 0 || q > 1e9 {
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
