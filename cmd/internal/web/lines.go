package web

import (
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"heeltap/graph"
	"heeltap/graph/balance"
	"heeltap/graph/desk"
	"heeltap/graph/thing"
	"heeltap/lots"
	"heeltap/lots/store"
)

var lineRoutes = []route{
	{Method: "GET", Pattern: "/lines", Right: "look", do: (*Server).linesPage},
	{Method: "GET", Pattern: "/begin/{line}", Right: "record", do: (*Server).beginPage},
	{Method: "POST", Pattern: "/begin/{line}", Right: "record", do: (*Server).begin},
	{Method: "GET", Pattern: "/running/{run}", Right: "look", do: (*Server).runningPage},
	{Method: "POST", Pattern: "/running/{run}/change", Right: "record", do: (*Server).changeFeed},
	{Method: "POST", Pattern: "/running/{run}/off", Right: "record", do: (*Server).takeOff},
	{Method: "POST", Pattern: "/running/{run}/end", Right: "record", do: (*Server).endRun},
}

// lineTile is a line on the page of all lines.
type lineTile struct {
	Line    string
	Run     string // that goes on; empty where none does
	Product string
	Since   string
}

func (s *Server) linesPage(v *visit) error {
	return s.view(v, func(tx *store.Tx) error {
		var tiles []lineTile
		for _, code := range tx.CodesOf(lots.KindLine) {
			tile := lineTile{Line: code}
			if on, ok := desk.RunningOn(tx, code); ok {
				tile.Run, tile.Product, tile.Since = on.Code(), on.Product, clockOf(tx, on.Started.From)
				if p, ok := tx.Product(on.Product); ok {
					tile.Product = p.Name
				}
			}
			tiles = append(tiles, tile)
		}
		return s.show(v, "lines", "Lines", tiles)
	})
}

func clockOf(tx *store.Tx, unix int64) string {
	return time.Unix(unix, 0).In(tx.Site().Zone).Format("15:04")
}

// runningView is a run as those on the line see it.
type runningView struct {
	Run, Line, Product, Code, Since string
	Going                           bool
	Kegs                            bool
	PerPallet                       int64
	Feeds                           []feedView
	Off                             []offView
	Packed                          string
	Token                           string
	Said                            []string
	Balances                        []balance.Balance
	Unit, Quantity, Good, Rejects   string    // as typed, where it was refused
	Changing                        *changing // the change of material that was refused
	Stops                           []string  // what on the line is on hold
	Held                            bool      // of the whole run nothing can be overridden: only a change can
	Overriding                      string
}

type feedView struct {
	Entry             int64
	Codes, Name, Time string
	Ended             bool
	Hold              string // whether it is on hold, as a mark says it
}

// changing is a change of material as it was typed, where it was refused.
type changing struct {
	Ended      string // the entry of the feed that it ends; 0 where something is fed besides
	From, At   string
	Held       bool // whoever looks may override the hold that stopped it
	Overriding string
}

// Changed is the refused change that ended a feed, to be shown at it again.
func (p *runningView) Changed(entry int64) *changing {
	if p.Changing != nil && p.Changing.Ended == strconv.FormatInt(entry, 10) {
		return p.Changing
	}
	return &changing{}
}

type offView struct{ Unit, Text, Hold string }

// holdMarks say on a list that something is on hold.
var holdMarks = map[graph.Band]string{graph.In: "on hold", graph.Possible: "perhaps on hold"}

func (s *Server) runningPage(v *visit) error {
	return s.view(v, func(tx *store.Tx) error {
		p, err := s.runningOf(tx, v.r.PathValue("run"))
		if err != nil {
			return err
		}
		return s.show(v, "running", "Run "+p.Run, p)
	})
}

func (s *Server) runningOf(tx *store.Tx, code string) (*runningView, error) {
	r, ok := tx.Run(code)
	if !ok {
		return nil, lots.Errorf(lots.NotFound, "there is no run %s", code)
	}
	p := &runningView{Run: code, Line: r.Line, Product: r.Product, Code: r.DateCode, Since: clockOf(tx, r.Started.From), Token: newToken(), PerPallet: 80}
	if on, ok := desk.RunningOn(tx, r.Line); ok && on.Code() == code {
		p.Going = true
	}
	if x, ok := tx.Product(r.Product); ok {
		p.Product, p.Kegs = x.Name, x.PerCase <= 1
		if x.CasesPerPallet > 0 {
			p.PerPallet = x.CasesPerPallet
		}
	}
	holds, err := thing.HoldsOnRun(tx, code)
	if err != nil {
		return nil, err
	}
	if p.Going {
		p.Stops = holds.Stops
	}
	for _, f := range desk.FeedsOf(tx, code) {
		x := feedView{Hold: holdMarks[holds.Feeds[f.Entry]], Entry: f.Entry, Codes: strings.Join(f.From.Codes, " or "), Name: f.Name, Time: "since " + clockOf(tx, f.Since), Ended: f.Until != 0}
		if x.Ended {
			x.Time = clockOf(tx, f.Since) + " to " + clockOf(tx, f.Until)
		}
		p.Feeds = append(p.Feeds, x)
	}
	var sum lots.Packages
	for _, rec := range tx.Touching(code) {
		if u, ok := rec.(*lots.Packed); ok && u.Run == code {
			sum.Add(u.UnitKind == "keg", float64(u.Quantity))
			text := packagesText(u)
			if u.HasLast {
				text += ", off at " + clockOf(tx, u.Last.From)
			}
			p.Off = append([]offView{{u.Unit, text, holdMarks[holds.Units[u.Unit]]}}, p.Off...)
		}
	}
	p.Packed = sum.String()
	if !p.Going {
		balances, err := balance.Of(tx, "run:"+code, balance.Period{})
		if err != nil {
			return nil, err
		}
		p.Balances = balances
	}
	return p, tx.Err()
}

func packagesText(u *lots.Packed) string {
	var n lots.Packages
	n.Add(u.UnitKind == "keg", float64(u.Quantity))
	return n.String()
}

// onTheLine records an act on a running run, and shows the run again where it was refused.
func (s *Server) onTheLine(v *visit, done string, f func(tx *store.Tx, run string) (*outcome, error)) error {
	run := v.r.PathValue("run")
	return s.recordOnce(v, v.field("form"), func(tx *store.Tx) (*outcome, error) {
		out, err := f(tx, run)
		if out != nil {
			out.Title = first(out.Title, done)
			out.Links = append(out.Links, link{"Back to the run", "/running/" + url.PathEscape(run)})
		}
		return out, err
	}, func(why error) error { return s.runningAgain(v, run, why) })
}

// runningAgain shows a run with why the last thing about it was refused, and what was typed.
func (s *Server) runningAgain(v *visit, run string, why error) error {
	return s.view(v, func(tx *store.Tx) error {
		p, err := s.runningOf(tx, run)
		if err != nil {
			return err
		}
		said, held := refusalsOf(why)
		p.Said, p.Unit, p.Quantity, p.Good, p.Rejects = said, v.field("unit"), v.field("quantity"), v.field("good"), v.field("rejects")
		if v.field("ended") != "" {
			p.Changing = &changing{v.field("ended"), v.field("from"), v.field("at"), held && v.may("override"), v.field("override")}
		}
		v.w.WriteHeader(http.StatusUnprocessableEntity)
		return s.show(v, "running", "Run "+run, p)
	})
}

func (s *Server) changeFeed(v *visit) error {
	override := v.field("override")
	if override != "" && !v.may("override") {
		return s.notAllowed(v, "override")
	}
	return s.onTheLine(v, "Changed", func(tx *store.Tx, run string) (*outcome, error) {
		if v.field("from") == "" {
			return nil, lots.Errorf(lots.Invalid, "Scan what is on the line from now on.")
		}
		ended, _ := strconv.ParseInt(v.field("ended"), 10, 64) // 0: something is fed besides
		said, err := desk.ChangeFeed(tx, run, ended, v.field("from"), v.field("at"), v.by(), override)
		return toldOf(said), err
	})
}

// toldOf tells of rows recorded together.
func toldOf(said []*desk.Said) *outcome {
	out := &outcome{}
	for _, x := range said {
		out.Texts, out.Entries = append(out.Texts, append([]string{x.Text}, x.Also...)...), append(out.Entries, x.Entry)
		out.Warnings = append(out.Warnings, append(x.Warnings, x.Findings...)...)
	}
	return out
}

func (s *Server) takeOff(v *visit) error {
	return s.onTheLine(v, "Off the line", func(tx *store.Tx, run string) (*outcome, error) {
		said, err := desk.TakeOff(tx, run, desk.Off{Unit: v.field("unit"), Kind: v.field("kind"), Quantity: v.field("quantity"), Place: v.field("place"), SSCC: v.field("sscc"),
			WashedAt: v.field("washed_at"), Washer: v.field("washer"), At: v.field("at"), By: v.by()})
		if err != nil {
			return nil, err
		}
		out := toldOf([]*desk.Said{said})
		holds, err := thing.HoldsOnRun(tx, run)
		if err != nil {
			return nil, err
		}
		out.Stops = holds.Stops
		out.Links = append(out.Links, link{"Print its tag", "/tags?" + queryOf("code", *said.Code)})
		return out, nil
	})
}

func (s *Server) endRun(v *visit) error {
	return s.onTheLine(v, "The run has ended", func(tx *store.Tx, run string) (*outcome, error) {
		done, err := desk.EndRun(tx, run, desk.End{At: v.field("at"), Good: v.field("good"), Rejects: v.field("rejects"), By: v.by()})
		if err != nil {
			return nil, err
		}
		out := &outcome{Warnings: done.Warnings}
		for _, c := range done.Changes {
			out.Texts = append(out.Texts, c.Now)
		}
		return out, nil
	})
}

// refusalsOf says why something was refused, and whether somebody may override that.
func refusalsOf(why error) (said []string, held bool) {
	f := &form{}
	f.take(why)
	return f.Said, f.Held
}

func pageTexts(texts []string) []string {
	out := make([]string, len(texts))
	for i, t := range texts {
		out[i] = onPage(t)
	}
	return out
}
