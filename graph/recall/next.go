package recall

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"heeltap/graph/recall/account"
	"heeltap/graph/recall/house"
	"heeltap/graph/recall/internal/words"
	"heeltap/graph/recall/scope"
	"heeltap/lots"
	"heeltap/lots/store"
)

// The acts that something in a recall waits for, in the order in which they are best done.
const (
	DoDecide  = "decide"   // take or decline what is proposed as a suspect
	DoMend    = "mend"     // a suspect or a decision means nothing any more
	DoHold    = "hold"     // stop what is in the house
	DoFind    = "find"     // walk the house and count it
	DoSignOff = "sign-off" // let go what a correction took out, or leave it in
	DoFreeze  = "freeze"
	DoLetters = "letters"
	DoTell    = "tell"
	DoHear    = "hear" // wait for an answer, or ask again
	DoAnswer  = "records-to-authority"
	DoCheck   = "check"
	DoAccount = "account"
	DoSettle  = "settle" // release or destroy what is held
	DoSign    = "sign"
	DoClose   = "close"
)

// Next is something that waits in a recall now.
type Next struct {
	Do   string `json:"do"`
	Text string `json:"text"`
	N    int    `json:"n"`    // of how many things
	Late bool   `json:"late"` // by the site's targets
}

// waits gathers what waits.
type waits struct{ list []Next }

func (w *waits) add(do string, n int, late bool, format string, args ...any) {
	if n > 0 {
		w.list = append(w.list, Next{do, fmt.Sprintf(format, args...), n, late})
	}
}

// Next lists what waits now, what is best done first before the rest. A recall that is closed waits for nothing but what
// its own authority or a signature still wants.
func (r *Recall) Next(tx *store.Tx, s *scope.Scope) ([]Next, error) {
	w := &waits{}
	late := map[string]bool{}
	line := r.Timeline(tx)
	for _, t := range line.Targets {
		late[t.Name] = t.State == "overdue"
		if r.Open && t.Took == "" && strings.HasPrefix(t.Name, "Records to ") {
			w.add(DoAnswer, 1, t.State == "overdue", "%s, within %s of being asked", t.Name, t.Within)
		}
	}
	if !r.Open {
		r.waitsAtTheEnd(w)
		return w.list, tx.Err()
	}
	undecided := s.Undecided()
	w.add(DoDecide, len(undecided), true, "%s that suspect yeast came from: suspected too, or not?", words.Plural(len(undecided), "fill"))
	w.add(DoMend, len(s.Lost), true, "%s that nothing can be traced from any more", words.Plural(len(s.Lost), "name"))
	if err := r.waitsInTheHouse(tx, s, w); err != nil {
		return nil, err
	}
	w.add(DoSignOff, len(s.Kept), false, "%s that a correction took out of scope: sign for it, or leave it in", words.Plural(len(s.Kept), "thing"))
	drift := 0
	switch last := r.Latest(); {
	case last == nil:
		w.add(DoFreeze, 1, late[targets[0].name], "No version of the scope is frozen: what is told later rests on one")
	default:
		drift = len(scope.Diff(last.Items, s.Items()))
		w.add(DoFreeze, drift, true, "%s since version %d: freeze the next one", words.Plural(drift, "change"), last.Version)
	}
	if err := r.waitsOutside(tx, s, w, drift); err != nil {
		return nil, err
	}
	if err := r.waitsForProof(tx, s, w, late[targets[1].name]); err != nil {
		return nil, err
	}
	r.waitsAtTheEnd(w)
	slices.SortStableFunc(w.list, func(a, b Next) int { return cmp.Compare(rank(a.Do), rank(b.Do)) })
	return w.list, tx.Err()
}

// rank orders acts as they are best done.
func rank(do string) int {
	return slices.Index([]string{DoDecide, DoMend, DoHold, DoAnswer, DoSignOff, DoFreeze, DoLetters, DoTell, DoFind, DoHear, DoCheck, DoAccount, DoSettle, DoSign, DoClose}, do)
}

func (r *Recall) waitsInTheHouse(tx *store.Tx, s *scope.Scope, w *waits) error {
	walk, err := r.Walk(tx, s)
	if err != nil {
		return err
	}
	var free, lost int
	for _, x := range walk {
		if x.Kind == "loose" {
			continue
		}
		if !x.HeldHere && !slices.Contains(r.Holds, x.Code) {
			free++
		}
		if x.Found == "" {
			lost++
		}
	}
	w.add(DoHold, free, true, "%s in the house and not held", words.Plural(free, "thing"))
	w.add(DoFind, lost, false, "%s in the house still to be found and counted", words.Plural(lost, "thing"))
	var stock []house.Stock
	for _, x := range walk {
		stock = append(stock, x.Stock)
	}
	loose := len(house.Loose(stock))
	w.add(DoFind, loose, false, "%s with cases or kegs on no unit: no hold can stop them", words.Plural(loose, "run"))
	return nil
}

func (r *Recall) waitsOutside(tx *store.Tx, s *scope.Scope, w *waits, drift int) error {
	standings, err := r.Standings(tx, s)
	if err != nil {
		return err
	}
	if last := r.Latest(); last != nil && drift == 0 && len(standings) > 0 && !r.draftedFor(last.Version) {
		w.add(DoLetters, len(standings), false, "Letters by version %d to %s", last.Version, words.Plural(len(standings), "consignee"))
	}
	var tell, hear, late int
	for _, x := range standings {
		switch x.State {
		case "to tell", "tell again", "tried":
			tell++
			if x.Overdue {
				late++
			}
		case "told", "answered":
			hear++
		}
	}
	uncalled := r.Uncalled(s)
	w.add(DoTell, tell, late > 0, "%s to be told%s", words.Plural(tell, "consignee"), ifSome(late, "; %d late", late))
	w.add(DoTell, len(uncalled), false, "%s told of something that is in scope no more: tell them so", words.Plural(len(uncalled), "consignee"))
	w.add(DoHear, hear, false, "%s told, and not settled", words.Plural(hear, "consignee"))
	if len(r.Samples) == 0 && len(standings) > 0 {
		w.add(DoCheck, len(standings), false, "Nobody is drawn to be checked: did the notice come through?")
	}
	unchecked := len(r.unchecked())
	w.add(DoCheck, unchecked, false, "%s drawn to be checked, and not checked", words.Plural(unchecked, "consignee"))
	return nil
}

func ifSome(n int, format string, args ...any) string {
	if n == 0 {
		return ""
	}
	return fmt.Sprintf(format, args...)
}

// draftedFor reports whether letters were drafted by a version.
func (r *Recall) draftedFor(version int) bool {
	return slices.ContainsFunc(r.Log, func(l Logged) bool {
		d, ok := l.Step.(*Drafted)
		return ok && d.Version == version
	})
}

func (r *Recall) waitsForProof(tx *store.Tx, s *scope.Scope, w *waits, late bool) error {
	a, err := r.Reconcile(tx, s)
	if err != nil {
		return err
	}
	if r.reached(SettingAccount).IsZero() {
		w.add(DoAccount, 1, late, "The account is not struck: %s", missing(a))
	} else if n := len(a.Missing()); n > 0 {
		w.add(DoAccount, n, false, "%s", missing(a))
	}
	still, err := r.heldStill(tx)
	if err != nil {
		return err
	}
	for _, l := range still {
		text, _, _ := strings.Cut(l.Text, ": ")
		w.add(DoSettle, 1, false, "%s", capitalised(text))
	}
	return nil
}

// missing says what an account leaves open, in a few words.
func missing(a *account.Account) string {
	p := lots.Packages{Cases: a.Cases.Missing, Kegs: a.Kegs.Missing}
	if p.None() {
		return "nothing is missing"
	}
	return p.String() + " not accounted for"
}

func capitalised(text string) string {
	if text == "" {
		return ""
	}
	return strings.ToUpper(text[:1]) + text[1:]
}

// waitsAtTheEnd is what proves and ends it.
func (r *Recall) waitsAtTheEnd(w *waits) {
	if _, ok := r.SignedFor(SignReport); !ok {
		w.add(DoSign, 1, false, "The report is not signed")
	}
	if r.Open {
		w.add(DoClose, 1, false, "Close it with a review: what happened, why, and what will be different")
	}
}
