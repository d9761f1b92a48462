package sheet

import (
	"archive/zip"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"path"
	"path/filepath"
	"strings"

	"heeltap/lots"
)

// A workbook is read part by part and cell by cell (ECMA-376, parts 1 and 2),
// never built up in memory: a hostile file of a few kilobytes can name a
// million rows of sixteen thousand cells.

// Limits on what a workbook's parts may hold.
const (
	maxPages   = 1_000
	maxStyles  = 65_536
	maxStrings = 10_000_000
	maxColumns = 16_384
	maxMerges  = 100
)

// A workbook unpacks to about ten times its size (common practice: XML of numbers); one that
// claims far more is made to fill memory. Small ones may, since empty formatted rows pack well.
const (
	maxSwell  = 100
	swellFrom = 32 << 20
)

var (
	errTooLarge = fmt.Errorf("it unpacks to more than %d MiB: give a folder of CSV files instead", maxBook>>20)
	errSwollen  = fmt.Errorf("it unpacks to more than %d times its size, which no workbook of records does: save it again, or give a folder of CSV files", maxSwell)
	errNoBook   = errors.New("it is not a workbook: the part that lists its pages is missing")
)

// book is an open workbook.
type book struct {
	parts   map[string]*zip.File
	room    int64 // bytes that its parts may still unpack to
	full    error // what is wrong with one that unpacks to more
	pages   []bookPage
	strings []string
	styles  []format
	since   int64 // Unix seconds of day 0
	era1904 bool
}

type bookPage struct{ name, part string }

// openBook reads all of a workbook but its pages.
func openBook(src io.ReaderAt, size, room int64) (*book, error) {
	z, err := zip.NewReader(src, size)
	if err != nil {
		return nil, fmt.Errorf("it is damaged: %w", err)
	}
	b := &book{parts: map[string]*zip.File{}, room: room, full: errTooLarge}
	if most := max(swellFrom, maxSwell*size); most < room {
		b.room, b.full = most, errSwollen
	}
	if declared(z.File) > uint64(b.room) {
		return nil, b.full
	}
	for _, f := range z.File {
		name := strings.ToLower(strings.TrimPrefix(f.Name, "/"))
		if _, twice := b.parts[name]; !twice {
			b.parts[name] = f
		}
	}
	main := b.mainPart()
	if b.parts[strings.ToLower(main)] == nil {
		return nil, errNoBook
	}
	links, err := b.links(main)
	if err != nil {
		return nil, err
	}
	if err := b.readPages(main, links); err != nil {
		return nil, err
	}
	if err := b.readStrings(partOf(links, "sharedStrings", path.Join(path.Dir(main), "sharedStrings.xml"))); err != nil {
		return nil, err
	}
	return b, b.readStyles(partOf(links, "styles", path.Join(path.Dir(main), "styles.xml")))
}

// declared is what the parts that may be read say they unpack to.
func declared(parts []*zip.File) (sum uint64) {
	for _, f := range parts {
		if ending := strings.ToLower(path.Ext(f.Name)); ending == ".xml" || ending == ".rels" {
			sum += min(f.UncompressedSize64, 1<<40) // no sum of what a file can list overflows
		}
	}
	return sum
}

// link is one relationship of a part.
type link struct{ id, kind, part string }

// links reads the relationships of a part.
func (b *book) links(part string) ([]link, error) {
	var out []link
	rels := path.Join(path.Dir(part), "_rels", path.Base(part)+".rels")
	if part == "" { // the workbook as a whole
		rels = "_rels/.rels"
	}
	err := b.each(rels, func(_ *xml.Decoder, e xml.StartElement) error {
		if e.Name.Local != "Relationship" || attr(e, "TargetMode") == "External" {
			return nil
		}
		target := attr(e, "Target")
		if !strings.HasPrefix(target, "/") {
			target = path.Join(path.Dir(part), target)
		}
		if len(out) == 4*maxPages {
			return errors.New("it has too many parts")
		}
		out = append(out, link{attr(e, "Id"), path.Base(attr(e, "Type")), strings.TrimPrefix(target, "/")})
		return nil
	})
	return out, err
}

// mainPart is the part that lists the pages.
func (b *book) mainPart() string {
	links, _ := b.links("") // a workbook without this list has its parts in the usual place
	return partOf(links, "officeDocument", "xl/workbook.xml")
}

func partOf(links []link, kind, otherwise string) string {
	for _, l := range links {
		if l.kind == kind {
			return l.part
		}
	}
	return otherwise
}

func (b *book) readPages(main string, links []link) error {
	byID := map[string]link{}
	for _, l := range links {
		byID[l.id] = l
	}
	b.since = daysFrom1900
	err := b.each(main, func(_ *xml.Decoder, e xml.StartElement) error {
		switch e.Name.Local {
		case "workbookPr":
			if v := attr(e, "date1904"); v == "1" || v == "true" {
				b.since, b.era1904 = daysFrom1904, true
			}
		case "sheet":
			if len(b.pages) == maxPages {
				return fmt.Errorf("it has more than %d pages", maxPages)
			}
			if l := byID[attr(e, "id")]; l.kind == "worksheet" {
				b.pages = append(b.pages, bookPage{attr(e, "name"), l.part})
			}
		}
		return nil
	})
	if err == nil && len(b.pages) == 0 {
		return errNoBook
	}
	return err
}

func (b *book) readStrings(part string) error {
	if b.parts[strings.ToLower(part)] == nil {
		return nil // all texts stand in the cells
	}
	return b.each(part, func(d *xml.Decoder, e xml.StartElement) error {
		if e.Name.Local != "si" {
			return nil
		}
		if len(b.strings) == maxStrings {
			return fmt.Errorf("it has more than %d texts", maxStrings)
		}
		text, err := richText(d)
		if longerThan(text, maxCell) { // any number of cells may show it: what is too long anyway need not be whole
			text = string([]rune(text[:min(len(text), 4*(maxCell+1))])[:maxCell+1])
		}
		b.strings = append(b.strings, text)
		return err
	})
}

// each calls fn for every element of a part; fn may read on to the element's end.
func (b *book) each(part string, fn func(*xml.Decoder, xml.StartElement) error) error {
	f := b.parts[strings.ToLower(part)]
	if f == nil {
		return fmt.Errorf("its part %s is missing", part)
	}
	src, err := f.Open()
	if err != nil {
		return fmt.Errorf("its part %s is damaged: %w", part, err)
	}
	defer src.Close()
	d := xml.NewDecoder(&metered{src, b})
	for {
		t, err := d.Token()
		if err == io.EOF {
			return nil
		}
		if e, ok := t.(xml.StartElement); ok && err == nil {
			err = fn(d, e)
		}
		switch {
		case errors.Is(err, b.full):
			return b.full
		case err != nil:
			return fmt.Errorf("its part %s is damaged: %w", part, err)
		}
	}
}

// metered counts what all parts unpack to, together; archive/zip holds each to what the file says of it.
type metered struct {
	src  io.Reader
	book *book
}

func (m *metered) Read(p []byte) (int, error) {
	n, err := m.src.Read(p)
	if m.book.room -= int64(n); m.book.room < 0 {
		return 0, m.book.full
	}
	return n, err
}

func attr(e xml.StartElement, local string) string {
	for _, a := range e.Attr {
		if a.Name.Local == local {
			return a.Value
		}
	}
	return ""
}

// richText reads the text of the element just begun up to its end: all its
// runs, without the phonetic ones.
func richText(d *xml.Decoder) (string, error) {
	var b strings.Builder
	for depth := 1; depth > 0; {
		t, err := d.Token()
		if err != nil {
			return "", unexpectedEnd(err)
		}
		switch t := t.(type) {
		case xml.StartElement:
			switch t.Name.Local {
			case "t":
				text, err := plainText(d)
				if err != nil {
					return "", err
				}
				b.WriteString(text)
			case "rPh":
				if err := d.Skip(); err != nil {
					return "", unexpectedEnd(err)
				}
			default:
				depth++
			}
		case xml.EndElement:
			depth--
		}
	}
	return unescape(b.String()), nil
}

// plainText reads the characters of the element just begun up to its end.
func plainText(d *xml.Decoder) (string, error) {
	var b strings.Builder
	for {
		t, err := d.Token()
		if err != nil {
			return "", unexpectedEnd(err)
		}
		switch t := t.(type) {
		case xml.CharData:
			b.Write(t)
		case xml.StartElement:
			if err := d.Skip(); err != nil {
				return "", unexpectedEnd(err)
			}
		case xml.EndElement:
			return b.String(), nil
		}
	}
}

func unexpectedEnd(err error) error {
	if err == io.EOF {
		return io.ErrUnexpectedEOF
	}
	return err
}

// workbook reads every page that is a sheet.
func (r *reading) workbook(name string, src io.ReaderAt, size int64) error {
	damaged := func(err error) error {
		return lots.Errorf(lots.Invalid, "%s cannot be read as a workbook: %w", name, err)
	}
	b, err := openBook(src, size, r.room)
	if err != nil {
		return damaged(err)
	}
	byName := map[string][]bookPage{}
	for _, p := range b.pages {
		byName[pageName(p.name)] = append(byName[pageName(p.name)], p)
	}
	known := 0
	for _, s := range lots.Sheets {
		for i, p := range byName[s.Name] {
			known++
			if i > 0 {
				r.fault(s.Name, 1, "", "two pages have this name: rename one")
				continue
			}
			if err := r.bookPage(b, p, s); err != nil {
				return damaged(err)
			}
		}
	}
	if known == 0 {
		return lots.Errorf(lots.NotFound, "%s has none of the pages that are read (%s)", name, strings.Join(sheetNames(""), " "))
	}
	if err := r.otherPages(b, name); err != nil {
		return damaged(err)
	}
	return nil
}

// pageName is how a page's name is compared: people write Receipts, and a blank behind it.
func pageName(name string) string { return strings.ToLower(strings.TrimSpace(name)) }

// otherPages passes over the pages that are not sheets and not empty, or makes a fault that
// lists them; spreadsheets add empty pages of their own.
func (r *reading) otherPages(b *book, file string) error {
	var others, named []string
	for _, p := range b.pages {
		if _, ok := lots.SheetNamed(pageName(p.name)); ok {
			continue
		}
		empty, err := b.emptyPage(p)
		if err != nil {
			return err
		}
		if empty {
			continue
		}
		others = append(others, p.name)
		text := fmt.Sprintf("%q", shorten(p.name))
		if near := lots.NearestOf(pageName(p.name), sheetNames("")); len(near) > 0 {
			text += " (did you mean " + strings.Join(near, ", ") + "?)"
		}
		named = append(named, text)
	}
	switch {
	case len(others) == 0:
	case r.how.SkipOthers:
		r.passed = append(r.passed, others...)
	default:
		r.fault(filepath.Base(file), 1, "", "has pages that are not record sheets: %s. Rename or remove them, or skip them with --skip-others; the sheets are %s",
			strings.Join(named, ", "), strings.Join(sheetNames(""), " "))
	}
	return nil
}
