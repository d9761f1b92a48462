package main

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"heeltap/cmd/internal/demo"
	"heeltap/graph/desk"
	"heeltap/graph/gate"
	"heeltap/graph/recall"
	"heeltap/graph/recall/account"
	"heeltap/graph/recall/deliveries"
	"heeltap/graph/recall/mailing"
	"heeltap/graph/recall/papers"
	"heeltap/graph/recall/scope"
	"heeltap/lots"
	"heeltap/lots/store"
)

// rehearsal plays a mock recall on the demo, with a clock of its own: what people do takes
// minutes of the story, and what is computed takes what it takes.
type rehearsal struct {
	*env
	ctx    context.Context
	db     *store.DB
	clock  time.Time
	folder string
	code   string
}

const (
	demoLead   = "Quint"
	demoSeller = "Tove"
)

// rehearse plays a whole mock recall and reports on each step.
func (e *env) rehearse(ctx context.Context, db *store.DB, folder string, s demo.Story) error {
	r := &rehearsal{env: e, ctx: ctx, db: db, clock: s.RecallAt, folder: folder}
	started := e.now()
	defer func() { db.Now = e.now }()
	for _, step := range []func(demo.Story) error{r.opens, r.stops, r.tells, r.learns, r.hears, r.checks, r.proves} {
		if err := step(s); err != nil {
			return err
		}
	}
	e.printf("Computing all of it, papers included, took %s.\n", e.now().Sub(started).Round(10*time.Millisecond))
	return nil
}

// after lets minutes of the story pass and does one thing.
func (r *rehearsal) after(minutes int, f func(tx *store.Tx) error) error {
	r.clock = r.clock.Add(time.Duration(minutes) * time.Minute)
	r.db.Now = func() time.Time { return r.clock }
	return r.db.Update(r.ctx, f)
}

// inScope lets minutes pass and does one thing with the recall and its scope.
func (r *rehearsal) inScope(minutes int, f func(tx *store.Tx, now *recall.Recall, s *scope.Scope) error) error {
	return r.after(minutes, func(tx *store.Tx) error {
		now, err := recall.Load(tx, r.code)
		if err != nil {
			return err
		}
		s, err := now.Scope(tx)
		if err != nil {
			return err
		}
		return f(tx, now, s)
	})
}

// take takes one step of the mock recall.
func (r *rehearsal) take(minutes int, s recall.Step, by string) error {
	return r.after(minutes, func(tx *store.Tx) error {
		now, err := recall.Load(tx, r.code)
		if err == nil {
			_, err = now.Take(tx, s, recall.At{}, by)
		}
		return err
	})
}

// demoSettings are whom the letters come from and who is on the recall team, invented like everything here.
var demoSettings = [][2]string{
	{recall.SettingSenderAddress, "1 Tide Yard, Ostwithe"}, {recall.SettingSenderPhone, "555-0100"}, {recall.SettingSenderEmail, "recall@tidewick.example"},
	{recall.SettingTeam + "lead", "Quint, 555-0100"}, {recall.SettingTeam + "deputy", "Tove, 555-0101"}, {recall.SettingTeam + "warehouse", "Ines, 555-0102"},
}

func (r *rehearsal) opens(s demo.Story) error {
	return r.after(0, func(tx *store.Tx) error {
		for _, x := range demoSettings {
			if _, err := desk.Set(tx, store.SiteSettings, x[0], x[1], "named before the exercise", demoLead); err != nil {
				return err
			}
		}
		now, err := recall.Begin(tx, recall.Opened{Mock: true, Suspects: []string{s.Recalled}, Hazard: "foreign-body",
			Reason: "pieces of wire may have come with the hops", Known: "the auditor plays the grower and reads out a lot number", Lead: demoLead}, recall.At{}, demoLead)
		if err != nil {
			return err
		}
		r.code = now.Code
		scope, err := now.Scope(tx)
		if err != nil {
			return err
		}
		in := scope.Answer.Totals.In
		r.printf("%s opened on hop lot %s: %d units with %s; %s of them at %s.\n", r.code, s.Recalled, in.Units, lots.Packages{Cases: float64(in.Cases), Kegs: float64(in.Kegs)},
			lots.Packages{Cases: in.Shipped.Cases - in.Returned.Cases, Kegs: in.Shipped.Kegs - in.Returned.Kegs}, counted(in.Consignees, "consignee"))
		return nil
	})
}

func (r *rehearsal) stops(demo.Story) error {
	err := r.inScope(4, func(tx *store.Tx, now *recall.Recall, _ *scope.Scope) error {
		_, stock, err := now.HoldAll(tx, demoLead)
		r.printf("Hold rehearsed on %s in the house.\n", counted(len(stock), "thing"))
		return err
	})
	if err != nil {
		return err
	}
	for _, step := range []recall.Step{&recall.Classed{Class: "II", Reason: "pieces may injure; found before any complaint"},
		&recall.Strategy{Depth: "retail", Contact: "Quint, 555-0100, recall@tidewick.example", Completion: "four weeks"}} {
		if err := r.take(3, step, demoLead); err != nil {
			return err
		}
	}
	return r.freeze(5, "first scope")
}

func (r *rehearsal) freeze(minutes int, reason string) error {
	r.clock = r.clock.Add(time.Duration(minutes) * time.Minute)
	r.db.Now = func() time.Time { return r.clock }
	now, err := recall.Freeze(r.ctx, r.db, r.code, reason, demoLead)
	if err != nil {
		return err
	}
	last := now.Latest()
	r.printf("Scope frozen as version %d", last.Version)
	for _, c := range last.Changes {
		if c.Kind == "consignee" {
			r.printf("; %s %s, by entry %d, which was typed in late", c.Code, c.What, c.Entries[0])
		}
	}
	r.printf(".\n")
	return nil
}

// consignees lists who has it, and what.
func (r *rehearsal) consignees() (list []deliveries.Consignee, err error) {
	err = r.inScope(0, func(tx *store.Tx, _ *recall.Recall, s *scope.Scope) error {
		list, err = deliveries.Consignees(tx, s)
		return err
	})
	return list, err
}

func (r *rehearsal) tells(demo.Story) error {
	folder := filepath.Join(r.folder, "letters")
	err := r.inScope(9, func(tx *store.Tx, now *recall.Recall, _ *scope.Scope) error {
		n, err := writeLetters(tx, now, folder)
		if err != nil {
			return err
		}
		_, err = now.Take(tx, &recall.Drafted{Version: 1, Letters: n}, recall.At{}, demoSeller)
		r.printf("%d letters, a press draft and a mail-merge table are in %s: drafts, nothing is sent.\n", n, folder)
		return err
	})
	if err != nil {
		return err
	}
	list, err := r.consignees()
	if err != nil {
		return err
	}
	for i, c := range list {
		if i%4 == 2 {
			if err := r.take(3, &recall.Told{Party: c.Party, How: "phone", Text: "nobody answered"}, demoSeller); err != nil {
				return err
			}
		}
		if err := r.take(4, &recall.Told{Party: c.Party, How: "phone", Who: c.Contact, Reached: true, Text: "said first that this is an exercise"}, demoSeller); err != nil {
			return err
		}
	}
	return nil
}

// learns types in a forgotten delivery: more has left the house than was known.
func (r *rehearsal) learns(demo.Story) error {
	err := r.inScope(7, func(tx *store.Tx, _ *recall.Recall, s *scope.Scope) error {
		known := map[string]bool{}
		for _, sh := range s.Answer.Shipments {
			known[sh.Consignee] = true
		}
		i := slices.IndexFunc(demo.Doors(), func(code string) bool { return !known[code] })
		for _, u := range s.Answer.Units {
			if u.OnHand < 6 || i < 0 {
				continue
			}
			sheet, _ := lots.SheetNamed("shipments")
			_, err := gate.Enter(tx, store.Statement{Sheet: sheet, By: demoSeller, Row: lots.Row{"shipment": "S26-LATE", "unit": u.Code, "quantity": "6",
				"consignee": demo.Doors()[i], "shipped_at": r.clock.AddDate(0, 0, -4).In(tx.Site().Zone).Format(time.DateOnly), "document": "BOL-08699", "carrier": "own van", "by": demoSeller}})
			return err
		}
		return nil
	})
	if err != nil {
		return err
	}
	if err := r.freeze(6, "a delivery note turned up in the van"); err != nil {
		return err
	}
	var fresh []string
	err = r.inScope(0, func(_ *store.Tx, now *recall.Recall, s *scope.Scope) error {
		fresh = now.NewParties(s.Items())
		return nil
	})
	for _, p := range fresh {
		if err == nil {
			err = r.take(3, &recall.Told{Party: p, How: "phone", Reached: true, Text: "said first that this is an exercise"}, demoSeller)
		}
	}
	return err
}

// hears logs invented answers: some still have all of it, some sold most, a distributor passed some on, one says nothing.
func (r *rehearsal) hears(demo.Story) error {
	list, err := r.consignees()
	if err != nil {
		return err
	}
	answers := 0
	for i, c := range list {
		if i == len(list)-2 {
			continue
		}
		net := c.Cases.Net + c.Cases.MayBe
		onHand := math.Floor(net * float64([]int{10, 4, 7, 0}[i%4]) / 10)
		a := deliveries.AnswerLine{OnHand: onHand, Sold: c.Cases.Net - min(onHand, c.Cases.Net), Returned: math.Floor(onHand / 2)}
		if c.Further {
			a.PassedOn, a.Sold = a.Sold, 0
			passed := &recall.PassedOn{Party: c.Party, Accounts: []deliveries.SubAccount{{Name: c.Name + " round, north", Quantity: math.Floor(a.PassedOn / 2), Unit: "case"}, {Name: c.Name + " round, south", Quantity: math.Ceil(a.PassedOn / 2), Unit: "case"}}}
			if err := r.take(2, passed, demoSeller); err != nil {
				return err
			}
		} else if a.Sold > 2 && i%4 == 1 {
			a.Sold -= 2 // two cases nobody can explain
		}
		kegs := deliveries.AnswerLine{Kegs: true, OnHand: math.Floor(c.Kegs.Net / 2), Sold: math.Ceil(c.Kegs.Net / 2)}
		if err := r.take(5, &recall.Answered{Party: c.Party, Who: c.Contact, Lines: []deliveries.AnswerLine{a, kegs}}, demoSeller); err != nil {
			return err
		}
		answers++
	}
	r.printf("%d of %d consignees answered (invented answers).\n", answers, len(list))
	return nil
}

// checks counts what is in the house and checks a sample of the consignees.
func (r *rehearsal) checks(demo.Story) error {
	err := r.inScope(8, func(tx *store.Tx, now *recall.Recall, s *scope.Scope) error {
		stock, err := now.InHouse(tx, s)
		if err != nil {
			return err
		}
		sheet, _ := lots.SheetNamed("counts")
		var rows []store.Statement
		for _, x := range stock {
			if x.Kind == "unit" {
				counted := x.Quantity
				if len(rows) == 1 && counted > 1 {
					counted-- // one case is not there
				}
				rows = append(rows, store.Statement{Sheet: sheet, By: demoLead, Row: lots.Row{"subject": x.Code, "quantity": lots.Figure(counted),
					"at": r.clock.In(tx.Site().Zone).Format("2006-01-02 15:04"), "by": demoLead}})
			}
		}
		if _, err := gate.Enter(tx, rows...); err != nil {
			return err
		}
		_, err = now.Take(tx, &recall.Sampled{Level: "B", Percent: 40}, recall.At{}, demoLead)
		return err
	})
	if err != nil {
		return err
	}
	var sample *recall.Sampled
	err = r.db.View(r.ctx, func(tx *store.Tx) error {
		now, err := recall.Load(tx, r.code)
		if err == nil {
			sample = now.Sample
		}
		return err
	})
	if err != nil {
		return err
	}
	for i, p := range sample.Parties {
		if err := r.take(6, &recall.Checked{Party: p, How: "phone", Notified: true, Followed: i != 1, OnSale: map[bool]float64{true: 2}[i == 1]}, demoLead); err != nil {
			return err
		}
	}
	r.printf("%s checked at level B, 40 %% of %d.\n", counted(len(sample.Parties), "consignee"), sample.Of)
	return nil
}

// proves strikes the account, closes the exercise and writes its report.
func (r *rehearsal) proves(demo.Story) error {
	err := r.inScope(5, func(tx *store.Tx, now *recall.Recall, s *scope.Scope) error {
		a, err := now.Reconcile(tx, s)
		if err != nil {
			return err
		}
		step := recall.Struck(a)
		r.printf("Account: of %s cases, %s %% are accounted for by shipments, removals and a count; %s missing (%s).\n", lots.Figure(a.Cases.Produced), lots.PercentFigure(a.Cases.Percent), lots.Figure(a.Cases.Missing), orDash(strings.Join(unaccounted(a), ", ")))
		if now, err = now.Take(tx, step, recall.At{}, demoLead); err != nil {
			return err
		}
		_, err = now.Take(tx, &recall.Closed{Review: "Van deliveries must be typed in the same day. One pallet is a case short: find it. Next exercise: a packaging part."}, recall.At{}, demoLead)
		return err
	})
	if err != nil {
		return err
	}
	return r.db.View(r.ctx, func(tx *store.Tx) error {
		now, err := recall.Load(tx, r.code)
		if err != nil {
			return err
		}
		m, err := papers.New(tx, now, false)
		if err != nil {
			return err
		}
		d, err := m.Report()
		if err != nil {
			return err
		}
		report := filepath.Join(r.folder, "report")
		if err := cmp.Or(writeDocument(d, report+".pdf"), writeDocument(d, report+".html")); err != nil {
			return err
		}
		r.printf("The report is in %s.pdf and .html.\n", report)
		for _, t := range now.Timeline(tx).Targets {
			r.printf("  %s: within %s, reached after %s: %s\n", t.Name, t.Within, orDash(t.Took), t.State)
		}
		return nil
	})
}

// writeLetters writes all letters into a folder and gives their number.
func writeLetters(tx *store.Tx, now *recall.Recall, folder string) (int, error) {
	d, err := mailing.Draft(tx, now, false)
	if err != nil {
		return 0, err
	}
	return d.Letters, d.Write(folder, func() {})
}

// unaccounted names the units that are not accounted for.
func unaccounted(a *account.Account) []string {
	var out []string
	for _, u := range a.Missing() {
		out = append(out, fmt.Sprintf("%s: %s", u.Unit, lots.Figure(u.Missing)))
	}
	return out
}
