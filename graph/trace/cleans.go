package trace

import (
	"cmp"
	"slices"
	"strconv"
	"strings"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/lineage"
	"heeltap/lots/store"
)

// A clean has no code of its own: it is asked about by the number of its entry (clean:812), by what was cleaned
// and when (clean:FV2@2026-03-04T10:00), or by its ref.

// cleanCode names a clean by its entry.
func cleanCode(entry string) string { return kindClean + ":" + entry }

// cleansNamed lists the cleans that a text means: with the kind written out all of these ways, else by its ref alone.
func (r *resolver) cleansNamed(text, kind string, at *moment) (found []reading) {
	add := func(entry int64) {
		if m := (reading{kindClean, strconv.FormatInt(entry, 10), nil}); r.isClean(entry) && !slices.Contains(found, m) {
			found = append(found, m)
		}
	}
	if at != nil {
		for _, c := range r.cleansOf(text) {
			if s, ok := at.span(); ok && s.meets(c.At.From, c.At.To+1) {
				add(c.Seq)
			}
		}
		return found
	}
	if n, err := strconv.ParseInt(text, 10, 64); err == nil && kind == kindClean {
		if root, err := r.tx.Root(n); err == nil {
			add(root)
		}
	}
	rows, err := r.tx.RowsOf(text)
	if err != nil {
		return nil // the transaction keeps the failure
	}
	for _, row := range rows {
		add(row.Seq)
	}
	return found
}

func (r *resolver) isClean(entry int64) bool {
	rec, ok := r.tx.Record(entry)
	_, is := rec.(*lots.Clean)
	return ok && is
}

// cleansOf lists the cleans of a vessel or line.
func (r *resolver) cleansOf(code string) (out []*lots.Clean) {
	for _, rec := range r.tx.Touching(code) {
		if c, ok := rec.(*lots.Clean); ok && c.Subject.Code() == code {
			out = append(out, c)
		}
	}
	return out
}

// cleansNear names the cleans of a vessel or line nearest to a moment, or the last ones.
func (r *resolver) cleansNear(text string) (out []string) {
	base, when, timed := cutLast(text, "@")
	cleans := r.cleansOf(base)
	slices.SortStableFunc(cleans, func(a, b *lots.Clean) int { return cmp.Compare(b.At.From, a.At.From) })
	if at, err := parseMoment(when, r.site.Zone); timed && err == nil {
		if s, ok := at.span(); ok {
			slices.SortStableFunc(cleans, func(a, b *lots.Clean) int { return cmp.Compare(away(a.At.From, s.from), away(b.At.From, s.from)) })
		}
	}
	for _, c := range cleans[:min(len(cleans), mostSuggested/2)] {
		out = append(out, cleanCode(strconv.FormatInt(c.Seq, 10))+" ("+r.cleanText(c)+")")
	}
	return out
}

func away(a, b int64) int64 { return max(a-b, b-a) }

// clean starts at what may have been filled first after a clean, or passed first: possible, and for every
// hazard. Where nothing was yet, it starts at nothing.
func (r *resolver) clean(entry string) (*target, error) {
	n, _ := strconv.ParseInt(entry, 10, 64)
	rec, _ := r.tx.Record(n)
	c, ok := rec.(*lots.Clean)
	if !ok {
		return nil, lots.Errorf(lots.NotFound, "entry %s is no clean that stands", entry)
	}
	t := &target{}
	t.mention(kindClean, entry, true)
	t.say(kindClean, entry, r.cleanText(c))
	if line := c.Subject.Code(); c.Subject.Kind == lots.KindLine {
		t.notes = append(t.notes, namingNoLine(r.tx, line, firstAfter(r.tx, line, c))...)
	}
	for _, ref := range lineage.AfterClean(r.tx, lineage.DefaultLimits(), c) {
		for _, node := range r.tx.NodesNamed(ref.Code) {
			if node.Kind == ref.Kind {
				t.addStart(start{Node: node, possible: true, of: cleanCode(entry)})
			}
		}
	}
	for _, unit := range r.washedAfter(c) {
		for _, node := range r.tx.NodesNamed(unit) {
			t.addStart(start{Node: node, possible: true, of: cleanCode(entry)})
		}
	}
	return t.sorted(), nil
}

// washedAfter lists the keg fillings whose kegs may have been washed after a clean of their washer and before
// its next one.
func (r *resolver) washedAfter(c *lots.Clean) (out []string) {
	until := int64(1) << 62
	for _, next := range r.cleansOf(c.Subject.Code()) {
		if next.Breaks() && next.At.From > c.At.To {
			until = min(until, next.At.To)
		}
	}
	for _, rec := range r.tx.Touching(c.Subject.Code()) {
		p, ok := rec.(*lots.Packed)
		if !ok || p.Washer != c.Subject.Code() {
			continue
		}
		from, to := p.WashedAt.From, p.WashedAt.To
		if run, _, ok := runOf(r.tx, p.Run); ok && !p.Washed { // some time before it was filled
			from, to = 0, run.Ended.End()
		}
		if to >= c.At.From && from <= until {
			out = append(out, p.Unit)
		}
	}
	return out
}

// cleanText says which clean is meant.
func (r *resolver) cleanText(c *lots.Clean) string {
	at := strings.Replace(c.At.Text(r.site.Zone), "T", " ", 1)
	return "the clean of " + c.Subject.Code() + ", " + at[:min(len(at), len("2006-01-02 15:04"))]
}

// InWords puts in words the codes that say nothing to people, such as that of a clean; nil where there is none.
func InWords(tx *store.Tx, codes []string) map[string]string {
	var out map[string]string
	r := &resolver{tx: tx, dir: graph.Forward, site: tx.Site(), literal: true}
	for _, code := range codes {
		entry, is := strings.CutPrefix(code, cleanCode(""))
		n, err := strconv.ParseInt(entry, 10, 64)
		if !is || err != nil {
			continue
		}
		rec, _ := tx.Record(n)
		if c, ok := rec.(*lots.Clean); ok {
			if out == nil {
				out = map[string]string{}
			}
			out[code] = r.cleanText(c)
		}
	}
	return out
}
