package recall

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"heeltap/lots"
	"heeltap/lots/store"
)

// Choose loads the recall that a step is about: the one named, else the only one that is open.
func Choose(tx *store.Tx, code string) (*Recall, error) {
	if code != "" {
		return Load(tx, code)
	}
	all, err := All(tx)
	if err != nil {
		return nil, err
	}
	open := slices.DeleteFunc(slices.Clone(all), func(x *Recall) bool { return !x.Open })
	switch {
	case len(open) == 1:
		return open[0], nil
	case len(all) == 0:
		return nil, lots.Errorf(lots.NotFound, "there is no recall yet: heeltap recall open SUSPECT…")
	case len(open) == 0:
		return nil, lots.Errorf(lots.NotFound, "no recall is open: name one with --recall, such as %s", all[len(all)-1].Code)
	}
	var names []string
	for _, x := range open {
		names = append(names, x.Code)
	}
	return nil, lots.Errorf(lots.Conflict, "%s are open: name one with --recall", strings.Join(names, " and "))
}

// ChooseToRead loads the recall that a question is about: the one named or open, else the only one there is.
func ChooseToRead(tx *store.Tx, code string) (*Recall, error) {
	now, err := Choose(tx, code)
	if code != "" || lots.KindOf(err) != lots.NotFound {
		return now, err
	}
	all, other := All(tx)
	if other != nil || len(all) != 1 {
		return nil, cmp.Or(other, err)
	}
	return all[0], nil
}

// OthersOpen lists the other recalls and mock recalls that are open: while there are any, each step and
// question has to name the recall that it is about.
func (r *Recall) OthersOpen(tx *store.Tx) ([]*Recall, error) {
	all, err := All(tx)
	return slices.DeleteFunc(all, func(x *Recall) bool { return !x.Open || x.Code == r.Code }), err
}

// Summary is a recall in one line.
type Summary struct {
	Code     string   `json:"code"`
	Kind     string   `json:"kind"`  // recall or mock recall
	State    string   `json:"state"` // open, closed, terminated
	Opened   string   `json:"opened"`
	Lead     string   `json:"lead"`
	Suspects []string `json:"suspects"`
	Hazard   string   `json:"hazard"`
	Reason   string   `json:"reason"`
	Version  int      `json:"version"` // frozen versions so far
}

// Summary puts a recall in one line; times are in the site's zone.
func (r *Recall) Summary(tx *store.Tx) Summary {
	return Summary{r.Code, r.Kind(), r.State(), lots.RFC3339(r.OpenedAt.Unix(), tx.Site().Zone), r.Lead, r.Suspects, string(r.Hazard), r.Reason, len(r.Versions)}
}

func wantedText(code string, r *Recall) string {
	return fmt.Sprintf("%s is in scope of recall %s: stop the lorry, or tell the lead; heeltap recall hold stops what is in scope", code, r.Code)
}

// Wanted says of units that are about to leave, or just did, which open recalls have them in scope; one of
// several is wanted where any of them is. What leaves in bulk is known by its entry. Mock recalls want nothing.
func Wanted(tx *store.Tx, units []string, entry int64) ([]string, error) {
	all, err := All(tx)
	if err != nil {
		return nil, err
	}
	var out []string
	for _, r := range all {
		if r.Mock || r.State() != "open" {
			continue
		}
		s, err := r.Scope(tx)
		if err != nil {
			return nil, err
		}
		for _, u := range s.Answer.Units {
			if slices.Contains(units, u.Code) {
				out = append(out, wantedText(u.Code, r))
			}
		}
		for _, b := range s.Answer.Bulk {
			if b.Entry() == entry {
				out = append(out, wantedText(strings.ReplaceAll(b.From, "|", " or "), r))
			}
		}
	}
	return out, tx.Err()
}
