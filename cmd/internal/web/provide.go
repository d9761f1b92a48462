package web

import (
	"heeltap/graph/provide"
	"heeltap/graph/recall"
	"heeltap/labels/table"
	"heeltap/lots/store"
)

var provideRoutes = []route{{Method: "GET", Pattern: "/provided", Right: "contacts", do: (*Server).provided}}

const workbookType = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"

// provided sends who supplied and who received what, of a recall's scope or of days: with their addresses, so to those
// alone who may see how to reach them.
func (s *Server) provided(v *visit) error {
	var done *provide.Provided
	err := s.view(v, func(tx *store.Tx) (err error) {
		var scope provide.Scope
		if code := v.field("recall"); code != "" {
			now, err := recall.Load(tx, code)
			if err != nil {
				return err
			}
			all, err := now.Scope(tx)
			if err != nil {
				return err
			}
			scope.Answer = all.Answer
		} else if scope, err = provide.Days(tx, v.field("from"), v.field("to")); err != nil {
			return err
		}
		done, err = provide.Of(tx, scope)
		return err
	})
	if err != nil {
		return err
	}
	data, err := table.Workbook(done.Sheets)
	if err != nil {
		return err
	}
	return s.sendFile(v, workbookType, "provided.xlsx", false, data)
}
