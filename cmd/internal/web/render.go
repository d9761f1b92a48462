package web

import (
	"bytes"
	"embed"
	"html/template"
	"io/fs"
	"math"
	"net/url"
	"path"
	"strings"
	"unicode"
	"unicode/utf8"

	"heeltap/cmd/internal/people"
	"heeltap/graph/desk"
	"heeltap/graph/trace"
	"heeltap/lots"
)

//go:embed templates/*.html
var templates embed.FS

//go:embed assets
var assets embed.FS

// layout is what every page is laid out with.
type layout struct {
	Title   string
	Person  *people.Person
	ByPIN   bool
	Tablet  string // the shared tablet's name; empty elsewhere
	Query   string // what stands in the box
	Path    string
	Role    string
	Rights  map[people.Right]bool
	Body    any
	Clock   string // of the demo; empty elsewhere
	Version string // of the assets, so that a browser never keeps an old one
}

// May is for templates: whether whoever looks may do something.
func (l layout) May(right string) bool { return l.Rights[people.Right(right)] }

// parsePages reads every page with the layout around it, and the parts that pages share.
func parsePages() (map[string]*template.Template, error) {
	base, err := template.New("layout").Funcs(helpers).ParseFS(templates, "templates/layout.html", "templates/part_*.html")
	if err != nil {
		return nil, err
	}
	names, err := fs.Glob(templates, "templates/*.html")
	if err != nil {
		return nil, err
	}
	pages := map[string]*template.Template{}
	for _, name := range names {
		short := strings.TrimSuffix(path.Base(name), ".html")
		if short == "layout" || strings.HasPrefix(short, "part_") {
			continue
		}
		page, err := base.Clone()
		if err != nil {
			return nil, err
		}
		if pages[short], err = page.ParseFS(templates, name); err != nil {
			return nil, err
		}
	}
	return pages, nil
}

// helpers are what templates may call.
var helpers = template.FuncMap{
	"path":     func(kind lots.Kind, code string) string { return pathOf(kind, code) },
	"figure":   lots.Figure,
	"pieces":   desk.Amount,
	"capital":  capital,
	"label":    labelOf,
	"list":     func(texts []string) string { return strings.Join(texts, ", ") },
	"percent":  func(part float64) string { return lots.PercentFigure(100 * part) },
	"sentence": sentence,
	"pairs":    func(pairs ...string) template.URL { return template.URL(queryOf(pairs...)) }, // already escaped
	"nearof":   func(name string, near []option) nearField { return nearField{name, near} },
	"urlcode":  url.PathEscape,
	"said":     func(texts []string) form { return form{Said: texts} }, // for what is refused
	"onpage":   onPage,
	"minute":   minute,
	"lower":    strings.ToLower,
	"codes":    func(codes []string) string { return strings.Join(codes, ";") }, // which no code may hold
	"chain":    func(codes []string) string { return strings.Join(codes, " › ") },
	"query":    func(query string) template.URL { return template.URL(query) }, // already escaped
	"amount":   amountText,
	"pct":      lots.PercentFigure,
	"add":      func(a, b float64) float64 { return a + b },
	"bare":     bareCode,
	"odds":     oddsText,
}

// nearField is what may have been meant in a field.
type nearField struct {
	Name string
	Near []option
}

// amountText is an amount with its unit; a dash where it is not known.
func amountText(a trace.Amount) string {
	if a.Amount == nil || a.Unit == nil {
		return "–"
	}
	return lots.FigureOf(*a.Amount, *a.Unit) + " " + *a.Unit
}

// bareCode is the code to trace from of a text that names its kind first; empty for places, which nothing is traced from.
func bareCode(text string) string {
	kind, code, ok := strings.Cut(text, " ")
	if !ok || kind == "place" || kind == "consignee" {
		return ""
	}
	return code
}

// oddsText writes a probability as one in so many.
func oddsText(p float64) string {
	switch {
	case p <= 0:
		return "more than can be written"
	case p >= 1:
		return "1"
	}
	digits := math.Pow(10, math.Floor(math.Log10(1/p))-1)
	return lots.Figure(math.Round(1/p/digits) * digits)
}

// pathOf is the page of a thing.
func pathOf(kind lots.Kind, code string) string {
	if code == "" {
		return "/"
	}
	return "/" + string(kind) + "/" + url.PathEscape(code)
}

// sentence writes what an error says as a sentence.
func sentence(text string) string {
	if text = capital(text); text != "" && !strings.ContainsAny(text[len(text)-1:], ".!?") {
		text += "."
	}
	return text
}

// capital begins a text with a capital, whatever alphabet it is in.
func capital(text string) string {
	first, size := utf8.DecodeRuneInString(text)
	if size == 0 {
		return ""
	}
	return string(unicode.ToUpper(first)) + text[size:]
}

// show writes a page. It is made whole before anything of it is written, so that a page is never half there.
func (s *Server) show(v *visit, name, title string, body any) error {
	l := layout{Title: title, Body: body, Query: v.r.URL.Query().Get("q"), Path: v.r.URL.Path, Version: assetVersion, Rights: map[people.Right]bool{}}
	if s.Story {
		l.Clock = s.DB.Now().Format("Monday 2 January 2006, 15:04")
	}
	if v.tablet != nil {
		l.Tablet = v.tablet.Name
	}
	if v.session != nil {
		l.Person, l.ByPIN, l.Role = &v.session.Person, v.session.ByPIN, string(v.session.Person.Role)
		for _, right := range people.Rights() {
			l.Rights[right] = v.session.May(right)
		}
	}
	var page bytes.Buffer
	if err := s.pages[name].ExecuteTemplate(&page, "layout", l); err != nil {
		return lots.Errorf(lots.Internal, "page %s: %w", name, err)
	}
	v.w.Header().Set("Content-Type", "text/html; charset=utf-8")
	_, err := page.WriteTo(v.w)
	return err
}
