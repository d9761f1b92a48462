package recall

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"heeltap/graph/recall/deliveries"
	"heeltap/graph/recall/draw"
	"heeltap/graph/recall/internal/words"
	"heeltap/lots"
	"heeltap/lots/store"
)

// The rules of steps about parties: what they were told, said, and were found to have done.

// knownParty refuses a party that nobody recorded.
func knownParty(tx *store.Tx, code string) error {
	thing, ok := tx.Thing(code)
	if ok && thing.Kind == lots.KindParty {
		return nil
	}
	return lots.Errorf(lots.NotFound, "no party is called %q; nearest are: %s", code, cmp.Or(strings.Join(tx.Nearest(code, lots.KindParty), ", "), "-"))
}

func (s *Told) ready(tx *store.Tx, _ *Recall) error { return knownParty(tx, s.Party) }

// ready refuses quantities that cannot be, and finds what is odd about the others.
func (s *Answered) ready(tx *store.Tx, r *Recall) error {
	c, err := r.receivedBy(tx, s.Party)
	if err != nil {
		return err
	}
	for _, l := range s.Lines {
		if err := l.Possible(); err != nil {
			return err
		}
	}
	s.odd = nil
	for _, kegs := range []bool{false, true} {
		moved, sum, word := c.Of(kegs), 0.0, "cases"
		if kegs {
			word = "kegs"
		}
		for _, l := range s.Lines {
			if l.Of(kegs) {
				sum += l.OnHand + l.Sold + l.PassedOn
			}
		}
		if most := moved.Shipped + moved.MayBe; sum > most {
			s.odd = append(s.odd, fmt.Sprintf("%s accounts for %s %s and received %s at most: ask again, or a delivery is not entered", s.Party, lots.Figure(sum), word, lots.Figure(most)))
		}
	}
	for _, l := range s.Lines {
		of := c.Measured()[l.Unit]
		if sum, most := l.OnHand+l.Sold+l.PassedOn, of.Shipped+of.MayBe; l.Unit != "" && sum > lots.Nine(most) {
			s.odd = append(s.odd, fmt.Sprintf("%s accounts for %s %s in bulk and received %s at most: ask again, or a delivery is not entered", s.Party, lots.FigureOf(sum, l.Unit), l.Unit, lots.FigureOf(most, l.Unit)))
		}
	}
	return nil
}

// ready refuses rows that a party gave before, so that a list read twice does not count twice;
// Replace puts the list in place of what it gave before.
func (s *PassedOn) ready(tx *store.Tx, r *Recall) error {
	if err := knownParty(tx, s.Party); err != nil {
		return err
	}
	if len(s.Accounts) == 0 {
		return lots.Errorf(lots.Invalid, "the list names nobody")
	}
	for _, a := range s.Accounts {
		if err := a.Possible(); err != nil {
			return err
		}
	}
	if c := r.Contacts[s.Party]; c != nil && !s.Replace {
		had := slices.DeleteFunc(slices.Clone(s.Accounts), func(a deliveries.SubAccount) bool { return !slices.Contains(c.Accounts, a) })
		if len(had) > 0 {
			return lots.Errorf(lots.Conflict, "%d of the %s are recorded already, the first is %s: leave them out, or put this list in place of the one before with --replace", len(had), words.Plural(len(s.Accounts), "row"), had[0].Name)
		}
	}
	return nil
}

// ready draws whom to check, among the consignees in scope; without a seed the recall's code is one.
func (s *Sampled) ready(tx *store.Tx, r *Recall) error {
	now, err := r.Scope(tx)
	if err != nil {
		return err
	}
	list, err := deliveries.Consignees(tx, now)
	if err != nil {
		return err
	}
	var parties []string
	for _, c := range list {
		parties = append(parties, c.Party)
	}
	s.Level = strings.ToUpper(strings.TrimSpace(s.Level))
	n, percent, err := draw.SampleSize(s.Level, s.Percent, len(parties))
	if err != nil {
		return err
	}
	s.Percent, s.Seed, s.Of = percent, cmp.Or(s.Seed, r.Code), len(parties)
	s.Parties = draw.Parties(parties, n, s.Seed)
	return nil
}

func (s *Checked) ready(tx *store.Tx, r *Recall) error {
	for _, n := range []float64{s.OnSale, s.KegsOnSale} {
		if !deliveries.QuantityOK(n) {
			return lots.Errorf(lots.Invalid, "%s is not a quantity of cases or kegs: give a whole number", lots.Figure(n))
		}
	}
	_, err := r.receivedBy(tx, s.Party)
	return err
}

// receivedBy finds what a party received, and refuses one that received nothing in scope.
func (r *Recall) receivedBy(tx *store.Tx, party string) (deliveries.Consignee, error) {
	if err := knownParty(tx, party); err != nil {
		return deliveries.Consignee{}, err
	}
	s, err := r.Scope(tx)
	if err != nil {
		return deliveries.Consignee{}, err
	}
	list, err := deliveries.Consignees(tx, s)
	if err != nil {
		return deliveries.Consignee{}, err
	}
	var names []string
	for _, c := range list {
		if c.Party == party {
			return c, nil
		}
		names = append(names, c.Party)
	}
	who := "; who did: " + strings.Join(names, ", ")
	if len(names) == 0 {
		who = "; nobody did"
	}
	for _, x := range s.LeftOut {
		if x.Consignee == party {
			who = fmt.Sprintf("; its %d of %s left before anything affected stood on it (%s)%s", x.Quantity, x.Unit, x.ToppedUp, who)
			break
		}
	}
	return deliveries.Consignee{}, lots.Errorf(lots.NotFound, "%s received nothing in scope by the records%s", party, who)
}
