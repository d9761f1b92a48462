package batch

import (
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"

	"heeltap/labels/paper"
	"heeltap/lots"
	"heeltap/lots/store"
)

// journal lists every entry that the record rests on, with its corrections, and every entry that did
// belong to it until a correction took it out.
func (w *writer) journal() ([]paper.Part, error) {
	t := paper.Table{Head: []string{"#entry", "recorded", "by", "what", "of", "content"},
		Note: "Rows as they were first entered; an amend or void below corrects the entry it names. A row marked void or moved away counts here no more, and stays written."}
	corrections, err := w.corrections()
	if err != nil {
		return nil, err
	}
	w.lookBehind()
	gone := w.corrected(corrections)
	for _, seq := range slices.Sorted(maps.Keys(w.entries)) {
		e, ok, err := w.tx.Entry(seq)
		if err != nil {
			return nil, err
		}
		if !ok {
			continue
		}
		row := w.entry(e)
		row[3] += gone[seq]
		t.Rows = append(t.Rows, row)
		for _, c := range corrections[seq] {
			t.Rows = append(t.Rows, w.entry(c))
		}
	}
	return section(1, "Every entry it rests on", t, "None."), nil
}

// corrections reads all amends and voids, in order, by the row's entry that they correct in the end.
func (w *writer) corrections() (map[int64][]*store.Entry, error) {
	root, out := map[int64]int64{}, map[int64][]*store.Entry{}
	err := w.tx.AllCorrections(func(e *store.Entry) bool {
		seq := e.Target
		if up, ok := root[seq]; ok { // a correction of a correction
			seq = up
		}
		root[e.Seq] = seq
		out[seq] = append(out[seq], e)
		return true
	})
	return out, err
}

// corrected adds to the record the entries that named what it is about until they were corrected,
// and says of each what became of it.
func (w *writer) corrected(corrections map[int64][]*store.Entry) map[int64]string {
	gone := map[int64]string{}
	for _, seq := range slices.Sorted(maps.Keys(corrections)) {
		if !w.entries[seq] && !w.everNamed(seq, corrections[seq]) {
			continue
		}
		if _, stands := w.tx.Row(seq); !stands {
			gone[seq] = ", void"
		} else if !w.entries[seq] {
			gone[seq] = ", moved away"
		}
		w.entries[seq] = true
	}
	return gone
}

// everNamed reports whether a row ever named what the record is about or what stands behind it: as it
// was entered, or as one of its corrections had it. Of a vessel only its time behind it counts.
func (w *writer) everNamed(seq int64, corrections []*store.Entry) bool {
	e, ok, err := w.tx.Entry(seq)
	if err != nil || !ok {
		return false // the transaction carries it
	}
	sheet, ok := lots.SheetNamed(e.Kind)
	row := lots.Row{}
	if !ok || json.Unmarshal([]byte(e.Body), &row) != nil {
		return false
	}
	ours := func() bool {
		return slices.ContainsFunc(lots.Mentions(sheet, row), func(code string) bool {
			held, vessel := w.held[code]
			return w.named[code] || w.behind[code] || vessel && e.At != nil && e.At.To >= held.from && e.At.From <= held.to
		})
	}
	for _, c := range corrections {
		if ours() {
			return true
		}
		var body struct{ Set map[string]string }
		if json.Unmarshal([]byte(c.Body), &body) == nil {
			maps.Copy(row, body.Set)
		}
	}
	return ours()
}

// span is from when to when a vessel held what belongs to the record.
type span struct{ from, to int64 }

const forever = math.MaxInt64

// lookBehind notes the brews and runs that stand behind the record, and when which vessel held what belongs to it.
func (w *writer) lookBehind() {
	for _, b := range w.back.Brews {
		w.behind[b.Code] = true
	}
	for _, r := range w.back.Runs {
		w.behind[r.Code] = true
	}
	for _, f := range append(slices.Clone(w.back.Fills), w.fills()...) {
		s := spanOf(f)
		if was, ok := w.held[f.Vessel]; ok {
			s = span{min(s.from, was.from), max(s.to, was.to)}
		}
		w.held[f.Vessel] = s
	}
}

func (w *writer) entry(e *store.Entry) []string {
	of, what := "", e.Kind
	if sheet, ok := lots.SheetNamed(e.Kind); ok {
		what = sheet.Noun
	}
	if e.At != nil {
		of = minute(e.At.Text(w.tx.Site().Zone))
	}
	if e.Target != 0 {
		what = fmt.Sprintf("%s of entry %d", e.Kind, e.Target)
	}
	return []string{strconv.FormatInt(e.Seq, 10), w.time(e.Recorded.Unix()), e.By, what, of, cells(e.Kind, e.Content())}
}

// cells writes an entry's content as names with values: those of a row in the order of its sheet's
// columns, others by their names.
func cells(kind string, content any) string {
	m, ok := content.(map[string]any)
	if !ok {
		return fmt.Sprint(content)
	}
	names := slices.Sorted(maps.Keys(m))
	if sheet, ok := lots.SheetNamed(kind); ok {
		at := func(name string) int {
			return slices.IndexFunc(sheet.Columns, func(c lots.Column) bool { return c.Name == name })
		}
		slices.SortStableFunc(names, func(a, b string) int { return at(a) - at(b) })
	}
	var out []string
	for _, k := range names {
		v := m[k]
		if inner, ok := v.(map[string]any); ok {
			v = "(" + cells("", inner) + ")"
		}
		if k != "by" {
			out = append(out, fmt.Sprintf("%s %v", strings.ReplaceAll(k, "_", " "), v))
		}
	}
	return strings.Join(out, "; ")
}
