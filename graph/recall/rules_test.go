package recall_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"heeltap/graph/recall"
	"heeltap/graph/recall/account"
	"heeltap/graph/recall/deliveries"
	"heeltap/graph/recall/scope"
	"heeltap/lots/store"
)

// refusal is a step that makes no sense, and what is said of it.
type refusal struct {
	step recall.Step
	says string
}

// No caller takes a step that makes no sense: each is refused where it is taken, and leaves no trace.
func TestStepsThatMakeNoSense(t *testing.T) {
	f := newFloor(t, cellar+shipped)
	code := f.begin("H-1")
	f.hold(code)
	one := []string{"P-1"}
	account := func(a deliveries.SubAccount) recall.Step {
		return &recall.PassedOn{Party: "D-1", Accounts: []deliveries.SubAccount{a}}
	}
	answer := func(l deliveries.AnswerLine) recall.Step {
		return &recall.Answered{Party: "D-1", Lines: []deliveries.AnswerLine{l}}
	}
	for _, x := range []refusal{
		{&recall.Opened{Suspects: one, Reason: "x"}, "was opened already"},
		{&recall.Suspected{Suspects: []string{"H-2"}}, "--reason is needed"},
		{&recall.Suspected{Reason: "x"}, "name at least one code"},
		{&recall.Suspected{Suspects: []string{"NOPE"}, Reason: "x"}, "NOPE"},
		{&recall.Suspected{Suspects: []string{"h-1"}, Reason: "x"}, "H-1 is suspected already"},
		{&recall.Unsuspected{Suspects: []string{"H-1"}}, "--reason is needed"},
		{&recall.Unsuspected{Suspects: []string{"H-2"}, Reason: "x"}, "H-2 is no suspect"},
		{&recall.Unsuspected{Suspects: []string{"H-1"}, Reason: "x"}, "no suspect left"},
		{&recall.Judged{Hazard: "spoiler"}, "--reason is needed"},
		{&recall.Judged{Hazard: "bad luck", Reason: "x"}, "bad luck"},
		{&recall.Decided{Choice: scope.Include, Codes: one, Reason: "  "}, "--reason is needed"},
		{&recall.Decided{Choice: scope.Include, Reason: "x"}, "name at least one code"},
		{&recall.Decided{Choice: "forget", Codes: one, Reason: "x"}, "is not a decision"},
		{&recall.Decided{Choice: scope.Exclude, Codes: []string{"NOPE"}, Reason: "x"}, "NOPE"},
		{&recall.Decided{Choice: scope.Records, Codes: one, Reason: "x"}, "there is no decision on P-1"},
		{&recall.Frozen{Version: 2}, "version 2 as known with entry 0 cannot be the next"},
		{&recall.Frozen{Version: 1, Head: 1 << 40}, "cannot be the next"},
		{&recall.SignedOff{Codes: one}, "--reason is needed"},
		{&recall.SignedOff{Reason: "x"}, "or give --all, not both"},
		{&recall.SignedOff{Codes: one, All: true, Reason: "x"}, "or give --all, not both"},
		{&recall.SignedOff{Codes: one, Reason: "x"}, "nothing waits for a signature"},
		{&recall.Stopped{}, "name at least one code"},
		{&recall.Stopped{Subjects: one}, "are placed with heeltap recall hold"},
		{&recall.LetGo{Reason: "x"}, "name what to release"},
		{&recall.LetGo{Subjects: one, Reason: "x"}, "P-1 is not held for"},
		{&recall.LetGo{Subjects: []string{"P-2"}}, "a release needs a reason"},
		{&recall.LetGo{Subjects: []string{"P-2"}, Reason: "x"}, "P-2 is still on hold"},
		{&recall.Told{Party: "D-99"}, `no party is called "D-99"; nearest are: `},
		{&recall.Answered{Party: "D-99"}, "no party is called"},
		{&recall.Answered{Party: "D-2"}, "D-2 received nothing in scope"},
		{answer(deliveries.AnswerLine{OnHand: -1}), "is not a quantity"},
		{answer(deliveries.AnswerLine{Sold: math.NaN()}), "is not a quantity"},
		{answer(deliveries.AnswerLine{OnHand: 2.5}), "2.5 is not a quantity of cases or kegs: give a whole number"},
		{answer(deliveries.AnswerLine{OnHand: 3, Returned: 2, Destroyed: 2}), "are more than the 3 that were on hand"},
		{&recall.PassedOn{Party: "D-99"}, "no party is called"},
		{&recall.PassedOn{Party: "D-1"}, "the list names nobody"},
		{account(deliveries.SubAccount{Quantity: 1}), "has no name"},
		{account(deliveries.SubAccount{Name: "a", Unit: "crate"}), "is not case or keg"},
		{account(deliveries.SubAccount{Name: "a", Quantity: math.Inf(1)}), "is not a quantity"},
		{&recall.Sampled{Level: "F"}, `"F" is no level`},
		{&recall.Sampled{Level: "B", Percent: 100}, "more than 10 and less than 100"},
		{&recall.Checked{Party: "D-2"}, "received nothing in scope"},
		{&recall.Checked{Party: "D-1", OnSale: -1}, "is not a quantity"},
		{&recall.Classed{Class: "IV"}, `"IV" is no class: I, II or III`},
		{&recall.Classed{}, "is no class"},
		{&recall.Spoke{Authority: " "}, "name the authority"},
		{&recall.Destroyed{Unit: "P-2", Quantity: 1, Method: "crushed"}, "needs a witness"},
		{&recall.Destroyed{Unit: "P-2", Quantity: 1, Witness: "Ines"}, "how it was destroyed"},
		{&recall.Destroyed{Unit: "H-1", Quantity: 1, Method: "crushed", Witness: "Ines"}, "no unit is called"},
		{&recall.Destroyed{Unit: "P-2", Quantity: 1, Method: "crushed", Witness: "Ines"}, "no removal of P-2 is recorded"},
		{&recall.Destroyed{Unit: "P-2", Quantity: 1, Method: "crushed", Witness: "Ines", Entry: 1}, "no removal of P-2 is recorded"},
		{&recall.Noted{}, "the note says nothing"},
		{&recall.Closed{Review: " "}, "closing needs a review"},
		{&recall.Reopened{}, "--reason is needed"},
		{&recall.Reopened{Reason: "x"}, "is open"},
		{&recall.Terminated{}, "name the authority"},
		{&recall.Drafted{Version: 1, Letters: 2}, "has no version 1"},
		{&recall.Drafted{Letters: -1}, "has no version"},
		{&recall.Strategy{}, "give --depth, --instructions, --contact or --completion"},
		{&recall.Strategy{Depth: "village"}, `"village" is no depth`},
		{&recall.Reconciled{}, "is not an account"},
		{&recall.Reconciled{Cases: &recall.Outcome{Percent: math.NaN()}}, "is not an account"},
		{&recall.Reconciled{Kegs: &recall.Outcome{Percent: 120}}, "is not an account"},
	} {
		f.with(code, func(tx *store.Tx, r *recall.Recall, _ *scope.Scope) error {
			_, err := r.Take(tx, x.step, recall.At{}, "me")
			require.ErrorContains(t, err, x.says, "%T %+v", x.step, x.step)
			after, err := recall.Load(tx, code)
			require.Len(t, after.Log, len(r.Log), "%T leaves a trace", x.step)
			return err
		})
	}
}

// What is closed takes no more steps of the brewery's own, and what is terminated takes none at all but to be
// opened again: no letters are drafted of it.
func TestStepsOfWhatIsOver(t *testing.T) {
	own := []recall.Step{&recall.Drafted{}, &recall.Told{Party: "D-1"}, &recall.Suspected{Suspects: []string{"H-2"}, Reason: "x"}, &recall.Judged{Hazard: "spoiler", Reason: "x"},
		&recall.Decided{Choice: scope.Include, Codes: []string{"P-9"}, Reason: "x"}, &recall.Sampled{Level: "A"}, &recall.Reconciled{}, &recall.Closed{Review: "x"}}
	after := []recall.Step{&recall.Noted{Text: "x"}, &recall.Answered{Party: "D-1"}, &recall.Checked{Party: "D-1"}, &recall.Classed{Class: "ii"}, &recall.Spoke{Authority: "TTB"}, &recall.Strategy{Depth: "retail"}}
	f := newFloor(t, cellar+shipped)
	code := f.begin("H-1")
	try := func(s recall.Step) (err error) {
		f.with(code, func(tx *store.Tx, r *recall.Recall, _ *scope.Scope) error {
			_, err = r.Take(tx, s, recall.At{}, "me")
			return nil
		})
		return err
	}
	require.NoError(t, try(&recall.Closed{Review: "x"}))
	for _, s := range own {
		require.ErrorContains(t, try(s), "is closed", "%T", s)
	}
	for _, s := range after {
		require.NoError(t, try(s), "%T", s)
	}
	require.NoError(t, try(&recall.Terminated{Authority: "TTB"}))
	for _, s := range append(own, after...) {
		require.ErrorContains(t, try(s), "was terminated by TTB; reopen it first", "%T", s)
	}
	require.NoError(t, try(&recall.Reopened{Reason: "a pallet turned up"}))
	require.NoError(t, try(own[0]))
}

// A step keeps what it means besides what was said, whoever takes it.
func TestStepsAreFilledIn(t *testing.T) {
	f := newFloor(t, cellar+shipped)
	code := f.begin("H-1")
	f.take(code, &recall.Suspected{Suspects: []string{"h-2", "supplier-lot:h2"}, Reason: "x"}, time.Time{})
	drawn, class := &recall.Sampled{Level: "a "}, &recall.Classed{Class: " ii"}
	f.take(code, drawn, time.Time{})
	f.take(code, class, time.Time{})
	require.Equal(t, recall.Sampled{Level: "A", Percent: 100, Seed: code, Of: 1, Parties: []string{"D-1"}}, *drawn)
	require.Equal(t, "II", class.Class)
	closed := &recall.Closed{Review: "x", Open: 99}
	open := len(f.openLines(code))
	f.take(code, closed, time.Time{})
	require.Equal(t, open, closed.Open, "counted, whatever the caller says")
	f.with(code, func(_ *store.Tx, r *recall.Recall, _ *scope.Scope) error {
		require.Equal(t, "H-2", r.Suspects[1])
		require.NotEmpty(t, r.Meant[r.Suspects[2]], "what is printed on it can be corrected later")
		return nil
	})
}

// What is odd about a step is said and stops nothing: the time of a telling before the recall was opened.
func TestRemarks(t *testing.T) {
	f := newFloor(t, cellar+shipped)
	code := f.begin("H-1")
	early := f.clock.Add(-2 * time.Hour)
	f.with(code, func(tx *store.Tx, r *recall.Recall, _ *scope.Scope) error {
		for _, s := range []recall.Step{&recall.Told{Party: "D-1"}, &recall.Answered{Party: "D-1"}} {
			after, err := r.Take(tx, s, early, "me")
			require.NoError(t, err)
			require.Equal(t, []string{"that is 2:00 before " + code + " was opened: if the time is wrong, log it again"}, after.Remarks)
		}
		after, err := r.Take(tx, &recall.Noted{Text: "x"}, early, "me")
		require.Empty(t, after.Remarks)
		return err
	})
}

// A recall begins with a suspect and a reason; a surprise picks its own suspect, and only a surprise has a seed.
func TestBeginning(t *testing.T) {
	f := newFloor(t, cellar)
	good := recall.Opened{Suspects: []string{"H-1"}, Hazard: "dissolved", Reason: "x"}
	for says, change := range map[string]func(o *recall.Opened){
		"needs a suspect":      func(o *recall.Opened) { o.Suspects = nil },
		"say what is wrong":    func(o *recall.Opened) { o.Reason = " " },
		"bad luck":             func(o *recall.Opened) { o.Hazard = "bad luck" },
		"NOPE":                 func(o *recall.Opened) { o.Suspects = []string{"NOPE"} },
		"goes with --surprise": func(o *recall.Opened) { o.Seed = "7" },
	} {
		o := good
		change(&o)
		f.do(func(tx *store.Tx) error {
			_, err := recall.Begin(tx, o, recall.At{}, "me")
			require.ErrorContains(t, err, says)
			return nil
		})
	}
	f.do(func(tx *store.Tx) error {
		_, err := recall.BeginSurprise(tx, good, recall.At{}, "me")
		require.ErrorContains(t, err, "picks the suspect itself")
		opened, err := recall.BeginSurprise(tx, recall.Opened{Seed: "7"}, recall.At{}, "me")
		require.NoError(t, err)
		require.True(t, opened.Mock)
		require.Equal(t, "dissolved", string(opened.Hazard), "that of what was picked")
		require.Contains(t, opened.Reason, "exercise: ")
		opened, err = recall.BeginSurprise(tx, recall.Opened{Hazard: "spoiler", Reason: "drill"}, recall.At{}, "me")
		require.NoError(t, err)
		require.Equal(t, "spoiler", string(opened.Hazard))
		require.Contains(t, opened.Log[0].Text(), "drill", "the reason given stands")
		require.NotEmpty(t, opened.Log[0].Step.(*recall.Opened).Seed, "the seed is kept")
		return nil
	})
}

// An account says cases and kegs apart; one that was struck when they were summed still reads.
func TestAccountStruckOfCasesAndKegs(t *testing.T) {
	a := &account.Account{Cases: account.Sum{Produced: 160, Missing: 5, Over: 5, Percent: 96.875}, Kegs: account.Sum{Produced: 1, Percent: 100}}
	text := func(s recall.Step) string { return recall.Logged{Step: s}.Text() }
	require.Equal(t, "Account struck: 96.88 % of 160 cases accounted for, 5 not; MORE THAN WAS MADE by 5: a shipment, a count or a removal is wrong; 100 % of 1 keg accounted for, nothing missing.", text(recall.Struck(a)))
	require.Equal(t, "Account struck: 99.92 % accounted for, 2 of the cases and kegs not.", text(&recall.Reconciled{Accounted: 99.92, Unaccounted: 2}))
}
