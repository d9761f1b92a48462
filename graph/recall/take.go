package recall

import (
	"cmp"
	"fmt"
	"strings"
	"time"

	"heeltap/graph"
	"heeltap/graph/recall/draw"
	"heeltap/graph/recall/scope"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/store"
)

// At says when a step was done; zero means now.
type At = time.Time

// ParseAt reads when a step was done, as somebody typed it, in the site's time; zero where nothing was typed.
func ParseAt(tx *store.Tx, text string) (At, error) {
	if text == "" {
		return At{}, nil
	}
	w, _, err := lots.ParseWhen(text, tx.Site().Zone)
	if err != nil {
		return At{}, err
	}
	return time.Unix(w.From, 0), nil
}

// Begin opens a recall or mock recall and gives its state. Suspects must be known and
// lead somewhere; its clock starts at the time given.
func Begin(tx *store.Tx, o Opened, at At, by string) (*Recall, error) {
	if o.Seed != "" {
		return nil, lots.Errorf(lots.Invalid, "--seed only goes with --surprise, where it picks the suspect")
	}
	return begin(tx, o, at, by)
}

// BeginSurprise opens a mock recall on a lot that is picked at random, with a seed that is kept: the one
// given, else the time. The hazard and the reason are those of the pick, where none are given.
func BeginSurprise(tx *store.Tx, o Opened, at At, by string) (*Recall, error) {
	if len(o.Suspects) > 0 {
		return nil, lots.Errorf(lots.Invalid, "--surprise picks the suspect itself: give none")
	}
	seen, err := exercised(tx)
	if err != nil {
		return nil, err
	}
	o.Seed = cmp.Or(o.Seed, fmt.Sprint(tx.Recorded().Unix()))
	pick, err := draw.Lot(tx, o.Seed, seen)
	if err != nil {
		return nil, err
	}
	o.Mock, o.Suspects, o.Hazard = true, []string{pick.Code}, cmp.Or(o.Hazard, string(pick.Hazard))
	o.Reason = cmp.Or(o.Reason, "exercise: "+pick.Why)
	return begin(tx, o, at, by)
}

// exercised lists the item kinds of all suspects so far.
func exercised(tx *store.Tx) (map[string]bool, error) {
	all, err := All(tx)
	if err != nil {
		return nil, err
	}
	seen := map[string]bool{}
	for _, r := range all {
		for _, code := range r.Suspects {
			if thing, ok := tx.Thing(strings.TrimPrefix(code, "lot:")); ok {
				seen[thing.ItemKind] = true
			}
		}
	}
	return seen, nil
}

func begin(tx *store.Tx, o Opened, at At, by string) (*Recall, error) {
	if err := tx.Sound(); err != nil {
		return nil, err
	}
	switch {
	case len(o.Suspects) == 0:
		return nil, lots.Errorf(lots.Invalid, "a recall needs a suspect: any code, or --surprise for a mock recall")
	case strings.TrimSpace(o.Reason) == "":
		return nil, lots.Errorf(lots.Invalid, "say what is wrong: --reason TEXT")
	}
	if _, err := graph.ParseHazard(o.Hazard); err != nil {
		return nil, lots.Errorf(lots.Invalid, "%w", err)
	}
	if err := understood(tx, o.Suspects); err != nil {
		return nil, err
	}
	o.Suspects = scope.Spelled(tx, o.Suspects)
	o.Meant, o.Said = scope.Meanings(tx, o.Suspects), trace.InWords(tx, o.Suspects)
	o.Lead = cmp.Or(o.Lead, by)
	code, err := nextCode(tx, o.Mock, tx.Recorded().In(tx.Site().Zone).Year())
	if err != nil {
		return nil, err
	}
	if err := take(tx, code, &o, at, by); err != nil {
		return nil, err
	}
	return Load(tx, code)
}

// understood refuses codes that mean nothing, so that none goes astray.
func understood(tx *store.Tx, codes []string) error {
	for _, c := range codes {
		if err := trace.Understood(tx, c); err != nil {
			return err
		}
	}
	return nil
}

// Take records a further step of a recall and gives its state after it. What the rules of recalls do not
// allow is refused, whoever takes the step; what the step has to keep besides what was said is filled in.
func (r *Recall) Take(tx *store.Tx, s Step, at At, by string) (*Recall, error) {
	if err := r.allows(s); err != nil {
		return nil, err
	}
	if err := r.inTime(tx, s, at); err != nil {
		return nil, err
	}
	if err := s.ready(tx, r); err != nil {
		return nil, err
	}
	if err := take(tx, r.Code, s, at, by); err != nil {
		return nil, err
	}
	after, err := Load(tx, r.Code)
	if err != nil {
		return nil, err
	}
	after.Remarks = r.remarks(s, at)
	return after, nil
}

// remarks says what is odd about a step and stops nothing: a typed time may be wrong, an answer may not add up.
func (r *Recall) remarks(s Step, at At) (odd []string) {
	switch s := s.(type) {
	case *Answered:
		odd = s.odd
	case *Told:
	default:
		return nil
	}
	if !at.IsZero() && at.Before(r.OpenedAt.Truncate(time.Minute)) {
		odd = append(odd, fmt.Sprintf("that is %s before %s was opened: if the time is wrong, log it again", strings.TrimPrefix(r.Clock(at), "-"), r.Code))
	}
	return odd
}

// allows refuses steps that make no sense in the recall's state.
func (r *Recall) allows(s Step) error {
	if _, again := s.(*Reopened); r.Ended != "" && !again {
		return lots.Errorf(lots.Conflict, "%s was terminated by %s; reopen it first", r.Code, r.Ended)
	}
	switch s.(type) {
	case *Noted, *Reopened, *Strategy, *Terminated, *Frozen, *Classed, *Spoke, *Answered, *Checked, *Signed:
		return nil
	}
	if !r.Open {
		return lots.Errorf(lots.Conflict, "%s is closed: heeltap recall reopen it first", r.Code)
	}
	return nil
}

// longBefore is how long before its opening a step of a recall can have been taken: somebody
// may have called before the lead opened it, and a date that was typed wrongly lies further off.
const longBefore = 24 * time.Hour

// inTime refuses steps said to be taken long before the recall was opened; notes and talk with
// authorities may be older.
func (r *Recall) inTime(tx *store.Tx, s Step, at At) error {
	switch s.(type) {
	case *Noted, *Spoke:
		return nil
	}
	if at.IsZero() || r.OpenedAt.Sub(at) <= longBefore {
		return nil
	}
	zone := tx.Site().Zone
	return lots.Errorf(lots.Invalid, "%s lies more than a day before %s was opened (%s): give the time at which it was done", lots.RFC3339(at.Unix(), zone), r.Code, lots.RFC3339(r.OpenedAt.Unix(), zone))
}
