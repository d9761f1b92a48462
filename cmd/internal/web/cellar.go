package web

import (
	"heeltap/graph/thing"
	"heeltap/lots/store"
)

var cellarRoutes = []route{
	{Method: "GET", Pattern: "/cellar", Right: "look", do: (*Server).cellarPage},
}

type cellarView struct {
	Groups []thing.Group
	Now    string
}

// cellarPage shows every vessel as somebody in the cellar sees them.
func (s *Server) cellarPage(v *visit) error {
	return s.view(v, func(tx *store.Tx) error {
		groups, err := thing.Board(tx)
		if err != nil {
			return err
		}
		return s.show(v, "cellar", "Cellar", cellarView{groups, tx.Recorded().In(tx.Site().Zone).Format("Monday 2 January, 15:04")})
	})
}
