package demo

import (
	"fmt"
	"strings"
	"time"
)

// Grown is how large a history is wanted: for measuring what grows with it, and what should not.
type Grown struct {
	Sites int
	Years int
	Seed  uint64
}

// History gives a history of that size: each site brews, packs and ships for so many years as Tidewick does, with
// vessels, lines, lots, runs and pallets of its own (their codes begin with the site's), to the same parties. What
// goes wrong in Tidewick goes wrong at each site, and what happens every few weeks in any house, deliveries held for a day,
// supplier's lots misread and cleans written down late, goes on for all the years. It ends when Tidewick's does. The same size and seed give the same history.
func History(size Grown) []Entry {
	var all []Entry
	for site := range size.Sites {
		b := newBook(size.Years*365, size.Seed+uint64(site))
		b.begin = b.begin.AddDate(0, 0, -(b.days-days)/7*7) // they all end when Tidewick's does
		b.sweep = true
		for emptied := 0; emptied < b.days/60; emptied += 6 { // an hour before it is filled
			b.later(b.day(emptied*60, 10, 0), func(at time.Time) { b.clean("CO2-TANK", at, "") })
		}
		entries := story(b, 3)
		b.entries = nil
		b.allTheYears(entries)
		entries = append(entries, b.entries...)
		if site > 0 {
			entries = elsewhere(entries, fmt.Sprintf("N%d-", site+1))
		}
		all = append(all, entries...)
	}
	return inOrder(all)
}

// allTheYears adds what goes on going wrong, beyond what happens once.
func (b *book) allTheYears(entries []Entry) {
	var received, cleaned int
	for i := range entries {
		e := &entries[i]
		switch {
		case e.Sheet == "receipts" && e.Row["status"] == "accepted":
			switch received++; received % 60 {
			case 20, 50:
				b.heldForADay(e)
			case 40:
				b.putRight(e)
			}
		case e.Sheet == "cleans":
			if cleaned++; cleaned%250 == 0 {
				e.Recorded = e.Recorded.AddDate(0, 0, 12)
			}
		}
	}
}

func (b *book) heldForADay(e *Entry) {
	came, err := time.ParseInLocation("2006-01-02 15:04", e.Row["received_at"], b.zone)
	if err != nil {
		panic(err) // the demo's own times
	}
	later := came.Add(6 * time.Hour)
	b.write(later, quality, "holds", "subject", e.Row["lot"], "at", b.at(came), "reason", "a wet corner: looked at before it is used",
		"released_at", b.at(later), "released_by", quality, "release_reason", "dry inside")
}

func (b *book) putRight(e *Entry) {
	if right := e.Row["document"]; right != "" {
		e.Row["document"] = right + "9"
		b.fix(e.Recorded.AddDate(0, 0, 5), quality, e.Row["lot"], "read again on the note", map[string]string{"document": right})
	}
}

// shared are the sheets of what all sites have in common.
var shared = map[string]bool{"site": true, "items": true, "parties": true, "products": true}

// own are the columns, by sheet where it depends on that, that name what a site has for itself.
var own = map[string]bool{"vessel": true, "line": true, "lot": true, "brew": true, "transfer": true, "run": true, "shipment": true, "return": true, "ref": true,
	"into": true, "from": true, "to": true, "via": true, "vessels": true, "subject": true, "washer": true, "units.unit": true, "shipments.unit": true, "returns.unit": true}

// elsewhere moves a history to another site: all that is the site's own gets a code of its own.
func elsewhere(entries []Entry, mark string) []Entry {
	between := strings.NewReplacer("|", "|"+mark, ";", ";"+mark, "/", "/"+mark)
	there := entries[:0]
	for _, e := range entries {
		if shared[e.Sheet] {
			continue
		}
		for column, value := range e.Row {
			if own[column] || own[e.Sheet+"."+column] {
				e.Row[column] = mark + between.Replace(value)
			}
		}
		if e.Fix != nil {
			e.Fix.Name = mark + e.Fix.Name
		}
		there = append(there, e)
	}
	return there
}

// nthTime names what happens again.
func (b *book) nthTime(what string) string {
	if n := b.times(what); n > 1 {
		return fmt.Sprintf("%s-%d", what, n)
	}
	return what
}
