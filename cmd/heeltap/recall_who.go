package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"heeltap/graph/recall"
	"heeltap/graph/recall/deliveries"
	"heeltap/lots"
	"heeltap/lots/store"
)

func consigneesCommand(e *env) *cobra.Command {
	var all bool
	cmd := e.ask(&cobra.Command{Use: "consignees", Short: "List who received what is in scope, net of returns", Args: cobra.NoArgs,
		Example: "  heeltap recall consignees --all"},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, _ []string) error {
			s, err := now.Scope(tx)
			if err != nil {
				return err
			}
			list, err := now.Recipients(tx, s)
			if err != nil {
				return err
			}
			if r.json {
				r.remind(s)
				return r.writeJSON(list)
			}
			if len(list) == 0 {
				r.printf("no shipment of anything in scope is recorded; heeltap recall scope says what else may have left\n")
			}
			r.showRecipients(now, list, all)
			r.showOthers(deliveries.ReturnedByOthers(tx, s))
			r.showLeftOut(s)
			r.remind(s)
			return nil
		})
	cmd.Flags().BoolVar(&all, "all", false, "list every unit")
	return cmd
}

// showOthers lists what came back from parties to which none of it was shipped.
func (r *inRecall) showOthers(list []deliveries.OtherReturn) {
	t := &table{head: []string{"returned by", "unit", "#quantity", "when", "counts for"}}
	for _, o := range list {
		counts := "nobody: received by " + orDash(strings.Join(o.Of, ", "))
		if len(o.Of) == 1 {
			counts = o.Of[0]
		}
		t.add(o.Party, o.Unit, lots.Figure(o.Quantity), minute(o.ReturnedAt), counts)
	}
	if len(t.rows) > 0 {
		r.printf("\n%s\n", r.strong("Came back from parties we shipped none of it to"))
		r.print(t)
	}
}

func (r *inRecall) showRecipients(now *recall.Recall, list []recall.Recipient, all bool) {
	t := &table{head: []string{"consignee", "name", "band", "#cases net", "#affected", "#kegs net", "#kegs out", "may be", "phone", "distributes further"}}
	for _, c := range list {
		further := ""
		if c.Further {
			further = "yes: ask for its list"
			if len(c.Accounts) > 0 {
				further = "yes: " + counted(len(c.Accounts), "account") + " on its list"
			}
		}
		if n := toldIn(c.Accounts); n > 0 {
			further = fmt.Sprintf("yes: it says so of %d in its EPCIS documents, and of %d on its list", n, len(c.Accounts)-n)
		}
		if c.Kept {
			further = joined("; ", further, "kept in scope: a correction removed its deliveries")
		}
		maybe := ""
		if c.Cases.MayBe+c.Kegs.MayBe > 0 {
			maybe = lots.Figure(c.Cases.MayBe + c.Kegs.MayBe)
		}
		t.add(c.Party, c.Name, c.Band, lots.Figure(c.Cases.Net), lots.Figure(c.Cases.Affected), lots.Figure(c.Kegs.Net), whole(len(c.KegsOut)), maybe, orDash(c.Phone), further)
	}
	r.print(t)
	for _, c := range list {
		r.showBulk(c.Consignee)
	}
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
				note = "one of these, " + lots.Figure(l.MayBe)
			}
			if l.ByOthers > 0 {
				note = strings.TrimSpace(note + " " + lots.Figure(l.ByOthers) + " came back from others")
			}
			u.add(l.Unit, l.Band, l.Product, l.CodesText(), lots.Figure(l.Shipped), lots.Figure(l.Returned), lots.Figure(l.Net), lots.Figure(l.Affected), day(l.First), day(l.Last), strings.Join(l.Documents, ", "), note)
		}
		r.print(u)
		r.showAccounts(now.Contacts[c.Party], c.Accounts)
	}
}

// showAccounts prints the customers that a consignee says it supplied: on its own list, and in its EPCIS documents.
func (r *inRecall) showAccounts(c *recall.Contact, accounts []deliveries.SubAccount) {
	if len(accounts) == 0 {
		return
	}
	t := &table{head: []string{"it says it supplied", "contact", "phone", "e-mail", "address", "product", "date code", "#quantity", "said by"}}
	for _, a := range accounts {
		t.add(a.Name, orDash(a.Contact), orDash(a.Phone), orDash(a.Email), orDash(a.Address), orDash(a.Product), orDash(a.DateCode), strings.TrimSpace(lots.Figure(a.Quantity)+" "+a.Unit), saidBy(a))
	}
	r.print(t)
	if says, listed, ok := c.PassedOn(); ok && says != listed {
		r.printf("  it says it passed on %s, and its list adds up to %s\n", says, listed)
	}
}

// toldIn counts the accounts that a consignee's own EPCIS documents tell of.
func toldIn(accounts []deliveries.SubAccount) (n int) {
	for _, a := range accounts {
		if a.Told != "" {
			n++
		}
	}
	return n
}

// saidBy is how a consignee said that it supplied somebody.
func saidBy(a deliveries.SubAccount) string {
	if a.Told == "" {
		return "its list"
	}
	return "its EPCIS document, " + day(a.ToldAt)
}

func suppliersCommand(e *env) *cobra.Command {
	return e.ask(&cobra.Command{Use: "suppliers", Short: "List the suppliers to ask, with lots as printed and what else came in those deliveries", Args: cobra.NoArgs,
		Example: "  heeltap recall suppliers"},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, _ []string) error {
			list, err := deliveries.Suppliers(tx, now.Traced(tx))
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
					lots []deliveries.Received
				}{{"suspect", s.Lots}, {"same load", s.SameLoad}} {
					for _, l := range group.lots {
						t.add(group.name, l.Lot, l.Item, l.SupplierLot, lots.Figure(l.Quantity)+" "+l.Unit, day(l.ReceivedAt), orDash(l.Document), orDash(l.Carrier))
					}
				}
				r.print(t)
			}
			if len(list) == 0 {
				r.printf("None of the suspects is a received lot.\n")
			}
			return nil
		})
}
