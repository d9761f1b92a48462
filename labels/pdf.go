package labels

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/go-pdf/fpdf"

	"heeltap/labels/font"
)

// typeface is the name of the embedded face within a PDF.
const typeface = "tag"

// PrintOptions say how tags are laid out on pages.
type PrintOptions struct {
	Base   string    // the server's address, or empty: see [Payload]
	Copies int       // of each tag, one after the other; 0 means 1
	Start  int       // first free cell of the first sheet, counted row by row from 1; 0 means 1
	Date   time.Time // creation date noted in the file; zero means the start of 1970
}

// check refuses what the stock cannot do.
func (o PrintOptions) check(stock Stock) error {
	switch {
	case stock.arrange == nil:
		return errors.New("no stock: take one of those that Stocks lists")
	case o.Copies < 0:
		return fmt.Errorf("%d copies: ask for 1 or more", o.Copies)
	case o.Start < 0 || o.Start > stock.Cells():
		return fmt.Errorf("cell %d: a page of %s has cells 1 to %d", o.Start, stock.Name, stock.Cells())
	}
	return nil
}

// PDF writes the tags ready to print, page by page, to be printed at 100 %
// size. One tag that cannot be printed fails all; nothing is written then.
func PDF(w io.Writer, tags []Tag, stock Stock, opts PrintOptions) error {
	if err := opts.check(stock); err != nil {
		return err
	}
	if len(tags) == 0 {
		return errors.New("no tags to print")
	}
	fs := newFaces()
	doc := newDocument(stock, opts.Date)
	next := max(opts.Start, 1) - 1
	doc.AddPage()
	for _, tag := range tags {
		d, err := layOut(fs, tag, opts.Base, stock, dot)
		if err != nil {
			return err
		}
		for range max(opts.Copies, 1) {
			if next == stock.Cells() {
				doc.AddPage()
				next = 0
			}
			drawCell(doc, d, stock.cell(next), stock.cut)
			next++
		}
	}
	var b bytes.Buffer
	if err := doc.Output(&b); err != nil {
		return fmt.Errorf("make PDF: %w", err)
	}
	if _, err := b.WriteTo(w); err != nil {
		return fmt.Errorf("write PDF: %w", err)
	}
	return nil
}

// newDocument is an empty document of the stock's pages. What would differ
// from one time to the next (the clock, the order of maps) is pinned.
func newDocument(stock Stock, date time.Time) *fpdf.Fpdf {
	doc := fpdf.NewCustom(&fpdf.InitType{
		OrientationStr: "P", UnitStr: "mm",
		Size: fpdf.SizeType{Wd: stock.Width, Ht: stock.Height},
	})
	if date.IsZero() {
		date = time.Unix(0, 0)
	}
	doc.SetCreationDate(date.UTC())
	doc.SetModificationDate(date.UTC())
	doc.SetCatalogSort(true)
	doc.SetProducer("heeltap", false)
	doc.SetTitle("Tags", false)
	doc.SetMargins(0, 0, 0)
	doc.SetAutoPageBreak(false, 0)
	doc.AddUTF8FontFromBytes(typeface, "", []byte(font.Regular))
	doc.AddUTF8FontFromBytes(typeface, "B", []byte(font.Bold))
	return doc
}

// drawCell draws one tag, the top left corner of its cell at the origin.
func drawCell(doc *fpdf.Fpdf, d *drawing, cell area, cut bool) {
	if cut {
		doc.SetDrawColor(160, 160, 160)
		doc.SetLineWidth(0.1)
		doc.Rect(cell.x, cell.y, cell.w, cell.h, "D")
	}
	doc.SetFillColor(0, 0, 0)
	for _, box := range d.boxes {
		doc.Rect(cell.x+box.x, cell.y+box.y, box.w, box.h, "F")
	}
	for _, t := range d.texts {
		drawText(doc, t, cell)
	}
	x, y := d.origin()
	drawCode(doc, d.symbol, cell.x+x, cell.y+y)
}

func drawText(doc *fpdf.Fpdf, t textMark, cell area) {
	weight, shade := "", 0
	if t.bold {
		weight = "B"
	}
	if t.white {
		shade = 255
	}
	doc.SetFont(typeface, weight, 0)
	doc.SetFontUnitSize(t.size)
	doc.SetTextColor(shade, shade, shade)
	doc.Text(cell.x+t.x, cell.y+t.y, t.text)
}

// drawCode fills all dark modules as one path, so that no hairline shows
// between rows however the pages are rendered.
func drawCode(doc *fpdf.Fpdf, code symbol, x, y float64) {
	for _, bar := range code.bars() {
		left, right := x+float64(bar.x)*code.module, x+float64(bar.x+bar.n)*code.module
		top, bottom := y+float64(bar.y)*code.module, y+float64(bar.y+1)*code.module
		doc.MoveTo(left, top)
		doc.LineTo(right, top)
		doc.LineTo(right, bottom)
		doc.LineTo(left, bottom)
		doc.ClosePath()
	}
	doc.DrawPath("F")
}
