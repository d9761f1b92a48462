package histories

import (
	"fmt"
	"slices"
	"strings"
)

// run records a run, the vessel that most runs draw on, and nothing else.
func (h *history) run(a act) {
	if a.end.half == a.start.half {
		a.end.half += 2
	}
	r := runMade{h.code("RUN"), a.start.half, a.end.half}
	product, good, rejects := "CAN", a.qty, ""
	switch {
	case a.c == 5:
		product = "KEG"
	case a.x%2 == 1:
		product = "STOUT"
	}
	if good = whole(good, "each"); a.c == 4 {
		rejects = "20"
	}
	line := []string{"", "L1", "L2", "L3"}[a.b%4]
	printed := "D" + r.code
	if a.x >= 6 && a.c%2 == 0 { // a repack may have no code of its own
		printed = ""
	}
	h.put("runs", "run", r.code, "product", product, "line", line, "started_at", h.at(a.start), "ended_at", h.at(a.end),
		"date_code", printed, "good", good, "rejects", rejects)
	h.runs = append(h.runs, r)
	if a.x < 6 {
		h.put("feeds", "run", r.code, "from", h.vesselAt(a.a))
	}
}

// span draws an interval about a run: within it, or partly or wholly outside.
func (a act) span(r runMade) (since, until moment) {
	length := r.end - r.start
	s := r.start + (a.a*length)/4 - 1
	e := s + 1 + (a.c*length)/4
	return moment{max(0, s), a.start.day}, moment{e, a.end.day}
}

func (h *history) feed(a act) {
	r, ok := pick(h.runs, a.a)
	from, unit, found := h.source(a, "", "lot vessel unit run")
	if !ok || !found || slices.Contains(strings.Split(from, "|"), r.code) { // no run is fed with its own rejects
		return
	}
	if a.y == 7 {
		from, unit = "HOSE", "L"
	}
	quantity := whole(a.qty2, unit)
	if a.y%2 == 0 || a.y == 7 {
		quantity, unit = "", ""
	}
	s, e := a.span(r)
	since, until, overlap := "", "", ""
	if a.y >= 3 {
		since = h.at(s)
	}
	if a.y == 2 || a.y >= 5 {
		until = h.at(e)
	}
	if a.c >= 4 {
		overlap = []string{"30", "60"}[a.c-4]
	}
	h.put("feeds", "run", r.code, "from", from, "quantity", quantity, "unit", unit, "since", since, "until", until, "overlap_min", overlap, "ref", h.ref())
}

func (h *history) codeChange(a act) {
	r, ok := pick(h.runs, a.b)
	if !ok {
		return
	}
	s, e := a.span(r)
	until := ""
	if a.y >= 4 {
		until = h.at(e)
	}
	h.put("codes", "run", r.code, "date_code", "X"+h.ref(), "since", h.at(s), "until", until, "ref", h.ref())
}

func (h *history) pack(a act) {
	r, ok := pick(h.runs, a.b)
	if !ok {
		return
	}
	s, e := a.span(r)
	if a.c == 0 && a.y < 4 {
		e = s // a window of one moment
	}
	first, last := h.at(s), h.at(e)
	switch a.x {
	case 5:
		first, last = "", ""
	case 6:
		first = ""
	case 7:
		last = ""
	}
	u := unitMade{h.code("U"), "pallet"}
	washed, washer := "", ""
	switch old, ok := pick(h.units, a.a); {
	case a.y == 7 || h.kegs && a.y < 6: // kegs come round again
		u = unitMade{fmt.Sprintf("K%d/%s", a.a%2+1, r.code), "keg"}
		if a.c >= 4 {
			washed = h.at(a.start)
		}
		if a.c%3 == 2 && a.x == 0 {
			washer = "L1"
		}
	case a.y == 6 && ok && old.kind == "pallet":
		u = old
	}
	h.put("units", "unit", u.code, "kind", u.kind, "run", r.code, "quantity", []string{"1", "2", "3", "5", "8", "10"}[a.c], "first_at", first, "last_at", last,
		"washed_at", washed, "washer", washer)
	h.units = append(h.units, u)
}

func (h *history) ship(a act) {
	if a.y < 4 {
		h.shipBulk(a)
		return
	}
	if from, ok := h.someUnit(a); ok {
		h.put("shipments", "shipment", h.code("S"), "unit", from, "quantity", "1", "consignee", "CON", "shipped_at", h.at(a.start))
	}
}

// shipBulk ships some of what a vessel holds, of a lot, or of what is left of a brew.
func (h *history) shipBulk(a act) {
	from, unit, ok := h.source(a, "", "lot vessel")
	if b, is := pick(h.brews, a.b); is && a.y == 3 {
		from, unit, ok = b.code, "kg", true
	}
	if ok {
		h.put("shipments", "shipment", h.code("S"), "unit", from, "quantity", whole(a.qty, unit), "quantity_unit", unit, "consignee", "CON", "shipped_at", h.at(a.start))
	}
}

func (h *history) giveBack(a act) {
	if from, ok := h.someUnit(a); ok {
		h.put("returns", "return", h.code("B"), "unit", from, "quantity", "1", "consignee", "CON", "returned_at", h.at(a.start),
			"state", strings.Fields("full part empty")[a.c%3])
	}
}

func (h *history) someUnit(a act) (string, bool) {
	u, ok := pick(h.units, a.b)
	if h.kegs && a.y < 6 { // what a keg was sent out and came back with
		last := max(0, len(h.units)-3)
		u, ok = pick(h.units[last:], a.b)
	}
	if other, _ := pick(h.units, a.b+1); a.x == 7 && other.code != u.code {
		return u.code + "|" + other.code, ok
	}
	return u.code, ok
}
