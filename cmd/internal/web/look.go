package web

import (
	"cmp"
	"net/http"
	"slices"
	"strings"

	"heeltap/cmd/internal/people"
	"heeltap/graph/desk"
	"heeltap/graph/recall"
	"heeltap/graph/recall/papers"
	"heeltap/graph/stock"
	"heeltap/graph/thing"
	"heeltap/graph/trace"
	"heeltap/labels"
	"heeltap/lots"
	"heeltap/lots/gs1"
	"heeltap/lots/store"
)

var lookRoutes = []route{
	{Method: "GET", Pattern: "/{$}", Right: "look", do: (*Server).home},
	{Method: "GET", Pattern: "/find", Right: "look", do: (*Server).find},
	{Method: "GET", Pattern: "/t/{code...}", Right: "look", do: (*Server).tag},
	{Method: "GET", Pattern: "/00/{key}", Right: "look", do: (*Server).digitalLink},
	{Method: "GET", Pattern: "/01/{key...}", Right: "look", do: (*Server).digitalLink},
	{Method: "GET", Pattern: "/lot/{code}", Right: "look", do: thingPage(lots.KindLot)},
	{Method: "GET", Pattern: "/brew/{code}", Right: "look", do: thingPage(lots.KindBrew)},
	{Method: "GET", Pattern: "/vessel/{code}", Right: "look", do: thingPage(lots.KindVessel)},
	{Method: "GET", Pattern: "/line/{code}", Right: "look", do: thingPage(lots.KindLine)},
	{Method: "GET", Pattern: "/run/{code}", Right: "look", do: thingPage(lots.KindRun)},
	{Method: "GET", Pattern: "/unit/{code}", Right: "look", do: thingPage(lots.KindUnit)},
	{Method: "GET", Pattern: "/shipment/{code}", Right: "look", do: thingPage(lots.KindShipment)},
	{Method: "GET", Pattern: "/return/{code}", Right: "look", do: thingPage(lots.KindReturn)},
	{Method: "GET", Pattern: "/party/{code}", Right: "look", do: thingPage(lots.KindParty)},
	{Method: "GET", Pattern: "/item/{code}", Right: "look", do: thingPage(lots.KindItem)},
	{Method: "GET", Pattern: "/product/{code}", Right: "look", do: thingPage(lots.KindProduct)},
	{Method: "GET", Pattern: "/transfer/{code}", Right: "look", do: thingPage(lots.KindTransfer)},
}

// find takes a scanned or typed text to what it means, or offers what it can mean.
func (s *Server) find(v *visit) error {
	text := labels.ParsePayload(v.field("q"))
	if text == "" {
		return v.seeOther("/")
	}
	return s.view(v, func(tx *store.Tx) error {
		if r, party, ok := papers.FormRead(tx, text); ok { // the QR code of an answer form
			if r.Open && v.may("recall") {
				return v.seeOther(recallPath(r.Code, "do", "answer") + "?" + queryOf("party", party))
			}
			return v.seeOther(recallPath(r.Code, "consignee", party))
		}
		if r, err := recall.Load(tx, strings.ToUpper(text)); err == nil {
			return v.seeOther(recallPath(r.Code))
		}
		found, err := trace.Meanings(tx, text)
		if lots.KindOf(err) == lots.Internal && err != nil {
			return err
		}
		if err == nil && len(found) == 1 {
			return v.seeOther(pathOf(found[0].Kind, found[0].Code))
		}
		page := findPage{Text: text}
		if err != nil && v.may("record") {
			if scan := v.field("q"); desk.FromOutside(tx, scan) {
				return v.seeOther("/delivery?" + queryOf("scanned", scan))
			}
		}
		if err != nil {
			page.Said = capital(onPage(err.Error()))
			for _, code := range tx.Nearest(text) {
				_, kind, ok := tx.Introduces(code)
				if ok {
					found = append(found, trace.Meaning{Kind: kind, Code: code})
				}
			}
			v.w.WriteHeader(http.StatusNotFound)
		}
		for _, m := range found {
			t, err := thing.Brief(tx, m.Kind, m.Code)
			if err != nil {
				return err
			}
			page.Found = append(page.Found, foundThing{t, m.As})
		}
		return s.show(v, "find", cmp.Or(text, "Find"), page)
	})
}

type findPage struct {
	Text  string
	Said  string // why nothing is meant
	Found []foundThing
}

type foundThing struct {
	*thing.Thing
	As string
}

// tag opens what a tag's code names: a phone's camera comes here.
func (s *Server) tag(v *visit) error {
	code := v.r.PathValue("code")
	return s.view(v, func(tx *store.Tx) error {
		if _, kind, ok := tx.Introduces(code); ok {
			return v.seeOther(pathOf(kind, code))
		}
		return v.seeOther("/find?" + queryOf("q", code))
	})
}

// digitalLink opens what a GS1 Digital Link on a tag of ours names.
func (s *Server) digitalLink(v *visit) error {
	return v.seeOther("/find?" + queryOf("q", gs1.CanonicalStem+v.r.URL.EscapedPath()))
}

// thingPage shows one thing of a kind.
func thingPage(kind lots.Kind) func(*Server, *visit) error {
	return func(s *Server, v *visit) error {
		return s.view(v, func(tx *store.Tx) error {
			t, err := thing.Of(tx, kind, v.r.PathValue("code"))
			if err != nil {
				return err
			}
			if !v.may(people.Contacts) {
				t.WithoutPersonal()
			}
			page := thingView{Thing: t, Acts: s.actsOn(v, t), Tags: tagsOn(t.Kind, t.Code), Stocks: stocks(v)}
			if page.Logistic = hasSSCC(tx, t.Kind, t.Code); page.Logistic {
				page.Sizes = logisticSizes()
			}
			page.Acts = append(s.vesselActs(v, tx, t), page.Acts...)
			release, err := releaseOf(v, tx, t)
			if err != nil {
				return err
			}
			page.Acts = append(release, page.Acts...)
			if v.may("recall") && slices.Contains(suspectable, t.Kind) {
				page.Acts = append(page.Acts, act{Text: "Open a recall from here", Path: "/recalls/new?" + queryOf("suspects", t.Code)})
			}
			page.Ask = asksAbout(tx, t)
			return s.show(v, "thing", t.Code, page)
		})
	}
}

// suspectable are the kinds of thing that a recall can start from.
var suspectable = []lots.Kind{lots.KindLot, lots.KindBrew, lots.KindVessel, lots.KindRun, lots.KindUnit}

type thingView struct {
	*thing.Thing
	Acts     []act
	Ask      []link // questions about it
	Tags     []tagged
	Logistic bool // it has an SSCC, and so can have a logistic label
	Sizes    []option
	Stocks   []option
}

// asksAbout are the questions that can be asked about a thing.
func asksAbout(tx *store.Tx, t *thing.Thing) (out []link) {
	switch t.Kind {
	case lots.KindLot, lots.KindBrew, lots.KindVessel, lots.KindRun, lots.KindUnit, lots.KindShipment, lots.KindLine:
		out = append(out, link{"Where it went", "/trace?" + queryOf("from", string(t.Kind)+":"+t.Code)})
		if t.Kind != lots.KindLine {
			out = append(out, link{"What went into it", "/trace?" + queryOf("from", string(t.Kind)+":"+t.Code, "dir", "back")})
		}
	}
	switch t.Kind {
	case lots.KindLot, lots.KindBrew, lots.KindVessel, lots.KindRun, lots.KindItem:
		out = append(out, link{"Balance", "/balance?" + queryOf("of", t.Code)})
	case lots.KindUnit:
		out = append(out, link{"What is known of it", "/inquiry?" + queryOf("read", t.Code)})
	}
	if run, ok := tx.Run(t.Code); ok && t.Kind == lots.KindRun && run.DateCode != "" {
		out = append(out, link{"What is known of its code", "/inquiry?" + queryOf("read", run.DateCode, "product", run.Product)})
	}
	return out
}

// act is something that can be done with a thing now: a form, with what is known filled in.
type act struct {
	Text string
	Path string
}

// ownForm are the pages of sheets that have one of their own in place of the form of one row.
var ownForm = map[string]string{"receipts": "/delivery", "returns": "/return"}

// formFor is the page on which a row of a sheet is entered, from the page of a thing of a kind.
func formFor(kind lots.Kind, s *lots.Sheet) string {
	if kind == lots.KindParty && s.Name == "shipments" {
		return "/load"
	}
	return cmp.Or(ownForm[s.Name], "/do/"+s.Verb)
}

// actsOn lists what makes sense with a thing now, for whoever looks.
func (s *Server) actsOn(v *visit, t *thing.Thing) []act {
	var out []act
	for _, x := range thing.Acts(t) {
		if !v.may(rightFor(x.Sheet)) {
			continue
		}
		out = append(out, act{Text: x.Text, Path: formFor(t.Kind, x.Sheet) + "?" + queryOf(x.Set...)})
	}
	return out
}

// home is where somebody starts: what goes on now, what waits, and the places of the house.
func (s *Server) home(v *visit) error {
	return s.view(v, func(tx *store.Tx) error {
		page := homePage{Site: tx.Site().Name}
		for _, line := range tx.CodesOf(lots.KindLine) {
			if on, ok := desk.RunningOn(tx, line); ok {
				page.Running = append(page.Running, lineTile{Line: line, Run: on.Code(), Product: thing.NameOf(tx, on.Product), Since: clockOf(tx, on.Started.From)})
			}
		}
		waiting, err := stock.WaitingLots(tx)
		if err != nil {
			return err
		}
		page.Waiting = len(waiting)
		for _, b := range basics {
			page.Basics = append(page.Basics, b.link)
			if len(tx.CodesOf(b.kind)) == 0 {
				page.Unset = append(page.Unset, b.link)
			}
		}
		all, err := recall.All(tx)
		if err != nil {
			return err
		}
		for _, r := range all {
			if r.Open {
				page.Recalls = append(page.Recalls, recallLine{Summary: r.Summary(tx), Mock: r.Mock})
			}
		}
		return s.show(v, "home", tx.Site().Name, page)
	})
}

type homePage struct {
	Site    string
	Running []lineTile
	Waiting int // lots that came in on hold
	Recalls []recallLine
	Basics  []link
	Unset   []link // those of the basics of which there is none yet
}

// basics are what a house has before anything can happen in it.
var basics = []struct {
	kind lots.Kind
	link link
}{
	{lots.KindParty, link{"Supplier or consignee", "/do/party"}}, {lots.KindItem, link{"Item", "/do/item"}}, {lots.KindVessel, link{"Vessel", "/do/vessel"}},
	{lots.KindLine, link{"Line", "/do/line"}}, {lots.KindProduct, link{"Product", "/do/product"}},
}
