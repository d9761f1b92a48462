package recall

import (
	"fmt"
	"strings"
	"time"

	"heeltap/graph/recall/internal/words"
	"heeltap/graph/recall/scope"
	"heeltap/lots"
)

// Again says that a party is to be told again: what it received of the scope is not what stood in
// the version that it was told by.
type Again struct {
	Party   string
	Version int           // that it was told by
	Was     lots.Packages // what it received, by that version
	Now     lots.Packages // and by the scope as it stands
	Detail  string

	bulkWas, bulkNow []scope.InBulk
}

// Text says it in words.
func (a Again) Text() string {
	return fmt.Sprintf("it was told %s (version %d); now it is %s: %s", withBulk(a.Was, a.bulkWas), a.Version, withBulk(a.Now, a.bulkNow), a.Detail)
}

// withBulk counts packages, and names what came in bulk with its own measure.
func withBulk(p lots.Packages, bulk []scope.InBulk) string {
	var parts []string
	if !p.None() || len(bulk) == 0 {
		parts = append(parts, p.String())
	}
	for _, b := range bulk {
		parts = append(parts, lots.FigureOf(b.Quantity, b.Unit)+" "+b.Unit+" of "+b.From)
	}
	return strings.Join(parts, " and ")
}

// TellAgain tells whether a consignee that was told is to be told again. Versions that do not say
// what a consignee received tell nothing.
func (r *Recall) TellAgain(s *scope.Scope, party string) (Again, bool) {
	by := r.toldBy(party)
	if by == nil {
		return Again{}, false
	}
	was, known := scope.ConsigneeIn(by.Items, party)
	now, _ := scope.ConsigneeIn(s.Items(), party)
	if known && was.Received+was.Bulk == "" || was.Received == now.Received && was.Bulk == now.Bulk && was.Band == now.Band {
		return Again{}, false
	}
	a := Again{Party: party, Version: by.Version, Was: was.Sum(), Now: now.Sum(), Detail: moved(now, was), bulkWas: was.InBulk(), bulkNow: now.InBulk()}
	if known && was.Band != now.Band {
		a.Detail = words.Comma(a.Detail, fmt.Sprintf("`%s`, was `%s`", now.Band, was.Band))
	}
	return a, true
}

// Uncalled lists who was told and has nothing in scope any more, by the versions that they were
// told by: they are to be told so.
func (r *Recall) Uncalled(s *scope.Scope) map[string]int {
	out := map[string]int{}
	for party := range r.Contacts {
		by := r.toldBy(party)
		if by == nil {
			continue
		}
		_, had := scope.ConsigneeIn(by.Items, party)
		if _, has := scope.ConsigneeIn(s.Items(), party); had && !has {
			out[party] = by.Version
		}
	}
	return out
}

// toldBy is the version that a party was told by when it was told last: the last one frozen before
// that, or the first where none was; nil where it was never told, or nothing is frozen.
func (r *Recall) toldBy(party string) *scope.Version {
	var last *Logged
	for i := range r.Log {
		l := &r.Log[i]
		switch s := l.Step.(type) {
		case *Told:
			_, answer := lastStep(last).(*Answered)
			if s.Party == party && s.Reached && (last == nil || answer || !l.At.Before(last.At)) {
				last = l
			}
		case *Answered: // who answers has heard, by whomever
			if s.Party == party && last == nil {
				last = l
			}
		}
	}
	if last == nil {
		return nil
	}
	var by *scope.Version
	for i := range r.Versions {
		if v := &r.Versions[i]; by == nil || frozenBefore(v, last) {
			by = v
		}
	}
	return by
}

func lastStep(l *Logged) Step {
	if l == nil {
		return nil
	}
	return l.Step
}

// frozenBefore reports whether a version was frozen before a step was taken. Times are typed to the
// minute: within one, the journal's order counts.
func frozenBefore(v *scope.Version, l *Logged) bool {
	a, b := v.At.Truncate(time.Minute), l.At.Truncate(time.Minute)
	return a.Before(b) || a.Equal(b) && v.Entry < l.Entry
}

// changedFor is when a version first said otherwise of a consignee than the one it was told by;
// zero where none does.
func (r *Recall) changedFor(party string, told int) time.Time {
	var was scope.Item
	for _, v := range r.Versions {
		i, _ := scope.ConsigneeIn(v.Items, party)
		switch {
		case v.Version == told:
			was = i
		case v.Version > told && (i.Received != was.Received || i.Bulk != was.Bulk || i.Band != was.Band):
			return v.At
		}
	}
	return time.Time{}
}

// moved says what was received more or less of, also where it was nothing before.
func moved(now, old scope.Item) string {
	if old.Received == "" {
		old.Received = "0 of " // no unit
	}
	return scope.MoreReceived(now, old)
}
