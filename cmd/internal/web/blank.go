package web

import (
	"bytes"

	"heeltap/graph/blank"
	"heeltap/graph/desk"
	"heeltap/lots"
	"heeltap/lots/store"
)

var blankRoutes = []route{
	{Method: "GET", Pattern: "/blank", Right: "look", do: (*Server).blankPage},
	{Method: "GET", Pattern: "/blank/{sheet}", Right: "look", do: (*Server).blankSheet},
}

// blankView lists the sheets to be printed, each with what it can be about.
type blankView struct {
	blank.Sheet
	Options []option
	Typing  []link // where it is typed in later
}

// typing is where what is written on each sheet is typed in.
var typing = map[string][]link{
	"delivery": {{"Type one in", "/delivery?late=1"}}, "brew": {{"Type one in", "/brew?late=1"}}, "vessel": {{"Type one in", "/typed/vessel"}},
	"run": {{"Type one in", "/typed/run"}}, "loading": {{"Type one in", "/typed/loading"}}, "count": {{"Type one in", "/typed/count"}},
}

func (s *Server) blankPage(v *visit) error {
	return s.view(v, func(tx *store.Tx) error {
		var out []blankView
		for _, sheet := range blank.Sheets() {
			x := blankView{Sheet: sheet, Typing: typing[sheet.Name]}
			codes, err := aboutOf(tx, sheet.About)
			if err != nil {
				return err
			}
			for _, c := range codes {
				x.Options = append(x.Options, option{Value: c, Text: c})
			}
			out = append(out, x)
		}
		return s.show(v, "blank", "Blank sheets", out)
	})
}

// aboutOf lists what a sheet can be about.
func aboutOf(tx *store.Tx, about string) ([]string, error) {
	switch about {
	case "beer":
		return desk.Beers(tx)
	case "vessel":
		return tx.CodesOf(lots.KindVessel), tx.Err()
	case "line":
		var out []string
		for _, line := range tx.CodesOf(lots.KindLine) {
			if on, ok := desk.RunningOn(tx, line); ok {
				out = append(out, on.Code())
			}
			out = append(out, line)
		}
		return out, tx.Err()
	}
	return nil, nil
}

// blankSheet sends a sheet as a PDF, which the browser shows and prints.
func (s *Server) blankSheet(v *visit) error {
	var out bytes.Buffer
	name := v.r.PathValue("sheet")
	err := s.view(v, func(tx *store.Tx) error {
		doc, err := blank.Of(tx, name, v.field("about"))
		if err != nil {
			return err
		}
		doc.Dated = tx.Recorded()
		return doc.PDF(&out)
	})
	if err != nil {
		return err
	}
	v.w.Header().Set("Content-Type", "application/pdf")
	v.w.Header().Set("Content-Disposition", `inline; filename="`+name+`.pdf"`)
	_, err = out.WriteTo(v.w)
	return err
}
