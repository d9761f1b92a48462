package check

import (
	"cmp"
	"slices"
	"time"

	"heeltap/graph/recall"
	"heeltap/lots"
)

func recordRules() []Rule {
	return []Rule{
		{"late-entry", Widens, "until it is entered, the last days are missing from every answer (27 CFR 25.291 asks for the next business day, or the third)", "enter what is done on the day it is done", lateEntry},
		{"recall-scope-changed", Misses, "later entries change an open recall: somebody may have to be told", "heeltap recall changes --recall CODE, then freeze the scope anew", recallScopeChanged},
		{"round-times", Slows, "nearly all times are full or half hours: they were written from memory", "note the time when it happens", roundTimes},
		{"one-person", Slows, "one person makes nearly all entries: nobody else may know how", "have a second person enter and trace", onePerson},
		{"no-exercise", Slows, "no mock recall for a year (food safety schemes ask for one a year)", "heeltap recall open --mock --surprise", noExercise},
	}
}

// workdays counts the working days after the day of one moment up to that of another.
func workdays(from, to time.Time) int {
	day := func(t time.Time) int {
		return int(time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, time.UTC).Unix() / 86400)
	}
	until := func(d int) int { // working days up to day d; day 0 was a Thursday
		weeks, rest := (d+3)/7, (d+3)%7 // from Monday on
		return 5*weeks + min(rest+1, 5)
	}
	return max(0, until(day(to))-until(day(from)))
}

// late is an entry that came late, and how it is told.
type late struct {
	entry int64
	hit   Hit
}

// oneImport is how many late rows of one moment are taken for an import.
const oneImport = 20

// joined tells late rows that came in at one moment by one hit: whoever moves in with years of
// sheets was not late with each of them.
func (b *book) joined(list []late, noun string) (out []Hit) {
	at := map[time.Time][]late{}
	for _, x := range list {
		at[b.recorded(x.entry)] = append(at[b.recorded(x.entry)], x)
	}
	for _, x := range list {
		all := at[b.recorded(x.entry)]
		switch {
		case len(all) < oneImport:
			out = append(out, x.hit)
		case all[0].entry == x.entry:
			h := hit("site", x.entry, "%d %s were entered at once on %s, late: %s, and others", len(all), noun, b.stamp(b.recorded(x.entry).Unix()), x.hit.Text)
			h.Mend = "if they came in from older records, nothing: heeltap mute late-entry --reason … --until …"
			out = append(out, h)
		}
	}
	return out
}

func lateEntry(b *book) []Hit {
	most := int(b.limit("late-entry.days"))
	var out []late
	for _, entry := range b.sorted() {
		e := b.entries[entry]
		if e == nil || e.At == nil || e.Kind == "receipts" || e.Kind == "holds" {
			continue
		}
		at := time.Unix(e.At.To, 0).In(b.zone)
		if n := workdays(at, e.Recorded.In(b.zone)); n > most {
			out = append(out, late{entry, hit(b.codeOf(entry), entry, "the %s of %s was entered %d working days later", b.nounOf(entry), b.stamp(e.At.From), n)})
		}
	}
	return b.joined(out, "acts")
}

func (b *book) sorted() []int64 {
	out := make([]int64, 0, len(b.byEntry))
	for e := range b.byEntry {
		out = append(out, e)
	}
	slices.Sort(out)
	return out
}

// codeOf is what a row is about: its own code, or the first it names.
func (b *book) codeOf(entry int64) string {
	e := b.entries[entry]
	sheet, ok := lots.SheetNamed(e.Kind)
	if !ok {
		return ""
	}
	return cmp.Or(b.rows[entry][sheet.Code], b.rows[entry][sheet.Columns[0].Name])
}

func (b *book) nounOf(entry int64) string {
	if sheet, ok := lots.SheetNamed(b.entries[entry].Kind); ok {
		return sheet.Noun
	}
	return "entry"
}

func recallScopeChanged(b *book) (out []Hit) {
	all, err := recall.All(b.tx)
	if err != nil {
		b.err = err
		return nil
	}
	for _, r := range all {
		if !r.Open || r.Latest() == nil {
			continue
		}
		n, err := r.Drift(b.tx)
		if err != nil {
			b.err = err
			return nil
		}
		if n > 0 {
			h := hit(r.Code, 0, "%d differences from version %d of %s", n, r.Latest().Version, r.Code)
			h.Mend = "heeltap recall changes --recall " + r.Code
			out = append(out, h)
		}
	}
	return out
}

func roundTimes(b *book) (out []Hit) {
	round, all := 0, 0
	for _, e := range b.entries {
		if e.At == nil || e.At.Day || e.Kind != "transfers" && e.Kind != "additions" && e.Kind != "crops" && e.Kind != "cleans" {
			continue
		}
		all++
		if m := time.Unix(e.At.From, 0).In(b.zone).Minute(); m == 0 || m == 30 {
			round++
		}
	}
	if all >= 50 && float64(round) >= b.limit("round-times.percent")/100*float64(all) {
		out = append(out, hit("site", 0, "%d of %d acts in the cellar are timed at a full or half hour", round, all))
	}
	return out
}

func onePerson(b *book) (out []Hit) {
	most := b.limit("one-person.percent") / 100
	count, all := map[string]int{}, 0
	for _, e := range b.entries {
		if e.At != nil {
			count[e.By]++
			all++
		}
	}
	for _, who := range sortedKeys(count) {
		if all >= 100 && float64(count[who]) > most*float64(all) {
			out = append(out, hit(who, 0, "%s made %d of %d entries", who, count[who], all))
		}
	}
	return out
}

func noExercise(b *book) (out []Hit) {
	if len(b.shipments) == 0 {
		return nil
	}
	days := int(b.limit("no-exercise.days"))
	span := time.Duration(days) * 24 * time.Hour
	first := b.recorded(b.shipments[0].Seq)
	now := b.tx.Recorded()
	all, err := recall.All(b.tx)
	if err != nil || now.Sub(first) < span {
		b.err = cmp.Or(b.err, err)
		return nil
	}
	for _, r := range all {
		if now.Sub(r.OpenedAt) < span {
			return nil
		}
	}
	return []Hit{hit("site", 0, "no mock recall since %s", b.day(now.AddDate(0, 0, -days).Unix()))}
}
