package histories

import (
	"fmt"
	"math/bits"
	"strconv"
	"strings"

	"pgregory.net/rapid"
)

// act is one thing that happens, drawn without regard to what stands before
// it, so that any act of a history can be left out when it is made smaller.
type act struct {
	kind       string
	a, b, c    int // which of the things there are
	qty, qty2  string
	start, end moment
	x, y       int // choices of the kind, the plainest first
}

// moment is a time in half hours since the first day's midnight.
type moment struct {
	half int
	day  bool
}

const (
	perDay  = 48
	minutes = 30
)

// actKinds favours what fills, moves and packs.
func actKinds() []string {
	return strings.Fields("nothing receive receive receive brew brew brew brew split input input input add add add transfer transfer transfer transfer " +
		"transfer transfer circulate circulate circulate crop crop clean clean clean remove remove remove empty run run run run feed feed feed feed feed feed " +
		"feed feed code unit unit unit unit unit unit ship ship ship return count cleanline cleanline tip tip tip")
}

// kegKinds favours filling kegs, and what became of them.
func kegKinds() []string {
	return strings.Fields("nothing receive brew add transfer remove remove run run run run run feed feed " +
		"unit unit unit unit unit unit unit unit unit unit unit unit ship ship ship ship return return return return")
}

func quantities() []string { return strings.Fields("100 50 200 400 1 0.4 210 25") }

// even draws an index below n, each about as often as another; a smaller history
// has smaller ones. (rapid's own ranges favour their ends.)
func even(n int) *rapid.Generator[int] {
	bit := rapid.Bool()
	return rapid.Custom(func(t *rapid.T) int {
		i := 0
		for range bits.Len(uint(n-1)) + 1 {
			i *= 2
			if bit.Draw(t, "bit") {
				i++
			}
		}
		return i % n
	})
}

func evenFrom[T any](from []T) *rapid.Generator[T] {
	return rapid.Map(even(len(from)), func(i int) T { return from[i] })
}

func drawAct(kinds []string) *rapid.Generator[act] {
	kind, qty := evenFrom(kinds), evenFrom(quantities())
	which, choice := even(6), even(8)
	// Hours of the working day that every clock shows once.
	day, hour := evenFrom([]int{0, perDay, 2 * perDay, 0}), evenFrom([]int{16, 18, 20, 22, 24, 28, 32, 40})
	start := rapid.Custom(func(t *rapid.T) int { return day.Draw(t, "day") + hour.Draw(t, "hour") })
	length := evenFrom([]int{2, 0, 4, 1, 6})
	return rapid.Custom(func(t *rapid.T) act {
		a := act{kind: kind.Draw(t, "kind"), a: which.Draw(t, "a"), b: which.Draw(t, "b"), c: which.Draw(t, "c"),
			qty: qty.Draw(t, "quantity"), qty2: qty.Draw(t, "other quantity"), x: choice.Draw(t, "x"), y: choice.Draw(t, "y")}
		s := start.Draw(t, "start")
		a.start = moment{s, choice.Draw(t, "bare start") == 7}
		a.end = moment{s + length.Draw(t, "length"), choice.Draw(t, "bare end") == 7}
		return a
	})
}

// at writes a moment.
func (h *history) at(m moment) string {
	day := h.days[min(m.half/perDay, len(h.days)-1)]
	if m.day {
		return day
	}
	hour, minute := m.half%perDay/2, m.half%2*minutes
	if hour == 2 && h.days[0] == weeks[0][0] { // clocks may skip this hour: keep the order of times
		hour, minute = 1, 50+minute/6
	}
	return fmt.Sprintf("%s %02d:%02d", day, hour, minute)
}

func pick[T any](from []T, n int) (T, bool) {
	var none T
	if len(from) == 0 {
		return none, false
	}
	return from[n%len(from)], true
}

// do records what one act says, or nothing where it names what there is none of.
func (h *history) do(a act) {
	acts := map[string]func(act){
		"receive": h.receive, "brew": h.brew, "split": h.split, "input": h.input, "add": h.add, "transfer": h.transfer,
		"circulate": h.circulate, "crop": h.crop, "clean": h.clean, "cleanline": h.cleanLine, "remove": h.remove, "empty": h.empty,
		"run": h.run, "feed": h.feed, "code": h.codeChange, "unit": h.pack, "ship": h.ship, "return": h.giveBack, "count": h.count, "tip": h.tip,
	}
	h.n++
	if act := acts[a.kind]; act != nil {
		act(a)
	}
}

func (h *history) ref() string { return strconv.Itoa(h.n) }

func (h *history) vesselAt(n int) string { return h.vessels[n%len(h.vessels)] }

func (h *history) receive(a act) {
	i := items[(a.a+a.x)%len(items)]
	into := ""
	if i.unit != "each" && a.y >= 5 {
		into = h.vesselAt(a.b)
	}
	l := lotMade{h.code("LOT"), i.unit, into}
	h.put("receipts", "lot", l.code, "item", i.code, "supplier", "SUP", "supplier_lot", l.code, "quantity", whole(a.qty, i.unit), "unit", i.unit,
		"received_at", h.at(a.start), "into", into)
	h.lots = append(h.lots, l)
}

// whole writes a quantity that its unit allows.
func whole(qty, unit string) string {
	if unit == "each" || unit == "case" {
		qty, _, _ = strings.Cut(qty, ".")
		if qty == "0" {
			return "1"
		}
	}
	return qty
}

func (h *history) brew(a act) {
	b := brewMade{h.code("BREW"), a.start, a.end}
	h.brews = append(h.brews, b)
	h.castInto(b, a)
}

func (h *history) split(a act) {
	if b, ok := pick(h.brews, a.b); ok {
		h.castInto(b, a)
	}
}

func (h *history) castInto(b brewMade, a act) {
	h.put("brews", "brew", b.code, "beer", "Pale", "started_at", h.at(b.start), "cast_out_at", h.at(b.end), "into", h.vesselAt(a.a),
		"volume", a.qty, "unit", "L")
}

// source draws what a row comes from and a unit that fits it: a vessel, a lot, a unit, or one of two of a kind.
func (h *history) source(a act, not string, kinds string) (from, unit string, ok bool) {
	choice := []string{"vessel", "lot", "lot", "vessel", "unit", "vessels", "lots", "units"}[a.x]
	if !strings.Contains(kinds, strings.TrimSuffix(choice, "s")) {
		choice = "vessel"
	}
	switch choice {
	case "vessel", "vessels":
		from = h.vesselAt(a.b)
		if from == not {
			return "", "", false
		}
		if other := h.vesselAt(a.b + 1 + a.c); choice == "vessels" && other != not && other != from {
			from += "|" + other
		}
		return from, []string{"L", "kg"}[a.c%2], true
	case "lot", "lots":
		l, ok := pick(h.lots, a.b)
		if other, _ := pick(h.lots, a.b+1+a.c); choice == "lots" && other.code != l.code && other.unit == l.unit {
			return l.code + "|" + other.code, l.unit, ok
		}
		return l.code, l.unit, ok
	}
	if r, ok := pick(h.runs, a.b); ok && a.c >= 3 && strings.Contains(kinds, "run") {
		if other, _ := pick(h.runs, a.b+1+a.c); choice == "units" && other.code != r.code {
			return r.code + "|" + other.code, "each", true
		}
		return r.code, []string{"each", "L", "case"}[a.c%3], true
	}
	u, ok := pick(h.units, a.b)
	if other, _ := pick(h.units, a.b+1+a.c); choice == "units" && other.code != u.code {
		return u.code + "|" + other.code, "case", ok
	}
	return u.code, []string{"case", "L", "each"}[a.c%3], ok
}

func (h *history) input(a act) {
	b, ok := pick(h.brews, a.a)
	from, unit, found := h.source(a, "", "lot vessel")
	if !ok || !found {
		return
	}
	stage, at := []string{"", "mash", "boil", "cast-out", "pitch"}[a.y%5], ""
	if a.y >= 6 {
		at = h.at(a.start)
	}
	h.put("brew_inputs", "brew", b.code, "from", from, "quantity", whole(a.qty2, unit), "unit", unit, "at", at, "stage", stage, "ref", h.ref())
}

func (h *history) add(a act) {
	to := h.vesselAt(a.a)
	from, unit, ok := h.source(a, to, "lot vessel unit run")
	if !ok {
		return
	}
	volume, volumeUnit := "", ""
	if a.y >= 6 {
		volume, volumeUnit = a.qty2, "L"
	}
	h.put("additions", "vessel", to, "from", from, "quantity", whole(a.qty, unit), "unit", unit, "at", h.at(a.start),
		"volume", volume, "volume_unit", volumeUnit, "ref", h.ref())
}

func (h *history) transfer(a act) {
	n, m := a.a%len(h.vessels), a.b%len(h.vessels)
	if a.c != 0 && n < m { // most go one way, as beer does: fewer rings
		n, m = m, n
	}
	to, from := h.vessels[n], h.vessels[m]
	if to == from {
		return
	}
	if other := h.vesselAt(a.b + 1 + a.c); a.x == 7 && other != to && other != from {
		from += "|" + other
	}
	in := a.qty
	if a.x == 6 {
		in = a.qty2
	}
	via := []string{"", "", "", "L1", "HOSE", "L2", "HOSE;L2", "HOSE"}[a.y]
	h.put("transfers", "transfer", h.code("T"), "from", from, "to", to, "out", a.qty, "in", in, "unit", "L",
		"started_at", h.at(a.start), "ended_at", h.at(a.end), "via", via)
}

func (h *history) circulate(a act) {
	one, two, three := h.vesselAt(a.a), h.vesselAt(a.a+1), h.vesselAt(a.a+2)
	if one == two {
		return
	}
	both := one + ";" + two
	if a.x >= 6 && three != one && three != two {
		both += ";" + three
	}
	h.put("circulations", "vessels", both, "started_at", h.at(a.start), "ended_at", h.at(a.end), "perhaps", []string{"", "yes", "yes", "no"}[a.y%4], "ref", h.ref())
}

func (h *history) crop(a act) {
	l := lotMade{h.code("CROP"), []string{"kg", "L"}[a.c%2], ""}
	from := h.vesselAt(a.a)
	if into := h.vesselAt(a.b); a.y >= 4 && into != from {
		l.into = into
	}
	h.put("crops", "lot", l.code, "item", "YEAST", "vessel", from, "quantity", a.qty, "unit", l.unit, "at", h.at(a.start), "into", l.into)
	h.lots = append(h.lots, l)
}

func (h *history) clean(a act) {
	method := []string{"cip", "manual", "cip", "cip", "manual", "rinse", "purge", "cip"}[a.x]
	verified := ""
	if a.y == 7 {
		verified = "no"
	}
	vessel := h.vesselAt(a.a)
	if a.c == 5 {
		vessel = []string{"HOSE", "L1", "L2"}[a.y%3]
	}
	h.put("cleans", "vessel", vessel, "at", h.at(a.start), "method", method, "verified", verified, "from", h.cleaner(a, vessel), "ref", h.ref())
}

// cleaner draws what something was cleaned with; mostly a lot, now and then a vessel, and nothing.
func (h *history) cleaner(a act, cleaned string) string {
	if a.qty == "100" || a.qty == "210" {
		return ""
	}
	from, _, _ := h.source(a, cleaned, "lot vessel")
	return from
}

func (h *history) cleanLine(a act) {
	if a.x%2 == 1 {
		h.put("clearances", "line", []string{"L2", "L3"}[a.c%2], "at", h.at(a.start), "ref", h.ref())
		return
	}
	line := []string{"L2", "L3", "L2", "L1"}[a.c%4]
	h.put("cleans", "vessel", line, "at", h.at(a.start), "method", "cip", "from", h.cleaner(a, line), "ref", h.ref())
}

func (h *history) empty(a act) {
	h.put("removals", "subject", h.vesselAt(a.a), "quantity", "all", "at", h.at(a.start), "reason", "dumped", "ref", h.ref())
}

func (h *history) remove(a act) {
	if from, unit, ok := h.source(a, "", "lot vessel unit"); ok {
		h.put("removals", "subject", from, "quantity", whole(a.qty, unit), "unit", unit, "at", h.at(a.start), "reason", "loss", "ref", h.ref())
	}
}

func (h *history) count(a act) {
	h.put("counts", "subject", h.vesselAt(a.a), "quantity", a.qty, "unit", "L", "at", h.at(a.start), "ref", h.ref())
}

// tip puts some of a lot, or of one of two, back into another that is counted alike.
func (h *history) tip(a act) {
	beside := func(unit string) (out []lotMade) {
		for _, l := range h.lots {
			if l.into == "" && (unit == "" || l.unit == unit) {
				out = append(out, l)
			}
		}
		return out
	}
	into, ok := pick(beside(""), a.a)
	if !ok {
		return
	}
	like := beside(into.unit)
	from, _ := pick(like, a.b)
	if from.code == into.code {
		return
	}
	code := from.code
	if other, _ := pick(like, a.c); a.x == 7 && other.code != from.code && other.code != into.code {
		code += "|" + other.code
	}
	h.put("tippings", "from", code, "into", into.code, "quantity", whole(a.qty, into.unit), "at", h.at(a.start), "ref", h.ref())
}
