package web

import (
	"net/url"
	"slices"
	"strings"

	"heeltap/graph"
	"heeltap/graph/picture"
	"heeltap/graph/trace"
	"heeltap/labels"
	"heeltap/labels/paper"
	"heeltap/lots"
	"heeltap/lots/store"
)

var traceRoutes = []route{
	{Method: "GET", Pattern: "/trace", Right: "look", do: (*Server).tracePage},
	{Method: "GET", Pattern: "/trace.svg", Right: "look", do: (*Server).traceSVG},
}

// traced is what a trace page asks.
type traced struct {
	From   []string
	Back   bool
	Hazard graph.Hazard
	Sure   bool     // only what is in
	Open   []string // groups of the picture
}

func readTraced(v *visit) (q traced, err error) {
	for _, text := range v.r.Form["from"] {
		if text = labels.ParsePayload(strings.TrimSpace(text)); text != "" {
			q.From = append(q.From, text)
		}
	}
	q.Back, q.Sure, q.Open, q.Hazard = v.field("dir") == "back", v.field("bands") == "in", v.r.Form["open"], graph.Anything
	if text := v.field("hazard"); text != "" {
		if q.Hazard, err = graph.ParseHazard(text); err != nil {
			return q, lots.Errorf(lots.Invalid, "%w", err)
		}
	}
	return q, nil
}

// query is the question as an address asks it.
func (q traced) query(knownAt string) string {
	out := url.Values{"from": q.From}
	if q.Back {
		out.Set("dir", "back")
	}
	if q.Hazard != graph.Anything {
		out.Set("hazard", string(q.Hazard))
	}
	if q.Sure {
		out.Set("bands", "in")
	}
	if len(q.Open) > 0 {
		out["open"] = q.Open
	}
	if knownAt != "" {
		out.Set("known_at", knownAt)
	}
	return out.Encode()
}

// ask follows the lineage, and draws what it found.
func (q traced) ask(tx *store.Tx, knownAt string) (*trace.Answer, *picture.Picture, error) {
	dir := graph.Forward
	if q.Back {
		dir = graph.Back
	}
	a, err := trace.Ask(tx, trace.Question{Dir: dir, Hazard: q.Hazard, From: q.From})
	if err != nil {
		return nil, nil, err
	}
	if q.Sure {
		a = a.Certain()
	}
	p, err := picture.Of(tx, a, q.Open, picture.Links{
		Thing: func(codes []string) string {
			on := q
			on.From, on.Open = codes[max(0, len(codes)-mostOn):], nil
			return "/trace?" + on.query(knownAt)
		},
		Party: func(code string) string { return pathOf(lots.KindParty, code) },
		Group: func(id string) string { return q.opened(id, knownAt) },
	})
	return a, p, err
}

// mostOn is how many fills of a vessel a trace goes on from: the last ones.
const mostOn = 20

// opened is the address of the same answer with one more group of the picture open.
func (q traced) opened(id, knownAt string) string {
	on := q
	on.Open = append(slices.Clone(q.Open), id)
	return "/trace?" + on.query(knownAt) + "#picture"
}

type traceView struct {
	answering
	Asked   traced
	Hazards []option
	Said    string
	Answer  *trace.Answer
	Started []string
	Picture *paper.Drawing
	Opened  []link // groups to close again
	Query   string // of the same answer
	Turned  string // the address of the same from the other side
	Totals  []totalRow
	Units   []unitRow
	Sent    []sentRow
	Faults  []string
	Hidden  int // possible things left out
	turns   func(name string, n int) turn
	Turns   map[string]turn // of the tables
	Parts   traceParts
}

// totalRow is what one band comes to, in cases or in kegs.
type totalRow struct {
	Band, Each string
	Units      int
	Made       int64
	Affected, OnHand, Shipped, Returned,
	Removed, Repacked float64
	Volume     string
	Consignees int
}

// traceParts are the rows of the tables that this page shows.
type traceParts struct {
	Lots  []trace.Lot
	Brews []trace.Brew
	Runs  []trace.Run
	Fills []trace.Fill
}

// partOf keeps the rows of a table that one page shows.
func partOf[T any](p *traceView, name string, list []T) []T {
	t := p.turns(name, len(list))
	p.Turns[name] = t
	return list[t.start:t.end]
}

type unitRow struct {
	trace.Unit
	Packed string
}

type sentRow struct {
	trace.Shipment
	Before string // when it left, where that was before anything affected was on the unit
}

// tracePage asks where something went, or what went into it, and shows it as a picture and as tables.
func (s *Server) tracePage(v *visit) error {
	q, err := readTraced(v)
	return s.asked(v, func(tx *store.Tx, how answering) error {
		page := traceView{answering: how, Asked: q, Query: q.query(how.KnownAt), Turns: map[string]turn{}}
		page.turns = func(name string, n int) turn { return turnOf(v, name, "t-"+name, n, perTable) }
		for _, h := range graph.Hazards() {
			page.Hazards = append(page.Hazards, option{string(h), strings.ReplaceAll(string(h), "-", " ") + ": " + h.Holds(), h == q.Hazard})
		}
		if err == nil && len(q.From) > 0 {
			err = page.fill(tx)
		}
		if err != nil {
			if isInternal(err) {
				return err
			}
			page.Said = onPage(err.Error())
			v.w.WriteHeader(statusOf(err))
		}
		return s.show(v, "trace", "Trace", page)
	})
}

// fill asks, and makes the tables.
func (p *traceView) fill(tx *store.Tx) error {
	a, picture, err := p.Asked.ask(tx, p.KnownAt)
	if err != nil {
		return err
	}
	p.Answer, p.Picture = a, picture.Draw()
	turned := p.Asked
	turned.Back, turned.Open = !turned.Back, nil
	p.Turned = "/trace?" + turned.query(p.KnownAt)
	for _, g := range picture.Opened {
		q := p.Asked
		q.Open = slices.DeleteFunc(slices.Clone(q.Open), func(id string) bool { return id == g.ID })
		p.Opened = append(p.Opened, link{g.Title, "/trace?" + q.query(p.KnownAt) + "#picture"})
	}
	for _, f := range a.From {
		text := f.Kind + " " + f.Code
		if f.Text != "" {
			text = f.Text
		}
		if f.Band != graph.In.String() {
			text += " (possible)"
		}
		if f.At != "" {
			text += " (true time " + f.At + ")"
		}
		p.Started = append(p.Started, text)
	}
	p.total(tx.Site(), "in", a.Totals.In)
	p.total(tx.Site(), "possible", a.Totals.Possible)
	for _, u := range partOf(p, "units", a.Units) {
		p.Units = append(p.Units, unitRow{u, u.CodesText()})
	}
	before := a.Before()
	for _, x := range partOf(p, "shipments", a.Shipments) {
		row := sentRow{Shipment: x}
		if at, over := before[x.Entry()]; over {
			row.Before = at.Text(tx.Site().Zone)
		}
		p.Sent = append(p.Sent, row)
	}
	p.Parts = traceParts{partOf(p, "lots", a.Lots), partOf(p, "brews", a.Brews), partOf(p, "runs", a.Runs), partOf(p, "fills", a.Fills)}
	for _, f := range a.UsesUnknown() {
		p.Faults = append(p.Faults, onPage(f.Text))
	}
	for _, f := range a.Faults() {
		p.Faults = append(p.Faults, onPage(f.Text))
	}
	if p.Asked.Sure {
		p.Hidden = a.Totals.Possible.Units
	}
	return nil
}

// total adds the rows of a band.
func (p *traceView) total(site lots.Site, band string, t trace.Total) {
	if t.Units == 0 && t.Consignees == 0 {
		return
	}
	units, volume, consignees := t.Units, lots.Figure(site.VolumeUnit.Of(t.Litres*1000))+" "+string(site.VolumeUnit), t.Consignees
	for _, kegs := range []bool{false, true} {
		made, each := t.Cases, "cases"
		if kegs {
			made, each = t.Kegs, "kegs"
		}
		if made == 0 && (kegs || t.Kegs > 0) {
			continue
		}
		p.Totals = append(p.Totals, totalRow{band, each, units, made, t.Affected.Of(kegs), t.OnHand.Of(kegs), t.Shipped.Of(kegs), t.Returned.Of(kegs), t.Removed.Of(kegs), t.Repacked.Of(kegs),
			volume, consignees})
		units, volume, consignees = 0, "", 0 // said once for both
	}
}

// traceSVG gives the picture of a trace as a file to keep.
func (s *Server) traceSVG(v *visit) error {
	q, err := readTraced(v)
	if err != nil {
		return err
	}
	if len(q.From) == 0 {
		return lots.Errorf(lots.Invalid, "say what to trace: /trace.svg?from=CODE")
	}
	return s.asked(v, func(tx *store.Tx, how answering) error {
		_, p, err := q.ask(tx, how.KnownAt)
		if err != nil {
			return err
		}
		v.w.Header().Set("Content-Type", "image/svg+xml")
		v.w.Header().Set("Content-Disposition", `attachment; filename="trace.svg"`)
		return p.SVG(v.w)
	})
}
