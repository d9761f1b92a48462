package trace

import (
	"cmp"
	"maps"
	"slices"
	"strings"
	"time"

	"heeltap/lots"
)

// ConsigneeSum is what one party received of what an answer reached, in one band.
type ConsigneeSum struct {
	Consignee   string
	Band        string
	Rows        int64 // shipments, each of one unit or of one of several
	Quantity    lots.Packages
	First, Last string // when it was shipped: RFC 3339
}

// ByConsignee sums the shipments that carried something affected, or may have, by who received them, in the
// order of their codes, and each surely before possibly.
func (a *Answer) ByConsignee() []ConsigneeSum {
	type key struct{ consignee, band string }
	sums := map[key]*ConsigneeSum{}
	kegs := a.kegUnits()
	for _, s := range a.Carrying() {
		k := key{s.Consignee, s.Band}
		if sums[k] == nil {
			sums[k] = &ConsigneeSum{Consignee: s.Consignee, Band: s.Band, First: s.ShippedAt, Last: s.ShippedAt}
		}
		x := sums[k]
		x.Rows++
		x.Quantity.Add(kegs[s.Unit], float64(s.Quantity))
		x.First, x.Last = min(x.First, s.ShippedAt), max(x.Last, s.ShippedAt)
	}
	out := []ConsigneeSum{}
	for _, k := range slices.SortedFunc(maps.Keys(sums), func(x, y key) int {
		return cmp.Or(cmp.Compare(x.consignee, y.consignee), cmp.Compare(x.band, y.band))
	}) {
		out = append(out, *sums[k])
	}
	return out
}

// kegUnits tells which of the units that were shipped are kegs; one of several goes by the first of them that is reached.
func (a *Answer) kegUnits() map[string]bool {
	kind := map[string]string{}
	for _, u := range a.Units {
		kind[u.Code] = u.Kind
	}
	out := map[string]bool{}
	for _, s := range a.Shipments {
		out[s.Unit] = slices.ContainsFunc(strings.Split(s.Unit, "|"), func(code string) bool { return kind[code] == "keg" })
	}
	return out
}

// PouredSum is what was served from one vessel, in one band.
type PouredSum struct {
	Vessel      string
	Band        string
	ML          float64
	First, Last string // the days, in the site's time
}

// PouredByVessel sums what was served straight from vessels, in the order of their codes, and each surely before possibly.
func (a *Answer) PouredByVessel() []PouredSum {
	if a.asked == nil {
		return []PouredSum{}
	}
	return sumPoured(a.Poured(), a.asked.site.Zone)
}

func sumPoured(list []Poured, zone *time.Location) []PouredSum {
	type key struct{ vessel, band string }
	sums := map[key]*PouredSum{}
	for _, p := range list {
		k := key{p.Vessel, p.Band.String()}
		day := p.At.Text(zone)[:len(time.DateOnly)]
		if sums[k] == nil {
			sums[k] = &PouredSum{Vessel: p.Vessel, Band: k.band, First: day}
		}
		sums[k].ML += p.ML
		sums[k].Last = day
	}
	out := []PouredSum{}
	for _, k := range slices.SortedFunc(maps.Keys(sums), func(x, y key) int {
		return cmp.Or(cmp.Compare(x.vessel, y.vessel), cmp.Compare(x.band, y.band))
	}) {
		out = append(out, *sums[k])
	}
	return out
}
