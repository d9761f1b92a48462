package scope_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"heeltap/graph"
	"heeltap/graph/recall/scope"
	"heeltap/lots/store"
)

// generations is a yeast line: the beer in FV-1 gave crop C-1, pitched into FV-2 and packed as P-2 and keg K-2; that
// gave C-2, kept in brink BR and pitched into FV-3. FV-1's own beer is P-1.
const generations = `
vessels vessel=FV-1 kind=fermenter unit=L
vessels vessel=FV-2 kind=fermenter unit=L
vessels vessel=FV-3 kind=fermenter unit=L
vessels vessel=BR kind=brink unit=L
brews brew=B-1 beer=Pale started_at=2026-02-01_07:00 cast_out_at=2026-02-01_13:00 into=FV-1 volume=3000 unit=L
brews brew=B-2 beer=Pale started_at=2026-02-12_07:00 cast_out_at=2026-02-12_13:00 into=FV-2 volume=3000 unit=L
brews brew=B-3 beer=Pale started_at=2026-02-24_07:00 cast_out_at=2026-02-24_13:00 into=FV-3 volume=3000 unit=L
crops lot=C-1 item=YEAST vessel=FV-1 quantity=9 unit=L at=2026-02-11_08:00
brew_inputs brew=B-2 from=C-1 quantity=9 unit=L stage=pitch
crops lot=C-2 item=YEAST vessel=FV-2 quantity=9 unit=L at=2026-02-22_08:00 into=BR
brew_inputs brew=B-3 from=BR quantity=5 unit=L stage=pitch
runs run=R-1 product=PALE started_at=2026-02-15_08:00 ended_at=2026-02-15_10:00 date_code=ONE good=2000
runs run=R-2 product=PALE started_at=2026-02-25_08:00 ended_at=2026-02-25_10:00 date_code=TWO good=1600
runs run=R-4 product=KEG started_at=2026-02-25_12:00 ended_at=2026-02-25_13:00 date_code=FOUR good=1
runs run=R-3 product=PALE started_at=2026-03-05_08:00 ended_at=2026-03-05_10:00 date_code=THREE good=2000
feeds run=R-1 from=FV-1
feeds run=R-2 from=FV-2
feeds run=R-4 from=FV-2
feeds run=R-3 from=FV-3
units unit=P-1 kind=pallet run=R-1 quantity=100
units unit=P-2 kind=pallet run=R-2 quantity=80
units unit=K-2/R-4 kind=keg run=R-4 quantity=1
units unit=P-3 kind=pallet run=R-3 quantity=100
shipments shipment=S-1 unit=P-1 quantity=100 consignee=D-1 shipped_at=2026-03-01_08:00
`

const (
	firstFill  = "FV-1@2026-02-01T13:00"
	secondFill = "FV-2@2026-02-12T13:00"
)

func suspecting(suspects ...string) scope.Basis {
	return scope.Basis{Suspects: suspects, Hazard: graph.Spoiler}
}

func declined(fill string) scope.Decline {
	return scope.Decline{Decision: scope.Decision{Code: fill, Reason: "plated", By: "Ines"}, Hazard: graph.Spoiler,
		Reached: scope.Beyond{Cases: 180, Kegs: 1, UnitCodes: []string{"P-1", "P-2", "K-2/R-4"}, ConsigneeCodes: []string{"D-1"}, Tanks: []string{"FV-1", "FV-2"}}}
}

func states(s *scope.Scope) (out []string) {
	for _, y := range s.Yeast {
		out = append(out, y.Code+" "+y.State)
	}
	return out
}

// Suspect yeast names the fill it was cropped from and those that the yeast before it was cropped from, nearest
// first, each with what it reaches beyond the scope; cases and kegs are counted apart.
func TestYeastIsFollowedUpstream(t *testing.T) {
	for _, suspect := range []string{"C-2", "BR"} { // the crop, or what holds it
		ask(t, generations, suspecting(suspect), func(tx *store.Tx, s *scope.Scope) {
			require.Equal(t, []string{secondFill + " open", firstFill + " open"}, states(s), suspect)
			near, far := s.Yeast[0], s.Yeast[1]
			require.Equal(t, []string{"C-2"}, near.Crops)
			require.Equal(t, []any{1, 2}, []any{near.Generations, far.Generations})
			require.Equal(t, []string{"K-2/R-4", "P-2"}, near.UnitCodes)
			require.Equal(t, []any{2, int64(80), int64(1), 0, false}, []any{near.Units, near.Cases, near.Kegs, near.Consignees, near.Left})
			require.Equal(t, []any{3, int64(180), int64(1), 1, true}, []any{far.Units, far.Cases, far.Kegs, far.Consignees, far.Left})
			require.Equal(t, "C-2", near.Crops[0])
			require.Contains(t, far.Text(), "reaches, beyond the scope, 3 units (180 cases and 1 keg), shipped to 1 consignee")
			require.False(t, s.SoFarLeft(tx))
			require.True(t, s.HasLeft(tx), "while it is open, nobody may say that nothing has left")
		})
	}
}

// A fill stays proposed until it is taken, declined or cut out; beer, hops and brews are no yeast.
func TestProposalsAreDecided(t *testing.T) {
	for name, c := range map[string]struct {
		basis scope.Basis
		want  []string
	}{
		"taken":              {suspecting("C-2", firstFill), []string{secondFill + " in scope", firstFill + " in scope"}},
		"the nearer taken":   {suspecting("C-2", secondFill), []string{secondFill + " in scope", firstFill + " open"}},
		"its crop suspected": {suspecting("C-2", "C-1"), []string{firstFill + " open", secondFill + " in scope"}},
		"no yeast":           {suspecting("P-3", "B-3", "FV-3"), nil},
		"cut out": {scope.Basis{Suspects: []string{"C-2"}, Hazard: graph.Spoiler, Decisions: []scope.Decision{{Code: secondFill, Choice: scope.Exclude}}},
			nil},
		"declined": {scope.Basis{Suspects: []string{"C-2"}, Hazard: graph.Spoiler, Declined: []scope.Decline{declined(firstFill), declined(secondFill)}},
			[]string{secondFill + " declined", firstFill + " declined"}},
		"declined, then taken": {scope.Basis{Suspects: []string{"C-2", firstFill}, Hazard: graph.Spoiler, Declined: []scope.Decline{declined(firstFill)}},
			[]string{secondFill + " in scope", firstFill + " in scope"}},
	} {
		t.Run(name, func(t *testing.T) {
			ask(t, generations, c.basis, func(tx *store.Tx, s *scope.Scope) {
				require.Equal(t, c.want, states(s))
				open := strings.Contains(strings.Join(c.want, " "), scope.Open)
				require.Equal(t, open, len(s.Undecided()) > 0)
				require.Equal(t, open || s.SoFarLeft(tx), s.HasLeft(tx))
				if name == "declined" {
					require.Equal(t, "declined by Ines: plated", s.Yeast[1].Stands())
				}
			})
		})
	}
}

// Older yeast that may be left in a brink proposes the fill it was cropped from as possible; a proposal is found by
// its code or its vessel's.
func TestAHeelOfOlderYeast(t *testing.T) {
	const older = `
vessels vessel=FV-0 kind=fermenter unit=L
brews brew=B-0 beer=Pale started_at=2026-01-10_07:00 cast_out_at=2026-01-10_13:00 into=FV-0 volume=3000 unit=L
crops lot=C-0 item=YEAST vessel=FV-0 quantity=9 unit=L at=2026-01-20_08:00 into=BR
removals subject=BR quantity=all at=2026-02-01_08:00 reason=dumped
`
	ask(t, generations+older, suspecting("BR"), func(_ *store.Tx, s *scope.Scope) {
		require.Contains(t, states(s), "FV-0@2026-01-10T13:00 open")
		for _, y := range s.Yeast {
			may := y.Vessel == "FV-0"
			require.Equal(t, may, y.Band == "possible", y.Code)
			require.Equal(t, may, strings.Contains(y.Text(), "may have been cropped from it"))
			require.Equal(t, []string{y.Code}, s.Proposed(strings.ToLower(y.Code)))
			require.Equal(t, []string{y.Code}, s.Proposed(y.Vessel))
		}
		require.Empty(t, s.Proposed("FV-3"))
	})
}

// What a proposal reaches is also the beer that stands in tanks and what was served: neither is on a unit. What is in
// scope already counts for nothing.
func TestYeastReachesTanksAndTheTaproom(t *testing.T) {
	const tanks = `
vessels vessel=FV-1 kind=fermenter unit=L
vessels vessel=FV-2 kind=fermenter unit=L
vessels vessel=BT-1 kind=bright unit=L
brews brew=B-1 beer=Pale started_at=2026-02-01_07:00 cast_out_at=2026-02-01_13:00 into=FV-1 volume=3000 unit=L
brews brew=B-2 beer=Pale started_at=2026-02-12_07:00 cast_out_at=2026-02-12_13:00 into=FV-2 volume=3000 unit=L
crops lot=C-1 item=YEAST vessel=FV-1 quantity=9 unit=L at=2026-02-11_08:00
brew_inputs brew=B-2 from=C-1 quantity=9 unit=L stage=pitch
removals subject=FV-2 quantity=50 unit=L at=2026-02-20_18:00 reason=taproom
`
	const served = "removals subject=FV-1 quantity=100 unit=L at=2026-02-20_18:00 reason=taproom\n"
	const moved = "transfers transfer=T-1 from=FV-1 to=BT-1 out=1000 in=1000 unit=L started_at=2026-02-21_08:00 ended_at=2026-02-21_09:00\n"
	const emptied = "removals subject=FV-1 quantity=all at=2026-02-22_08:00 reason=dumped\n"
	const bottled = `
runs run=R-1 product=PALE started_at=2026-02-21_12:00 ended_at=2026-02-21_13:00 date_code=ONE good=200
feeds run=R-1 from=FV-1
units unit=P-1 kind=pallet run=R-1 quantity=6
removals subject=P-1 quantity=2 unit=case at=2026-02-23_18:00 reason=taproom
`
	for name, c := range map[string]struct {
		rows string
		text string
		left bool
	}{
		"in a tank":          {"", "no units; some of it still in 1 tank (FV-1)", false},
		"in two, and served": {served + moved, "no units; some of it still in 2 tanks (BT-1, FV-1); 100 L served or sold in the taproom", true},
		"all gone":           {served + emptied, "no units; 100 L served or sold in the taproom", true},
		"dumped":             {emptied, "no units", false},
		"packed and sold":    {served + bottled, "1 unit (6 cases), 4 cases on no unit; some of it still in 1 tank (FV-1); 100 L and 2 cases served or sold in the taproom", true},
	} {
		t.Run(name, func(t *testing.T) {
			ask(t, tanks+c.rows, suspecting("C-1"), func(_ *store.Tx, s *scope.Scope) {
				require.Equal(t, []string{firstFill + " open"}, states(s))
				require.Equal(t, c.text, s.Yeast[0].Beyond.Text())
				require.Equal(t, c.left, s.Yeast[0].Left)
			})
		})
	}
}
