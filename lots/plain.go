package lots

import (
	"cmp"
	"fmt"
	"math/big"
	"regexp"
	"slices"
	"strings"
	"time"
)

// Manner is how what people write in a row is to be read.
type Manner struct {
	Decimal Decimal         // the site's decimal sign
	File    bool            // the row is of a file, written by nobody who could be asked
	Now     time.Time       // the day that a time without one is of; not used where File
	Zone    *time.Location  // the site's zone; not used where File
	Sure    map[string]bool // columns whose number is digits with a point beyond doubt, as a workbook keeps them
}

// Plain rewrites a row as people write it into the words that Decode knows: a quantity loses
// its unit to the column for it (60 kg), units get their usual names (lbs, T), numbers a
// decimal point and no separators (1 250,5), words of a closed set their case, and a time of
// day the day that it is (14:30). What it cannot read it leaves for Decode to refuse. Doubts
// are sentences about numbers that can be read two ways; faults are what cannot be read one way.
func Plain(s *Sheet, row Row, m Manner) (doubts, faults Faults) {
	p := &plainer{sheet: s, row: row, manner: m, spelled: map[string]spelling{}, read: map[string]Numeral{}}
	for _, c := range s.Columns {
		if row[c.Name] == "" {
			continue
		}
		switch c.Type {
		case Choice, YesNo, Amount:
			p.word(c)
		case Time:
			p.time(c)
		}
		switch c.Type {
		case Number, Amount, Count:
			p.split(c)
		}
	}
	p.units()
	for _, c := range s.Columns {
		if n, ok := p.read[c.Name]; ok {
			p.number(c, n)
		}
	}
	return p.doubts, p.faults
}

// plainer is one row being rewritten.
type plainer struct {
	sheet          *Sheet
	row            Row
	manner         Manner
	spelled        map[string]spelling // column to the unit written in its cell
	read           map[string]Numeral  // column to the number in its cell
	doubts, faults Faults
}

func (p *plainer) fault(column, format string, args ...any) {
	p.faults = append(p.faults, Fault{Column: column, Reason: fmt.Sprintf(format, args...)})
}

// yesAndNo are what people write for yes and no.
var yesAndNo = map[string]string{"yes": "yes", "y": "yes", "true": "yes", "no": "no", "n": "no", "false": "no"}

// word forgives the case of words of a closed set, as of codes in a question.
func (p *plainer) word(c Column) {
	v := p.row[c.Name]
	if word, ok := yesAndNo[strings.ToLower(v)]; ok && c.Type == YesNo {
		p.row[c.Name] = word
	}
	for _, word := range c.Values {
		if strings.EqualFold(word, v) {
			p.row[c.Name] = word
		}
	}
}

// time gives a time of day its day. In a file it has none.
func (p *plainer) time(c Column) {
	if p.manner.File || p.manner.Now.IsZero() || p.manner.Zone == nil {
		return
	}
	text, ok := dated(p.row[c.Name], p.manner.Zone, p.manner.Now)
	if !ok {
		return
	}
	if _, _, err := ParseWhenAt(p.row[c.Name], p.manner.Zone, p.manner.Now); err != nil {
		p.fault(c.Name, "%v", err)
		return
	}
	p.row[c.Name] = text
}

// numberAndUnit is a number with a word behind it.
var numberAndUnit = regexp.MustCompile(`^([0-9.,'’ \x{a0}\x{2009}\x{202f}]*[0-9][.,]?)[ \x{a0}\x{2009}\x{202f}]*([A-Za-z%]+\.?)$`)

// split takes a number and the unit behind it apart.
func (p *plainer) split(c Column) {
	text, word := p.row[c.Name], ""
	if m := numberAndUnit.FindStringSubmatch(text); m != nil {
		text, word = strings.TrimSpace(m[1]), m[2]
	}
	unitColumn := p.sheet.UnitColumn(c)
	n, err := ReadNumeral(text, p.manner.Decimal, p.most(c, unitColumn, word))
	if p.manner.Sure[c.Name] {
		_, err = parseDecimal(text)
		n = Numeral{Written: text, Text: text}
	}
	switch {
	case err != nil:
		return
	case word == "" || p.idle(c, word):
	case unitColumn == "" || p.packages(c) && p.packageWord(word):
		return
	default:
		unit, err := p.unitOf(word)
		if err != nil {
			p.fault(c.Name, "%v", err)
			return
		}
		p.spelled[c.Name] = unit
	}
	p.read[c.Name] = n
}

// DecimalShown is the decimal sign that a number, with or without a unit behind it, plainly shows.
func DecimalShown(text string) Decimal {
	if m := numberAndUnit.FindStringSubmatch(text); m != nil {
		text = strings.TrimSpace(m[1])
	}
	n, err := ReadNumeral(text, Point, 0)
	if err != nil {
		return ""
	}
	return n.Sign
}

// most is the largest number that a column can mean; only amounts and counts come in thousands.
func (p *plainer) most(c Column, unitColumn, word string) float64 {
	if unitColumn == "" {
		if c.Type == Count || p.counts(c) {
			return 0
		}
		return 1 // gravity, per cent, minutes: never in thousands
	}
	if s, err := spelledUnit(cmp.Or(word, p.row[unitColumn])); err == nil {
		return mostOf(s.unit) / float64(s.factor)
	}
	return 0
}

// counts reports whether a number is one of cases or kegs.
func (p *plainer) counts(c Column) bool { return c.Name == "quantity" && p.sheet.UnitColumn(c) == "" }

// packages reports whether a number is of cases or kegs unless a unit of measure stands with it.
func (p *plainer) packages(c Column) bool { return p.sheet.UnitColumn(c) == "quantity_unit" }

// packageWord reports whether a word names cases or kegs.
func (p *plainer) packageWord(word string) bool {
	return slices.Contains(strings.Fields("case cases cs keg kegs"), strings.ToLower(strings.TrimSuffix(word, ".")))
}

// idle reports whether a word behind a number says only what its column says anyway.
func (p *plainer) idle(c Column, word string) bool {
	word = strings.ToLower(strings.TrimSuffix(word, "."))
	is := func(words string) bool { return slices.Contains(strings.Fields(words), word) }
	switch {
	case strings.HasSuffix(c.Name, "_min"):
		return is("min mins minute minutes")
	case strings.HasSuffix(c.Name, "_ml"):
		return is("ml mls")
	case strings.HasSuffix(c.Name, "_pct"):
		return is("%")
	case strings.HasSuffix(c.Name, "_days"):
		return is("d day days")
	case (p.counts(c) || p.packages(c)) && p.ofKegs():
		return is("keg kegs")
	case p.counts(c) || p.packages(c):
		return is("case cases cs")
	}
	return false
}

// ofKegs reports whether what a row counts are keg fillings.
func (p *plainer) ofKegs() bool {
	for _, name := range []string{"unit", "from", "subject"} {
		if c, ok := p.sheet.Column(name); ok && slices.Contains(c.Kinds, KindUnit) && strings.Contains(p.row[name], "/") {
			return true
		}
	}
	return false
}

// unitOf reads a unit; kegs are pieces where the row can mean no other count.
func (p *plainer) unitOf(word string) (spelling, error) {
	if w := strings.ToLower(word); (w == "keg" || w == "kegs") && (p.ofKegs() || p.sheet.Name == "receipts" || p.sheet.Name == "items") {
		return spelling{"each", 1}, nil
	}
	return spelledUnit(word)
}

// units gives every column of a unit its usual name, and to it what stands in the cells of its numbers.
func (p *plainer) units() {
	for _, c := range p.sheet.Columns {
		if c.Type != UnitOf {
			continue
		}
		var measured []string
		for _, n := range p.sheet.Columns {
			if _, ok := p.read[n.Name]; ok && p.sheet.UnitColumn(n) == c.Name {
				measured = append(measured, n.Name)
			}
		}
		p.unit(c.Name, measured)
	}
}

func (p *plainer) unit(column string, measured []string) {
	said, written := spelling{}, p.row[column] != ""
	if written {
		var err error
		if said, err = p.unitOf(p.row[column]); err != nil {
			return // Decode says what is wrong with it
		}
	}
	for _, name := range measured {
		if s, ok := p.spelled[name]; ok && said.unit == "" {
			said = s
		}
	}
	if said.unit == "" {
		return
	}
	for _, name := range measured {
		s, inCell := p.spelled[name]
		if !inCell {
			s = said
		}
		if written && s != said {
			p.fault(name, "is in %s here, but %s says %s: write it once", s.unit, column, p.row[column])
			return
		}
		if !p.convert(name, s, said.unit) {
			return
		}
	}
	p.row[column] = string(said.unit)
}

// convert makes a number of a spelled unit one of the unit that the row is in.
func (p *plainer) convert(name string, s spelling, unit Unit) bool {
	if s.unit == unit && s.factor == 1 {
		return true
	}
	n := p.read[name]
	for _, text := range []*string{&n.Text, &n.Other} {
		r, ok := new(big.Rat).SetString(*text)
		if !ok {
			continue // no other reading
		}
		if *text, ok = s.in(r, unit); !ok {
			p.fault(name, "is in %s and cannot be written in %s: give both in one unit", s.unit, unit)
			return false
		}
	}
	p.read[name] = n
	return true
}

// number writes a number as it was read, and says so where it can be read two ways.
func (p *plainer) number(c Column, n Numeral) {
	comma := strings.Count(n.Written, ",") == 1 && !strings.ContainsAny(n.Written, ".'’ ")
	switch {
	case p.manner.File && p.manner.Decimal != Comma && comma:
		p.row[c.Name] = n.Written // a file has a decimal point: Decode refuses the comma
		return
	case p.manner.File && n.Other != "" && !comma && p.manner.Decimal == Comma:
		p.fault(c.Name, "%q can be %s or %s: write it without thousands separators, and with a decimal comma", n.Written, n.Other, n.Text)
		return
	}
	var unit Unit
	if column := p.sheet.UnitColumn(c); column != "" {
		unit, _ = ParseUnit(p.row[column])
	}
	if text := n.Doubt(unit); text != "" {
		p.doubts = append(p.doubts, Fault{Column: c.Name, Reason: text})
	}
	if n.Other != "" || !sameDecimal(n.Text, p.row[c.Name]) {
		p.row[c.Name] = n.Text
	}
}

// sameDecimal reports whether a cell says a number already, in digits with a point.
func sameDecimal(text, cell string) bool {
	a, err := parseDecimal(text)
	if err != nil {
		return false
	}
	b, err := parseDecimal(cell)
	return err == nil && a.Cmp(b) == 0
}

// UnitColumn is the column with the unit of a number's column; empty where it has none.
func (s *Sheet) UnitColumn(c Column) string {
	if c.Type != Number && c.Type != Amount {
		return ""
	}
	name := c.Name + "_unit"
	if !s.Has(name) && slices.Contains(measures, c.Name) {
		name = "unit"
	}
	if u, ok := s.Column(name); ok && u.Type == UnitOf {
		return name
	}
	return ""
}

// measures are the columns whose unit stands in the column named unit.
var measures = []string{"quantity", "out", "in", "volume", "capacity"}
