// Package mailing drafts all letters, notices and tables of a recall, writes them into a folder, and logs that it was done.
package mailing

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"heeltap/graph/recall"
	"heeltap/graph/recall/papers"
	"heeltap/labels/paper"
	"heeltap/labels/table"
	"heeltap/lots"
	"heeltap/lots/files"
	"heeltap/lots/store"
)

// Order asks for the letters of one recall.
type Order struct {
	Recall string    // its code
	Letter bool      // US Letter instead of A4
	At     recall.At // when it was done; zero means now
	By     string
}

// Make drafts the letters, lets write keep them, and logs the step. The drafting works on a snapshot, so that
// nobody waits for it; what the recall does not allow is refused before anything is drafted or written. It gives
// what was drafted, and the recall's state after each of the steps: a note follows where no frozen version says
// what the letters say.
func Make(ctx context.Context, db *store.DB, o Order, write func(*Drafts) error) (*Drafts, []*recall.Recall, error) {
	if err := o.allowed(ctx, db); err != nil {
		return nil, nil, err
	}
	var made *Drafts
	err := db.View(ctx, func(tx *store.Tx) error {
		now, err := recall.Load(tx, o.Recall)
		if err != nil {
			return err
		}
		made, err = Draft(tx, now, o.Letter)
		return err
	})
	if err != nil {
		return nil, nil, err
	}
	if err := write(made); err != nil {
		return nil, nil, err
	}
	var after []*recall.Recall
	err = db.Update(ctx, func(tx *store.Tx) error {
		after, err = o.Log(tx, made)
		return err
	})
	return made, after, logged(err)
}

// errNotKept undoes a step that was only tried.
var errNotKept = errors.New("not kept")

// allowed tries the step without keeping it.
func (o Order) allowed(ctx context.Context, db *store.DB) error {
	err := db.Update(ctx, func(tx *store.Tx) error {
		now, err := recall.Load(tx, o.Recall)
		if err != nil {
			return err
		}
		if _, err := now.Take(tx, &recall.Drafted{}, o.At, o.By); err != nil {
			return err
		}
		return errNotKept
	})
	if errors.Is(err, errNotKept) {
		return nil
	}
	return err
}

// Log takes the step in the recall's log: these drafts were made.
func (o Order) Log(tx *store.Tx, made *Drafts) ([]*recall.Recall, error) {
	now, err := recall.Load(tx, o.Recall)
	if err != nil {
		return nil, err
	}
	step := &recall.Drafted{Letters: made.Letters}
	if made.Differs == 0 {
		step.Version = made.Version
	}
	after, err := now.Take(tx, step, o.At, o.By)
	if err != nil || made.Differs == 0 {
		return []*recall.Recall{after}, err
	}
	// No frozen version says what these letters say: the log must not claim one.
	noted, err := after.Take(tx, &recall.Noted{Text: fmt.Sprintf("The letters follow the scope as it stood, which differs from version %d in %s; no frozen version says what they say.", made.Version, things(made.Differs))}, o.At, o.By)
	return []*recall.Recall{after, noted}, err
}

func things(n int) string {
	if n == 1 {
		return "1 thing"
	}
	return fmt.Sprintf("%d things", n)
}

// NotLogged is a failure to log letters that are written: they have to be drafted again.
type NotLogged struct{ error }

// Unwrap gives the reason.
func (e NotLogged) Unwrap() error { return e.error }

func logged(err error) error {
	if err == nil {
		return nil
	}
	return NotLogged{err}
}

// Drafts are the papers and tables of one drafting.
type Drafts struct {
	Letters int    // letters and notices among the papers
	NoPress string // why there is no press draft; empty where there is one
	Version int    // the last frozen version; 0 where there is none
	Differs int    // how many things of the scope differ from it
	// Unknown is why they may leave out something affected: what is not decided yet, and what cannot be traced.
	Unknown []string

	// What is found when they are written into a folder:
	Stale []string // letters and press texts of an earlier draft that no longer go to anyone
	Wait  []string // the same, where that cannot be said because not everything that is affected is known yet
	Unset []string // papers whose PDF cannot show all of their texts
	Words []string // which texts those are

	names    []string // of files, without their endings
	papers   []*paper.Document
	mock     bool
	rows     [][]string
	units    [][]string
	accounts [][]string
}

// Draft makes the letters, the press text and the tables.
func Draft(tx *store.Tx, now *recall.Recall, letter bool) (*Drafts, error) {
	m, err := papers.New(tx, now, letter)
	if err != nil {
		return nil, err
	}
	letters, err := m.Letters()
	if err != nil {
		return nil, err
	}
	d := &Drafts{Letters: len(letters), Unknown: m.Unknown(), mock: now.Mock}
	for _, l := range letters {
		d.names, d.papers = append(d.names, l.Kind+" "+l.Party), append(d.papers, l.Paper)
	}
	d.names = fileNames(d.names)
	if d.NoPress = m.NoPress(); d.NoPress == "" {
		notice, err := m.Press()
		if err != nil {
			return nil, err
		}
		d.names, d.papers = append(d.names, "press"), append(d.papers, notice)
	}
	if d.rows, err = m.MergeRows(); err != nil {
		return nil, err
	}
	if d.units, err = m.UnitRows(); err != nil {
		return nil, err
	}
	if d.accounts, err = m.AccountRows(); err != nil {
		return nil, err
	}
	d.Version, d.Differs, err = m.Version()
	return d, cmp.Or(err, tx.Err())
}

// Remarks is what whoever sends the letters needs to know of them first.
func (d *Drafts) Remarks() (out []string) {
	switch {
	case d.Version == 0:
		out = append(out, "no version of the scope is frozen, so nothing will show later what these letters were based on: heeltap recall freeze, then draft them again")
	case d.Differs > 0:
		out = append(out, fmt.Sprintf("THE SCOPE HAS CHANGED since version %d, in %s: these letters match no frozen version. See heeltap recall changes, then heeltap recall freeze, and draft them again", d.Version, things(d.Differs)))
	}
	if len(d.Unknown) > 0 {
		out = append(out, fmt.Sprintf("NOT EVERYTHING THAT IS AFFECTED IS KNOWN YET, so these letters may leave something out: %s. Settle it (heeltap recall scope shows how), then draft them again", strings.Join(d.Unknown, "; ")))
	}
	if d.NoPress != "" {
		out = append(out, "no press draft: "+d.NoPress)
	}
	if len(d.Unset) > 0 {
		out = append(out, fmt.Sprintf("the PDFs of %s cannot show %s: send the .txt, or write it by hand", strings.Join(d.Unset, ", "), strings.Join(d.Words, ", ")))
	}
	return out
}

// Merge names the table of all letters, without its ending: that of an exercise says so.
func (d *Drafts) Merge() string {
	if d.mock {
		return "merge-EXERCISE"
	}
	return "merge"
}

// Papers is how many papers there are to write, each in two formats.
func (d *Drafts) Papers() int { return len(d.papers) }

// Write writes the papers and tables into a folder; done is called after each paper.
func (d *Drafts) Write(folder string, done func()) error {
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return lots.Errorf(lots.Invalid, "%s cannot be made: %w", folder, err)
	}
	put := func(name string, data []byte) error { return files.WriteWhole(filepath.Join(folder, name), data) }
	if err := d.Each(put, done); err != nil {
		return err
	}
	return d.findStale(folder)
}

// Each hands out every file by its name, papers first and then tables, wherever they are to be kept; done is
// called after each paper.
func (d *Drafts) Each(put func(name string, data []byte) error, done func()) error {
	for i, p := range d.papers {
		lost, err := p.NotInPDF()
		if err != nil {
			return err
		}
		if len(lost) > 0 {
			d.Unset, d.Words = append(d.Unset, d.names[i]), append(d.Words, lost...)
		}
		for _, ending := range []string{".pdf", ".txt"} {
			data, err := p.File(d.names[i] + ending)
			if err != nil {
				return err
			}
			if err := put(d.names[i]+ending, data); err != nil {
				return err
			}
		}
		done()
	}
	slices.Sort(d.Words)
	d.Words = slices.Compact(d.Words)
	return d.tables(put)
}

// tables hands out the table for a mail merge, what each party received unit by unit, and whom the
// consignees supplied: each as CSV, and all of them as one workbook.
func (d *Drafts) tables(put func(name string, data []byte) error) error {
	const more = "AND MORE: see the sheet units"
	sheets := []table.Sheet{{Name: "merge", Rows: append([][]string{papers.MergeHead}, d.rows...), More: more},
		{Name: "units", Rows: append([][]string{papers.UnitHead}, d.units...), More: more}}
	if len(d.accounts) > 0 {
		sheets = append(sheets, table.Sheet{Name: "accounts", Rows: append([][]string{papers.AccountHead}, d.accounts...), More: more})
	}
	for i, s := range sheets {
		name := d.Merge()
		if i > 0 {
			name = strings.Replace(name, "merge", "merge-"+s.Name, 1)
		}
		data, err := table.CSV(s.Rows)
		if err != nil {
			return err
		}
		if err := put(name+".csv", data); err != nil {
			return err
		}
	}
	data, err := table.Workbook(sheets)
	if err != nil {
		return err
	}
	return put(d.Merge()+".xlsx", data)
}

// findStale lists letters in the folder that are not among these drafts. While not everything that is affected is
// known, none of them is withdrawn: it may have to go out after all.
func (d *Drafts) findStale(folder string) error {
	all, err := os.ReadDir(folder)
	if err != nil {
		return lots.Errorf(lots.Invalid, "%s cannot be read: %w", folder, err)
	}
	for _, f := range all {
		name := strings.TrimSuffix(strings.TrimSuffix(f.Name(), ".pdf"), ".txt")
		ours := strings.HasPrefix(name, "consignee ") || strings.HasPrefix(name, "supplier ") || name == "press"
		if ours && name != f.Name() && !slices.Contains(d.names, name) {
			d.Stale = append(d.Stale, f.Name())
		}
	}
	if len(d.Unknown) > 0 {
		d.Stale, d.Wait = nil, d.Stale
	}
	return nil
}
