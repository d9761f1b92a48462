package web

import (
	"net/url"
	"strconv"
	"strings"
	"time"

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
	Latest  []*thing.Thing
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

// beginForm is the page on which a run begins: what runs, from which tank, and what is on the line.
type beginForm struct {
	Line, Token                  string
	Product, Code, At, Run, Tank string
	Products, Tanks              []option
	Parts                        []partField // what the last run of the product had, to be scanned anew
	Said                         []string
	Held                         bool
	Overriding                   string
	Warnings                     []string // to be read before the start
	Checked                      bool     // they were shown, and the code too
}

type partField struct{ Name, Value string }

// moreFeeds is how many empty fields stand below those of the last run.
const moreFeeds = 2

func (s *Server) beginPage(v *visit) error {
	return s.view(v, func(tx *store.Tx) error {
		f, err := s.readBegin(v, tx)
		if err != nil {
			return err
		}
		f.Token = newToken()
		return s.show(v, "begin", "Start a run", f)
	})
}

// readBegin reads what was typed of a run that is to begin, and fills in what follows from it.
func (s *Server) readBegin(v *visit, tx *store.Tx) (*beginForm, error) {
	f := &beginForm{Line: v.r.PathValue("line"), Token: v.field("form"), Product: v.field("product"), Code: v.field("date_code"), At: v.field("at"),
		Run: v.field("run"), Tank: v.field("tank"), Overriding: v.field("override")}
	runs, _ := lots.SheetNamed("runs")
	feeds, _ := lots.SheetNamed("feeds")
	for sheet, column := range map[*lots.Sheet]string{runs: "product", feeds: "from"} {
		c, _ := sheet.Column(column)
		offers, err := desk.Offers(tx, sheet, c)
		if err != nil {
			return nil, err
		}
		for _, o := range offers {
			switch x := (option{o.Code, first(o.Name, o.Code), o.Code == f.Product}); column {
			case "product":
				f.Products = append(f.Products, x)
			default:
				if thing, ok := tx.Thing(o.Code); ok && lots.BeerVessel(thing.VesselKind) {
					f.Tanks = append(f.Tanks, x)
				}
			}
		}
	}
	names := desk.PartsBefore(tx, f.Product)
	for i := range len(names) + moreFeeds {
		p := partField{Value: v.field("feed" + strconv.Itoa(i))}
		if i < len(names) {
			p.Name = names[i]
		}
		f.Parts = append(f.Parts, p)
	}
	if f.Code == "" {
		f.Code = desk.CodeFor(tx, f.Product, f.Line, tx.Recorded())
	}
	return f, tx.Err()
}

func (f *beginForm) start(by string) desk.Start {
	feeds := []string{}
	for _, text := range append([]string{f.Tank}, f.feeds()...) {
		if text != "" {
			feeds = append(feeds, text)
		}
	}
	return desk.Start{Run: f.Run, Line: f.Line, Product: f.Product, DateCode: f.Code, At: f.At, Feeds: feeds, By: by, Override: f.Overriding}
}

func (f *beginForm) feeds() (out []string) {
	for _, p := range f.Parts {
		out = append(out, p.Value)
	}
	return out
}

// begin first shows what the start would say, with the code to be held against the first can; then it starts the run.
func (s *Server) begin(v *visit) error {
	var f *beginForm
	if err := s.view(v, func(tx *store.Tx) (err error) { f, err = s.readBegin(v, tx); return err }); err != nil {
		return err
	}
	if f.Overriding != "" && !v.may("override") {
		return s.notAllowed(v, "override")
	}
	var run string
	try := func(tx *store.Tx) (said []*desk.Said, err error) {
		if f.Product == "" {
			return nil, lots.Errorf(lots.Invalid, "choose what is packed")
		}
		if f.Code == "" {
			return nil, lots.Errorf(lots.Invalid, "write the date code as it stands on the first can")
		}
		run, said, err = desk.Begin(tx, f.start(v.by()))
		return said, err
	}
	var err error
	if v.field("checked") == "" {
		err = desk.Try(v.ctx, s.DB, func(tx *store.Tx) error {
			said, err := try(tx)
			for _, p := range f.Parts {
				if p.Name != "" && p.Value == "" {
					f.Warnings = append(f.Warnings, "No lot is scanned for "+p.Name+", which the last run of this product had.")
				}
			}
			for _, x := range said {
				f.Warnings = append(f.Warnings, pageTexts(append(x.Warnings, x.Findings...))...)
			}
			return err
		})
		f.Checked = err == nil
	} else {
		err = s.once(v, f.Token, func(tx *store.Tx) (*outcome, error) {
			said, err := try(tx)
			if err != nil {
				return nil, err
			}
			out := &outcome{Title: "Run " + run + " has started", Links: []link{{"Go to the run", "/running/" + url.PathEscape(run)}}}
			for _, x := range said {
				out.Texts, out.Entries = append(out.Texts, x.Text), append(out.Entries, x.Entry)
			}
			return out, nil
		})
		if err == nil {
			return v.seeOther("/said/" + url.PathEscape(f.Token))
		}
	}
	if err != nil {
		if f.Said, f.Held, err = refusalsOf(err); err != nil {
			return err
		}
		f.Held = f.Held && v.may("override")
		v.w.WriteHeader(422)
	}
	return s.show(v, "begin", "Start a run", f)
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
	Change, Unit, Quantity, At      string // as typed, where it was refused
	Good, Rejects                   string
	Held                            bool // for the part that shows refusals; nothing here can be overridden
	Overriding                      string
}

type feedView struct {
	Entry             int64
	Codes, Name, Time string
	Ended             bool
}

type offView struct{ Unit, Text string }

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
	for _, f := range desk.FeedsOf(tx, code) {
		x := feedView{Entry: f.Entry, Codes: strings.Join(f.From.Codes, " or "), Name: f.Name, Time: "since " + clockOf(tx, f.Since), Ended: f.Until != 0}
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
			p.Off = append([]offView{{u.Unit, text}}, p.Off...)
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
	run, token := v.r.PathValue("run"), v.field("form")
	err := s.once(v, token, func(tx *store.Tx) (*outcome, error) {
		out, err := f(tx, run)
		if out != nil {
			out.Title = first(out.Title, done)
			out.Links = append(out.Links, link{"Back to the run", "/running/" + url.PathEscape(run)})
		}
		return out, err
	})
	if err == nil {
		return v.seeOther("/said/" + url.PathEscape(token))
	}
	said, _, fault := refusalsOf(err)
	if fault != nil {
		return fault
	}
	return s.view(v, func(tx *store.Tx) error {
		p, err := s.runningOf(tx, run)
		if err != nil {
			return err
		}
		p.Said, p.Token = said, token
		p.Change, p.Unit, p.Quantity, p.At, p.Good, p.Rejects = v.field("from"), v.field("unit"), v.field("quantity"), v.field("at"), v.field("good"), v.field("rejects")
		v.w.WriteHeader(422)
		return s.show(v, "running", "Run "+run, p)
	})
}

func (s *Server) changeFeed(v *visit) error {
	return s.onTheLine(v, "Changed", func(tx *store.Tx, run string) (*outcome, error) {
		if v.field("from") == "" {
			return nil, lots.Errorf(lots.Invalid, "scan what is on the line from now on")
		}
		ended, _ := strconv.ParseInt(v.field("ended"), 10, 64) // 0: something is fed besides
		said, err := desk.ChangeFeed(tx, run, ended, v.field("from"), v.field("at"), v.by(), "")
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

// refusalsOf takes a refusal apart: what to tell, whether somebody may override it, or the failure that it is instead.
func refusalsOf(why error) (said []string, held bool, fault error) {
	f := &form{}
	if isInternal(why) {
		return nil, false, why
	}
	f.take(why)
	return f.Said, f.Held, nil
}

func pageTexts(texts []string) []string {
	out := make([]string, len(texts))
	for i, t := range texts {
		out[i] = onPage(t)
	}
	return out
}
