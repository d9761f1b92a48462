package recall

import (
	"slices"
	"strings"
	"time"

	"heeltap/graph/recall/deliveries"
	"heeltap/graph/recall/scope"
	"heeltap/lots"
	"heeltap/lots/store"
)

// Standing is where one party stands.
type Standing struct {
	Party    string        `json:"party"`
	Name     string        `json:"name"`
	State    string        `json:"state"` // to tell, tell again, tried, told, answered, settled
	Tries    int           `json:"tries"`
	Notified string        `json:"notified"` // when it was first reached; empty where it was not
	How      string        `json:"how"`
	Answered string        `json:"answered"`
	Left     lots.Packages `json:"unexplained"` // what of it is not explained; below zero: more than it received
	OnHand   lots.Packages `json:"on_hand"`     // there still, by its answer
	OnTheWay lots.Packages `json:"on_the_way"`  // it says it sent them back, and they have not arrived
	Bulk     []string      `json:"in_bulk"`     // what of it is not explained, still there or on the way, in words
	Due      string        `json:"due"`         // when to remind it; empty where nothing waits
	Overdue  bool          `json:"overdue"`
	Accounts int           `json:"accounts"` // on its own list
	NeedList bool          `json:"needs_list"`
	// Again says why it is to be told again; empty where what it was told still stands. It was told of
	// so many cases and kegs, by that version, and the scope as it stands has so many with it.
	Again    string        `json:"tell_again"`
	ToldBy   int           `json:"told_version"`
	ToldOf   lots.Packages `json:"told_of"`
	Received lots.Packages `json:"received"`
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
func (r *Recall) Standings(tx *store.Tx, s *scope.Scope) ([]Standing, error) {
	consignees, err := deliveries.Consignees(tx, s)
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
		x := Standing{Party: c.Party, Name: c.Name, State: "to tell", Bulk: []string{}}
		open := false
		for _, rec := range a.Consignees {
			if rec.Party == c.Party {
				x.Left.Add(rec.Kegs, rec.Unexplained)
				x.OnHand.Add(rec.Kegs, rec.OnHand)
				x.OnTheWay.Add(rec.Kegs, rec.OnTheWay)
				open = open || rec.Unexplained != 0 || rec.OnHand > 0 || rec.OnTheWay > 0
			}
		}
		for _, rec := range a.Bulk {
			if rec.Party == c.Party && rec.Open() {
				x.Bulk, open = append(x.Bulk, rec.BulkText()), true
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
func (x *Standing) fill(tx *store.Tx, r *Recall, c deliveries.Consignee, open bool, remind time.Duration) {
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
	add := func(p lots.Packages, text string) {
		if !p.None() {
			parts = append(parts, p.String()+" "+text)
		}
	}
	missing := lots.Packages{Cases: max(0, x.Left.Cases), Kegs: max(0, x.Left.Kegs)}
	more := lots.Packages{Cases: max(0, -x.Left.Cases), Kegs: max(0, -x.Left.Kegs)}
	if x.Again != "" {
		parts = append(parts, x.Again)
	}
	add(x.OnHand, "still on hand there, neither sent back nor destroyed")
	add(x.OnTheWay, "said to be sent back and not arrived")
	add(missing, "not explained")
	add(more, "more than it received: ask again")
	for _, text := range x.Bulk {
		parts = append(parts, "in bulk "+text)
	}
	if x.NeedList {
		parts = append(parts, "its own list is missing")
	}
	return strings.Join(parts, ", ")
}

// PassedOn compares what a party says it passed on with the sum of its own list; ok is false
// where it says nothing, or its list has no quantities.
func (c *Contact) PassedOn() (says, listed lots.Packages, ok bool) {
	if c == nil || c.Answer == nil {
		return says, listed, false
	}
	for _, l := range c.Answer.Lines {
		if l.Unit == "" { // its list counts cases and kegs
			says.Add(l.Kegs, l.PassedOn)
		}
	}
	for _, a := range c.Accounts {
		listed.Add(a.OfKegs(), a.Quantity)
	}
	return says, listed, !listed.None()
}
