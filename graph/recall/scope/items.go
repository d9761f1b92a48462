package scope

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"heeltap/graph"
	"heeltap/graph/trace"
	"heeltap/lots"
)

// Item is one thing in a frozen scope.
type Item struct {
	Kind     string `json:"kind"` // lot brew fill run unit consignee
	Code     string `json:"code"`
	Band     string `json:"band"`
	Affected int64  `json:"affected,omitempty"` // cases or kegs of a unit
	// Received is what a consignee received, such as "80 of P-1; 5 of P-2"; the order is that of
	// the units. Versions frozen before it was kept have none.
	Received string `json:"received,omitempty"`
	// Bulk is what a consignee received in bulk, such as "20 hL of BT2 @ S26-0101".
	Bulk string `json:"bulk,omitempty"`
	// Kept is true where the records would let it go, and nobody has signed for that.
	Kept bool `json:"kept,omitempty"`
}

func (i Item) key() string { return i.Kind + " " + i.Code }

// same reports whether an item stands as it stood.
func (i Item) same(old Item) bool {
	if old.Received == "" {
		old.Received = i.Received
	}
	return i == old
}

// State says in a few words how an item stands: its band, what is affected, what was received.
func (i Item) State() string {
	t := i.Band
	if i.Affected > 0 {
		t += fmt.Sprintf(", %d affected", i.Affected)
	}
	if i.Received != "" {
		t += fmt.Sprintf(", %s received", i.Sum())
	}
	for _, b := range i.InBulk() {
		t += fmt.Sprintf(", %s %s in bulk", lots.FigureOf(b.Quantity, b.Unit), b.Unit)
	}
	return t
}

// Units is what a consignee received, by unit; of one of several the units are one name, with | between.
func (i Item) Units() map[string]int64 { return receivedOf(i.Received) }

// Sum is what a consignee received, one of several among it. A keg filling is told by its code, which names its run.
func (i Item) Sum() (sum lots.Packages) {
	for unit, n := range i.Units() {
		_, _, keg := lots.SplitFilling(unit)
		sum.Add(keg, float64(n))
	}
	return sum
}

// ConsigneeIn finds a consignee among items.
func ConsigneeIn(items []Item, party string) (Item, bool) {
	i := slices.IndexFunc(items, func(i Item) bool { return i.Kind == "consignee" && i.Code == party })
	if i < 0 {
		return Item{}, false
	}
	return items[i], true
}

// receivedText writes what was received of units, as items keep it.
func receivedText(units map[string]int64) string {
	var parts []string
	for _, u := range slices.Sorted(maps.Keys(units)) {
		parts = append(parts, fmt.Sprintf("%d of %s", units[u], u))
	}
	return strings.Join(parts, "; ")
}

// receivedOf reads what receivedText wrote.
func receivedOf(text string) map[string]int64 {
	out := map[string]int64{}
	for _, part := range strings.Split(text, "; ") {
		n, unit, _ := strings.Cut(part, " of ")
		if quantity, err := strconv.ParseInt(n, 10, 64); err == nil {
			out[unit] += quantity
		}
	}
	return out
}

// MoreReceived says what a consignee received more or less of, unit by unit, and in bulk.
func MoreReceived(now, old Item) string {
	parts := moreUnits(now.Received, old.Received)
	return strings.Join(append(parts, moreBulk(now.Bulk, old.Bulk)...), ", ")
}

func moreUnits(now, old string) (parts []string) {
	if old == "" || now == old {
		return nil
	}
	delta := receivedOf(now)
	for unit, n := range receivedOf(old) {
		delta[unit] -= n
	}
	for _, unit := range slices.Sorted(maps.Keys(delta)) {
		if delta[unit] != 0 {
			parts = append(parts, fmt.Sprintf("%+d of %s", delta[unit], unit))
		}
	}
	return parts
}

// Items lists a scope as it is frozen: sorted by kind and code.
func (s *Scope) Items() []Item {
	kept := keysOf(s.Kept)
	items := slices.DeleteFunc(itemsOf(s.Answer), func(i Item) bool { return kept[i.key()] })
	return sortItems(append(items, s.Kept...))
}

func sortItems(items []Item) []Item {
	slices.SortFunc(items, func(a, b Item) int { return cmp.Or(cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.Code, b.Code)) })
	return items
}

func keysOf(items []Item) map[string]bool {
	out := map[string]bool{}
	for _, i := range items {
		out[i.key()] = true
	}
	return out
}

func itemsByKey(a *trace.Answer) map[string]Item {
	out := map[string]Item{}
	for _, i := range itemsOf(a) {
		out[i.key()] = i
	}
	return out
}

func itemsOf(a *trace.Answer) []Item {
	var out []Item
	add := func(kind string, at trace.Reached, affected int64) {
		out = append(out, Item{Kind: kind, Code: at.Code, Band: at.Band, Affected: affected})
	}
	for _, x := range a.Lots {
		add("lot", x.Reached, 0)
	}
	for _, x := range a.Brews {
		add("brew", x.Reached, 0)
	}
	for _, x := range a.Fills {
		add("fill", x.Reached, 0)
	}
	for _, x := range a.Runs {
		add("run", x.Reached, 0)
	}
	for _, x := range a.Units {
		add("unit", x.Reached, x.Affected)
	}
	return sortItems(append(out, consigneeItems(a)...))
}

// consigneeItems lists who received anything affected, and how much of which units.
func consigneeItems(a *trace.Answer) []Item {
	bands := map[string]string{}
	units := map[string]map[string]int64{}
	bulk := map[string][]InBulk{}
	for _, x := range a.Bulk {
		if bands[x.Consignee] != graph.In.String() {
			bands[x.Consignee] = x.Band
		}
		bulk[x.Consignee] = append(bulk[x.Consignee], inBulkOf(x))
	}
	for _, x := range a.Carrying() {
		if bands[x.Consignee] != graph.In.String() {
			bands[x.Consignee] = x.Band
		}
		if units[x.Consignee] == nil {
			units[x.Consignee] = map[string]int64{}
		}
		units[x.Consignee][x.Unit] += x.Quantity
	}
	var out []Item
	for code, band := range bands {
		out = append(out, Item{Kind: "consignee", Code: code, Band: band, Received: receivedText(units[code]), Bulk: bulkText(bulk[code])})
	}
	return out
}
