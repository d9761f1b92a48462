package main

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"
	"github.com/xuri/excelize/v2"

	"heeltap/graph/recall"
	"heeltap/graph/recall/papers"
	"heeltap/labels/paper"
	"heeltap/lots"
	"heeltap/lots/store"
)

// accountAnswer is the account as JSON.
type accountAnswer struct {
	*recall.Account
	Lots []recall.LotBalance `json:"lots"`
}

func accountCommand(e *env) *cobra.Command {
	var all, strike bool
	r := &inRecall{env: e}
	cmd := e.asks(&cobra.Command{Use: "account", Short: "Account for every case and keg in scope, and for the suspect lots", Args: cobra.NoArgs,
		Long: `Account for every case and keg in scope, by what is printed on them and by unit, for what consignees received, and
for the suspect lots. What the books say is on hand is unaccounted for until it is counted (heeltap count). --strike
puts the result on the timeline.`,
		Example: "  heeltap recall account\n  heeltap recall account --strike --by Quint"})
	cmd.Flags().StringVar(&r.code, "recall", "", "which recall (else the one that is open)")
	cmd.Flags().StringVar(&r.by, "by", "", "who strikes it (else HEELTAP_BY)")
	cmd.Flags().BoolVar(&all, "all", false, "list every unit")
	cmd.Flags().BoolVar(&strike, "strike", false, "put the result on the timeline")
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		show := func(tx *store.Tx) error {
			now, err := r.chosen(tx)
			if err != nil {
				return err
			}
			return r.account(tx, now, all, strike)
		}
		if !strike {
			return e.question(cmd.Context(), show)
		}
		by, err := e.who(r.by)
		if err != nil {
			return err
		}
		r.by = by
		return e.update(cmd.Context(), show)
	}
	return cmd
}

func (r *inRecall) account(tx *store.Tx, now *recall.Recall, all, strike bool) error {
	s, err := now.Scope(tx)
	if err != nil {
		return err
	}
	a, err := now.Reconcile(tx, s)
	if err != nil {
		return err
	}
	balances, err := now.LotBalances(tx)
	if err != nil {
		return err
	}
	if r.json {
		return r.writeJSON(accountAnswer{a, balances})
	}
	r.showAccount(a, all)
	r.showLotBalances(balances)
	if !strike {
		return nil
	}
	return r.take(tx, now, struckAccount(a))
}

// struckAccount is the step that says what an account came to.
func struckAccount(a *recall.Account) *recall.Reconciled {
	made := a.Cases.Produced + a.Kegs.Produced
	step := &recall.Reconciled{Unaccounted: lots.Nine(a.Cases.Unaccounted + a.Kegs.Unaccounted)}
	if made > 0 {
		step.Accounted = lots.Nine((made - step.Unaccounted) / made * 100)
	}
	return step
}

func (r *inRecall) showAccount(a *recall.Account, all bool) {
	head := []string{"#made", "#counted", "#shipped", "#returned", "#repacked", "#removed", "#unaccounted", "#%", ""}
	cells := func(s recall.Sum) []string {
		return []string{number(s.Produced), number(s.Counted), number(s.Shipped), number(s.Returned), number(s.Repacked), number(s.Removed), number(s.Unaccounted), number(s.Percent), loud(s)}
	}
	t := &table{head: append([]string{"product", "date codes", ""}, head...)}
	for _, g := range a.Groups {
		unit := "cases"
		if g.Kegs {
			unit = "kegs"
		}
		t.add(append([]string{g.Product, strings.Join(g.DateCodes, ", "), unit}, cells(g.Sum)...)...)
	}
	t.add(append([]string{"all", "", "cases"}, cells(a.Cases)...)...)
	t.add(append([]string{"all", "", "kegs"}, cells(a.Kegs)...)...)
	r.printf("%s\n  made = counted + shipped - returned + repacked + removed + unaccounted for\n", r.strong("Account"))
	r.print(t)
	u := &table{head: []string{"unit", "#made", "#unaccounted", "#on hand by the books", "counted", "last entry"}}
	for _, x := range a.Units {
		if x.Unaccounted == 0 && !all {
			continue
		}
		counted := "not counted"
		if x.HasCount {
			counted = number(x.Counted)
		}
		u.add(x.Unit, number(x.Produced), number(x.Unaccounted), number(x.Booked), counted, fmt.Sprintf("%d (%s)", x.LastEntry, x.LastText))
	}
	if len(u.rows) > 0 {
		r.printf("\n%s\n", r.strong("Not accounted for: find it and count it (heeltap count)"))
		r.printMost(u, all)
	}
	c := &table{head: []string{"consignee", "", "#received", "#returned", "#destroyed there", "#on hand", "#sold", "#passed on", "#not explained", "#recovered %"}}
	for _, x := range a.Consignees {
		unit := "cases"
		if x.Kegs {
			unit = "kegs"
		}
		c.add(x.Party, unit, number(x.Distributed), number(x.Returned), number(x.Destroyed), number(x.OnHand), number(x.Sold), number(x.PassedOn), number(x.Unexplained), number(x.Percent))
	}
	if len(c.rows) > 0 {
		r.printf("\n%s\n", r.strong("Recovered against distributed"))
		r.printMost(c, all)
	}
}

// loud says what must not be overlooked in an account: more than was made is as wrong as less.
func loud(s recall.Sum) string {
	switch {
	case s.Unaccounted < 0:
		return "MORE THAN WAS MADE"
	case s.OneOf > 0:
		return "of one of several: " + number(s.OneOf)
	}
	return ""
}

func (r *inRecall) showLotBalances(list []recall.LotBalance) {
	t := &table{head: []string{"lot", "#received", "#on hand", "#removed", "#in tanks", "#in units", "#lost", "#not measured", "unit"}}
	for _, b := range list {
		t.add(b.Lot, number(b.Received), number(b.OnHand), number(b.Removed), number(b.InTanks), number(b.InUnits), number(b.Lost), number(b.Unknown), b.Unit)
	}
	if len(t.rows) > 0 {
		r.printf("\n%s\n  received = on hand + removed + in tanks + in units + lost + not measured; by perfect mixing: an estimate\n", r.strong("Suspect lots"))
		r.print(t)
	}
}

func printedCommand(e *env) *cobra.Command {
	return e.ask(&cobra.Command{Use: "printed", Short: "Show the rules the public can act on, and what innocent packages each drags in", Args: cobra.NoArgs,
		Long:    "Show the shortest rules by which a reader of a package finds what is affected: product, size, date codes, and the time of day where it is printed. Exit status 3 where a rule can not separate.",
		Example: "  heeltap recall printed"},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, _ []string) error {
			s, err := now.Scope(tx)
			if err != nil {
				return err
			}
			rules := s.PrintedScope(tx)
			bad := 0
			for _, x := range rules {
				if !x.Separates {
					bad++
				}
			}
			if r.json {
				if err := r.writeJSON(rules); err != nil {
					return err
				}
			} else {
				r.showRules(rules)
			}
			if bad > 0 {
				r.note("%s can not tell what is affected from what is not: call all of it back, or tell it apart by another mark", counted(bad, "rule"))
				return errFindings
			}
			return nil
		})
}

func (r *inRecall) showRules(rules []recall.Rule) {
	for _, x := range rules {
		r.printf("%s (%s)\n  affected %d of the %d containers it covers; innocent %d", r.strong(x.Text()), x.Band, x.Affected, x.Covered, x.Innocent)
		switch {
		case !x.Separates:
			r.printf("\n  CAN NOT SEPARATE: product and code also stand on what is not affected; would have helped: %s", x.Spared)
		case x.Spared != "":
			r.printf("; would have spared them: %s", x.Spared)
		}
		if x.Inside != "" {
			r.printf("\n  %s", x.Inside)
		}
		r.printf("\n")
	}
	if len(rules) == 0 {
		r.printf("Nothing packed is affected.\n")
	}
	r.printf("\nFor the trade whole units count: heeltap recall consignees --all\n")
}

func authoritiesCommand(e *env) *cobra.Command {
	return e.ask(&cobra.Command{Use: "authorities", Short: "Show which authorities are concerned, and what they ask for first", Args: cobra.NoArgs,
		Long: `Show which authorities are concerned by the markets that goods went to, and what they ask for first.
Markets and the kind of beverage are settings: heeltap set site market US, heeltap set D-11 market EU,
heeltap set PALE-CAN malt-beverage yes, heeltap set site authority.DK "…".`,
		Example: "  heeltap recall authorities"},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, _ []string) error {
			s, err := now.Scope(tx)
			if err != nil {
				return err
			}
			n, err := now.Notify(tx, s)
			if err != nil {
				return err
			}
			if r.json {
				return r.writeJSON(n)
			}
			if n.Recovery {
				r.printf("Nothing has left the brewery's control: where no part of the lot was released, this is a stock recovery and no recall (21 CFR 7.3(k)).\n\n")
			}
			t := &table{head: []string{"market", "authority", "products", "because", "source", "told"}}
			for _, a := range n.Authorities {
				t.add(a.Market, a.Name, strings.Join(a.Products, ", "), a.Because, a.Source, minute(a.Told))
			}
			r.print(t)
			for _, o := range n.Open {
				r.printf("  open: %s\n", o)
			}
			r.printf("\n%s\n", r.strong("What they ask for first (21 CFR 7.46(a))"))
			for _, a := range n.First {
				r.printf("  %s: %s\n", r.strong(a.What), a.Answer)
			}
			r.printf("\nClass proposed by the firm: %s; assigned by an authority: %s\n%s\n%s\n", orDash(n.Proposed), orDash(strings.TrimSpace(n.Assigned+" "+n.Assigner)), recall.Deferral(), cautionText())
			return nil
		})
}

func classCommand(e *env) *cobra.Command {
	s := recall.Classed{}
	cmd := e.step(&cobra.Command{Use: "class I|II|III", Short: "Log the class the firm proposes, or the one an authority assigned", Args: cobra.ExactArgs(1),
		Long: "Log the class that the firm proposes or, with --assigned-by, the class that an authority assigned (21 CFR 7.3(m)): the two are kept apart.",
		Example: `  heeltap recall class II --reason "glass, but found before sale"
  heeltap recall class I --assigned-by FDA`},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, args []string) error {
			s.Class = strings.ToUpper(args[0])
			if s.Class != "I" && s.Class != "II" && s.Class != "III" {
				return lots.Errorf(lots.Invalid, "%q is no class: I, II or III (21 CFR 7.3(m))", args[0])
			}
			return r.take(tx, now, &s)
		})
	cmd.Flags().StringVar(&s.Authority, "assigned-by", "", "the authority that assigned it")
	cmd.Flags().StringVar(&s.Reason, "reason", "", "on which grounds")
	return cmd
}

func strategyCommand(e *env) *cobra.Command {
	s := recall.Strategy{}
	cmd := e.step(&cobra.Command{Use: "strategy", Short: "Log how the recall is to be carried out: depth, instructions, contact", Args: cobra.NoArgs,
		Example: `  heeltap recall strategy --depth retail --contact "Quint, +00 555 0101, recall@tidewick.example" --instructions "We collect it."`},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, _ []string) error {
			if s.Depth != "" && s.Depth != "consumer" && s.Depth != "retail" && s.Depth != "wholesale" {
				return lots.Errorf(lots.Invalid, "%q is no depth: consumer, retail or wholesale (21 CFR 7.42(b)(1))", s.Depth)
			}
			if s == (recall.Strategy{}) {
				return lots.Errorf(lots.Invalid, "give --depth, --instructions, --contact or --completion")
			}
			return r.take(tx, now, &s)
		})
	cmd.Flags().StringVar(&s.Depth, "depth", "", "consumer, retail or wholesale")
	cmd.Flags().StringVar(&s.Instructions, "instructions", "", "what consignees are to do with the goods")
	cmd.Flags().StringVar(&s.Contact, "contact", "", "whom to call, with number and address")
	cmd.Flags().StringVar(&s.Completion, "completion", "", "when it is expected to be done")
	return cmd
}

func spokeCommand(e *env) *cobra.Command {
	s := recall.Spoke{}
	cmd := e.step(&cobra.Command{Use: "authority NAME", Short: "Log that an authority was told, or asked for records: its 24 hours run", Args: cobra.ExactArgs(1),
		Example: `  heeltap recall authority TTB --text "told by phone, mail follows"
  heeltap recall authority FDA --asked --text "records of lot L26-0142"`},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, args []string) error {
			s.Authority = args[0]
			return r.take(tx, now, &s)
		})
	cmd.Flags().BoolVar(&s.Asked, "asked", false, "it asked for records (21 CFR 1.361: within 24 hours)")
	cmd.Flags().StringVar(&s.Text, "text", "", "what was said")
	return cmd
}

func destroyCommand(e *env) *cobra.Command {
	var d recall.Destroyed
	cmd := e.step(&cobra.Command{Use: "destroy UNIT", Short: "Record destruction, with witness and method", Args: cobra.ExactArgs(1), ValidArgsFunction: e.codesOf([]lots.Kind{lots.KindUnit}),
		Example: `  heeltap recall destroy P26-0817 --method "crushed and drained at the waste works" --witness Ines`},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, args []string) error {
			d.Unit = args[0]
			at, err := r.moment(tx)
			if err != nil {
				return err
			}
			after, err := now.Destroy(tx, d, at, r.by)
			if err != nil {
				return err
			}
			r.saidStep(tx, after)
			return nil
		})
	cmd.Flags().Float64Var(&d.Quantity, "quantity", 0, "cases or kegs (else all that is here by the books)")
	cmd.Flags().StringVar(&d.Method, "method", "", "how (needed)")
	cmd.Flags().StringVar(&d.Witness, "witness", "", "who saw it (needed)")
	return cmd
}

func closeCommand(e *env) *cobra.Command {
	var review string
	cmd := e.step(&cobra.Command{Use: "close", Short: "Close the brewery's own work, with a review; open lines are listed", Args: cobra.NoArgs,
		Example: `  heeltap recall close --review "cause: damaged bale; receiving now opens one bale in ten"`},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, _ []string) error {
			s, err := now.Scope(tx)
			if err != nil {
				return err
			}
			open, err := now.OpenLines(tx, s)
			if err != nil {
				return err
			}
			t := &table{head: []string{"still open", "what"}}
			for _, l := range open {
				t.add(l.Kind, l.Text)
			}
			r.print(t)
			step, err := now.Close(tx, review)
			if err != nil {
				return err
			}
			return r.take(tx, now, step)
		})
	cmd.Flags().StringVar(&review, "review", "", "what happened, why, and what will be different (needed)")
	return cmd
}

func reopenCommand(e *env) *cobra.Command {
	var reason string
	cmd := e.step(&cobra.Command{Use: "reopen", Short: "Open a closed or terminated recall again", Args: cobra.NoArgs,
		Example: `  heeltap recall reopen --recall RC26-01 --reason "a pallet turned up at D-12"`},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, _ []string) error {
			if err := needed(reason, "reason"); err != nil {
				return err
			}
			if now.Open {
				return lots.Errorf(lots.Conflict, "%s is open", now.Code)
			}
			return r.take(tx, now, &recall.Reopened{Reason: reason})
		})
	cmd.Flags().StringVar(&reason, "reason", "", "why (needed)")
	return cmd
}

func terminateCommand(e *env) *cobra.Command {
	var text string
	cmd := e.step(&cobra.Command{Use: "terminate AUTHORITY", Short: "Log that an authority ended the recall (21 CFR 7.55)", Args: cobra.ExactArgs(1),
		Example: `  heeltap recall terminate TTB --text "letter of 2026-09-01" --recall RC26-01`},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, args []string) error {
			return r.take(tx, now, &recall.Terminated{Authority: args[0], Text: text})
		})
	cmd.Flags().StringVar(&text, "text", "", "what it said")
	return cmd
}

// writePaper makes a paper and writes it in the form its name's ending asks for.
func (r *inRecall) writePaper(tx *store.Tx, now *recall.Recall, path string, letter bool, make func(*papers.Maker) (*paper.Document, error)) error {
	m, err := papers.New(tx, now, letter)
	if err != nil {
		return err
	}
	d, err := make(m)
	if err != nil {
		return err
	}
	return r.show(d, path)
}

func writeDocument(d *paper.Document, path string) error {
	var b bytes.Buffer
	var err error
	switch strings.ToLower(filepath.Ext(path)) {
	case ".pdf":
		err = d.PDF(&b)
	case ".html", ".htm":
		err = d.HTML(&b)
	case ".txt":
		err = d.Plain(&b)
	default:
		return lots.Errorf(lots.Invalid, "%s: papers are written as .pdf, .html or .txt", path)
	}
	if err != nil {
		return err
	}
	return writeWhole(path, b.Bytes())
}

func lettersCommand(e *env) *cobra.Command {
	var out string
	var letter bool
	cmd := e.step(&cobra.Command{Use: "letters", Short: "Draft the letters, notices and the press text, and one table for a mail merge", Args: cobra.NoArgs,
		Long: `Draft one letter for every consignee, with its own quantities and an answer form, a notice to each supplier, and a
press text, each as PDF and as text, and one table of all as XLSX and CSV. All are drafts for the responsible
person; nothing is sent.`,
		Example: "  heeltap recall letters --out letters/"},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, _ []string) error {
			if err := needed(out, "out"); err != nil {
				return err
			}
			n, err := writeLetters(tx, now, out, letter)
			if err != nil {
				return err
			}
			version := len(now.Versions)
			if err := r.take(tx, now, &recall.Drafted{Version: version, Letters: n}); err != nil {
				return err
			}
			r.printf("wrote %s: letters, notices, press text, and merge.xlsx\n", out)
			if version == 0 {
				r.note("no version of the scope is frozen: heeltap recall freeze, so that what the letters said can be shown later")
			}
			return nil
		})
	cmd.Flags().StringVar(&out, "out", "", "folder to write to (needed)")
	cmd.Flags().BoolVar(&letter, "letter-paper", false, "US Letter instead of A4")
	return cmd
}

// writeLetters writes all letters into a folder and gives their number.
func writeLetters(tx *store.Tx, now *recall.Recall, folder string, letter bool) (int, error) {
	m, err := papers.New(tx, now, letter)
	if err != nil {
		return 0, err
	}
	letters, err := m.Letters()
	if err != nil {
		return 0, err
	}
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return 0, lots.Errorf(lots.Invalid, "%s can not be made: %w", folder, err)
	}
	write := func(name string, d *paper.Document) error {
		for _, ending := range []string{".pdf", ".txt"} {
			if err := writeDocument(d, filepath.Join(folder, fileName(name)+ending)); err != nil {
				return err
			}
		}
		return nil
	}
	for _, l := range letters {
		if err := write(l.Kind+" "+l.Party, l.Paper); err != nil {
			return 0, err
		}
	}
	if err := write("press", m.Press()); err != nil {
		return 0, err
	}
	return len(letters), writeMerge(m, folder)
}

// fileName leaves out what a file's name can not hold.
func fileName(name string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' || strings.ContainsRune(`/\:*?"<>|`, r) {
			return '_'
		}
		return r
	}, name)
}

// writeMerge writes the table for a mail merge.
func writeMerge(m *papers.Maker, folder string) error {
	rows, err := m.MergeRows()
	if err != nil {
		return err
	}
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	book := excelize.NewFile()
	defer book.Close()
	for i, row := range append([][]string{papers.MergeHead}, rows...) {
		safe := make([]string, len(row))
		for k, c := range row {
			cell, err := excelize.CoordinatesToCellName(k+1, i+1)
			if err != nil {
				return err
			}
			if err := book.SetCellStr("Sheet1", cell, c); err != nil {
				return err
			}
			if safe[k] = c; strings.ContainsAny(c[:min(1, len(c))], "=+-@") {
				safe[k] = "'" + c // a spreadsheet would run it as a formula
			}
		}
		if err := w.Write(safe); err != nil {
			return err
		}
	}
	w.Flush()
	if err := writeWhole(filepath.Join(folder, "merge.csv"), b.Bytes()); err != nil {
		return err
	}
	var x bytes.Buffer
	if err := book.Write(&x); err != nil {
		return err
	}
	return writeWhole(filepath.Join(folder, "merge.xlsx"), x.Bytes())
}

func statusCommand(e *env) *cobra.Command {
	return paperCommand(e, &cobra.Command{Use: "status", Short: "Write the status report, with the six items of 21 CFR 7.53(b)",
		Example: "  heeltap recall status\n  heeltap recall status --out status.pdf --as-of \"2026-07-02 12:00\""}, (*papers.Maker).Status)
}

func reportCommand(e *env) *cobra.Command {
	return paperCommand(e, &cobra.Command{Use: "report", Short: "Write the report: picture, timeline, scope, account, checks, gaps, signatures",
		Example: "  heeltap recall report --out report.pdf\n  heeltap recall report --out report.html --as-of \"2026-07-02 12:00\""}, (*papers.Maker).Report)
}

// paperCommand makes a verb that writes a paper to a file, or as text to the screen. The same
// journal and --as-of give the same bytes.
func paperCommand(e *env, cmd *cobra.Command, make func(*papers.Maker) (*paper.Document, error)) *cobra.Command {
	r := &inRecall{env: e}
	var out string
	var letter bool
	cmd.Args = cobra.NoArgs
	cmd.Long = cmd.Short + ". The same journal and --as-of give the same bytes; without --as-of it is as of the journal's last entry."
	cmd.Flags().StringVar(&r.code, "recall", "", "which recall (else the one that is open)")
	cmd.Flags().StringVar(&out, "out", "", "file to write: .pdf, .html or .txt (else text on the screen)")
	cmd.Flags().StringVar(&e.knownAt, "as-of", "", "from what had been entered by then (else all)")
	cmd.Flags().BoolVar(&letter, "letter-paper", false, "US Letter instead of A4")
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		return e.question(cmd.Context(), func(tx *store.Tx) error {
			now, err := r.chosen(tx)
			if err != nil {
				return err
			}
			return r.writePaper(tx, now, out, letter, make)
		})
	}
	return cmd
}
