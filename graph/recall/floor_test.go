package recall_test

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"heeltap/graph/recall"
	"heeltap/graph/recall/account"
	"heeltap/graph/recall/deliveries"
	"heeltap/graph/recall/house"
	"heeltap/graph/recall/scope"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/store"
)

// cellar is a small brewery: hops H-1 in P-1 and P-2 (run R-1, still in BT-1) and in P-3 (R-3,
// still in FV-3); hops H-2 in P-9 (R-2, still in FV-2).
const cellar = `
site name=Test time_zone=UTC
items item=MALT name=malt kind=malt unit=kg
items item=HOP name=hop kind=hop unit=kg
parties party=SUP name=s role=supplier
parties party=D-1 name=One role=consignee channel=distributor
parties party=D-2 name=Two role=consignee channel=retailer
parties party=D-3 name=Three role=consignee channel=on-premise
products product=PALE name=Pale container_ml=440 per_case=24
products product=KEG name=Keg container_ml=30000 per_case=1
vessels vessel=FV-1 kind=fermenter unit=L
vessels vessel=FV-2 kind=fermenter unit=L
vessels vessel=FV-3 kind=fermenter unit=L
vessels vessel=BT-1 kind=bright unit=L
vessels vessel=SV-1 kind=serving unit=L
receipts lot=H-1 item=HOP supplier=SUP supplier_lot=h1 quantity=10 unit=kg received_at=2026-02-01_09:00
receipts lot=H-2 item=HOP supplier=SUP supplier_lot=h2 quantity=10 unit=kg received_at=2026-02-01_09:00
receipts lot=M-1 item=MALT supplier=SUP supplier_lot=m quantity=1000 unit=kg received_at=2026-02-01_09:00
brews brew=B-1 beer=Pale started_at=2026-03-01_07:00 cast_out_at=2026-03-01_13:00 into=FV-1 volume=6000 unit=L
brews brew=B-2 beer=Pale started_at=2026-03-02_07:00 cast_out_at=2026-03-02_13:00 into=FV-2 volume=2000 unit=L
brews brew=B-3 beer=Pale started_at=2026-03-03_07:00 cast_out_at=2026-03-03_13:00 into=FV-3 volume=2000 unit=L
brew_inputs brew=B-1 from=H-1 quantity=5 unit=kg ref=use-1
brew_inputs brew=B-1 from=M-1 quantity=400 unit=kg
brew_inputs brew=B-2 from=H-2 quantity=5 unit=kg ref=use-3
brew_inputs brew=B-3 from=H-1 quantity=5 unit=kg ref=use-2
transfers transfer=T-1 from=FV-1 to=BT-1 out=6000 in=6000 unit=L started_at=2026-03-15_08:00 ended_at=2026-03-15_09:00
runs run=R-1 product=PALE started_at=2026-03-16_08:00 ended_at=2026-03-16_10:00 date_code=ONE good=3840
runs run=R-2 product=PALE started_at=2026-03-17_08:00 ended_at=2026-03-17_10:00 date_code=TWO good=1920
runs run=R-3 product=PALE started_at=2026-03-18_08:00 ended_at=2026-03-18_10:00 date_code=THREE good=1920
feeds run=R-1 from=BT-1
feeds run=R-2 from=FV-2
feeds run=R-3 from=FV-3
units unit=P-1 kind=pallet run=R-1 quantity=80
units unit=P-2 kind=pallet run=R-1 quantity=80
units unit=P-3 kind=pallet run=R-3 quantity=80
units unit=P-9 kind=pallet run=R-2 quantity=80
`

// shipped is what left that brewery.
const shipped = `
shipments shipment=S-1 unit=P-1 quantity=80 consignee=D-1 shipped_at=2026-03-20_08:00
shipments shipment=S-3 unit=P-3 quantity=80 consignee=D-1 shipped_at=2026-03-20_08:00
`

// floor is a database with a clock that ticks a minute for each thing done.
type floor struct {
	*testing.T
	db    *store.DB
	clock time.Time
}

func newFloor(t *testing.T, text string) *floor {
	t.Helper()
	f := &floor{T: t, db: open(t, "floor"), clock: time.Date(2026, 4, 1, 12, 0, 0, 0, time.UTC)}
	f.write(text)
	return f
}

func (f *floor) do(what func(tx *store.Tx) error) {
	f.Helper()
	require.NoError(f, f.try(what))
}

func (f *floor) try(what func(tx *store.Tx) error) error {
	f.clock = f.clock.Add(time.Minute)
	now := f.clock
	f.db.Now = func() time.Time { return now }
	return f.db.Update(ctx, what)
}

func (f *floor) write(text string) {
	f.Helper()
	f.do(func(tx *store.Tx) error {
		enter(f, tx, statements(text)...)
		return tx.Err()
	})
}

// amend corrects the row of a code or ref.
func (f *floor) amend(name string, set map[string]string) {
	f.Helper()
	f.do(func(tx *store.Tx) error {
		rows, err := tx.RowsOf(name)
		require.NoError(f, err)
		require.Len(f, rows, 1)
		_, err = tx.Amend(rows[0].Seq, set, "misread", "me")
		return err
	})
}

func (f *floor) void(name string) {
	f.Helper()
	f.do(func(tx *store.Tx) error {
		rows, err := tx.RowsOf(name)
		require.NoError(f, err)
		for _, row := range rows {
			if _, err := tx.Void(row.Seq, "was not so", "me"); err != nil {
				return err
			}
		}
		return nil
	})
}

func (f *floor) begin(suspects ...string) string {
	f.Helper()
	code := ""
	f.do(func(tx *store.Tx) error {
		r, err := recall.Begin(tx, recall.Opened{Suspects: suspects, Hazard: "foreign-body", Reason: "glass"}, recall.At{}, "Quint")
		if err == nil {
			code = r.Code
		}
		return err
	})
	return code
}

func (f *floor) freeze(code string) []scope.Change {
	f.Helper()
	f.clock = f.clock.Add(time.Minute)
	now := f.clock
	f.db.Now = func() time.Time { return now }
	r, err := recall.Freeze(ctx, f.db, code, "x", "Quint")
	require.NoError(f, err)
	return r.Latest().Changes
}

// with does something with a recall and its scope.
func (f *floor) with(code string, what func(tx *store.Tx, r *recall.Recall, s *scope.Scope) error) {
	f.Helper()
	f.do(func(tx *store.Tx) error {
		r, err := recall.Load(tx, code)
		require.NoError(f, err)
		s, err := r.Scope(tx)
		require.NoError(f, err)
		return what(tx, r, s)
	})
}

func (f *floor) take(code string, s recall.Step, at time.Time) {
	f.Helper()
	f.with(code, func(tx *store.Tx, r *recall.Recall, _ *scope.Scope) error {
		_, err := r.Take(tx, s, at, "me")
		return err
	})
}

func (f *floor) signOff(code string, codes ...string) {
	f.Helper()
	f.with(code, func(tx *store.Tx, r *recall.Recall, _ *scope.Scope) error {
		_, err := r.Take(tx, &recall.SignedOff{Codes: codes, All: len(codes) == 0, Reason: "photo"}, recall.At{}, "Quint")
		return err
	})
}

func (f *floor) hold(code string) (held []string) {
	f.Helper()
	f.with(code, func(tx *store.Tx, r *recall.Recall, _ *scope.Scope) error {
		_, stock, err := r.HoldAll(tx, "Quint")
		for _, x := range stock {
			held = append(held, x.Code)
		}
		return err
	})
	return held
}

// kept lists what waits for a signature.
func (f *floor) kept(code string) (out []string) {
	f.Helper()
	f.with(code, func(_ *store.Tx, _ *recall.Recall, s *scope.Scope) error {
		for _, i := range s.Kept {
			out = append(out, i.Kind+" "+i.Code)
		}
		return nil
	})
	slices.Sort(out)
	return out
}

// stock finds something in the house; false where it is not on the list.
func (f *floor) stock(code, thing string) (found house.Stock, ok bool) {
	f.Helper()
	f.with(code, func(tx *store.Tx, r *recall.Recall, s *scope.Scope) error {
		list, err := r.InHouse(tx, s)
		for _, x := range list {
			if x.Code == thing {
				found, ok = x, true
			}
		}
		return err
	})
	return found, ok
}

func (f *floor) consignee(code, party string) (found deliveries.Consignee, ok bool) {
	f.Helper()
	f.with(code, func(tx *store.Tx, _ *recall.Recall, s *scope.Scope) error {
		list, err := deliveries.Consignees(tx, s)
		for _, c := range list {
			if c.Party == party {
				found, ok = c, true
			}
		}
		return err
	})
	return found, ok
}

func (f *floor) account(code string) (a *account.Account) {
	f.Helper()
	f.with(code, func(tx *store.Tx, r *recall.Recall, s *scope.Scope) (err error) {
		a, err = r.Reconcile(tx, s)
		return err
	})
	return a
}

func (f *floor) recovery(code, party string, kegs bool) account.Recovery {
	f.Helper()
	a := f.account(code)
	i := slices.IndexFunc(a.Consignees, func(x account.Recovery) bool { return x.Party == party && x.Kegs == kegs })
	require.GreaterOrEqual(f, i, 0, "%s has a line", party)
	return a.Consignees[i]
}

func (f *floor) standing(code, party string) (found recall.Standing) {
	f.Helper()
	f.with(code, func(tx *store.Tx, r *recall.Recall, s *scope.Scope) error {
		list, err := r.Standings(tx, s)
		for _, x := range list {
			if x.Party == party {
				found = x
			}
		}
		return err
	})
	require.Equal(f, party, found.Party)
	return found
}

func (f *floor) openLines(code string) (out []string) {
	f.Helper()
	f.with(code, func(tx *store.Tx, r *recall.Recall, s *scope.Scope) error {
		lines, err := r.OpenLines(tx, s)
		for _, l := range lines {
			out = append(out, l.Kind+": "+l.Text)
		}
		return err
	})
	return out
}

// stopped tries a row and says whether a hold stops it; nothing of it stays.
func (f *floor) stopped(text string) bool {
	f.Helper()
	undone, stopped := lots.Errorf(lots.Internal, "undone"), false
	require.ErrorIs(f, f.try(func(tx *store.Tx) error {
		seqs, _, faults, err := tx.RecordRows(statements(text))
		require.NoError(f, err)
		require.Empty(f, faults)
		why, err := trace.Stopped(tx, seqs)
		require.NoError(f, err)
		stopped = len(why) > 0
		return undone
	}), undone)
	return stopped
}
