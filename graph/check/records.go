package check

import (
	"cmp"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"heeltap/graph"
	"heeltap/graph/recall"
	"heeltap/lots"
	"heeltap/lots/store"
)

func recordRules() []Rule {
	return []Rule{
		{"late-entry", Widens, "the scope of the last days is incomplete until it is entered (27 CFR 25.291 asks for the next business day, or the third)", "enter acts on the day", lateEntry},
		{"recall-scope-changed", Misses, "what was recorded since changes an open recall: somebody may have to be told", "heeltap recall changes, then heeltap recall freeze", recallScopeChanged},
		{"round-times", Slows, "nearly all times are full or half hours: written from memory", "note the time when it happens", roundTimes},
		{"one-person", Slows, "one person makes nearly all entries: nobody else knows how", "let a second person enter and trace", onePerson},
		{"no-exercise", Slows, "no recall was rehearsed for a year (food safety schemes ask for one a year)", "heeltap recall open --mock --surprise", noExercise},
	}
}

// workdays counts the working days that lie between two moments.
func workdays(from, to time.Time) int {
	n := 0
	for d := from.AddDate(0, 0, 1); !d.After(to) && n < 400; d = d.AddDate(0, 0, 1) {
		if w := d.Weekday(); w != time.Saturday && w != time.Sunday {
			n++
		}
	}
	return n
}

func lateEntry(b *book) (out []Hit) {
	most := int(b.limit("late-entry.days", 3))
	for _, entry := range b.sorted() {
		e := b.entries[entry]
		if e == nil || e.At == nil || e.Kind == "receipts" || e.Kind == "holds" {
			continue
		}
		at := time.Unix(e.At.To, 0)
		if n := workdays(at, e.Recorded); n > most {
			out = append(out, hit(b.codeOf(entry), entry, "the %s of %s was entered %d working days later", b.nounOf(entry), b.stamp(e.At.From), n))
		}
	}
	return out
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
		return nil
	}
	for _, r := range all {
		if !r.Open || r.Latest() == nil {
			continue
		}
		n, err := r.Drift(b.tx)
		if err == nil && n > 0 {
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
	if all >= 50 && float64(round) >= 0.95*float64(all) {
		out = append(out, hit("site", 0, "%d of %d acts in the cellar happened at a full or half hour", round, all))
	}
	return out
}

func onePerson(b *book) (out []Hit) {
	count, all := map[string]int{}, 0
	for _, e := range b.entries {
		if e.At != nil {
			count[e.By]++
			all++
		}
	}
	for _, who := range sortedKeys(count) {
		if all >= 100 && float64(count[who]) > 0.8*float64(all) {
			out = append(out, hit(who, 0, "%s made %d of %d entries", who, count[who], all))
		}
	}
	return out
}

func noExercise(b *book) (out []Hit) {
	if len(b.shipments) == 0 {
		return nil
	}
	first := b.recorded(b.shipments[0].Seq)
	now := b.tx.Recorded()
	all, err := recall.All(b.tx)
	if err != nil || now.Sub(first) < 366*24*time.Hour {
		return nil
	}
	for _, r := range all {
		if now.Sub(r.OpenedAt) < 366*24*time.Hour {
			return nil
		}
	}
	return []Hit{hit("site", 0, "no recall was rehearsed since %s", b.day(now.AddDate(-1, 0, 0).Unix()))}
}

// headline sums the records' readiness up.
func (b *book) headline() Headline {
	var h Headline
	complete := map[string]bool{}
	all, good, recent, recentGood := 0.0, 0.0, 0.0, 0.0
	edge := b.lastShipped().AddDate(0, 0, -90).Unix()
	for _, s := range b.shipments {
		ok := !s.Unit.OneOf()
		for _, u := range s.Unit.Codes {
			if _, known := complete[u]; !known {
				complete[u] = b.completeBack(u)
			}
			ok = ok && complete[u]
		}
		n := float64(s.Quantity)
		all += n
		if ok {
			good += n
		}
		if s.At.From >= edge {
			if recent += n; ok {
				recentGood += n
			}
		}
	}
	h.Shipped, h.Backwards, h.Recent = all, share(good, all), share(recentGood, recent)
	used, whole := 0.0, 0.0
	loose := map[string]bool{}
	for _, x := range casesOnNoUnit(b) {
		loose[x.Code] = true
	}
	for _, r := range b.receipts {
		reached, gap := 0, false
		for n := range b.from(r.Lot).All() {
			if reached++; n.Run != "" && loose[n.Run] {
				gap = true
			}
		}
		if reached > 1 {
			if used++; !gap {
				whole++
			}
		}
	}
	h.Used, h.Forwards = used, share(whole, used)
	h.Delay = b.delay()
	h.Chain, h.ChainUnits = b.longestChain()
	return h
}

func share(part, whole float64) float64 {
	if whole == 0 {
		return 0
	}
	return lots.Nine(100 * part / whole)
}

func (b *book) lastShipped() time.Time {
	var last int64
	for _, s := range b.shipments {
		last = max(last, s.At.From)
	}
	return time.Unix(last, 0)
}

// completeBack reports whether a unit leads back over content to a tank, and to malt, hops and yeast.
func (b *book) completeBack(unit string) bool {
	q := graph.Query{Dir: graph.Back}
	for _, id := range b.nodes[unit] {
		q.Starts = append(q.Starts, graph.Start{ID: id})
	}
	found := map[string]bool{}
	for n, band := range b.g.Walk(q).All() {
		if band != graph.In {
			continue
		}
		switch n.Kind {
		case graph.Brew:
			found["brew"] = true
		case graph.Fill:
			found["tank"] = true
		case graph.Lot:
			found[b.kindOf(n.Code)] = true
		}
	}
	return found["brew"] && found["tank"] && found["malt"] && found["hop"] && found["yeast"]
}

// delay is the median time from an act to its entry, in hours.
func (b *book) delay() float64 {
	var all []float64
	for _, e := range b.entries {
		if e.At != nil && !e.At.Day {
			all = append(all, max(0, e.Recorded.Sub(time.Unix(e.At.From, 0)).Hours()))
		}
	}
	if len(all) == 0 {
		return 0
	}
	slices.Sort(all)
	return lots.Nine(float64(int(all[len(all)/2]*10)) / 10)
}

// longestChain finds the vessel whose longest chain of fills without a break most units hang on.
func (b *book) longestChain() (vessel string, units int) {
	for _, code := range sortedKeys(b.vessels) {
		if k := b.vessels[code].Kind; k == "gas" || k == "path" {
			continue
		}
		follows := map[int64]bool{}
		for l := range b.g.Links() {
			from, to := b.g.Node(l.Src).Code, b.g.Node(l.Dst).Code
			if strings.HasPrefix(from, code+"@") && strings.HasPrefix(to, code+"@") {
				follows[l.Dst] = true
			}
		}
		for _, id := range b.nodes[code] {
			if follows[id] { // goes on a chain that began before
				continue
			}
			n := 0
			for x := range b.g.Walk(graph.Query{Dir: graph.Forward, Starts: []graph.Start{{ID: id}}}).All() {
				if x.Kind == graph.Unit {
					n++
				}
			}
			if n > units {
				vessel, units = b.g.Node(id).Code, n
			}
		}
	}
	return vessel, units
}

// Mute is somebody's word that hits are known and may stand until a day.
type Mute struct {
	Rule   string `json:"rule"`
	Code   string `json:"code"` // empty: every hit of the rule
	Reason string `json:"reason"`
	Until  string `json:"until"` // date
	By     string `json:"by"`
}

const aboutMutes = "check"

// Silence records a mute.
func Silence(tx *store.Tx, m Mute) error {
	if !slices.ContainsFunc(Rules(), func(r Rule) bool { return r.Name == m.Rule }) {
		return lots.Errorf(lots.NotFound, "there is no rule %s; heeltap check --list shows them all", m.Rule)
	}
	if strings.TrimSpace(m.Reason) == "" {
		return lots.Errorf(lots.Invalid, "a mute needs a reason: --reason TEXT")
	}
	until, err := time.ParseInLocation(time.DateOnly, m.Until, tx.Site().Zone)
	if err != nil || !until.After(tx.Recorded()) {
		return lots.Errorf(lots.Invalid, "a mute needs a day on which it ends, ahead of today: --until 2026-12-31")
	}
	_, err = tx.Act(aboutMutes, m, m.By)
	return err
}

type mutes []Mute

// Mutes reads every mute, in order.
func Mutes(tx *store.Tx) (mutes, error) {
	var out mutes
	err := tx.Acts(aboutMutes, func(e *store.Entry, step []byte) error {
		var m Mute
		if err := json.Unmarshal(step, &m); err != nil {
			return lots.Errorf(lots.Corrupt, "entry %d can not be read: %w", e.Seq, err)
		}
		out = append(out, m)
		return nil
	})
	return out, err
}

// why says by which mute a hit is silent; empty where it is not, or the mute has run out.
func (m mutes) why(h Hit, now time.Time) string {
	for _, x := range slices.Backward(m) {
		until, err := time.Parse(time.DateOnly, x.Until)
		if x.Rule == h.Rule && (x.Code == "" || x.Code == h.Code) && err == nil && now.Before(until.AddDate(0, 0, 1)) {
			return fmt.Sprintf("%s (%s, until %s)", x.Reason, x.By, x.Until)
		}
	}
	return ""
}
