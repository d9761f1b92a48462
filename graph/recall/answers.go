package recall

import (
	"heeltap/graph/recall/account"
	"heeltap/graph/recall/deliveries"
	"heeltap/graph/recall/house"
	"heeltap/graph/recall/scope"
	"heeltap/graph/trace"
	"heeltap/lots/store"
)

// ScopeAnswer is a scope as it is handed on: the trace, and what the recall adds to it. Lists are never null.
type ScopeAnswer struct {
	Recall    Summary          `json:"recall"`
	Head      int64            `json:"as_known_with_entry"`
	Decisions []scope.Decision `json:"decisions"`
	InHouse   []house.Stock    `json:"in_house"`
	Declared  []string         `json:"declared"` // units whose product declares the allergen
	Kept      []scope.Item     `json:"kept"`     // wait for a signature
	Left      bool             `json:"left"`     // something has left the brewery's control, or it cannot be said yet that nothing has
	Ways      []trace.ByWay    `json:"ways"`     // how many units come by beer, only by yeast, only by a heel …
	Yeast     []scope.Yeast    `json:"yeast"`    // the fills that suspect yeast came from, and how each is decided on
	Served    []scope.Served   `json:"served"`   // drawn or sold in the taproom
	LeftOut   []scope.LeftOut  `json:"left_out"` // shipments of affected units that carried nothing affected
	Lost      []scope.Lost     `json:"lost"`     // suspects and decisions that mean nothing now
	If        []scope.Change   `json:"if"`       // what other decisions would change
	Effects   []scope.Effect   `json:"effects"`  // and in totals, before and after: each alone, then all together
	Trace     *trace.Answer    `json:"trace"`
}

// Answer gathers a scope to be handed on, with what other decisions would change.
func (r *Recall) Answer(tx *store.Tx, s *scope.Scope, what *scope.WhatIf) (ScopeAnswer, error) {
	stock, err := r.InHouse(tx, s)
	if err != nil {
		return ScopeAnswer{}, err
	}
	head, err := tx.Head()
	return ScopeAnswer{Recall: r.Summary(tx), Head: head, Decisions: orEmpty(r.Decisions), InHouse: orEmpty(stock), Declared: orEmpty(s.Declared),
		Kept: orEmpty(s.Kept), Left: s.HasLeft(tx), Ways: s.Ways, Yeast: orEmpty(s.Yeast), Served: s.Served(tx), LeftOut: orEmpty(s.LeftOut), Lost: orEmpty(s.Lost), If: orEmpty(what.Changes), Effects: orEmpty(what.Effects), Trace: s.Answer}, err
}

func orEmpty[T any](list []T) []T {
	if list == nil {
		return []T{}
	}
	return list
}

// Recipient is a consignee with its own list of whom it supplied.
type Recipient struct {
	deliveries.Consignee
	Accounts []deliveries.SubAccount `json:"accounts"`
}

// Recipients lists who received anything in scope as they are told, each with its own list.
func (r *Recall) Recipients(tx *store.Tx, s *scope.Scope) ([]Recipient, error) {
	list, err := deliveries.Delivered(tx, s, r.Versions)
	out := []Recipient{}
	for _, c := range list {
		x := Recipient{Consignee: c, Accounts: []deliveries.SubAccount{}}
		if contact := r.Contacts[c.Party]; contact != nil {
			x.Accounts = append(x.Accounts, contact.Accounts...)
		}
		onward, err := Onward(tx, &c)
		if err != nil {
			return nil, err
		}
		x.Accounts = append(x.Accounts, onward...)
		out = append(out, x)
	}
	return out, err
}

// AccountAnswer is the account with the balances of the suspect lots.
type AccountAnswer struct {
	*account.Account
	Lots []account.LotBalance `json:"lots"`
	// Onward is what consignees passed on by their own EPCIS documents. It counts nowhere in the account: what a party answers does.
	Onward []OnwardBy `json:"onward"`
}

// Account strikes the account of the scope as it stands, and the balances of the suspect lots.
func (r *Recall) Account(tx *store.Tx) (AccountAnswer, error) {
	s, err := r.Scope(tx)
	if err != nil {
		return AccountAnswer{}, err
	}
	return r.AccountOf(tx, s)
}

// AccountOf is Account for a scope that is at hand.
func (r *Recall) AccountOf(tx *store.Tx, s *scope.Scope) (AccountAnswer, error) {
	a, err := r.Reconcile(tx, s)
	if err != nil {
		return AccountAnswer{}, err
	}
	balances, err := account.LotBalances(tx, r.Traced(tx))
	if err != nil {
		return AccountAnswer{}, err
	}
	onward, err := r.onward(tx, s)
	return AccountAnswer{a, balances, onward}, err
}

// OnwardBy is whom one consignee supplied by its own documents.
type OnwardBy struct {
	Party    string                  `json:"party"`
	Name     string                  `json:"name"`
	Accounts []deliveries.SubAccount `json:"accounts"`
}

func (r *Recall) onward(tx *store.Tx, s *scope.Scope) ([]OnwardBy, error) {
	out := []OnwardBy{}
	list, err := deliveries.Delivered(tx, s, r.Versions)
	for i := range list {
		accounts, err := Onward(tx, &list[i])
		if err != nil {
			return nil, err
		}
		if len(accounts) > 0 {
			out = append(out, OnwardBy{list[i].Party, list[i].Name, accounts})
		}
	}
	return out, err
}

// Reconcile strikes the account of a scope with what the consignees were told and said.
func (r *Recall) Reconcile(tx *store.Tx, s *scope.Scope) (*account.Account, error) {
	return account.Strike(tx, s, func(party string) account.Reply {
		reply := account.Reply{Told: r.OpenedAt}
		c := r.Contacts[party]
		if c == nil {
			return reply
		}
		if !c.Notified.IsZero() {
			reply.Told = c.Notified
		}
		if c.Answer != nil {
			reply.Answered, reply.Lines = true, c.Answer.Lines
		}
		return reply
	})
}

// Struck is the step that says what an account came to: what one unit has too much does
// not make up for what another lacks.
func Struck(a *account.Account) *Reconciled {
	of := func(s account.Sum) *Outcome {
		return &Outcome{Made: s.Produced, Missing: s.Missing, Over: s.Over, Percent: s.Percent}
	}
	step := &Reconciled{}
	if a.Cases.Produced > 0 || a.Kegs.Produced == 0 {
		step.Cases = of(a.Cases)
	}
	if a.Kegs.Produced > 0 {
		step.Kegs = of(a.Kegs)
	}
	return step
}

// ToTellAgain lists the consignees that were told of less, or of more, than the scope has at them now, in
// the order of their codes.
func (r *Recall) ToTellAgain(tx *store.Tx, s *scope.Scope) ([]Again, error) {
	consignees, err := deliveries.Consignees(tx, s)
	var out []Again
	for _, c := range consignees {
		if again, ok := r.TellAgain(s, c.Party); ok {
			out = append(out, again)
		}
	}
	return out, err
}
