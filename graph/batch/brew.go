package batch

import (
	"math"
	"slices"
	"time"

	"heeltap/graph"
	"heeltap/graph/trace"
	"heeltap/labels/paper"
	"heeltap/lots"
)

// A brew's record goes forward: cast out, it is a wort that has yet to become beer. What a crop of
// its yeast went into is another brew's story.

// itself reports whether what a brew reaches is its own beer: by content, and not by its yeast.
func (w *writer) itself(x trace.Reached) bool {
	return x.Band == graph.In.String() && !w.others[x.Code]
}

// setApart notes the crops taken from a brew, and what it reaches by them.
func (w *writer) setApart() {
	if w.kind != lots.KindBrew {
		return
	}
	for _, l := range w.ahead.Lots {
		w.yeastOf[l.Code] = true
	}
	apart := func(x trace.Reached) {
		if slices.ContainsFunc(x.Why, func(code string) bool { return w.yeastOf[code] }) {
			w.others[x.Code] = true
		}
	}
	for _, x := range w.ahead.Brews {
		apart(x.Reached)
	}
	for _, x := range w.ahead.Fills {
		apart(x.Reached)
	}
	for _, x := range w.ahead.Runs {
		apart(x.Reached)
	}
	for _, x := range w.ahead.Units {
		apart(x.Reached)
	}
}

// fills are what the record's vessels held: of a brew what it went into, of a run or unit what is behind it.
func (w *writer) fills() []trace.Fill {
	if w.kind != lots.KindBrew {
		return w.back.Fills
	}
	return slices.DeleteFunc(slices.Clone(w.ahead.Fills), func(f trace.Fill) bool { return !w.itself(f.Reached) })
}

// inTanks tells what was done to a brew after it was cast out: what came to it, where it was moved,
// what was taken from it, while a vessel held it; and what it came to there since that was cleaned,
// such as the first turn of two.
func (w *writer) inTanks() []paper.Part {
	if w.kind != lots.KindBrew {
		return nil
	}
	held := map[string][]span{}
	for _, f := range w.fills() {
		held[f.Vessel] = append(held[f.Vessel], w.sinceCleaned(f.Vessel, spanOf(f)))
	}
	rows := map[string][]lots.Entered{}
	seen := map[int64]bool{}
	for vessel, spans := range held {
		for _, rec := range w.tx.Touching(vessel) {
			at, ok := w.actOn(rec, vessel)
			if !ok || seen[rec.Entry()] || !slices.ContainsFunc(spans, func(s span) bool { return at.To >= s.from && at.From <= s.to }) {
				continue
			}
			row, stands := w.tx.Row(rec.Entry())
			if !stands {
				continue
			}
			seen[rec.Entry()] = true
			w.entries[rec.Entry()] = true
			rows[row.Sheet.Name] = append(rows[row.Sheet.Name], row)
		}
	}
	parts := []paper.Part{paper.Heading{Level: 1, Text: "What was done to it in tanks"}}
	for _, kind := range []struct{ sheet, title string }{
		{"brews", "Other turns in the same tank"}, {"additions", "Additions"}, {"transfers", "Transfers"}, {"circulations", "Circulations"},
		{"crops", "Yeast taken"}, {"removals", "Removed: samples, served, dumped, lost"}, {"counts", "Counted"},
	} {
		if list := rows[kind.sheet]; len(list) > 0 {
			slices.SortFunc(list, func(a, b lots.Entered) int { return int(a.Seq - b.Seq) })
			parts = append(parts, section(2, kind.title, table(list), "")...)
		}
	}
	if len(parts) == 1 {
		parts = append(parts, paper.Text{Text: "Nothing is recorded."})
	}
	return parts
}

// sinceCleaned begins a span at the last clean before it that ended what the vessel held.
func (w *writer) sinceCleaned(vessel string, s span) span {
	from := int64(math.MinInt64)
	for _, rec := range w.tx.Touching(vessel) {
		if c, ok := rec.(*lots.Clean); ok && c.Breaks() && c.At.From <= s.from {
			from = max(from, c.At.From)
		}
	}
	if from > math.MinInt64 {
		s.from = from
	}
	return s
}

// actOn gives when a record did something to what a vessel held.
func (w *writer) actOn(rec lots.Record, vessel string) (lots.When, bool) {
	switch x := rec.(type) {
	case *lots.Brew:
		return x.CastOut, x.Into == vessel && x.Brew != w.code
	case *lots.Addition:
		return x.At, x.Vessel == vessel
	case *lots.Transfer:
		return x.Started, x.To == vessel || slices.Contains(x.From.Codes, vessel)
	case *lots.Circulation:
		return x.Started, true
	case *lots.Crop:
		return x.At, x.Vessel == vessel
	case *lots.Removal:
		return x.At, slices.Contains(x.Subject.Codes, vessel)
	case *lots.Bulk:
		return x.At, slices.Contains(x.From.Codes, vessel)
	case *lots.StockCount:
		return x.At, slices.Contains(x.Subject.Codes, vessel)
	}
	return lots.When{}, false
}

// spanOf is from when to when a vessel held something.
func spanOf(f trace.Fill) span {
	unix := func(at string) int64 {
		t, _ := time.Parse(time.RFC3339, at) // as the trace writes it
		return t.Unix()
	}
	s := span{unix(f.Since), forever}
	if f.Until != nil {
		s.to = unix(*f.Until)
	}
	return s
}
