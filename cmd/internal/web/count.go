package web

import (
	"net/http"
	"strconv"

	"heeltap/graph/desk"
	"heeltap/lots/store"
)

var countRoutes = []route{
	{Method: "GET", Pattern: "/count", Right: "record", do: (*Server).countPage},
	{Method: "POST", Pattern: "/count", Right: "record", do: (*Server).count},
	{Method: "GET", Pattern: "/count/sheet", Right: "look", do: (*Server).countSheet},
}

// countForm is the counting of a place: where, and then one scan after the other.
type countForm struct {
	Token, Action string
	Places        []string
	Begun         bool
	Since         int64
	Query         string // that comes back to this counting
	*desk.Counting
	Refused *refusedScan
	Done    *outcome
}

func (s *Server) countPage(v *visit) error { return s.showCount(v, nil) }

// showCount shows a counting, with a scan that was refused; without a place it asks for one.
func (s *Server) showCount(v *visit, refused *refusedScan) error {
	return s.view(v, func(tx *store.Tx) (err error) {
		f := countForm{Token: newToken(), Action: "/count", Refused: refused}
		if !v.r.Form.Has("place") {
			f.Places, err = desk.Places(tx)
			if err != nil {
				return err
			}
			return s.show(v, "count", "Count", f)
		}
		f.Begun, f.Since = true, tx.Recorded().Unix()
		if n, err := strconv.ParseInt(v.field("since"), 10, 64); err == nil {
			f.Since = n
		}
		f.Query = queryOf("place", v.field("place"), "since", strconv.FormatInt(f.Since, 10))
		if f.Counting, err = desk.CountingAt(tx, v.field("place"), f.Since); err != nil {
			return err
		}
		if f.Done, err = answered(tx, v.field("said")); err != nil {
			return err
		}
		if refused != nil {
			v.w.WriteHeader(http.StatusUnprocessableEntity)
		}
		return s.show(v, "count", "Count", f)
	})
}

// count records one count, and comes back for the next.
func (s *Server) count(v *visit) error {
	token := v.field("form")
	err := s.once(v, token, func(tx *store.Tx) (*outcome, error) {
		said, err := desk.Tally(tx, v.field("unit"), v.field("quantity"), v.field("place"), v.by())
		if err != nil {
			return nil, err
		}
		return &outcome{Title: "Counted", Texts: []string{said.Text}, Warnings: append(said.Warnings, said.Findings...), Entries: []int64{said.Entry}}, nil
	})
	if err == nil {
		return v.seeOther("/count?" + queryOf("place", v.field("place"), "since", v.field("since"), "said", token))
	}
	if isInternal(err) {
		return err
	}
	return s.showCount(v, refusalOf(v, err))
}

type sheetPage struct {
	*desk.Counting
	Site, Query string
	Differ, Odd []desk.Tallied
}

// countSheet is what a counting found: what differs, what is missing, and what should not be there.
func (s *Server) countSheet(v *visit) error {
	since, err := strconv.ParseInt(v.field("since"), 10, 64)
	if err != nil || !v.r.Form.Has("place") { // nobody has counted: then nothing is missing either
		return v.seeOther("/count")
	}
	return s.view(v, func(tx *store.Tx) error {
		c, err := desk.CountingAt(tx, v.field("place"), since)
		if err != nil {
			return err
		}
		page := sheetPage{Counting: c, Site: tx.Site().Name, Query: queryOf("place", v.field("place"), "since", v.field("since"))}
		for _, t := range c.Counted {
			if t.Differs {
				page.Differ = append(page.Differ, t)
			}
			if t.Odd != "" {
				page.Odd = append(page.Odd, t)
			}
		}
		return s.show(v, "countsheet", "What was counted", page)
	})
}
