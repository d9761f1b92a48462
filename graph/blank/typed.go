package blank

import (
	"slices"

	"heeltap/graph/desk"
	"heeltap/lots"
	"heeltap/lots/store"
)

// Written is what stands on a sheet of paper that was written on, as it is typed in: what stands on top once, and lines
// of one or several kinds.
type Written struct {
	Name    string
	Heading string
	Top     Part
	Parts   []Part
	day     string // the cell on top that says the day of the lines
	own     bool   // what stands on top is a row of its own, and the lines are of it
}

// Part is the lines of one kind on a sheet, each a row; on top it is one.
type Part struct {
	Sheet  *lots.Sheet
	Title  string
	Note   string
	Cells  []string          // the columns that are written down, in the order of the paper
	Labels map[string]string // what a column is called here, where that is something else
	Lines  int               // how many empty ones are shown at first
	of     string            // the column that takes the code of the first row
	about  string            // the column that takes what the sheet is about
}

// Lines are the rows of a part as they were typed; a row with nothing in it is none.
type Lines []lots.Row

// Day is the cell on top that says no more than the day, where a sheet has no other.
const Day = "day"

// About is the cell on top that says which vessel a sheet is about.
const About = "vessel"

// WrittenSheets lists the sheets that are typed in line by line. Deliveries and brews have pages of their own, which
// take all lines of theirs.
func WrittenSheets() []Written {
	part := func(sheet string, p Part) Part {
		p.Sheet, _ = lots.SheetNamed(sheet)
		return p
	}
	return []Written{
		{Name: "count", Heading: "A count from paper", day: "at", Top: part("counts", Part{Cells: []string{"place", "at"}, Labels: map[string]string{"at": "Counted: day and time"}}),
			Parts: []Part{part("counts", Part{Title: "What was counted", Note: "Write 0 where nothing was there.", Cells: []string{"subject", "quantity", "at"}, Lines: 8})}},
		{Name: "loading", Heading: "A loading list from paper", day: "shipped_at", Top: part("shipments", Part{Cells: []string{"consignee", "shipped_at", "document", "carrier"}, Labels: map[string]string{"shipped_at": "Left: day and time"}}),
			Parts: []Part{part("shipments", Part{Title: "What went onto the lorry", Cells: []string{"unit", "quantity"}, Lines: 8, of: "shipment"})}},
		{Name: "run", Heading: "A run from paper", day: "started_at", own: true, Top: part("runs", Part{Cells: []string{"product", "line", "date_code", "started_at", "ended_at", "good", "rejects"}}),
			Parts: []Part{
				part("feeds", Part{Title: "What fed it", Note: "Without a time it fed the run from its start to its end.", Cells: []string{"from", "since", "until"}, Lines: 6, of: "run"}),
				part("units", Part{Title: "Off the line", Cells: []string{"unit", "quantity", "first_at", "last_at", "place"}, Labels: map[string]string{"unit": "Pallet or keg"}, Lines: 8, of: "run"})}},
		{Name: "vessel", Heading: "A vessel's sheet", day: Day, Top: part("additions", Part{Cells: []string{About, Day}}),
			Parts: []Part{
				part("transfers", Part{Title: "Transfers", Cells: []string{"from", "to", "out", "in", "started_at", "ended_at", "via"}, Lines: 2}),
				part("additions", Part{Title: "Additions and yeast", Cells: []string{"from", "quantity", "at", "purpose"}, Lines: 4, about: "vessel"}),
				part("crops", Part{Title: "Crops", Cells: []string{"item", "quantity", "into", "at"}, Lines: 1, about: "vessel"}),
				part("cleans", Part{Title: "Cleans", Note: "Emptied is no clean.", Cells: []string{"method", "verified", "from", "at"}, Labels: map[string]string{"from": "Chemical's lot"}, Lines: 2, about: "vessel"}),
				part("removals", Part{Title: "Taken or emptied", Note: "Write “all” where it was emptied.", Cells: []string{"reason", "quantity", "at"}, Lines: 2, about: "subject"})}},
	}
}

// WrittenSheet finds one of them by its name.
func WrittenSheet(name string) (Written, bool) {
	all := WrittenSheets()
	i := slices.IndexFunc(all, func(w Written) bool { return w.Name == name })
	if i < 0 {
		return Written{}, false
	}
	return all[i], true
}

// Place says where on the sheet the row of an act was typed: the part, counted from 0, and the line in it; part -1 is
// what stands on top.
type Place struct{ Part, Line int }

// Acts are the rows of a sheet as they are recorded together, and where each was typed. A time without a day is of the
// day on top; a line without a time is of the time on top, and known to the day where only a day stands there. Faults name what is missing before anything can be recorded:
// they are about cells on top, or about the sheet.
func (w Written) Acts(tx *store.Tx, top lots.Row, parts []Lines, like desk.Act) ([]desk.Act, []Place, lots.Faults) {
	var acts []desk.Act
	var places []Place
	var faults lots.Faults
	if _, _, err := lots.ParseWhen(top[w.day], tx.Site().Zone); top[w.day] == "" {
		faults = append(faults, lots.Fault{Column: w.day, Reason: "write when it happened, as it stands on the paper"})
	} else if err != nil { // a time alone would be of today, and it is typed in later
		faults = append(faults, lots.Fault{Column: w.day, Reason: "write the day and the time as in 2026-03-04 09:30, or the day alone"})
	}
	if w.Name == "vessel" && top[About] == "" {
		faults = append(faults, lots.Fault{Column: About, Reason: "say which vessel the sheet is of"})
	}
	add := func(p Part, row lots.Row, at Place) {
		act := like
		act.Sheet, act.Row, act.Of = p.Sheet, row, p.of
		acts, places = append(acts, act), append(places, at)
	}
	if w.own {
		row := w.dated(tx, w.Top, top, top)
		add(w.Top, row, Place{-1, 0})
	}
	for i, p := range w.Parts {
		for n, typed := range parts[i] {
			row := w.dated(tx, p, typed, top)
			if len(row) == 0 {
				continue
			}
			w.complete(tx, p, row, top)
			add(p, row, Place{i, n})
		}
	}
	if len(acts) == 0 && len(faults) == 0 {
		faults = append(faults, lots.Fault{Reason: "nothing stands in the lines yet: type in what is on the paper"})
	}
	return acts, places, faults
}

// dated is a row as typed, without empty cells, and with the day on top where a time has none.
func (w Written) dated(tx *store.Tx, p Part, typed, top lots.Row) lots.Row {
	row := lots.Row{}
	for column, text := range typed {
		if text == "" {
			continue
		}
		if c, ok := p.Sheet.Column(column); ok && c.Type == lots.Time {
			if at, err := desk.MomentBeside(tx, text, top[w.day]); err == nil { // else whoever reads the row says what is wrong
				text = at
			}
		}
		row[column] = text
	}
	return row
}

// complete gives a row what stands on top of the sheet, or follows from it.
func (w Written) complete(tx *store.Tx, p Part, row, top lots.Row) {
	if p.Sheet == w.Top.Sheet && !w.own && w.Name != "vessel" {
		for _, column := range w.Top.Cells {
			if row[column] == "" && top[column] != "" {
				row[column] = top[column]
			}
		}
	}
	if when := p.Sheet.When; !w.own && row[when] == "" {
		row[when] = top[w.day]
	}
	if p.about != "" {
		row[p.about] = top[About]
	}
	switch p.Sheet.Name {
	case "transfers": // the sheet is of one of the two
		if row["from"] == "" && row["to"] != top[About] {
			row["from"] = top[About]
		} else if row["to"] == "" && row["from"] != top[About] {
			row["to"] = top[About]
		}
	case "units":
		row["kind"] = "pallet"
		if code, err := desk.CodeOf(tx, top["product"], lots.KindProduct); err == nil {
			if x, ok := tx.Product(code); ok && x.PerCase <= 1 {
				row["kind"] = "keg"
			}
		}
	}
}
