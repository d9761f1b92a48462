package web

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"heeltap/graph/recall"
	"heeltap/graph/recall/deliveries"
	"heeltap/graph/recall/papers"
	"heeltap/lots"
	"heeltap/lots/store"
)

var toldAct = &recallAct{heading: "Told, or tried to", button: "Note it", rehearse: "Rehearse it", back: "consignees",
	fields: func(tx *store.Tx, now *recall.Recall, get func(string) string) ([]field, error) {
		p, err := party(now, tx, get)
		return []field{p, choice("how", "How", get, "phone", "letter", "e-mail", "visit"), text("who", "Whom you spoke to", get), tick("missed", "Nobody was reached", get), long(text("text", "What was said", get)), whenDone(get)}, err
	},
	take: func(a *taking) (*recall.Recall, error) {
		return a.step(&recall.Told{Party: papers.PartyRead(a.now, a.get("party")), How: a.get("how"), Who: a.get("who"), Reached: a.get("missed") == "", Text: a.get("text")})
	}}

// answerParts are the columns of an answer form, as a consignee fills it in.
var answerParts = []struct {
	name, label string
	of          func(*deliveries.AnswerLine) *float64
}{
	{"on_hand", "found, on hand when the notice came", func(l *deliveries.AnswerLine) *float64 { return &l.OnHand }},
	{"sold", "sold or served", func(l *deliveries.AnswerLine) *float64 { return &l.Sold }},
	{"passed_on", "passed on to its own customers", func(l *deliveries.AnswerLine) *float64 { return &l.PassedOn }},
	{"returned", "sent back, of what was found", func(l *deliveries.AnswerLine) *float64 { return &l.Returned }},
	{"destroyed", "destroyed there, of what was found", func(l *deliveries.AnswerLine) *float64 { return &l.Destroyed }},
}

// answerSorts are what a consignee received is counted in: cases, kegs, and the units of measure of goods in bulk.
func answerSorts(tx *store.Tx, now *recall.Recall, party string) (sorts []string, c deliveries.Consignee, err error) {
	sc, err := now.Scope(tx)
	if err != nil {
		return nil, c, err
	}
	list, err := deliveries.Consignees(tx, sc)
	if err != nil {
		return nil, c, err
	}
	i := slices.IndexFunc(list, func(c deliveries.Consignee) bool { return c.Party == party })
	if i < 0 {
		return []string{"cases", "kegs"}, c, nil
	}
	c = list[i]
	if c.Cases.Shipped+c.Cases.MayBe > 0 {
		sorts = append(sorts, "cases")
	}
	if c.Kegs.Shipped+c.Kegs.MayBe > 0 {
		sorts = append(sorts, "kegs")
	}
	bulk := c.Measured()
	for _, unit := range []string{"L", "kg", "each"} {
		if _, ok := bulk[unit]; ok {
			sorts = append(sorts, unit)
		}
	}
	return sorts, c, nil
}

var answerAct = &recallAct{heading: "An answer came", button: "Enter the answer", back: "consignees", lead: "As the form says. Write 0 where it says none: nothing on hand is an answer too. A later answer replaces an earlier one.",
	fields: func(tx *store.Tx, now *recall.Recall, get func(string) string) ([]field, error) {
		p, err := party(now, tx, get)
		if err != nil {
			return nil, err
		}
		sorts, c, err := answerSorts(tx, now, p.Value)
		if err != nil {
			return nil, err
		}
		out := []field{p}
		for _, sort := range sorts {
			for i, part := range answerParts {
				f := number(sort+"."+part.name, capital(sort)+" "+part.label, get)
				if f.Need = true; i == 0 && c.Party != "" {
					f.Help = received(c, sort)
				}
				out = append(out, f)
			}
		}
		return append(out, text("who", "Who answered", get), long(text("text", "What else was said", get)), whenDone(get)), nil
	},
	take: func(a *taking) (*recall.Recall, error) {
		s := &recall.Answered{Party: papers.PartyRead(a.now, a.get("party")), Who: a.get("who"), Text: a.get("text")}
		said := false
		for _, sort := range []string{"cases", "kegs", "L", "kg", "each"} {
			l := deliveries.AnswerLine{Kegs: sort == "kegs"}
			if sort != "cases" && sort != "kegs" {
				l.Unit = sort
			}
			some := false
			for _, part := range answerParts {
				n, err := quantity(a.tx, a.get, sort+"."+part.name)
				if err != nil {
					return nil, err
				}
				some = some || a.get(sort+"."+part.name) != ""
				*part.of(&l) = n
			}
			if some {
				s.Lines, said = append(s.Lines, l), true
			}
		}
		if !said {
			return nil, lots.Errorf(lots.Invalid, "the answer says nothing: write 0 where there are none")
		}
		return a.step(s)
	}}

// received says what a consignee received of a sort.
func received(c deliveries.Consignee, sort string) string {
	m, ok := c.Measured()[sort]
	if sort == "cases" || sort == "kegs" {
		m, ok = c.Of(sort == "kegs"), true
	}
	if !ok {
		return ""
	}
	out := "It received " + lots.Figure(m.Shipped)
	if m.MayBe > 0 {
		out += ", and perhaps " + lots.Figure(m.MayBe)
	}
	if m.Returned > 0 {
		out += "; " + lots.Figure(m.Returned) + " came back"
	}
	return out + "."
}

var passedOnAct = &recallAct{heading: "Its own list came", button: "Read the list in", back: "consignees", lead: "Whom it supplied. Paste the list with a heading in its first line: name, contact, phone, email, address, product, date_code, quantity, unit. Only the name is needed.",
	fields: func(tx *store.Tx, now *recall.Recall, get func(string) string) ([]field, error) {
		p, err := party(now, tx, get)
		list := need(long(text("list", "The list, as CSV", get)))
		return []field{p, list, tick("replace", "In place of the list it gave before", get)}, err
	},
	take: func(a *taking) (*recall.Recall, error) {
		list, err := deliveries.ReadAccounts(strings.NewReader(a.get("list")))
		if faults, ok := errors.AsType[lots.Faults](err); ok {
			texts := []string{}
			for _, f := range faults {
				texts = append(texts, fmt.Sprintf("line %d: %s", f.Line, f.Reason))
			}
			return nil, lots.Errorf(lots.Invalid, "%s", strings.Join(texts, "; "))
		}
		if err != nil {
			return nil, err
		}
		return a.step(&recall.PassedOn{Party: papers.PartyRead(a.now, a.get("party")), Accounts: list, Replace: a.get("replace") != ""})
	}}

var checkedAct = &recallAct{heading: "Checked", button: "Note the check", back: "consignees#checks",
	fields: func(tx *store.Tx, now *recall.Recall, get func(string) string) ([]field, error) {
		p, err := party(now, tx, get)
		return []field{p, choice("how", "How", get, "phone", "visit"), choice("notified", "It had the notice", get, "yes", "no"), choice("followed", "It did what the notice says", get, "yes", "no"),
			number("on_sale", "Cases still on sale", get), number("kegs_on_sale", "Kegs still on sale", get), long(text("text", "What was found", get)), whenDone(get)}, err
	},
	take: func(a *taking) (*recall.Recall, error) {
		cases, err := quantity(a.tx, a.get, "on_sale")
		if err != nil {
			return nil, err
		}
		kegs, err := quantity(a.tx, a.get, "kegs_on_sale")
		if err != nil {
			return nil, err
		}
		return a.step(&recall.Checked{Party: papers.PartyRead(a.now, a.get("party")), How: a.get("how"), Notified: a.get("notified") == "yes", Followed: a.get("followed") == "yes", OnSale: cases, KegsOnSale: kegs, Text: a.get("text")})
	}}
