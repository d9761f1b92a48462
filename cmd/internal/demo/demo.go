// Package demo holds fourteen months of an invented brewery: Tidewick, on an island that does not exist.
//
// It knows how such a brewery works and what its people would have written down,
// late entries, corrections and gaps included, and nothing of what heeltap makes of it.
// Every call gives the same history.
//
// The gaps are honest ones and meant: a bright tank filled again over what was left of a
// milk stout without a clean, a can run of which some cases are on no pallet, a lot
// without a supplier's lot, a brink used on without a clean, a pallet shipped as one of two.
package demo

import (
	"cmp"
	"fmt"
	"math/rand/v2"
	"slices"
	"time"

	"heeltap/lots"
)

// Entry is one thing somebody typed in: a row, or the correction of one.
type Entry struct {
	Recorded time.Time
	By       string
	Sheet    string
	Row      lots.Row
	Fix      *Fix
}

// Fix corrects the row that a code or ref names; without Set it takes the row back.
type Fix struct {
	Name   string
	Set    map[string]string
	Reason string
}

// Zone is where the brewery stands.
const Zone = "Europe/Copenhagen"

// Brewery gives the whole history in the order in which it was typed in. It ends when its last tank is empty.
func Brewery() []Entry { return story(newBook(days, 1842), 3) }

// AtWork is the same history with its last batches still in their tanks, for those who want to work on in it.
func AtWork() []Entry { return story(newBook(days, 1842), 0) }

// newBook begins the book of so many days.
func newBook(days int, seed uint64) *book {
	zone, err := time.LoadLocation(Zone)
	if err != nil {
		panic(err) // the zones are built in
	}
	return &book{zone: zone, days: days, begin: time.Date(2025, time.January, 6, 0, 0, 0, 0, zone), rng: rand.New(rand.NewPCG(seed, 7)), stock: map[string][]*lot{}, numbers: map[string]int{}, open: map[string]*pallet{}, free: map[string]time.Time{}, count: map[string]int{}}
}

// story is the brewery's until its end, with the last batches begun some weeks before.
func story(b *book, weeksBefore int) []Entry {
	b.reference()
	b.fillPool()
	b.plan(weeksBefore)
	b.live()
	b.load()
	b.mishaps()
	return inOrder(b.entries)
}

// inOrder sorts entries by the moment at which they were typed in.
func inOrder(entries []Entry) []Entry {
	slices.SortStableFunc(entries, func(x, y Entry) int { return cmp.Compare(x.Recorded.Unix(), y.Recorded.Unix()) })
	return entries
}

// book is a history being written, one event after the other in order of time.
type book struct {
	zone    *time.Location
	days    int       // how long the history is
	begin   time.Time // the first Monday of the history, at midnight
	rng     *rand.Rand
	entries []Entry
	events  []event
	stock   map[string][]*lot
	numbers map[string]int

	silo       float64 // kg left
	drawn      []draw  // from the silo
	deliveries int     // into the silo
	yeast      [4]strain
	nextBright int
	sweep      bool                 // each fifth delivery goes into a swept silo, and the gas tank is cleaned each year
	dirty      string               // bright tank to be filled without a clean
	free       map[string]time.Time // when each line is free again
	open       map[string]*pallet   // part pallet of each product that waits to be topped up
	kegs       []*keg
	loads      []loaded
	fermenting []*batch
	count      map[string]int
}

// event is something that happens at a time.
type event struct {
	at time.Time
	do func(time.Time)
}

// later has something happen; what was planned first comes first at one moment.
func (b *book) later(at time.Time, do func(time.Time)) {
	i, _ := slices.BinarySearchFunc(b.events, at, func(e event, t time.Time) int {
		if e.at.After(t) {
			return 1
		}
		return -1
	})
	b.events = slices.Insert(b.events, i, event{at, do})
}

// live lets everything happen until the history ends.
func (b *book) live() {
	for end := b.day(b.days, 0, 0); len(b.events) > 0 && b.events[0].at.Before(end); {
		e := b.events[0]
		b.events = b.events[1:]
		e.do(e.at)
	}
}

// days is how long the brewery's history is: fourteen months.
const days = 425

// day gives a moment of a day counted from the first Monday of the history.
func (b *book) day(n int, hour, minute int) time.Time {
	y, m, d := b.begin.Date()
	return time.Date(y, m, d+n, hour, minute, 0, 0, b.zone)
}

func (b *book) at(t time.Time) string { return t.In(b.zone).Format("2006-01-02 15:04") }

func (b *book) date(t time.Time) string { return t.In(b.zone).Format(time.DateOnly) }

// write puts a row into the book; it is typed in on the evening of the day it happened.
func (b *book) write(when time.Time, by, sheet string, cells ...string) *Entry {
	row := lots.Row{}
	for i := 0; i+1 < len(cells); i += 2 {
		if cells[i+1] != "" {
			row[cells[i]] = cells[i+1]
		}
	}
	s, ok := lots.SheetNamed(sheet)
	if !ok {
		panic("no sheet " + sheet)
	}
	if s.Has("by") {
		row["by"] = by
	}
	y, m, d := when.In(b.zone).Date()
	evening := time.Date(y, m, d, 19, 0, 0, 0, b.zone)
	if when.After(evening) {
		evening = when.Add(time.Hour)
	}
	b.entries = append(b.entries, Entry{Recorded: evening, By: by, Sheet: sheet, Row: row})
	return &b.entries[len(b.entries)-1]
}

// fix corrects a row some days after it was written.
func (b *book) fix(when time.Time, by, name, reason string, set map[string]string) {
	b.entries = append(b.entries, Entry{Recorded: when, By: by, Fix: &Fix{name, set, reason}})
}

// number gives the next code of a letter and year.
func (b *book) number(letter string, t time.Time) string {
	prefix := letter + t.In(b.zone).Format("06") + "-"
	b.numbers[prefix]++
	return fmt.Sprintf("%s%04d", prefix, b.numbers[prefix])
}

// times counts how often something was done before, by name.
func (b *book) times(what string) int {
	b.count[what]++
	return b.count[what]
}

func (b *book) pick(names ...string) string { return names[b.rng.IntN(len(names))] }

// The people who write things down.
const (
	clerk   = "Maren"
	brewer  = "Oda"
	cellar  = "Jesper"
	packer  = "Runa"
	shipper = "Tove"
	quality = "Signe"
)

func (b *book) reference() {
	t := b.day(-3, 9, 0)
	w := func(sheet string, cells ...string) { b.write(t, quality, sheet, cells...) }
	w("site", "name", "Tidewick Brewery (invented)", "time_zone", Zone, "volume_unit", "hL", "mass_unit", "kg")
	for _, x := range items {
		w("items", "item", x.code, "name", x.name, "kind", x.kind, "unit", x.unit, "allergens", x.allergens, "extract_pct", x.extract)
	}
	for _, x := range parties {
		w("parties", "party", x[0], "name", x[1], "role", x[2], "channel", x[3], "contact", x[4], "phone", "555-01"+x[0][len(x[0])-2:],
			"email", "desk@"+x[5]+".example", "address", x[6])
	}
	for _, x := range vessels {
		w("vessels", "vessel", x[0], "kind", x[1], "capacity", x[2], "unit", x[3], "site", x[4])
	}
	for _, x := range lines {
		w("lines", "line", x[0], "rate_per_min", x[1], "margin_min", x[2], "overlap_min", x[3], "residue", x[4])
	}
	for i, x := range products {
		w("products", "product", x.code, "name", x.name, "beer", x.beer, "container_ml", fmt.Sprint(x.ml), "per_case", fmt.Sprint(x.perCase),
			"cases_per_pallet", orNone(x.perPallet), "gtin", checked(fmt.Sprintf("%s%05d", demoPrefix, 101+i)), "declares", x.declares, "shelf_life_days", fmt.Sprint(x.shelf), "date_code", x.pattern)
	}
}

func orNone(n int) string {
	if n == 0 {
		return ""
	}
	return fmt.Sprint(n)
}
