package main

import (
	"cmp"
	"context"
	"maps"
	"slices"
	"strings"

	"heeltap/graph/desk"
	"heeltap/lots"
	"heeltap/lots/mapping"
)

// importMapped reads files with headings of their own by a map: it asks what it does not know, says what it would record, and
// records it where it is told to.
func (e *env) importMapped(ctx context.Context, how desk.Import, mapPath string, record bool) error {
	db, err := e.open(ctx)
	if err != nil {
		return err
	}
	understood, err := desk.Understand(ctx, db, mapPath, how.Paths)
	if err != nil {
		return cmp.Or(err, db.Close())
	}
	if open := understood.Map.Open(); len(open) > 0 || understood.New {
		if err := db.Close(); err != nil {
			return err
		}
		return e.askMapped(understood, open, mapPath)
	}
	how.Mapped, how.Try = understood, !record
	said, err := e.importAll(ctx, db, how)
	if err = cmp.Or(err, db.Close()); err != nil {
		return err
	}
	if record {
		if !e.json {
			e.sayMapped(understood)
		}
		return e.tellImported(how, said)
	}
	if e.json {
		return e.writeJSON(map[string]any{"would_record": said, "pages": understood.Pages, "left_out": understood.Left, "open": []mapping.Rule{}})
	}
	e.sayMapped(understood)
	for _, w := range said.Warnings {
		e.note("%s", w)
	}
	if len(said.Faults) > 0 {
		tell(e.errOut, said.Faults)
		if !how.KeepGoing {
			return lots.Errorf(lots.Invalid, "nothing was recorded: correct these lines in your file, or keep the others with --record --keep-going")
		}
	}
	e.printf("Would record %s. Nothing was recorded: run it again with --record.\n", counted(said.Rows, "row"))
	return nil
}

// askMapped says what a map asks, and where to answer.
func (e *env) askMapped(understood *desk.Mapped, open []mapping.Rule, mapPath string) error {
	if e.json {
		if err := e.writeJSON(map[string]any{"would_record": nil, "pages": understood.Pages, "left_out": understood.Left, "open": asked(open)}); err != nil {
			return err
		}
	} else {
		e.sayMapped(understood)
		for _, r := range open {
			e.printf("  ? %s\n", questionOf(r))
		}
	}
	if len(understood.Faults) > 0 {
		tell(e.errOut, understood.Faults)
	}
	if len(open) == 0 {
		return lots.Errorf(lots.Invalid, "nothing was recorded: the map %s is new. Look through it, correct what is wrong, and run this again", mapPath)
	}
	return lots.Errorf(lots.Invalid, "nothing was recorded: the map %s has %s. Write the answer in place of each ?, and run this again", mapPath, counted(len(open), "open question"))
}

func asked(open []mapping.Rule) []mapping.Rule { return append([]mapping.Rule{}, open...) }

// questionOf asks what a rule means.
func questionOf(r mapping.Rule) string {
	guess := strings.TrimSpace(strings.TrimSuffix(r.Means, "?"))
	if guess != "" {
		guess = " (probably " + guess + ")"
	}
	switch r.What {
	case mapping.Sheet:
		return "page " + r.Page + ": which record sheet is it" + guess + "? " + r.Note
	case mapping.Column:
		return "page " + r.Page + ": what does the heading " + quoted(r.Written) + " mean" + guess + "? " + r.Note
	case mapping.Always:
		return "page " + r.Page + " does not give " + r.Written + ": what is it in every row? " + r.Note
	case mapping.Days:
		return "page " + r.Page + ": " + r.Note
	case mapping.Decimal:
		return "page " + r.Page + ": which is the decimal sign? " + r.Note
	case mapping.Split:
		return "page " + r.Page + ", " + r.Written + ": " + r.Note
	case mapping.Value:
		return "what was written where the file has " + quoted(r.Written) + "? " + r.Note
	}
	return "which " + r.Note + " is " + quoted(r.Written) + guess + "? Write its code; if it is new, record it first"
}

func quoted(text string) string { return `"` + text + `"` }

// sayMapped says how the pages of files were understood.
func (e *env) sayMapped(m *desk.Mapped) {
	for _, p := range m.Pages {
		if p.Sheet == "" {
			e.printf("page %s: left out\n", p.Name)
			continue
		}
		e.printf("page %s: %s of %s\n", p.Name, counted(p.Rows, "row"), p.Sheet)
		for _, heading := range slices.Sorted(maps.Keys(p.Columns)) {
			e.printf("  %s → %s\n", heading, p.Columns[heading])
		}
		if len(p.Unread) > 0 {
			e.printf("  not read: %s\n", strings.Join(p.Unread, ", "))
		}
	}
	if m.LeftOut != "" {
		e.printf("%s left out, listed in %s\n", counted(len(m.Left), "line"), m.LeftOut)
	}
}
