package thing

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"heeltap/graph"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/store"
)

// Tile is one vessel on the board of all vessels.
type Tile struct {
	Code   string
	Beer   string  // what it holds; empty where that is no beer
	Amount string  // how much, by the books
	Full   float64 // the part of its capacity, 0 to 1; negative where that is not known
	Age    string  // how long what it holds has been in it
	Clean  string  // of an empty vessel: cleaned when, or not since it was emptied
	Ready  bool    // empty and cleaned since
	Empty  bool
	Held   string // held, perhaps held, or empty
}

// Group is the vessels of a kind, by their codes.
type Group struct {
	Name  string
	Tiles []Tile
}

// groups stand in the order in which beer goes through a brewery.
var groups = []struct{ kind, name string }{
	{"silo", "Silos"}, {"fermenter", "Fermenters"}, {"bright", "Bright tanks"}, {"serving", "Serving tanks"}, {"brink", "Yeast brinks"}, {"tank", "Other tanks"}, {"gas", "Gas"}, {"path", "Hoses and machines"},
}

// Board tells what every vessel holds now, and whether an empty one is clean.
func Board(tx *store.Tx) ([]Group, error) {
	rows, err := tx.Records("vessels")
	if err != nil {
		return nil, err
	}
	holds, err := trace.StandingHolds(tx)
	if err != nil {
		return nil, err
	}
	by := map[string][]Tile{}
	for _, rec := range rows {
		v := rec.(*lots.Vessel)
		tile, err := tileOf(tx, v, holds)
		if err != nil {
			return nil, err
		}
		by[v.Kind] = append(by[v.Kind], tile)
	}
	var out []Group
	for _, g := range groups {
		if tiles := by[g.kind]; len(tiles) > 0 {
			slices.SortFunc(tiles, func(a, b Tile) int { return natural(a.Code, b.Code) })
			out = append(out, Group{g.name, tiles})
		}
	}
	return out, tx.Err()
}

// natural orders FV2 before FV10: by length where the beginnings are alike.
func natural(a, b string) int {
	letters := func(s string) string { return strings.TrimRight(s, "0123456789") }
	if letters(a) == letters(b) {
		return cmp.Or(cmp.Compare(len(a), len(b)), cmp.Compare(a, b))
	}
	return cmp.Compare(a, b)
}

func tileOf(tx *store.Tx, v *lots.Vessel, holds *trace.Standing) (Tile, error) {
	w := &writer{tx, tx.Site(), &Thing{Kind: lots.KindVessel, Code: v.Code}}
	t := Tile{Code: v.Code, Full: -1}
	clean, cleaned := w.breakAfter(0)
	if v.Kind == "path" {
		t.Clean = cleanText(tx, clean, cleaned)
		return t, nil
	}
	content, ok := trace.ContentOf(tx, v.Code)
	if ok && content.Left >= 0.005*content.Fill.Total && content.Left >= 1 {
		unit := cmp.Or(v.Unit, w.site.VolumeUnit)
		t.Amount, t.Age = w.kept(content.Left, unit), strings.TrimSuffix(ago(tx.Recorded().Sub(time.Unix(w.since(v.Code, content.Fill.Since), 0))), " ago")
		if v.Capacity > 0 {
			t.Full = max(0.02, min(1, unit.Of(content.Left*perBase(unit))/v.Capacity))
		}
		w.made(content.Fill.Code)
		t.Beer = w.t.Title
	} else {
		t.Empty = true
		t.Ready = cleaned && !ok
		t.Clean = cleanText(tx, clean, cleaned)
		if ok {
			t.Clean = "not cleaned since it was emptied"
		}
	}
	band, err := holds.On(lots.KindVessel, v.Code)
	switch {
	case t.Empty:
	case band == graph.In:
		t.Held = "on hold"
	case band == graph.Possible:
		t.Held = "perhaps on hold"
	}
	return t, err
}

// perBase is how many base units a millilitre counts as in a vessel that is kept in a unit.
func perBase(unit lots.Unit) float64 {
	if unit.Dim() == lots.Mass {
		return 1000
	}
	return 1
}

// since is when the vessel was first filled after it was last empty or cleaned: what it holds has been in it no longer than that.
func (w *writer) since(vessel string, latest int64) int64 {
	fills := trace.FillsOf(w.tx, vessel)
	since := latest
	for i := len(fills) - 1; i > 0 && fills[i].Since <= latest; i-- {
		before := fills[i-1]
		if before.Until == 0 || before.Until != fills[i].Since || before.LeftAt(before.Until) < 0.005*before.Total {
			break
		}
		since = before.Since
	}
	return since
}

// breakAfter finds the last clean break of the thing after a moment.
func (w *writer) breakAfter(t int64) (last *lots.Clean, found bool) {
	for _, rec := range w.tx.Touching(w.t.Code) {
		if c, ok := rec.(*lots.Clean); ok && c.Breaks() && c.Subject.Code() == w.t.Code && c.At.From > t && (last == nil || c.At.From > last.At.From) {
			last = c
		}
	}
	return last, last != nil
}

func cleanText(tx *store.Tx, c *lots.Clean, found bool) string {
	if !found {
		return "no clean on record"
	}
	return "cleaned " + ago(tx.Recorded().Sub(time.Unix(c.At.To, 0)))
}
