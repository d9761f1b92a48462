package inquiry

import (
	"cmp"
	"slices"
	"strings"
	"unicode"

	"heeltap/graph"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/store"
)

// Unnumbered are kegs of one run whose numbers nobody wrote down: a number that is on no record may be on one of them.
type Unnumbered struct {
	Run        string   `json:"run"`
	Product    string   `json:"product"`
	DateCodes  []string `json:"date_codes"`
	Kegs       int64    `json:"kegs"`
	Held       string   `json:"held"`
	Recalls    []string `json:"recalls"`
	Consignees []string `json:"consignees"` // who got other kegs of the run: they may have these too, if they are not here
}

func (u Unnumbered) stopped() bool { return u.Held != graph.Out.String() || len(u.Recalls) > 0 }

// unnumbered lists the runs of which kegs are on no number, the latest first, where what was read is
// no number that was written down, and may be a keg's.
func (s *stops) unnumbered(q Question, a *Answer) ([]Unnumbered, error) {
	out := []Unnumbered{}
	if a.Exact > 0 || !s.likeAKeg(q, a) {
		return out, nil
	}
	runs, err := s.tx.Records("runs")
	if err != nil {
		return nil, err
	}
	slices.SortStableFunc(runs, func(x, y lots.Record) int {
		return cmp.Compare(y.(*lots.Run).Started.From, x.(*lots.Run).Started.From)
	})
	for _, rec := range runs {
		run := rec.(*lots.Run)
		n := trace.OnNoUnit(s.tx, run)
		if n == 0 || !trace.OfKegs(s.tx, run.Run) {
			continue
		}
		band, err := s.on(lots.KindRun, run.Run)
		if err != nil {
			return nil, err
		}
		u := Unnumbered{Run: run.Run, Product: run.Product, DateCodes: trace.CodesOfRun(s.tx, run), Kegs: n, Held: band.String(), Recalls: []string{}, Consignees: consigneesOf(s.tx, run.Run)}
		for _, r := range s.recalls {
			if r.runs[run.Run] && r.loose[run.Run] {
				u.Recalls = append(u.Recalls, r.name)
			}
		}
		out = append(out, u)
	}
	return out, nil
}

// likeAKeg reports whether what was read may be a keg's number: it is near to one, it is built like
// one, or nothing else that was printed reads like it.
func (s *stops) likeAKeg(q Question, a *Answer) bool {
	if len(a.Candidates) == 0 || a.Candidates[0].Kind == "keg" {
		return true
	}
	read := shape(q.Read)
	return slices.ContainsFunc(s.tx.PrintedTexts(store.PrintedKeg), func(text string) bool { return shape(text) == read })
}

// shape is how a text is built: its letters and digits, whichever they are.
func shape(text string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case unicode.IsDigit(r):
			return '9'
		case unicode.IsLetter(r):
			return 'A'
		}
		return -1
	}, text)
}

// consigneesOf lists who received units of a run.
func consigneesOf(tx *store.Tx, run string) []string {
	out := []string{}
	for _, rec := range tx.Touching(run) {
		p, ok := rec.(*lots.Packed)
		if !ok || p.Run != run {
			continue
		}
		for _, rec := range tx.Touching(p.Unit) {
			if x, ok := rec.(*lots.Shipment); ok && !slices.Contains(out, x.Consignee) {
				out = append(out, x.Consignee)
			}
		}
	}
	slices.Sort(out)
	return out
}
