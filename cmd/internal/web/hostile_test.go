package web_test

import (
	"fmt"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"

	"heeltap/lots"
	"heeltap/lots/store"
)

// hostile are texts that do harm where they are not written as text. # stands for a number that tells one from another.
var hostile = []string{
	`<script>alert(#)<`,
	`"><img src=x onerror=alert(#)>`,
	`' onmouseover='alert(#)' x='`,
	"\u202egnp.exe #",
	`=HYPERLINK("http:x","#")`,
	`{{.Person.Name}} #`,
	`javascript:alert(#)`,
	"</textarea><style>*{display:none}#",
}

// attacked is a house with hostile texts in every field of every sheet that takes a text, and those texts by field.
func attacked(t *testing.T) (*house, map[string][]string) {
	h := open(t)
	planted, n := map[string][]string{}, 1000
	next := func(field, template string) string {
		n++
		text := strings.Replace(template, "#", fmt.Sprint(n), 1)
		planted[field] = append(planted[field], text)
		return text
	}
	for _, template := range hostile {
		code := "-" + next("codes", strings.NewReplacer("/", "", "\u202e", "").Replace(template)) // which no code may have
		for _, st := range written(code, "Eve <b>") {
			if st.Sheet.Name == "site" {
				continue
			}
			sheet := st.Sheet
			for _, c := range sheet.Columns {
				if c.Type == lots.Text && c.Name != "by" && h.takes(st, c.Name, template) {
					st.Row[c.Name] = next(sheet.Name+" "+c.Name, template)
				}
			}
			require.Empty(t, h.record(st, true), "%v", st.Row)
		}
	}
	require.Greater(t, len(planted), 35, "texts were planted in most fields")
	return h, planted
}

// takes reports whether a row takes a text in a column.
func (h *house) takes(st store.Statement, column, text string) bool {
	row := lots.Row{}
	for name, value := range st.Row {
		row[name] = value
	}
	row[column] = text
	st.Row = row
	return len(h.record(st, false)) == 0
}

// record records a row, or only tries to.
func (h *house) record(st store.Statement, keep bool) (faults lots.Faults) {
	only := fmt.Errorf("only tried")
	err := h.db.Update(h.t.Context(), func(tx *store.Tx) (err error) {
		if _, _, faults, err = tx.RecordRows([]store.Statement{st}); err == nil && (!keep || len(faults) > 0) {
			err = only
		}
		return err
	})
	if err != nil {
		require.ErrorIs(h.t, err, only)
	}
	return faults
}

// ours are the elements and attributes that our templates write.
func ours(t *testing.T) (elements, attributes map[string]bool) {
	elements, attributes = map[string]bool{"html": true, "head": true, "body": true, "tbody": true}, map[string]bool{}
	files, err := filepath.Glob("templates/*.html")
	require.NoError(t, err)
	for _, file := range files {
		text, err := os.ReadFile(file)
		require.NoError(t, err)
		for _, m := range regexp.MustCompile(`<([a-z][a-z0-9]*)`).FindAllStringSubmatch(string(text), -1) {
			elements[m[1]] = true
		}
		for _, m := range regexp.MustCompile(`[\s"}]([a-z][a-z-]*)=`).FindAllStringSubmatch(string(text), -1) {
			attributes[m[1]] = true
		}
	}
	for _, bare := range []string{"required", "autofocus", "checked", "selected", "defer", "hidden", "open", "data-scan", "data-keep", "readonly", "novalidate", "multiple", "disabled", "reversed", "data-renew", "viewBox", "textLength", "lengthAdjust"} {
		attributes[bare] = true
	}
	require.False(t, elements["style"] || elements["iframe"] || elements["object"])
	return elements, attributes
}

// reader walks all pages that links lead to, and judges each.
type reader struct {
	t                    *testing.T
	c                    *client
	elements, attributes map[string]bool
	queue                []string
	seen                 map[string]bool
	texts                strings.Builder // all that the pages of the records say as text
	echo                 bool            // the page only says again what it was asked
	pages                int
	forms                map[string]sending // one of each sort
}

// sending is a form as it stands on a page.
type sending struct {
	path          string
	hidden, names []string // what it sends as it is, name and text by turns; and what people fill in
}

func (r *reader) add(path string) {
	u, err := url.Parse(path)
	require.NoError(r.t, err)
	if u.Host != "" && u.Host != host || u.Scheme != "" && u.Scheme != "http" {
		r.t.Errorf("a link leads elsewhere: %s", path)
		return
	}
	if key := u.RequestURI(); !r.seen[key] && strings.HasPrefix(u.Path, "/") && len(r.seen) < 4000 {
		r.seen[key] = true
		r.queue = append(r.queue, key)
	}
}

func (r *reader) walk() {
	for len(r.queue) > 0 {
		path := r.queue[0]
		r.queue = r.queue[1:]
		a := r.c.get(path)
		require.Less(r.t, a.Code, http.StatusInternalServerError, "%s\n%s", path, a.Body)
		if to := a.Header().Get("Location"); to != "" {
			r.add(to)
		}
		if strings.HasPrefix(a.Header().Get("Content-Type"), "text/html") && a.Body.Len() > 0 && a.Code != http.StatusSeeOther {
			r.echo = a.Code != http.StatusOK || strings.HasPrefix(path, "/find?") || strings.HasPrefix(path, "/do/")
			if policy := a.Header().Get("Content-Security-Policy"); !strings.Contains(policy, "script-src") {
				r.judgePaper(path, policy, a.Body.String())
				continue
			}
			r.judge(path, a.Body.String())
		}
	}
}

// judgePaper reads a paper that is shown as a page of its own. It may bring its style along, and the browser is told to let
// it do nothing else.
func (r *reader) judgePaper(path, policy, page string) {
	r.pages++
	require.Contains(r.t, policy, "default-src 'none'", path)
	doc, err := html.Parse(strings.NewReader(page))
	require.NoError(r.t, err)
	for n := range doc.Descendants() {
		if slices.Contains([]string{"script", "iframe", "object", "embed", "form", "base", "img", "a"}, n.Data) && n.Type == html.ElementNode {
			r.t.Errorf("%s has an element <%s>", path, n.Data)
		}
		for _, a := range n.Attr {
			if strings.HasPrefix(a.Key, "on") || a.Key == "href" || a.Key == "src" {
				r.t.Errorf("%s has an attribute %s=%q on <%s>", path, a.Key, a.Val, n.Data)
			}
		}
	}
}

// judge reads one page as a browser does.
func (r *reader) judge(path, page string) {
	r.pages++
	doc, err := html.Parse(strings.NewReader(page))
	require.NoError(r.t, err)
	for n := range doc.Descendants() {
		if n.Type == html.TextNode && !r.echo {
			r.texts.WriteString(n.Data + "\n")
		}
		if n.Type != html.ElementNode {
			continue
		}
		if !r.elements[n.Data] {
			r.t.Errorf("%s has an element <%s> that no template wrote", path, n.Data)
		}
		for _, a := range n.Attr {
			r.judgeAttribute(path, n.Data, a)
		}
		if n.Data == "form" && valueOf(n, "method") == "post" {
			r.noteForm(n)
		}
		if n.Data == "script" && (n.FirstChild != nil || !slices.ContainsFunc(n.Attr, func(a html.Attribute) bool { return a.Key == "src" && strings.HasPrefix(a.Val, "/assets/") })) {
			r.t.Errorf("%s has a script that is not ours", path)
		}
	}
}

func valueOf(n *html.Node, key string) string {
	for _, a := range n.Attr {
		if a.Key == key {
			return a.Val
		}
	}
	return ""
}

// noteForm keeps a form to be sent later, unless one that asks the same is kept.
func (r *reader) noteForm(form *html.Node) {
	f := sending{path: valueOf(form, "action")}
	for n := range form.Descendants() {
		name := valueOf(n, "name")
		switch {
		case n.Type != html.ElementNode || name == "" || valueOf(n, "type") == "file":
		case valueOf(n, "type") == "hidden":
			f.hidden = append(f.hidden, name, valueOf(n, "value"))
		default:
			f.names = append(f.names, name)
		}
	}
	first, _, _ := strings.Cut(strings.TrimPrefix(f.path, "/"), "/")
	key := first + " " + strings.Join(f.names, " ")
	if _, known := r.forms[key]; !known && len(f.names) > 0 && !strings.HasPrefix(f.path, "/sign") && !strings.HasPrefix(f.path, "/me/") {
		r.forms[key] = f
	}
}

// sendAll fills hostile texts into every field of every form that was seen, and judges what comes back.
func (r *reader) sendAll() {
	r.echo = true
	for _, f := range r.forms {
		for _, text := range hostile {
			pairs := slices.Clone(f.hidden)
			for _, name := range f.names {
				pairs = append(pairs, name, text)
			}
			a := r.c.post(f.path, pairs...)
			require.Less(r.t, a.Code, http.StatusInternalServerError, "%s\n%s", f.path, a.Body)
			if a.Code != http.StatusSeeOther {
				r.judge(f.path, a.Body.String())
			}
		}
	}
}

func (r *reader) judgeAttribute(path, element string, a html.Attribute) {
	switch {
	case strings.HasPrefix(a.Key, "on"), a.Key == "style", !r.attributes[a.Key]:
		r.t.Errorf("%s has an attribute %s=%q on <%s> that no template wrote", path, a.Key, a.Val, element)
	case a.Key == "value":
		if !r.echo {
			r.texts.WriteString(a.Val + "\n")
		}
	case slices.Contains([]string{"href", "src", "action", "formaction"}, a.Key):
		if a.Val == "" || !strings.HasPrefix(a.Val, "/") && !strings.HasPrefix(a.Val, "#") && !strings.HasPrefix(a.Val, "?") {
			r.t.Errorf("%s leads to %q from <%s>", path, a.Val, element)
		} else if element == "a" {
			r.add(a.Val)
		}
	}
}

// Whatever somebody writes into a record stands on every page as the text that it is.
func TestHostileTextsStayTexts(t *testing.T) {
	h, planted := attacked(t)
	c := h.signedIn("admin")
	for _, name := range []string{`<script>alert(1)</script>`, `"><img src=x onerror=alert(2)>`} {
		require.Equal(t, http.StatusOK, c.post("/people", "name", name, "login", fmt.Sprint("eve", len(name)), "role", "floor").Code)
		require.Equal(t, http.StatusSeeOther, c.post("/tablets", "name", name).Code)
		delete(c.cookies, "heeltap_tablet")
	}
	r := &reader{t: t, c: c, seen: map[string]bool{}, forms: map[string]sending{}}
	r.elements, r.attributes = ours(t)
	for _, x := range matrix {
		if strings.HasPrefix(x.route, "GET") {
			r.add(x.path)
		}
	}
	for _, sheet := range lots.Sheets {
		filled := url.Values{}
		for i, col := range sheet.Columns {
			filled.Set(col.Name, hostile[i%len(hostile)])
		}
		r.add("/do/" + sheet.Verb + "?" + filled.Encode())
	}
	require.NoError(t, h.db.View(t.Context(), func(tx *store.Tx) error {
		for _, x := range pagedKinds {
			for _, code := range tx.CodesOf(x) {
				r.add("/" + string(x) + "/" + url.PathEscape(code))
			}
		}
		return nil
	}))
	for _, text := range planted["codes"] {
		r.add("/find?" + url.Values{"q": {text}}.Encode())
		r.add("/" + url.PathEscape(text))
	}
	r.walk()
	texts := r.texts.String()
	sorts := len(r.forms)
	r.sendAll()
	require.Greater(t, sorts, 20)
	shown := 0
	for field, written := range planted {
		missing := slices.DeleteFunc(slices.Clone(written), func(text string) bool { return strings.Contains(texts, text) })
		if len(missing) == 0 {
			shown++
		} else { // a field that is on no page is on none whatever is in it
			require.Equal(t, written, missing, "%s is shown, but not always as it was written", field)
		}
	}
	t.Logf("%d pages read, %d sorts of form sent; of %d fields with hostile texts they show %d, each text as it was written", r.pages, sorts, len(planted), shown)
	require.Greater(t, r.pages, 600)
	require.Greater(t, shown, 25)
}

// What is refused is shown again as it was typed.
func TestHostileFormsStayTexts(t *testing.T) {
	h := open(t)
	c := h.signedIn("admin")
	r := &reader{t: t, c: c, seen: map[string]bool{}, forms: map[string]sending{}}
	r.elements, r.attributes = ours(t)
	for _, sheet := range lots.Sheets {
		if sheet.Name == "site" {
			continue
		}
		for _, text := range hostile {
			pairs := []string{"form", text, "back", text, "override", text, "reason_for_hold", text}
			for _, col := range sheet.Columns {
				pairs = append(pairs, col.Name, text)
			}
			a := c.post("/do/"+sheet.Verb, pairs...)
			require.Equal(t, http.StatusUnprocessableEntity, a.Code, sheet.Verb)
			r.judge("/do/"+sheet.Verb, a.Body.String())
		}
	}
	require.Contains(t, r.texts.String(), hostile[1])
}

// pagedKinds are the kinds of things that have a page.
var pagedKinds = []lots.Kind{lots.KindLot, lots.KindBrew, lots.KindVessel, lots.KindLine, lots.KindRun, lots.KindUnit, lots.KindShipment, lots.KindReturn,
	lots.KindParty, lots.KindItem, lots.KindProduct, lots.KindTransfer}
