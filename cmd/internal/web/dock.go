package web

import (
	"fmt"
	"net/http"

	"heeltap/graph/desk"
	"heeltap/lots"
	"heeltap/lots/store"
)

var dockRoutes = []route{
	{Method: "GET", Pattern: "/dock", Right: "look", do: (*Server).dock},
	{Method: "GET", Pattern: "/delivery", Right: "record", do: (*Server).deliveryPage},
	{Method: "POST", Pattern: "/delivery", Right: "record", Large: true, do: (*Server).delivery},
}

type dockPage struct {
	*desk.Dock
	Form *deliveryForm // nil for who may only look
}

// dock is where the receiving clerk works.
func (s *Server) dock(v *visit) error {
	return s.view(v, func(tx *store.Tx) error {
		at, err := desk.AtTheDock(tx)
		if err != nil {
			return err
		}
		page := dockPage{Dock: at}
		if v.may("record") {
			if page.Form, err = newDeliveryForm(tx, deliveryOf(v)); err != nil {
				return err
			}
			page.Form.Token, page.Form.Back = newToken(), "/dock"
		}
		return s.show(v, "dock", "Dock", page)
	})
}

// deliveryPage shows the form for a delivery, with what the address gives filled in.
func (s *Server) deliveryPage(v *visit) error {
	if scan := v.field("scanned"); scan != "" { // into the box on top
		d := deliveryOf(v)
		d.Lots[0].SupplierLot = scan
		if shown, err := s.takeScans(v, &d); shown || err != nil {
			return err
		}
	}
	return s.view(v, func(tx *store.Tx) error {
		d := deliveryOf(v)
		if d.Expected != "" {
			x, err := desk.ExpectedNamed(tx, d.Expected)
			if err != nil {
				return err
			}
			d.Delivery = x.Fill(d.Delivery)
		}
		f, err := newDeliveryForm(tx, d)
		if err != nil {
			return err
		}
		f.Token, f.Back = newToken(), back(v.r.Referer())
		return s.show(v, "delivery", "A delivery came in", f)
	})
}

// delivery takes a delivery to the desk, or shows it again with one more lot.
func (s *Server) delivery(v *visit) error {
	d := deliveryOf(v)
	var unkept []string
	d.Papers, unkept = s.papersOf(v)
	press := v.field("press")
	if press == "add" || len(unkept) > 0 {
		if press == "add" {
			d.Lots = append(d.Lots, desk.DeliveredLot{})
		}
		return s.deliveryAgain(v, d, nil, unkept, press == "add")
	}
	if taken, err := s.takeScans(v, &d); taken || err != nil {
		return err
	}
	d.takeFix(press)
	token := v.field("form")
	record := d.Delivery
	record.Lots, d.numbers = filled(d.Lots, d.Expected != "")
	return s.recordOnce(v, token, func(tx *store.Tx) (*outcome, error) {
		if d.late && d.At == "" {
			return nil, lots.Faults{{Column: "received_at", Reason: notDated}}
		}
		done, err := desk.Receive(tx, record)
		if err != nil {
			return nil, err
		}
		return receivedOutcome(done), nil
	}, func(why error) error { return s.deliveryAgain(v, d, why, nil, false) })
}

// takeScans shows a delivery again with the fields filled in from bar codes that were scanned where a supplier's lot is
// typed, to be looked at before it is recorded; false where there were none.
func (s *Server) takeScans(v *visit, d *delivery) (shown bool, err error) {
	notes := map[int][]string{}
	var faults lots.Faults
	err = s.view(v, func(tx *store.Tx) error {
		for i := range d.Lots {
			said, taken, err := d.TakeScan(tx, i)
			switch {
			case lots.KindOf(err) == lots.Invalid && err != nil:
				faults = append(faults, lots.Fault{Line: i + 1, Column: "supplier_lot", Reason: err.Error()})
			case err != nil:
				return err
			case taken:
				notes[i] = said
			}
			d.numbers = append(d.numbers, i)
		}
		return tx.Err()
	})
	switch {
	case err != nil:
		return false, err
	case len(faults) > 0:
		return true, s.deliveryAgain(v, *d, faults, nil, false)
	case len(notes) == 0:
		return false, nil
	}
	return true, s.view(v, func(tx *store.Tx) error {
		f, err := newDeliveryForm(tx, *d)
		if err != nil {
			return err
		}
		f.Token, f.Back = first(v.field("form"), newToken()), back(v.field("back"))
		for i, said := range notes {
			f.Lots[i].Notes, f.Lots[i].Open = said, true
		}
		return s.show(v, "delivery", "A delivery came in", f)
	})
}

// deliveryAgain shows a delivery again with all that was typed, what was wrong with it, and what to look at again.
func (s *Server) deliveryAgain(v *visit, d delivery, why error, said []string, more bool) error {
	return s.view(v, func(tx *store.Tx) error {
		f, err := newDeliveryForm(tx, d)
		if err != nil {
			return err
		}
		f.Token, f.Back, f.Said = tokenAfter(v, why), back(v.field("back")), said
		f.take(why, d.numbers)
		if err := f.suggest(tx); err != nil {
			return err
		}
		if more {
			f.focusLast()
		} else {
			v.w.WriteHeader(http.StatusUnprocessableEntity)
		}
		return s.show(v, "delivery", "A delivery came in", f)
	})
}

// receivedOutcome tells of a delivery, and offers the tags of its lots.
func receivedOutcome(done *desk.Received) *outcome {
	out := &outcome{Title: "The delivery is logged", Warnings: done.Warnings, Entries: done.Entries, Links: []link{{"To the dock", "/dock"}}}
	for _, said := range done.Lots {
		out.Texts = append(append(out.Texts, said.Text), said.Also...)
		out.Tags = append(out.Tags, tagged{Code: *said.Code, Copies: 1})
		out.Links = append(out.Links, link{"Open " + *said.Code, pathOf(lots.KindLot, *said.Code)})
	}
	return out
}

// legend is what a lot of a delivery is headed with.
func legend(n, of int) string {
	if of == 1 {
		return "What came"
	}
	return fmt.Sprintf("Lot %d", n)
}
