package main

import (
	"errors"
	"maps"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"heeltap/graph/recall"
	"heeltap/labels"
	"heeltap/lots"
	"heeltap/lots/store"
)

func consigneesCommand(e *env) *cobra.Command {
	var all bool
	cmd := e.ask(&cobra.Command{Use: "consignees", Short: "List who received what in scope, net of what came back", Args: cobra.NoArgs,
		Example: "  heeltap recall consignees --all"},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, _ []string) error {
			s, err := now.Scope(tx)
			if err != nil {
				return err
			}
			list, err := now.Delivered(tx, s)
			if err != nil {
				return err
			}
			if r.json {
				out := []recipient{}
				for _, c := range list {
					x := recipient{Consignee: c, Accounts: []recall.SubAccount{}}
					if contact := now.Contacts[c.Party]; contact != nil {
						x.Accounts = append(x.Accounts, contact.Accounts...)
					}
					out = append(out, x)
				}
				return r.writeJSON(out)
			}
			r.showRecipients(now, list, all)
			r.showOthers(s.ReturnedByOthers(tx))
			r.showLeftOut(s)
			return nil
		})
	cmd.Flags().BoolVar(&all, "all", false, "list every unit")
	return cmd
}

// recipient is a consignee as JSON, with its own list of whom it supplied.
type recipient struct {
	recall.Consignee
	Accounts []recall.SubAccount `json:"accounts"`
}

// showOthers tells of what came back from parties to which none of it was shipped.
func (r *inRecall) showOthers(list []recall.OtherReturn) {
	t := &table{head: []string{"returned by", "unit", "#quantity", "when", "counts for"}}
	for _, o := range list {
		counts := "nobody: received by " + orDash(strings.Join(o.Of, ", "))
		if len(o.Of) == 1 {
			counts = o.Of[0]
		}
		t.add(o.Party, o.Unit, number(o.Quantity), minute(o.ReturnedAt), counts)
	}
	if len(t.rows) > 0 {
		r.printf("\n%s\n", r.strong("Came back from parties that had none of it from us"))
		r.print(t)
	}
}

func (r *inRecall) showRecipients(now *recall.Recall, list []recall.Consignee, all bool) {
	t := &table{head: []string{"consignee", "name", "band", "#cases net", "#affected", "#kegs net", "#kegs out", "may be", "phone", "distributes further"}}
	for _, c := range list {
		further := ""
		if c.Further {
			further = "yes: ask for its list"
			if contact := now.Contacts[c.Party]; contact != nil && len(contact.Accounts) > 0 {
				further = "yes: " + counted(len(contact.Accounts), "account") + " on its list"
			}
		}
		if c.Kept {
			further = joined("; ", further, "kept: a correction took its deliveries away")
		}
		maybe := ""
		if c.Cases.MayBe+c.Kegs.MayBe > 0 {
			maybe = number(c.Cases.MayBe + c.Kegs.MayBe)
		}
		t.add(c.Party, c.Name, c.Band, number(c.Cases.Net), number(c.Cases.Affected), number(c.Kegs.Net), whole(len(c.KegsOut)), maybe, orDash(c.Phone), further)
	}
	r.print(t)
	if !all {
		return
	}
	for _, c := range list {
		r.printf("\n%s %s, %s, %s, %s\n", r.strong(c.Party), c.Name, orDash(c.Contact), orDash(c.Email), orDash(c.Address))
		u := &table{head: []string{"unit", "band", "product", "date codes", "#shipped", "#returned", "#net", "#affected", "from", "to", "documents", ""}}
		for _, l := range c.Lines {
			note := ""
			if l.Emptied {
				note = "keg back empty"
			}
			if l.OneOf != "" {
				note = "one of these, " + number(l.MayBe)
			}
			if l.ByOthers > 0 {
				note = strings.TrimSpace(note + " " + number(l.ByOthers) + " came back from others")
			}
			u.add(l.Unit, l.Band, l.Product, strings.Join(l.DateCodes, ", "), number(l.Shipped), number(l.Returned), number(l.Net), number(l.Affected), day(l.First), day(l.Last), strings.Join(l.Documents, ", "), note)
		}
		r.print(u)
		r.showAccounts(now.Contacts[c.Party])
	}
}

// showAccounts lists whom a consignee supplied, by its own list.
func (r *inRecall) showAccounts(c *recall.Contact) {
	if c == nil || len(c.Accounts) == 0 {
		return
	}
	t := &table{head: []string{"it supplied", "contact", "phone", "e-mail", "address", "product", "date code", "#quantity"}}
	for _, a := range c.Accounts {
		t.add(a.Name, orDash(a.Contact), orDash(a.Phone), orDash(a.Email), orDash(a.Address), orDash(a.Product), orDash(a.DateCode), strings.TrimSpace(number(a.Quantity)+" "+a.Unit))
	}
	r.print(t)
	if says, listed, ok := c.PassedOn(); ok && says != listed {
		r.printf("  it says it passed on %s, and its list adds up to %s\n", number(says), number(listed))
	}
}

func suppliersCommand(e *env) *cobra.Command {
	return e.ask(&cobra.Command{Use: "suppliers", Short: "List whom to ask upstream, with the lots as printed and what else came in those deliveries", Args: cobra.NoArgs,
		Example: "  heeltap recall suppliers"},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, _ []string) error {
			list, err := now.Suppliers(tx)
			if err != nil {
				return err
			}
			if r.json {
				return r.writeJSON(orEmpty(list))
			}
			for _, s := range list {
				r.printf("%s %s, %s, %s, %s\n", r.strong(s.Party), s.Name, orDash(s.Contact), orDash(s.Phone), orDash(s.Email))
				t := &table{head: []string{"", "lot", "item", "supplier's lot", "#quantity", "received", "document", "carrier"}}
				for _, group := range []struct {
					name string
					lots []recall.Received
				}{{"suspect", s.Lots}, {"same load", s.SameLoad}} {
					for _, l := range group.lots {
						t.add(group.name, l.Lot, l.Item, l.SupplierLot, number(l.Quantity)+" "+l.Unit, day(l.ReceivedAt), orDash(l.Document), orDash(l.Carrier))
					}
				}
				r.print(t)
			}
			if len(list) == 0 {
				r.printf("No suspect is a received lot.\n")
			}
			return nil
		})
}

func toldCommand(e *env) *cobra.Command {
	s := recall.Told{}
	notReached := false
	cmd := e.step(&cobra.Command{Use: "told PARTY", Short: "Log that a consignee or supplier was told, or could not be reached", Args: cobra.ExactArgs(1),
		ValidArgsFunction: e.codesOf([]lots.Kind{lots.KindParty}),
		Example: `  heeltap recall told D-11 --how phone --who Otto
  heeltap recall told D-12 --how phone --not-reached`},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, args []string) error {
			if err := knownParty(tx, args[0]); err != nil {
				return err
			}
			s.Party, s.Reached = args[0], !notReached
			if err := r.early(tx, now); err != nil {
				return err
			}
			return r.take(tx, now, &s)
		})
	cmd.Flags().StringVar(&s.How, "how", "phone", "phone, letter, e-mail, visit …")
	cmd.Flags().StringVar(&s.Who, "who", "", "whom you spoke to")
	cmd.Flags().StringVar(&s.Text, "text", "", "what was said")
	cmd.Flags().BoolVar(&notReached, "not-reached", false, "nobody was reached")
	return cmd
}

// early tells of what is said to have been done before the recall was opened: a typed date may be wrong.
func (r *inRecall) early(tx *store.Tx, now *recall.Recall) error {
	at, err := r.moment(tx)
	if err == nil && !at.IsZero() && at.Before(now.OpenedAt.Truncate(time.Minute)) {
		r.note("that is %s before %s was opened: if the time is wrong, log it again", strings.TrimPrefix(now.Clock(at), "-"), now.Code)
	}
	return err
}

func knownParty(tx *store.Tx, code string) error {
	thing, ok := tx.Thing(code)
	if ok && thing.Kind == lots.KindParty {
		return nil
	}
	return lots.Errorf(lots.NotFound, "no party is called %q; near it are: %s", code, orDash(strings.Join(tx.Nearest(code, lots.KindParty), ", ")))
}

func answerCommand(e *env) *cobra.Command {
	var line recall.AnswerLine
	s := recall.Answered{}
	var kegs recall.AnswerLine
	cmd := e.step(&cobra.Command{Use: "answer PARTY", Short: "Log what a consignee says became of what it received", Args: cobra.ExactArgs(1),
		Long: `Log what a consignee says became of what it received: on hand when the notice came, sold or served, passed on
to its own customers; and of what was on hand, sent back and destroyed there. A later answer replaces an earlier
one. "Nothing on hand" is an answer too.`,
		ValidArgsFunction: e.codesOf([]lots.Kind{lots.KindParty}),
		Example: `  heeltap recall answer D-11 --on-hand 40 --sold 12 --passed-on 28 --who Otto
  heeltap recall answer P-31 --kegs-on-hand 1 --kegs-sold 2`},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, args []string) error {
			args[0] = strings.TrimPrefix(labels.ParsePayload(args[0]), now.Code+"/") // as its form's code reads
			if err := knownParty(tx, args[0]); err != nil {
				return err
			}
			s.Party = args[0]
			kegs.Kegs = true
			s.Lines = []recall.AnswerLine{line, kegs}
			odd, err := now.Answerable(tx, &s)
			if err != nil {
				return err
			}
			for _, text := range odd {
				r.note("%s", text)
			}
			if err := r.early(tx, now); err != nil {
				return err
			}
			return r.take(tx, now, &s)
		})
	f := cmd.Flags()
	for _, x := range []struct {
		prefix, of string
		line       *recall.AnswerLine
	}{{"", "cases", &line}, {"kegs-", "kegs", &kegs}} {
		f.Float64Var(&x.line.OnHand, x.prefix+"on-hand", 0, x.of+" on hand when the notice came")
		f.Float64Var(&x.line.Sold, x.prefix+"sold", 0, x.of+" sold or served")
		f.Float64Var(&x.line.PassedOn, x.prefix+"passed-on", 0, x.of+" passed on to its own customers")
		f.Float64Var(&x.line.Returned, x.prefix+"returned", 0, x.of+" it sent back, of what was on hand")
		f.Float64Var(&x.line.Destroyed, x.prefix+"destroyed", 0, x.of+" destroyed there, of what was on hand")
	}
	f.StringVar(&s.Who, "who", "", "who answered")
	f.StringVar(&s.Text, "text", "", "what was said")
	return cmd
}

func passedOnCommand(e *env) *cobra.Command {
	replace := false
	cmd := e.step(&cobra.Command{Use: "passed-on PARTY FILE.csv", Short: "Read a consignee's list of whom it supplied", Args: cobra.ExactArgs(2),
		Long: `Read a consignee's list of whom it supplied: a CSV file whose first line names its columns, of name (needed),
contact, phone, email, address, product, date_code, quantity, unit (case or keg). A second list adds to the first;
rows that were read before are refused. recall consignees --all shows the lists.`,
		Example: "  heeltap recall passed-on D-11 otto.csv"},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, args []string) error {
			if err := knownParty(tx, args[0]); err != nil {
				return err
			}
			file, err := os.Open(args[1])
			if err != nil {
				return lots.Errorf(lots.Invalid, "%s can not be read: %w", args[1], err)
			}
			defer file.Close()
			list, err := recall.ReadAccounts(file)
			if faults, ok := errors.AsType[lots.Faults](err); ok {
				for i := range faults {
					faults[i].File = args[1]
				}
				return faults
			}
			if err != nil {
				return lots.Errorf(lots.Invalid, "%s: %w", args[1], err)
			}
			gave, err := now.GaveList(args[0], list, replace)
			if err != nil {
				return err
			}
			return r.take(tx, now, gave)
		})
	cmd.Flags().BoolVar(&replace, "replace", false, "put it in place of what it gave before")
	return cmd
}

func dueCommand(e *env) *cobra.Command {
	return e.ask(&cobra.Command{Use: "responses", Short: "Show where every consignee stands, and who is to be told or reminded", Args: cobra.NoArgs,
		Example: "  heeltap recall responses"},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, _ []string) error {
			s, err := now.Scope(tx)
			if err != nil {
				return err
			}
			list, err := now.Standings(tx, s)
			if err != nil {
				return err
			}
			if r.json {
				return r.writeJSON(list)
			}
			t := &table{head: []string{"consignee", "name", "state", "#tries", "reached", "answered", "#not explained", "due", ""}}
			for _, x := range list {
				var notes []string
				if x.Overdue {
					notes = append(notes, "overdue")
				}
				if wants := x.Wants(); wants != "" && (x.NeedList || x.Answered != "" || x.Again != "") {
					notes = append(notes, wants)
				}
				t.add(x.Party, x.Name, x.State, whole(x.Tries), minute(x.Notified), minute(x.Answered), number(x.Left), minute(x.Due), strings.Join(notes, "; "))
			}
			r.print(t)
			uncalled := now.Uncalled(s)
			for _, p := range slices.Sorted(maps.Keys(uncalled)) {
				r.printf("%s was told by version %d and has nothing in scope any more: freeze the scope, and tell it so\n", p, uncalled[p])
			}
			return nil
		})
}

// minute is a time in an answer without its seconds and offset.
func minute(at string) string {
	if len(at) < 16 {
		return orDash(at)
	}
	return strings.Replace(at[:16], "T", " ", 1)
}

func sampleCommand(e *env) *cobra.Command {
	var s recall.Sampled
	cmd := e.step(&cobra.Command{Use: "sample", Short: "Draw the consignees whose handling of the notice is to be checked", Args: cobra.NoArgs,
		Long:    "Draw the consignees to check, at one of the levels of 21 CFR 7.42(b)(3): A all, B more than 10 and less than 100 percent, C 10, D 2, E none. The same seed draws the same ones.",
		Example: "  heeltap recall sample --level B --percent 40 --seed 26"},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, _ []string) error {
			drawn, err := now.DrawSample(tx, s.Level, s.Percent, s.Seed)
			if err != nil {
				return err
			}
			if err := r.take(tx, now, drawn); err != nil {
				return err
			}
			r.printf("To check: %s\n", orDash(strings.Join(drawn.Parties, ", ")))
			return nil
		})
	cmd.Flags().StringVar(&s.Level, "level", "A", "A, B, C, D or E")
	cmd.Flags().Float64Var(&s.Percent, "percent", 0, "percent at level B")
	cmd.Flags().StringVar(&s.Seed, "seed", "", "seed of the draw (else the recall's code)")
	return cmd
}

func checkedCommand(e *env) *cobra.Command {
	var s recall.Checked
	var noNotice, notFollowed bool
	cmd := e.step(&cobra.Command{Use: "checked PARTY", Short: "Log what an effectiveness check found", Args: cobra.ExactArgs(1),
		ValidArgsFunction: e.codesOf([]lots.Kind{lots.KindParty}),
		Example: `  heeltap recall checked D-11 --how visit
  heeltap recall checked R-23 --how phone --not-followed --on-sale 4`},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, args []string) error {
			if err := knownParty(tx, args[0]); err != nil {
				return err
			}
			s.Party, s.Notified, s.Followed = args[0], !noNotice, !notFollowed
			if err := now.Checkable(tx, &s); err != nil {
				return err
			}
			return r.take(tx, now, &s)
		})
	cmd.Flags().StringVar(&s.How, "how", "phone", "phone, visit …")
	cmd.Flags().BoolVar(&noNotice, "no-notice", false, "it never had the notice")
	cmd.Flags().BoolVar(&notFollowed, "not-followed", false, "it did not do what the notice says")
	cmd.Flags().Float64Var(&s.OnSale, "on-sale", 0, "cases and kegs still on sale")
	cmd.Flags().StringVar(&s.Text, "text", "", "what was found")
	return cmd
}
