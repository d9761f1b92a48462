package lineage

import (
	"cmp"
	"math"
	"slices"

	"heeltap/lots"
)

// ledgerSource reads a ledger that holds everything; nothing was derived before.
type ledgerSource struct {
	*lots.Ledger
	byEntry map[int64]lots.Record
	lines   map[string][]onLine // sorted by start
	kegs    map[string][]lots.Record
	moments map[[2]string][]moment // by code and sheet, sorted by start
}

// onLine is a run or clearance in the order of its line.
type onLine struct {
	LineSpan
	rec    lots.Record
	maxEnd int64 // latest finish of all up to this one
}

// ledgerLines sorts the runs and clearances of a ledger by line and start.
func ledgerLines(records []lots.Record) map[string][]onLine {
	lines := map[string][]onLine{}
	for _, rec := range records {
		if s, ok := SpanOnLine(rec); ok {
			lines[s.Line] = append(lines[s.Line], onLine{LineSpan: s, rec: rec})
		}
	}
	for _, on := range lines {
		slices.SortStableFunc(on, func(a, b onLine) int { return cmp.Compare(a.Start, b.Start) })
		for i := range on {
			on[i].maxEnd = on[i].Finish
			if i > 0 {
				on[i].maxEnd = max(on[i].maxEnd, on[i-1].maxEnd)
			}
		}
	}
	return lines
}

// LineBefore lists what lies, or may lie, within LineMemory before from and starts by until.
func (s ledgerSource) LineBefore(line string, from, until int64) (out []lots.Record) {
	on := s.lines[line]
	after, _ := slices.BinarySearchFunc(on, until+1, func(x onLine, t int64) int { return cmp.Compare(x.Start, t) })
	reach, ran := int64(math.MinInt64), int64(0)
	for i := after - 1; i >= 0 && ran < LineMemory; i-- {
		if on[i].Finish <= from {
			ran += on[i].Running
		}
		if ran >= LineMemory {
			reach = on[i].Start
		}
	}
	for i := after - 1; i >= 0 && on[i].maxEnd > reach; i-- {
		if on[i].Finish > reach {
			out = append(out, on[i].rec)
		}
	}
	return out
}

func (ledgerSource) LineAfter(string, int64, int64) []lots.Record { return nil } // every run is derived anyway

// Stated is what Source says.
func (s ledgerSource) Stated(code string) (lots.Record, bool) {
	entry, ok := s.Introduces(code)
	if !ok {
		return nil, false
	}
	return s.Record(entry)
}

// moment is a record in the order of what it names.
type moment struct {
	from, to, latest int64 // latest: end of all up to this one
	rec              lots.Record
}

// MomentOf tells what a clean or circulation names and when it was, at the earliest and the latest; false for other records.
func MomentOf(rec lots.Record) (sheet string, codes []string, from, to int64, ok bool) {
	switch r := rec.(type) {
	case *lots.Clean:
		return "cleans", r.Subject.Codes, r.At.From, r.At.To, true
	case *lots.Circulation:
		return "circulations", r.Vessels, r.Started.From, max(r.Started.To, r.Ended.End()), true
	}
	return "", nil, 0, 0, false
}

func ledgerMoments(records []lots.Record) map[[2]string][]moment {
	out := map[[2]string][]moment{}
	for _, rec := range records {
		if sheet, codes, from, to, ok := MomentOf(rec); ok {
			for _, code := range codes {
				out[[2]string{code, sheet}] = append(out[[2]string{code, sheet}], moment{from: from, to: to, rec: rec})
			}
		}
	}
	for _, list := range out {
		slices.SortStableFunc(list, func(a, b moment) int { return cmp.Compare(a.from, b.from) })
		for i := range list {
			list[i].latest = list[i].to
			if i > 0 {
				list[i].latest = max(list[i].latest, list[i-1].latest)
			}
		}
	}
	return out
}

// Moments is what Source says.
func (s ledgerSource) Moments(code, sheet string, from, to int64) (out []lots.Record) {
	list := s.moments[[2]string{code, sheet}]
	after := len(list)
	if to < Ever {
		after, _ = slices.BinarySearchFunc(list, to+1, func(m moment, t int64) int { return cmp.Compare(m.from, t) })
	}
	for i := after - 1; i >= 0 && list[i].latest >= from; i-- {
		if list[i].to >= from {
			out = append(out, list[i].rec)
		}
	}
	slices.SortFunc(out, func(a, b lots.Record) int { return cmp.Compare(a.Entry(), b.Entry()) })
	return out
}

// Feeds is what Source says.
func (s ledgerSource) Feeds(run string) (out []*lots.Feed) {
	for _, rec := range s.Touching(run) {
		if f, ok := rec.(*lots.Feed); ok && f.Run == run {
			out = append(out, f)
		}
	}
	return out
}

// Fillings is what Source says.
func (s ledgerSource) Fillings(keg string) []lots.Record { return s.kegs[keg] }

func (s ledgerSource) Record(entry int64) (lots.Record, bool) {
	r, ok := s.byEntry[entry]
	return r, ok
}

func (ledgerSource) Parts(string, int64, int64) []Part    { return nil }
func (ledgerSource) PartAt(string, int64) (Part, bool)    { return Part{}, false }
func (ledgerSource) PartAfter(string, int64) (Part, bool) { return Part{}, false }
func (ledgerSource) PartDraws(string, int64) []Draw       { return nil }
func (ledgerSource) PartArrivals(string, int64) []Arrival { return nil }
func (ledgerSource) MovesOf(string, int64) []Move         { return nil }
func (ledgerSource) DrawsOf(int64) []Draw                 { return nil }
func (ledgerSource) ArrivalsOf(int64) []Arrival           { return nil }
func (ledgerSource) Passes(string, int64, int64) []Pass   { return nil }
func (ledgerSource) PassesOf(string) []Pass               { return nil }

// DeriveAll derives the whole lineage of a ledger.
func DeriveAll(l *lots.Ledger, limits Limits) (*Delta, error) {
	src := ledgerSource{Ledger: l, byEntry: make(map[int64]lots.Record, len(l.Records())), lines: ledgerLines(l.Records()), kegs: map[string][]lots.Record{}}
	src.moments = ledgerMoments(l.Records())
	for _, r := range l.Records() {
		src.byEntry[r.Entry()] = r
		if p, ok := r.(*lots.Packed); ok && p.UnitKind == "keg" {
			number, _, _ := lots.SplitFilling(p.Unit)
			src.kegs[number] = append(src.kegs[number], r)
		}
	}
	d, err := Derive(src, limits, l.Records())
	if err != nil {
		return nil, err
	}
	var links []Link
	for _, c := range d.Cells {
		links = append(links, c.Links...)
	}
	if ring := FindRing(links); ring != nil {
		return nil, &Ring{ring}
	}
	return d, nil
}
