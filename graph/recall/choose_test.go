package recall_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"heeltap/graph/recall"
	"heeltap/lots/store"
)

// The recall that is meant is the one named, else the only open one; a question may also mean the only one there is.
func TestChoose(t *testing.T) {
	f := newFloor(t, cellar)
	choose := func(named string) (step, question string) {
		f.do(func(tx *store.Tx) error {
			told := func(r *recall.Recall, err error) string {
				if err != nil {
					return err.Error()
				}
				return r.Code
			}
			step, question = told(recall.Choose(tx, named)), told(recall.ChooseToRead(tx, named))
			return nil
		})
		return step, question
	}
	check := func(named, step, question string) {
		t.Helper()
		a, b := choose(named)
		require.Contains(t, a, step)
		require.Contains(t, b, question)
	}
	check("", "there is no recall yet", "there is no recall yet")
	first := f.begin("H-1")
	check("", first, first)
	check("RC26-99", "there is no recall", "there is no recall")
	f.take(first, &recall.Closed{Review: "x"}, time.Time{})
	check("", "no recall is open: name one with --recall, such as "+first, first)
	check(first, first, first)
	second := f.begin("H-2")
	check("", second, second)
	third := f.begin("H-2")
	check("", second+" and "+third+" are open", second+" and "+third+" are open")
	f.do(func(tx *store.Tx) error {
		r, err := recall.Load(tx, third)
		require.NoError(t, err)
		others, err := r.OthersOpen(tx)
		require.Len(t, others, 1)
		require.Equal(t, second, others[0].Code)
		require.Equal(t, recall.Summary{Code: third, Kind: "recall", State: "open", Opened: r.OpenedAt.UTC().Format(time.RFC3339), Lead: "Quint", Suspects: []string{"H-2"}, Hazard: "foreign-body", Reason: "glass"}, r.Summary(tx))
		return err
	})
}

// Units that leave are wanted by every open recall that has them in scope, and by no exercise and none that is over.
func TestWanted(t *testing.T) {
	f := newFloor(t, cellar)
	wanted := func(units ...string) (out []string) {
		f.do(func(tx *store.Tx) (err error) {
			out, err = recall.Wanted(tx, units, 0)
			return err
		})
		return out
	}
	f.do(func(tx *store.Tx) error {
		_, err := recall.Begin(tx, recall.Opened{Mock: true, Suspects: []string{"H-1"}, Hazard: "foreign-body", Reason: "x"}, recall.At{}, "me")
		return err
	})
	require.Empty(t, wanted("P-1"), "an exercise wants nothing")
	code := f.begin("H-1")
	require.Equal(t, []string{"P-1 is in scope of recall " + code + ": stop the lorry, or tell the lead; heeltap recall hold stops what is in scope"}, wanted("P-1", "P-9"))
	require.Empty(t, wanted("P-9"))
	require.Empty(t, wanted())
	f.take(code, &recall.Closed{Review: "x"}, time.Time{})
	require.Empty(t, wanted("P-1"))
}
