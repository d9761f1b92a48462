package lineage

import "heeltap/lots"

// ledgerSource reads a ledger that holds everything; nothing was derived before.
type ledgerSource struct {
	*lots.Ledger
	byEntry map[int64]lots.Record
}

func (s ledgerSource) Record(entry int64) (lots.Record, bool) {
	r, ok := s.byEntry[entry]
	return r, ok
}

func (ledgerSource) VesselDraws(string) []Draw       { return nil }
func (ledgerSource) VesselArrivals(string) []Arrival { return nil }
func (ledgerSource) DrawsOf(int64) []Draw            { return nil }
func (ledgerSource) ArrivalsOf(int64) []Arrival      { return nil }
func (ledgerSource) PassesThrough(string) []Pass     { return nil }

// DeriveAll derives the whole lineage of a ledger.
func DeriveAll(l *lots.Ledger, limits Limits) (*Delta, error) {
	src := ledgerSource{Ledger: l, byEntry: make(map[int64]lots.Record, len(l.Records()))}
	for _, r := range l.Records() {
		src.byEntry[r.Entry()] = r
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
