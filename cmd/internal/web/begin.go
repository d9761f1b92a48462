package web

import (
	"net/http"
	"net/url"
	"strconv"

	"heeltap/graph/desk"
	"heeltap/lots"
	"heeltap/lots/store"
)

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
	refused := func(why error) error { return s.beginAgain(v, f, why) }
	if v.field("checked") != "" {
		return s.recordOnce(v, f.Token, func(tx *store.Tx) (*outcome, error) { return f.begun(tx, v.by()) }, refused)
	}
	switch err := desk.Try(v.ctx, s.DB, func(tx *store.Tx) error { return f.look(tx, v.by()) }); {
	case err == nil:
		f.Checked = true
		return s.show(v, "begin", "Start a run", f)
	case isInternal(err):
		return err
	default:
		return refused(err)
	}
}

// beginAgain shows the form again with why the run cannot begin so.
func (s *Server) beginAgain(v *visit, f *beginForm, why error) error {
	f.Said, f.Held = refusalsOf(why)
	f.Held = f.Held && v.may("override")
	f.Token = newToken() // nothing is recorded under the old one, or something else is
	v.w.WriteHeader(http.StatusUnprocessableEntity)
	return s.show(v, "begin", "Start a run", f)
}

// start begins the run, if what stands on every can is known.
func (f *beginForm) start(tx *store.Tx, by string) (run string, said []*desk.Said, err error) {
	switch {
	case f.Product == "":
		return "", nil, lots.Errorf(lots.Invalid, "choose what is packed")
	case f.Code == "":
		return "", nil, lots.Errorf(lots.Invalid, "write the date code as it stands on the first can")
	}
	feeds := []string{}
	for _, text := range append([]string{f.Tank}, f.feeds()...) {
		if text != "" {
			feeds = append(feeds, text)
		}
	}
	return desk.Begin(tx, desk.Start{Run: f.Run, Line: f.Line, Product: f.Product, DateCode: f.Code, At: f.At, Feeds: feeds, By: by, Override: f.Overriding})
}

// look gathers what to know before the run begins.
func (f *beginForm) look(tx *store.Tx, by string) error {
	_, said, err := f.start(tx, by)
	for _, p := range f.Parts {
		if p.Name != "" && p.Value == "" {
			f.Warnings = append(f.Warnings, "No lot is scanned for "+p.Name+", which the last run of this product had.")
		}
	}
	for _, x := range said {
		f.Warnings = append(f.Warnings, pageTexts(append(x.Warnings, x.Findings...))...)
	}
	return err
}

// begun begins the run and tells of it.
func (f *beginForm) begun(tx *store.Tx, by string) (*outcome, error) {
	run, said, err := f.start(tx, by)
	if err != nil {
		return nil, err
	}
	out := &outcome{Title: "Run " + run + " has started", Links: []link{{"Go to the run", "/running/" + url.PathEscape(run)}}}
	for _, x := range said {
		out.Texts, out.Entries = append(out.Texts, x.Text), append(out.Entries, x.Entry)
	}
	return out, nil
}
