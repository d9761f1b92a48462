package thing

import (
	"fmt"

	"heeltap/graph"
	"heeltap/graph/desk"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/store"
)

// OnHold is what is on hold of a run, looked at while it goes on and after.
type OnHold struct {
	Stops []string // why its line must not go on, each a sentence; none where nothing stops it
	Feeds map[int64]graph.Band
	Units map[string]graph.Band
}

// HoldsOnRun tells what is on hold of what feeds a run, and of what came off it. What is fed no longer stops no line,
// and is told of beside its feed alone.
func HoldsOnRun(tx *store.Tx, run string) (*OnHold, error) {
	holds, err := trace.StandingHolds(tx)
	if err != nil {
		return nil, err
	}
	out := &OnHold{Feeds: map[int64]graph.Band{}, Units: map[string]graph.Band{}}
	for _, f := range desk.FeedsOf(tx, run) {
		for _, code := range f.From.Codes {
			band, err := holds.On(f.From.Kind, code)
			if err != nil {
				return nil, err
			}
			if band == graph.Out {
				continue
			}
			sure := band
			if f.From.OneOf() {
				sure = graph.Possible // of several nobody knows which it was
			}
			out.Feeds[f.Entry] = max(out.Feeds[f.Entry], sure)
			if f.Until == 0 {
				why, err := Stops(tx, f.From.Kind, code)
				if err != nil {
					return nil, err
				}
				out.Stops = append(out.Stops, stopOf(f, code, band, why)...)
			}
		}
	}
	if by, err := trace.StoppedBy(tx, lots.KindRun, run); err != nil {
		return nil, err
	} else if by == run {
		why, err := Stops(tx, lots.KindRun, run)
		if err != nil {
			return nil, err
		}
		for _, text := range why {
			out.Stops = append(out.Stops, "The run itself: "+text)
		}
	}
	for _, rec := range tx.Touching(run) {
		if u, ok := rec.(*lots.Packed); ok && u.Run == run {
			if out.Units[u.Unit], err = holds.On(lots.KindUnit, u.Unit); err != nil {
				return nil, err
			}
		}
	}
	return out, tx.Err()
}

// stopOf says that a source of a feed is on hold, and why.
func stopOf(f desk.FedBy, code string, band graph.Band, why []string) []string {
	what := code
	if f.Name != "" {
		what = fmt.Sprintf("%s (%s)", code, f.Name)
	}
	is := " on the line: "
	if f.From.OneOf() {
		is = ", perhaps on the line: "
	}
	if len(why) == 0 { // nothing that is sure stops it
		text := "On hold"
		if band == graph.Possible {
			text = "Perhaps on hold"
		}
		why = []string{text}
	}
	out := make([]string, len(why))
	for i, text := range why {
		out[i] = what + is + text
	}
	return out
}
