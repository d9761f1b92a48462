package scope

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"heeltap/graph"
	"heeltap/graph/trace"
	"heeltap/lots/store"
)

// Lost is a suspect or a decision that cannot be understood any more: what it names was
// taken back, or its name means several things now. Nothing is traced from it.
type Lost struct {
	What string `json:"what"` // suspect, include or exclude
	Code string `json:"code"`
	Why  string `json:"why"`
	// StandsIn is what it meant when it was named, and what is traced in its place.
	StandsIn []string `json:"stands_in,omitempty"`
}

// Mend says what the lead can do about it.
func (l Lost) Mend() string {
	if l.What == suspected {
		return "name what is meant with suspect, and take this one off with unsuspect"
	}
	return "decide again on what is meant, and take this one back with undecide"
}

const suspected = "suspect"

// understood parts suspects and decisions from those that mean nothing now. For one that was
// named by what is printed on it, and that print was corrected, what it meant when it was named
// stands in.
func (b *Basis) understood(tx *store.Tx, suspects []string, decisions []Decision) ([]string, []Decision, []Lost) {
	var lost []Lost
	known := func(what, code string) []string {
		err := trace.Stands(tx, code)
		if err == nil {
			return []string{code}
		}
		var still []string
		for _, c := range b.Meant[code] {
			still = append(still, standing(tx, c)...)
		}
		why := err.Error()
		if len(still) > 0 {
			why += "; " + strings.Join(still, ", ") + ", which it meant, stands in for it"
		}
		lost = append(lost, Lost{what, code, why, still})
		return still
	}
	var from []string
	for _, c := range suspects {
		from = append(from, known(suspected, c)...)
	}
	var decided []Decision
	for _, d := range decisions {
		for _, c := range known(d.Choice, d.Code) {
			d.Code = c
			decided = append(decided, d)
		}
	}
	return from, decided, lost
}

// Traced gives what the suspects mean now, without those that mean nothing any more.
func (b *Basis) Traced(tx *store.Tx) []string {
	suspects, _, _ := b.understood(tx, b.Suspects, nil)
	return suspects
}

// begunBy begins what keeps a fill by the vessel and the entry that began it: its code follows its time.
const begunBy = "begun-by:"

// standing gives what can stand in for a meaning now; none where it is gone.
func standing(tx *store.Tx, meant string) []string {
	rest, is := strings.CutPrefix(meant, begunBy)
	if !is {
		if trace.Stands(tx, meant) != nil {
			return nil
		}
		return []string{meant}
	}
	text, vessel, _ := strings.Cut(rest, ":")
	entry, err := strconv.ParseInt(text, 10, 64)
	if err != nil {
		return nil
	}
	var out []string
	for _, n := range tx.NodesOf(vessel) {
		if n.Kind == graph.Fill && n.Entry == entry {
			out = append(out, "fill:"+n.Code)
		}
	}
	return out
}

// Meanings keeps what texts mean now that are no plain codes, and of fills what began them.
func Meanings(tx *store.Tx, texts []string) map[string][]string {
	var out map[string][]string
	for _, text := range texts {
		meant := trace.Meant(tx, text)
		if len(meant) == 1 && strings.HasPrefix(meant[0], "fill:") {
			for _, n := range tx.NodesNamed(strings.TrimPrefix(meant[0], "fill:")) {
				if n.Kind == graph.Fill {
					meant = []string{fmt.Sprintf("%s%d:%s", begunBy, n.Entry, n.Home)}
				}
			}
		}
		if len(meant) == 1 && strings.HasSuffix(meant[0], ":"+text) {
			continue
		}
		if out == nil {
			out = map[string][]string{}
		}
		out[text] = meant
	}
	return out
}

// Spelled gives codes as they are recorded, each once, so that a thing is decided on under one
// name however it was typed.
func Spelled(tx *store.Tx, codes []string) []string {
	var out []string
	for _, c := range codes {
		if c = trace.Spelled(tx, c); !slices.Contains(out, c) {
			out = append(out, c)
		}
	}
	return out
}
