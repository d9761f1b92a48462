package web

import (
	"encoding/json"
	"errors"
	"net/http"
	"net/url"

	"heeltap/cmd/internal/people"
	"heeltap/graph/desk"
	"heeltap/graph/thing"
	"heeltap/graph/trace"
	"heeltap/labels"
	"heeltap/lots"
	"heeltap/lots/store"
)

var shippingRoutes = []route{
	{Method: "GET", Pattern: "/shipping", Right: "look", do: (*Server).shipping},
	{Method: "GET", Pattern: "/load", Right: "record", do: (*Server).loadPage},
	{Method: "POST", Pattern: "/load", Right: "record", do: (*Server).load},
	{Method: "GET", Pattern: "/load/{code}", Right: "record", do: (*Server).loadPage},
	{Method: "POST", Pattern: "/load/{code}", Right: "record", do: (*Server).load},
	{Method: "POST", Pattern: "/load/{code}/undo", Right: "correct", do: (*Server).unload},
	{Method: "GET", Pattern: "/shipment/{code}/list", Right: "look", do: (*Server).loadingList},
}

type shippingPage struct {
	Today   []*desk.Loaded
	ToJudge []desk.ReturnedUnit
}

// shipping is where the shipping clerk works.
func (s *Server) shipping(v *visit) error {
	return s.view(v, func(tx *store.Tx) error {
		var page shippingPage
		var err error
		if page.Today, err = desk.LoadedToday(tx); err != nil {
			return err
		}
		if page.ToJudge, err = desk.ToJudge(tx); err != nil {
			return err
		}
		return s.show(v, "shipping", "Shipping", page)
	})
}

// loadForm is a lorry being loaded: who it is for, and then one scan after the other.
type loadForm struct {
	Token     string
	Start     []field // who it is for; while nobody said
	Said      []string
	Load      *desk.Loaded // nil until it is known who it is for
	Refused   *refusedScan
	Done      *outcome // of the scan before
	MayUndo   bool
	Action    string
	Consignee string
}

// refusedScan is a scan that was not recorded, with all that is needed to send it again.
type refusedScan struct {
	Unit, Quantity string
	Why            []string
	Held           bool // whoever looks may let it go by name and reason
	Stopped        bool // it is a hold that stops it
	Overriding     string
}

// loadingOf is the loading that an address or a form names.
func loadingOf(v *visit) desk.Loading {
	return desk.Loading{Shipment: v.r.PathValue("code"), Consignee: v.field("consignee"), Document: v.field("document"), Carrier: v.field("carrier")}
}

func (s *Server) loadPage(v *visit) error { return s.showLoad(v, loadingOf(v), nil, http.StatusOK) }

// showLoad shows a lorry being loaded, with a scan that was refused.
func (s *Server) showLoad(v *visit, l desk.Loading, refused *refusedScan, status int) error {
	return s.view(v, func(tx *store.Tx) (err error) {
		if err := refused.because(tx); err != nil {
			return err
		}
		f := loadForm{Token: newToken(), Refused: refused, Action: "/load", MayUndo: v.may("correct"), Consignee: l.Consignee}
		switch {
		case l.Shipment != "":
			f.Action = "/load/" + url.PathEscape(l.Shipment)
			if f.Load, err = desk.LoadedOn(tx, l.Shipment); err != nil {
				return err
			}
			f.Done, err = answered(tx, v.field("said"))
		case l.Consignee != "":
			if f.Load, err = desk.Begun(tx, l); err != nil && !isInternal(err) {
				f.Said, err = []string{onPage(err.Error())}, nil
			}
		}
		if err != nil {
			return err
		}
		if f.Load == nil {
			if f.Start, err = startFields(tx, l); err != nil {
				return err
			}
		}
		if status != http.StatusOK || len(f.Said) > 0 {
			v.w.WriteHeader(http.StatusUnprocessableEntity)
		}
		return s.show(v, "load", "Load", f)
	})
}

// startFields ask who a lorry is for, and what its paper says.
func startFields(tx *store.Tx, l desk.Loading) (out []field, err error) {
	sheet, err := sheetFor("ship")
	if err != nil {
		return nil, err
	}
	for _, c := range [][2]string{{"consignee", l.Consignee}, {"document", l.Document}, {"carrier", l.Carrier}} {
		f, err := describeOne(tx, sheet, columnIn(sheet, c[0]), lots.Row{c[0]: c[1]})
		if err != nil {
			return nil, err
		}
		f.Focus = c[0] == "consignee"
		out = append(out, f)
	}
	return out, nil
}

// answered is what was told of a form; nil where it is none of ours.
func answered(tx *store.Tx, form string) (*outcome, error) {
	text, before, err := tx.Answered(form)
	if err != nil || !before {
		return nil, err
	}
	var out outcome
	if err := json.Unmarshal([]byte(text), &out); err != nil {
		return nil, err
	}
	out.onPage()
	return &out, nil
}

// load records one scan, and comes back to the lorry for the next.
func (s *Server) load(v *visit) error {
	l, token := loadingOf(v), v.field("form")
	scan := desk.Scan{Unit: v.field("unit"), Quantity: v.field("quantity"), Override: v.field("override"), By: v.by()}
	if scan.Override != "" && !v.may("override") {
		return s.notAllowed(v, "override")
	}
	var done *outcome
	err := s.once(v, token, func(tx *store.Tx) (*outcome, error) {
		said, err := desk.Load(tx, l, scan)
		if err != nil {
			return nil, err
		}
		return &outcome{Title: *said.Code, Texts: append([]string{said.Text}, said.Also...), Warnings: append(said.Warnings, said.Findings...), Entries: []int64{said.Entry}}, nil
	})
	if err == nil {
		err = s.view(v, func(tx *store.Tx) (err error) { done, err = answered(tx, token); return err })
		if err != nil {
			return err
		}
		return v.seeOther("/load/" + url.PathEscape(done.Title) + "?" + queryOf("said", token))
	}
	if isInternal(err) {
		return err
	}
	return s.showLoad(v, l, refusalOf(v, err), http.StatusUnprocessableEntity)
}

// refusalOf says why a scan was refused, with what was scanned.
func refusalOf(v *visit, why error) *refusedScan {
	r := &refusedScan{Unit: v.field("unit"), Quantity: v.field("quantity"), Overriding: v.field("override")}
	faults, ok := errors.AsType[lots.Faults](why)
	if !ok {
		r.Why = []string{capital(onPage(why.Error()))}
	}
	for _, f := range faults {
		r.Why = append(r.Why, capital(onPage(f.Reason)))
		r.Stopped = r.Stopped || f.Held
	}
	r.Held = r.Stopped && v.may("override")
	return r
}

// because puts why a unit is stopped before what was said of the row.
func (r *refusedScan) because(tx *store.Tx) error {
	if r == nil || !r.Stopped {
		return nil
	}
	code, err := trace.CodeOf(tx, labels.ParsePayload(r.Unit), lots.KindUnit)
	if err != nil {
		return tx.Err() // what was said of the row stands
	}
	why, err := thing.Stops(tx, lots.KindUnit, code)
	if len(why) > 0 {
		r.Why = why
	}
	return err
}

// unload takes the last unit off again.
func (s *Server) unload(v *visit) error {
	code, token := v.r.PathValue("code"), v.field("form")
	own, err := s.ownNames(v.ctx, v.session)
	if err != nil {
		return err
	}
	var last *desk.Loaded
	err = s.once(v, token, func(tx *store.Tx) (_ *outcome, err error) {
		if last, err = desk.LoadedOn(tx, code); err != nil {
			return nil, err
		}
		unit, err := desk.Unload(tx, code, own, v.by())
		return &outcome{Title: code, Texts: []string{unit + " was taken off again"}}, err
	})
	switch {
	case err != nil && !isInternal(err):
		return s.showLoad(v, loadingOf(v), &refusedScan{Why: []string{capital(onPage(err.Error()))}}, http.StatusUnprocessableEntity)
	case err != nil:
		return err
	case last != nil && len(last.Units) == 1: // nothing is on it, and so there is no such shipment
		return v.seeOther("/load?" + queryOf("consignee", last.Consignee, "document", last.Document, "carrier", last.Carrier))
	}
	return v.seeOther("/load/" + url.PathEscape(code) + "?" + queryOf("said", token))
}

// loadingList is the paper that goes with a lorry.
func (s *Server) loadingList(v *visit) error {
	return s.view(v, func(tx *store.Tx) error {
		l, err := desk.LoadedOn(tx, v.r.PathValue("code"))
		if err != nil {
			return err
		}
		if !v.may(people.Record) {
			l.Address = "" // for whoever loads, and the driver
		}
		return s.show(v, "list", "Loading list "+l.Shipment, listPage{l, tx.Site().Name})
	})
}

type listPage struct {
	*desk.Loaded
	Site string
}
