package check

import (
	"strconv"

	"heeltap/lots/store"
)

// Limit is a number that a site may set for itself: heeltap set site check.NAME VALUE.
type Limit struct {
	Name    string  `json:"name"` // the setting is check.NAME
	Default float64 `json:"default"`
	Of      string  `json:"of"` // what it bounds
}

// Limits lists them.
func Limits() []Limit {
	return []Limit{
		{"above-capacity.percent", 2, "above what a vessel can hold"},
		{"addition-to-empty.hours", 48, "that an addition may wait in an empty tank for its beer"},
		{"cellar-silent.days", 14, "with runs or shipments and no act in the cellar"},
		{"cleaned-with-beer-in.percent", 5, "of a fill that a clean may find"},
		{"count-differs.percent", 2, "between a count of a unit or lot and the books"},
		{"count-differs.vessel-percent", 5, "between a count of a vessel and the books"},
		{"filled-not-empty.hours", 12, "between two inflows that are one filling"},
		{"late-entry.days", 3, "working days until an act is entered"},
		{"late-receipt.hours", 24, "until a receipt is entered"},
		{"no-exercise.days", 366, "between two recalls, rehearsed or real"},
		{"one-person.percent", 80, "of all entries by one person"},
		{"parts-do-not-fit.percent", 10, "more parts fed than were filled"},
		{"rest-not-seen.days", 60, "that a rest of a lot may lie unused and uncounted"},
		{"round-times.percent", 95, "of the cellar's acts at a full or half hour"},
		{"run-above-tank.percent", 1, "more filled than drawn"},
		{"run-below-tank.percent", 15, "less filled than drawn"},
		{"run-too-fast.percent", 10, "above the line's rate"},
		{"run-too-slow.percent", 70, "below the line's rate"},
		{"store-never-emptied.days", 365, "that a delivery may be in a silo or tank with no clean"},
		{"store-never-emptied.lots", 4, "deliveries in a silo or tank with no clean"},
		{"tank-age.days", 365, "from cast-out to packing, at most"},
		{"tank-age.least-days", 1, "from cast-out to packing, at least"},
		{"transfer-gain.percent", 2, "more that came in than went out"},
		{"transfer-loss.percent", 15, "of a transfer lost on the way"},
		{"turns-far-apart.hours", 48, "between two brews of one fermenter"},
		{"usual-lot-missing.percent", 90, "of a product's other runs with a kind of lot behind them"},
	}
}

// limit is what the site set, or the default.
func (b *book) limit(name string) float64 {
	for _, l := range Limits() {
		if l.Name != name {
			continue
		}
		if n, err := strconv.ParseFloat(b.tx.Setting(store.SiteSettings, "check."+name), 64); err == nil && n > 0 {
			return n
		}
		return l.Default
	}
	panic("no limit is called " + name)
}
