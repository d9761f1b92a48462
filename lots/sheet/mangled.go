package sheet

import (
	"cmp"
	"fmt"
	"regexp"
	"slices"
	"strings"

	"heeltap/lots"
)

// What spreadsheets make of texts (common practice): they shorten long numbers, take 3-11 for a
// date, keep dates as numbers of days, and show errors where a formula has lost its cell.
var (
	errorValue = regexp.MustCompile(`^#(#{2,}|N/A|NV|(REF|VALUE|DIV/0|NULL|NUM|SPILL|CALC|FIELD|BLOCKED|CONNECT|BUSY|UNKNOWN|BEZUG|WERT|ZAHL|VALEUR|NOMBRE)!|NAME\?|NOM\s?\?)$`)
	shortened  = regexp.MustCompile(`^[1-9]([.,][0-9]+)?[Ee]\+[0-9]{2,3}$`)
	zeroed     = regexp.MustCompile(`^[1-9][0-9]{14}0{2,}$`)
	widened    = regexp.MustCompile(`^[1-9][0-9]{0,5}0{7,}$`) // 1.23E+12, taken for a number and kept with zeros for what it no longer showed
	madeDate   = regexp.MustCompile(`^([0-3]?[0-9](-|\. ?)` + months + `|` + months + `[- ][0-9]{2})$`)
	fullDate   = regexp.MustCompile(`^[0-3]?[0-9](-|\. ?)` + months + `[- ]([0-9]{2}|[0-9]{4})$`)
	dateLike   = regexp.MustCompile(`^([0-9]{4}-[0-9]{2}-[0-9]{2}|[0-9]{1,2}[./-][0-9]{1,2}[./-]([0-9]{2}|[0-9]{4}))( .*)?$`)
)

const months = `(Jan|Feb|Mar|Mrz|Mär|Apr|May|Mai|Jun|Jul|Aug|Sep|Okt|Oct|Nov|Dec|Dez)`

// errorReason says what to do about a cell that shows an error.
func errorReason(v string) string {
	return fmt.Sprintf("is a spreadsheet's error, %s: check the paper and write what it says", shorten(v))
}

// broken makes a fault of every cell that shows an error, whatever its column.
func (p *page) broken(line int, row lots.Row) bool {
	found := false
	for _, c := range p.sheet.Columns {
		if v := row[c.Name]; errorValue.MatchString(v) {
			p.fault(line, c.Name, "%s", errorReason(v))
			found = true
		}
	}
	return found
}

// mangled says what a spreadsheet has probably made of a text; empty where nothing.
func mangled(c lots.Column, v string) string {
	switch c.Type {
	case lots.Text, lots.NewCode, lots.RefTo, lots.AnyOf:
	default:
		return "" // numbers, times and words are refused where they are wrong
	}
	switch {
	case widened.MatchString(v) && len(v) > 10:
		return fmt.Sprintf("%s may be a long number that a spreadsheet had shortened, with zeros where digits are lost: check the paper", v)
	case shortened.MatchString(v):
		return fmt.Sprintf("%s looks like a long number that a spreadsheet shortened: check the paper and write all its digits", v)
	case zeroed.MatchString(v):
		return fmt.Sprintf("%s looks like a number whose last digits a spreadsheet dropped, since it keeps 15: check the paper", v)
	case c.Name != "best_by" && madeDate.MatchString(v), c.Name != "best_by" && c.Name != "date_code" && fullDate.MatchString(v):
		return fmt.Sprintf("%s looks like a date that a spreadsheet made of a code such as 3-11: check the paper", v)
	}
	return ""
}

// doubtful is what may be meant otherwise in one column, until the whole of it was read.
type doubtful struct {
	numbers lots.Faults // numbers that can be read two ways
	days    lots.Faults // numbers that may be days
	dates   int         // cells that look like dates
	texts   int         // cells that look like neither
	shown   bool        // some number shows that the decimal sign is the site's
}

// suspect notes what may be meant otherwise in a row that is taken.
func (p *page) suspect(line int, row lots.Row, doubts lots.Faults) {
	if p.doubts == nil {
		p.doubts = map[string]*doubtful{}
		for _, c := range p.sheet.Columns {
			p.doubts[c.Name] = &doubtful{}
		}
	}
	place := func(column, reason string) lots.Fault {
		return lots.Fault{File: p.file, Line: line, Column: column, Reason: reason}
	}
	for _, c := range p.sheet.Columns {
		v := row[c.Name]
		if v == "" {
			continue
		}
		d := p.doubts[c.Name]
		if reason := mangled(c, v); reason != "" {
			p.warning(place(c.Name, reason))
		}
		switch c.Type {
		case lots.Text:
			d.text(place(c.Name, ""), v)
		case lots.Number, lots.Amount, lots.Count:
			sign := cmp.Or(p.into.how.Decimal, lots.Point)
			d.shown = d.shown || !p.sure[c.Name] && lots.DecimalShown(v) == sign
		}
	}
	for _, f := range doubts {
		p.doubts[f.Column].numbers = append(p.doubts[f.Column].numbers, place(f.Column, f.Reason))
	}
}

// text notes whether a text looks like a date or like a spreadsheet's number of a day.
func (d *doubtful) text(at lots.Fault, v string) {
	days, ok := lots.IsDayNumber(v)
	switch {
	case ok:
		at.Reason = fmt.Sprintf("%s may be the date %s, as a spreadsheet counts days, because others in this column are dates: check the paper", v, lots.DayNumber(days))
		d.days = append(d.days, at)
	case dateLike.MatchString(v), madeDate.MatchString(v), fullDate.MatchString(v):
		d.dates++
	default:
		d.texts++
	}
}

// warn gives the warnings of a page that was read to its end: a number is no doubt where others
// in its column show the decimal sign, nor one of five digits where others are no dates.
func (p *page) warn() {
	for _, c := range p.sheet.Columns {
		d := p.doubts[c.Name]
		if d == nil {
			continue
		}
		if !d.shown {
			p.warning(d.numbers...)
		}
		if d.dates > d.texts {
			p.warning(d.days...)
		}
	}
	p.doubts = nil
	own := p.into.warnings[p.warned:]
	slices.SortStableFunc(own, func(a, b lots.Fault) int { return cmp.Compare(a.Line, b.Line) })
}

// warning keeps warnings, but no more than faults.
func (p *page) warning(list ...lots.Fault) {
	if room := maxFaults - (len(p.into.warnings) - p.warned); len(list) > room {
		list = list[:max(room, 0)]
	}
	p.into.warnings = append(p.into.warnings, list...)
}

// sumWords begin a row of totals.
var sumWords = strings.Fields("total totals sum summe gesamt gesamtsumme somme suma totale totaal subtotal zwischensumme")

func isSumWord(v string) bool {
	v = strings.ToLower(strings.Trim(v, " :=."))
	return slices.Contains(sumWords, v) || v == "grand total"
}
