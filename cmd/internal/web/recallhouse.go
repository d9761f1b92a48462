package web

import (
	"cmp"
	"net/http"
	"slices"
	"strings"

	"heeltap/graph/desk"
	"heeltap/graph/recall"
	"heeltap/graph/recall/house"
	"heeltap/lots"
	"heeltap/lots/store"
)

// houseView is the list to walk by.
type houseView struct {
	recallTop
	Places []placeList
	Loose  []house.Stock
	Turn   turn
	Free   int // not held yet
	Found  int
	All    int
	Token  string
	Said   []string
	Wrong  string // the thing that was refused
	Much   string
}

type placeList struct {
	Place string
	Rows  []walkRow
}

type walkRow struct {
	recall.Walked
	Kind, Token string
	FoundAt     string
	Stopped     bool
	Much        string // to be confirmed or changed
	Wrong       bool
	Counts      string // in what
}

func placeOf(r walkRow) string { return cmp.Or(r.Place, "Place not known") }

func (s *Server) housePage(v *visit) error { return s.showHouse(v, nil) }

func (s *Server) showHouse(v *visit, why error) error {
	return s.showRecall(v, "house", func(_ *store.Tx, b *board, top recallTop) (any, error) {
		page := houseView{recallTop: top}
		var rows []walkRow
		for _, x := range b.Walk {
			if x.Kind == "loose" {
				page.Loose = append(page.Loose, x.Stock)
				continue
			}
			row := walkRow{Walked: x, Kind: x.Stock.Kind, Token: newToken(), FoundAt: minute(x.Found), Stopped: x.HeldHere || slices.Contains(b.Recall.Holds, x.Code), Much: lots.Figure(x.Stock.Quantity), Counts: x.Unit}
			if why != nil && v.field("subject") == x.Code {
				row.Wrong, row.Much = true, v.field("quantity")
				if lots.KindOf(why) != lots.Conflict {
					row.Token = v.field("form")
				}
				page.Said = plainly(why)
			}
			page.All++
			if x.Found != "" {
				page.Found++
			}
			if !row.Stopped {
				page.Free++
			}
			rows = append(rows, row)
		}
		slices.SortStableFunc(rows, func(a, b walkRow) int { return strings.Compare(placeOf(a), placeOf(b)) })
		page.Turn = turnAt(v, recallPath(top.Code, "house"), "page", "walk", len(rows), perTable)
		for _, row := range rows[page.Turn.start:page.Turn.end] {
			if n := len(page.Places); n == 0 || page.Places[n-1].Place != placeOf(row) {
				page.Places = append(page.Places, placeList{Place: placeOf(row)})
			}
			last := &page.Places[len(page.Places)-1]
			last.Rows = append(last.Rows, row)
		}
		if why != nil {
			if page.Said == nil {
				page.Said = plainly(why)
			}
			v.w.WriteHeader(http.StatusUnprocessableEntity)
		}
		return page, nil
	})
}

// found ticks off what somebody found: it is counted.
func (s *Server) found(v *visit) error {
	sheet, err := sheetFor("count")
	if err != nil {
		return err
	}
	code := strings.ToUpper(v.r.PathValue("code"))
	if err := s.view(v, func(tx *store.Tx) error { _, err := recall.Load(tx, code); return err }); err != nil {
		return err
	}
	row := lots.Row{"subject": v.field("subject"), "quantity": v.field("quantity"), "place": v.field("place")}
	if unit := v.field("unit"); unit != "" {
		row["unit"] = unit
	}
	err = s.once(v, v.field("form"), func(tx *store.Tx) (*outcome, error) {
		said, err := desk.Record(tx, desk.Act{Sheet: sheet, Row: row, By: v.by()})
		if err != nil {
			return nil, err
		}
		return outcomeOf(tx, said, sheet), nil
	})
	switch {
	case err == nil:
		return v.seeOther(recallPath(code, "house") + "?" + queryOf("said", v.field("form"), "page", v.field("page")) + "#w-" + v.field("subject"))
	case isInternal(err):
		return err
	}
	return s.showHouse(v, err)
}
