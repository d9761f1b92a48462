package batch

import (
	"fmt"
	"slices"
	"strings"

	"heeltap/graph"
	"heeltap/graph/recall"
	"heeltap/graph/trace"
	"heeltap/labels/paper"
	"heeltap/lots"
)

// stopped says at the top, in a box, that it is on hold or under recall: whoever takes the record in hand must
// not read that first on page four. An exercise stops nothing and stands in no box.
func (w *writer) stopped() ([]paper.Part, error) {
	holds, err := w.onHold()
	if err != nil {
		return nil, err
	}
	recalls, err := w.underRecall()
	if lines := append(holds, recalls...); len(lines) > 0 {
		return []paper.Part{paper.Caution{Lines: lines}}, err
	}
	return nil, err
}

// onHold tells of the holds of it, of what it came from, and of its units.
func (w *writer) onHold() ([]string, error) {
	by, err := trace.StoppedBy(w.tx, w.kind, w.code)
	if err != nil {
		return nil, err
	}
	held, err := trace.Holdings(w.tx)
	if err != nil {
		return nil, err
	}
	var lines []string
	if by != "" {
		from, _, _ := strings.Cut(by, "@") // a fill is held by its vessel
		what := "ON HOLD"
		if from != w.code {
			what += " through " + from
		}
		lines = append(lines, w.holdTexts(what, held[from])...)
	}
	for _, f := range w.fills() {
		if w.kind == lots.KindBrew && f.Until == nil && len(held[f.Vessel]) > 0 {
			lines = append(lines, w.holdTexts("ON HOLD in "+f.Vessel, held[f.Vessel])...)
		}
	}
	var units []string
	for _, u := range w.ahead.Units {
		if w.kind != lots.KindUnit && w.ours(u) && len(held[u.Code]) > 0 {
			units = append(units, u.Code)
		}
	}
	if len(units) > 0 {
		lines = append(lines, fmt.Sprintf("ON HOLD of its units: %s.", strings.Join(units, ", ")))
	}
	return lines, nil
}

// holdTexts says since when, by whom and why something is held; without an entry of its own, only that it is.
func (w *writer) holdTexts(what string, entries []int64) []string {
	var out []string
	for _, entry := range entries {
		rec, _ := w.tx.Record(entry)
		switch x := rec.(type) {
		case *lots.Hold:
			out = append(out, fmt.Sprintf("%s since %s, by %s: %s (entry %d).", what, minute(x.At.Text(w.tx.Site().Zone)), x.By, x.Reason, entry))
		case *lots.Receipt:
			out = append(out, fmt.Sprintf("%s since %s: it came in on hold (entry %d).", what, minute(x.At.Text(w.tx.Site().Zone)), entry))
		}
	}
	if len(out) == 0 {
		return []string{what + "."}
	}
	return out
}

// underRecall tells of the recalls that have it, or units of it, in scope.
func (w *writer) underRecall() ([]string, error) {
	all, err := recall.All(w.tx)
	if err != nil {
		return nil, err
	}
	var lines []string
	for _, r := range all {
		if r.Mock {
			continue
		}
		s, err := r.Scope(w.tx)
		if err != nil {
			return nil, err
		}
		in := w.inScope(s.Answer)
		if in == "" {
			continue
		}
		what := "UNDER RECALL " + r.Code
		if r.State() != "open" {
			what = "WAS RECALLED: " + r.Code + " (" + r.State() + ")"
		}
		lines = append(lines, fmt.Sprintf("%s since %s, led by %s: %s. %s", what, w.time(r.OpenedAt.Unix()), r.Lead, strings.TrimSuffix(r.Reason, "."), in))
	}
	return lines, nil
}

// inScope says how an answer has it, and how many of its units; empty where it has neither.
func (w *writer) inScope(a *trace.Answer) string {
	band := w.bandIn(a)
	reached, ours := map[string]bool{}, 0
	for _, u := range a.Units {
		reached[u.Code] = true
	}
	hit := 0
	for _, u := range w.ahead.Units {
		if w.ours(u) {
			ours++
			if reached[u.Code] {
				hit++
			}
		}
	}
	units := fmt.Sprintf("%d of its %d units are in scope.", hit, ours)
	switch {
	case hit == ours && ours == 1:
		units = "Its one unit is in scope."
	case hit == ours:
		units = fmt.Sprintf("All its %d units are in scope.", ours)
	}
	switch {
	case band == "" && hit == 0:
		return ""
	case w.kind == lots.KindUnit || ours == 0:
		return map[string]string{graph.In.String(): "It is in scope.", graph.Possible.String(): "It may be affected: it is in scope as possible."}[band]
	case band == graph.Possible.String():
		return "It may be affected: it is in scope as possible. " + units
	case band == "":
		return units
	}
	return "It is in scope. " + units
}

// bandIn is the band in which an answer has the brew, run or unit; empty where it has not.
func (w *writer) bandIn(a *trace.Answer) string {
	var all []trace.Reached
	switch w.kind {
	case lots.KindBrew:
		for _, x := range a.Brews {
			all = append(all, x.Reached)
		}
	case lots.KindRun:
		for _, x := range a.Runs {
			all = append(all, x.Reached)
		}
	default:
		for _, x := range a.Units {
			all = append(all, x.Reached)
		}
	}
	if i := slices.IndexFunc(all, func(x trace.Reached) bool { return x.Code == w.code }); i >= 0 {
		return all[i].Band
	}
	return ""
}

// party names a party, with its code before it.
func (w *writer) party(code string) string {
	if p, ok := w.tx.Party(code); ok && p.Name != "" {
		return code + " " + p.Name
	}
	return code
}
