package papers_test

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"heeltap/graph"
	"heeltap/graph/inquiry"
	"heeltap/graph/recall"
	"heeltap/graph/recall/deliveries"
	"heeltap/graph/recall/papers"
	"heeltap/graph/recall/scope"
	"heeltap/labels"
	"heeltap/labels/paper"
	"heeltap/lots"
	"heeltap/lots/lineage/histories"
	"heeltap/lots/store"
)

var ctx = context.Background()

var update = flag.Bool("update", false, "write the golden files anew")

// history is one bad hop lot, in cans of two date codes and in kegs of which one is on no number; D-3
// received one of two kegs.
const history = `
site name=Testbrew time_zone=Europe/Dublin volume_unit=hL
items item=HOP name=hop kind=hop unit=kg
parties party=SUP name=Grower role=supplier contact=Ann
parties party=D-1 name=One role=consignee channel=distributor contact=Una phone=+353_1_555 email=una@one.example address=Quay_1
parties party=D-2 name=Two role=consignee channel=retailer
parties party=D-3 name=Three role=consignee channel=on-premise
products product=CAN name=Pale_440_mL container_ml=440 per_case=24 gtin=05012345678900
products product=KEG name=Pale_keg container_ml=30000 per_case=1
vessels vessel=FV kind=fermenter unit=hL
vessels vessel=FV2 kind=fermenter unit=hL site=cellar
receipts lot=H item=HOP supplier=SUP supplier_lot=h/26 quantity=10 unit=kg received_at=2026-01-02_08:00 document=DN-7 carrier=van
receipts lot=H2 item=HOP supplier=SUP supplier_lot=h2/26 quantity=10 unit=kg received_at=2026-01-02_08:00 document=DN-7
brews brew=B beer=Pale started_at=2026-01-05_08:00 cast_out_at=2026-01-05_14:00 into=FV volume=60 unit=hL
brews brew=B2 beer=Pale started_at=2026-01-06_08:00 cast_out_at=2026-01-06_14:00 into=FV2 volume=20 unit=hL
brew_inputs brew=B from=H quantity=4 unit=kg
brew_inputs brew=B2 from=H quantity=1 unit=kg
runs run=R1 product=CAN started_at=2026-02-02_08:00 ended_at=2026-02-02_10:00 date_code=ONE good=3840
runs run=R2 product=KEG started_at=2026-02-03_08:00 ended_at=2026-02-03_10:00 date_code=K34 good=4
feeds run=R1 from=FV
feeds run=R2 from=FV
units unit=P-1 kind=pallet run=R1 quantity=80
units unit=P-2 kind=pallet run=R1 quantity=80 place=store
units unit=K1/R2 kind=keg run=R2 quantity=1
units unit=K2/R2 kind=keg run=R2 quantity=1
units unit=K3/R2 kind=keg run=R2 quantity=1
shipments shipment=S1 unit=P-1 quantity=79 consignee=D-1 shipped_at=2026-02-10_09:00 document=BOL-1
shipments shipment=S2 unit=P-1 quantity=1 consignee=D-2 shipped_at=2026-02-10_09:00 document=BOL-2
shipments shipment=S3 unit=K1/R2 quantity=1 consignee=D-1 shipped_at=2026-02-12_09:00 document=BOL-3
shipments shipment=S4 unit=K2/R2|K3/R2 quantity=1 consignee=D-3 shipped_at=2026-02-12_09:00 document=BOL-4
returns return=T1 unit=P-1 quantity=9 consignee=D-1 returned_at=2026-02-20_09:00 document=RET-1
counts subject=P-2 quantity=79 at=2026-02-21_09:00 place=bay_4
counts subject=FV2 quantity=19 unit=hL at=2026-02-21_09:30
`

// book is a database with the history and one recall in it, whose clock is the test's.
type book struct {
	t    *testing.T
	db   *store.DB
	code string
}

func began(t *testing.T, mock bool) *book {
	t.Helper()
	db, err := store.Create(ctx, filepath.Join(t.TempDir(), "papers.db"))
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, db.Close()) })
	db.Now = func() time.Time { return time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC) }
	b := &book{t: t, db: db}
	b.enter(history)
	b.in(func(tx *store.Tx) {
		r, err := recall.Begin(tx, recall.Opened{Mock: mock, Suspects: []string{"H"}, Hazard: "foreign-body", Reason: "glass in a hop bale", Lead: "Quint"}, recall.At{}, "Quint")
		require.NoError(t, err)
		b.code = r.Code
	})
	return b
}

func (b *book) in(f func(tx *store.Tx)) {
	b.t.Helper()
	require.NoError(b.t, b.db.Update(ctx, func(tx *store.Tx) error {
		f(tx)
		return tx.Err()
	}))
}

func (b *book) enter(text string) {
	b.t.Helper()
	b.in(func(tx *store.Tx) {
		var rows []store.Statement
		for _, r := range histories.Written(text) {
			sheet, ok := lots.SheetNamed(r.Sheet)
			require.True(b.t, ok, r.Sheet)
			rows = append(rows, store.Statement{Sheet: sheet, Row: r.Row, By: "me"})
		}
		_, _, faults, err := tx.RecordRows(rows)
		require.NoError(b.t, err)
		require.Empty(b.t, faults)
	})
}

func (b *book) take(steps ...recall.Step) {
	b.t.Helper()
	for _, s := range steps {
		b.in(func(tx *store.Tx) {
			r, err := recall.Load(tx, b.code)
			require.NoError(b.t, err)
			_, err = r.Take(tx, s, recall.At{}, "Quint")
			require.NoError(b.t, err)
		})
	}
}

// taken writes a step as it was taken when the records were others.
func (b *book) taken(name string, step any) {
	b.t.Helper()
	b.in(func(tx *store.Tx) {
		_, err := tx.Act(b.code, map[string]any{"step": name, "with": step}, "Quint")
		require.NoError(b.t, err)
	})
}

func (b *book) freeze() {
	b.t.Helper()
	_, err := recall.Freeze(ctx, b.db, b.code, "as known", "Quint")
	require.NoError(b.t, err)
}

// make makes papers on a snapshot.
func (b *book) make(f func(m *papers.Maker)) {
	b.t.Helper()
	require.NoError(b.t, b.db.View(ctx, func(tx *store.Tx) error {
		r, err := recall.Load(tx, b.code)
		require.NoError(b.t, err)
		m, err := papers.New(tx, r, false)
		require.NoError(b.t, err)
		f(m)
		return tx.Err()
	}))
}

// text is a paper as text on one line, wherever its lines break.
func (b *book) text(of func(*papers.Maker) (*paper.Document, error)) (out string) {
	b.t.Helper()
	b.make(func(m *papers.Maker) {
		d, err := of(m)
		require.NoError(b.t, err)
		out = oneLine(b.t, d)
	})
	return out
}

func plain(t *testing.T, d *paper.Document) string {
	t.Helper()
	var w bytes.Buffer
	require.NoError(t, d.Plain(&w))
	return w.String()
}

func oneLine(t *testing.T, d *paper.Document) string {
	t.Helper()
	return strings.Join(strings.Fields(plain(t, d)), " ")
}

func press(m *papers.Maker) (*paper.Document, error) { return m.Press() }

// letter is the letter to one party.
func letter(party string) func(m *papers.Maker) (*paper.Document, error) {
	return func(m *papers.Maker) (*paper.Document, error) {
		all, err := m.Letters()
		if err != nil {
			return nil, err
		}
		return all[slices.IndexFunc(all, func(l papers.Letter) bool { return l.Party == party })].Paper, nil
	}
}

func says(t *testing.T, text string, want ...string) {
	t.Helper()
	for _, w := range want {
		require.Contains(t, text, w)
	}
}

// What a letter must have, paragraph by paragraph, with that consignee's own quantities.
func TestLetterHasWhatTheRuleAsksFor(t *testing.T) {
	b := began(t, false)
	b.take(&recall.Strategy{Depth: "retail", Contact: "Quint, 555-0100"})
	b.freeze()
	one := b.text(letter("D-1"))
	says(t, one, "URGENT: FOOD RECALL")                                                                                 // 7.49(b), before a class is proposed
	says(t, one, "Stop selling, serving and shipping it now", "set it apart")                                           // 7.49(a)
	says(t, one, "Pale 440 mL, 24 to a case, bar code 05012345678900", "ONE", "K34", "P-1", "keg K1", "BOL-1", "BOL-3") // 7.49(c)(1)(ii)
	says(t, one, "Glass in a hop bale. The beer may contain pieces that can injure anyone who drinks it")               // 7.49(c)(1)(iii)
	says(t, one, "Keep it until we collect it")                                                                         // 7.49(c)(1)(iv)
	says(t, one, "Answer today", "Return to: Quint, 555-0100", b.code+"/D-1")                                           // 7.49(c)(1)(v)
	says(t, one, "tell everyone who received it from you since 2026-02-10", "between 2026-02-10 and 2026-02-12")        // 7.49(d)
	says(t, one, "extends to the retail level")                                                                         // 7.42(b)(1)
	says(t, one, "received: 79 cases", "returned: 9 cases", "at most affected: 70 cases", "received: 1 keg", "It follows the scope as known with entry", "version 1.")
	require.NotContains(t, one, "440 mL, 440 mL")
	require.NotContains(t, one, "Two", "another consignee is nobody's business")
	require.NotContains(t, one, "BOL-2")
	two := b.text(letter("D-2"))
	says(t, two, "received: 1 case ", "supplied it to you on 2026-02-10.")
	three := b.text(letter("D-3"))
	says(t, three, "pallet, stack or keg: keg K2 or K3", "one of these, 1 keg", "affected, whichever it was")
	supplier := b.text(letter("SUP"))
	says(t, supplier, "h/26", "10 kg", "DN-7", "What else came in the same delivery", "h2/26")
	for _, text := range []string{one, two, three, supplier} { // 7.49(c)(2), and the words FDA's guidance of 2020 leaves out
		require.NotContains(t, text, "market withdrawal")
		require.NotContains(t, text, "stock recovery")
		says(t, text, "DRAFT", "take this page off before sending", "it does not decide")
		require.NotContains(t, text, "EXERCISE")
	}
	b.take(&recall.Classed{Class: "III"})
	require.NotContains(t, b.text(letter("D-1")), "URGENT", "7.49(b): for class III the lead decides")
	b.take(&recall.Classed{Class: "II", Authority: "FDA"})
	says(t, b.text(letter("D-1")), "URGENT: FOOD RECALL")
}

// Papers of an exercise say so before anything else, in what becomes a subject line, and in each row of the tables.
func TestExerciseIsMarked(t *testing.T) {
	b := began(t, true)
	b.take(&recall.PassedOn{Party: "D-1", Accounts: []deliveries.SubAccount{{Name: "Corner", Quantity: 3}}})
	for _, x := range []struct {
		of   func(*papers.Maker) (*paper.Document, error)
		asks string
	}{{letter("D-1"), "Stop selling"}, {letter("SUP"), "The lots"}, {press, "Look for this"}, {(*papers.Maker).HoldList, "Count it where it stands"}} {
		text := b.text(x.of)
		says(t, text, "*** EXERCISE: NO REAL RECALL ***")
		before, _, found := strings.Cut(text, x.asks)
		require.True(t, found)
		says(t, before, "This is an exercise")
		says(t, text, "EXERCISE, no real recall. Testbrew, "+b.code) // at the foot of each page
	}
	says(t, b.text(letter("D-1")), "Nothing is recalled or on hold", "EXERCISE, no real recall. Answer form", "EXERCISE, no real recall. To the responsible person")
	hold := b.text((*papers.Maker).HoldList)
	says(t, hold, "nothing on this list is stopped by it")
	require.NotContains(t, hold, "Nothing on this list leaves")
	says(t, b.text(letter("D-1")), "EXERCISE, no real recall. URGENT: FOOD RECALL")
	says(t, b.text(press), "EXERCISE, no real recall. Recall: Testbrew")
	b.make(func(m *papers.Maker) {
		for _, table := range []func() ([][]string, error){m.MergeRows, m.AccountRows} {
			rows, err := table()
			require.NoError(t, err)
			require.NotEmpty(t, rows)
			for _, row := range rows {
				require.Equal(t, "yes", row[0])
			}
		}
	})
	require.Equal(t, "exercise", papers.MergeHead[0])
	require.Equal(t, "exercise", papers.AccountHead[0])
}

// The table for a mail merge has every quantity that the letters have.
func TestMergeTable(t *testing.T) {
	b := began(t, false)
	b.make(func(m *papers.Maker) {
		rows, err := m.MergeRows()
		require.NoError(t, err)
		require.Len(t, rows, 3)
		cell := func(party, column string) string {
			i := slices.IndexFunc(rows, func(r []string) bool { return r[1] == party })
			require.Len(t, rows[i], len(papers.MergeHead))
			return rows[i][slices.Index(papers.MergeHead, column)]
		}
		for _, want := range [][3]string{
			{"D-1", "exercise", "no"}, {"D-1", "cases_shipped", "79"}, {"D-1", "cases_returned", "9"}, {"D-1", "cases_net", "70"}, {"D-1", "kegs_shipped", "1"}, {"D-1", "kegs_net", "1"},
			{"D-1", "kegs_one_of_several", "0"}, {"D-1", "products", "CAN; KEG"}, {"D-1", "date_codes", "K34; ONE"}, {"D-1", "phone", "+353 1 555"}, {"D-1", "form_code", b.code + "/D-1"},
			{"D-3", "kegs_shipped", "0"}, {"D-3", "kegs_one_of_several", "1"}, {"D-3", "units", "K2/R2|K3/R2"}, {"D-3", "accounts_listed", "0"},
		} {
			require.Equal(t, want[2], cell(want[0], want[1]), "%s %s", want[0], want[1])
		}
	})
}

// Whom a consignee supplied stands in its letter, in the status and in a table; what its list and its answer do not agree in is said.
func TestSecondLevel(t *testing.T) {
	b := began(t, false)
	says(t, b.text((*papers.Maker).Status), "D-1 One distributes further, and its list is missing.")
	b.take(&recall.PassedOn{Party: "D-1", Accounts: []deliveries.SubAccount{{Name: "Corner Shop", Contact: "Bo", Phone: "555-77", DateCode: "ONE", Quantity: 12}, {Name: "Tap", Quantity: 1, Unit: "keg"}}},
		&recall.Answered{Party: "D-1", Lines: []deliveries.AnswerLine{{OnHand: 30, PassedOn: 40}, {Kegs: true, PassedOn: 1}}})
	says(t, b.text(letter("D-1")), "The customers you told us you supplied: tell each of them", "Corner Shop", "555-77", "12 cases", "1 keg")
	status := b.text((*papers.Maker).Status)
	says(t, status, "Second level", "D-1 One Corner Shop Bo 555-77 ONE 12 cases", "The list of D-1 One comes to 12 cases, its answer says that 40 cases were passed on")
	require.NotContains(t, status, "comes to 1 keg", "list and answer agree in kegs")
	require.NotContains(t, status, "its list is missing")
	require.NotContains(t, b.text(letter("D-2")), "Corner Shop")
	b.take(&recall.PassedOn{Party: "D-2", Accounts: []deliveries.SubAccount{{Name: "Somebody"}}}, &recall.Answered{Party: "D-2", Lines: []deliveries.AnswerLine{{PassedOn: 1}}})
	says(t, b.text((*papers.Maker).Status), "Somebody not said", "The list of D-2 Two leaves out 1 quantity of what it supplied")
	b.make(func(m *papers.Maker) {
		rows, err := m.AccountRows()
		require.NoError(t, err)
		require.Equal(t, [][]string{
			{"no", "D-1", "One", "Corner Shop", "Bo", "555-77", "", "", "", "ONE", "12", "case", "its list"},
			{"no", "D-1", "One", "Tap", "", "", "", "", "", "", "1", "keg", "its list"},
			{"no", "D-2", "Two", "Somebody", "", "", "", "", "", "", "", "case", "its list"},
		}, rows)
	})
}

// Where kegs of a code are on no number, a list of numbers would tell the reader of another keg that it is safe.
func TestKegRuleCoversKegsWithoutANumber(t *testing.T) {
	b := began(t, false)
	text := b.text(press)
	says(t, text, "date code K34: every keg that bears it, whatever its number.", "We know it of K1, K2, K3; 1 more keg may bear it, and its number is not on record.")
	require.NotContains(t, text, "keg numbers K1")
	b.enter("units unit=K4/R2 kind=keg run=R2 quantity=1\n")
	says(t, b.text(press), "date code K34; keg numbers K1, K2, K3, K4.")
}

// A public notice, by FDA's guidance of 2019: what it is, how to know it, why, where and when it was sold, what to do, illness, whom to ask.
func TestPressNotice(t *testing.T) {
	text := began(t, false).text(press)
	says(t, text, "Recall: Testbrew", "Pale 440 mL, 24 to a case, date code ONE.", "Glass in a hop bale.", "The beer may contain pieces that can injure anyone who drinks it",
		"We delivered it to shops, bars and wholesalers on 2026-02-10, in ____", "Do not drink it", "Illness, injury and complaints reported so far", "Contact:", "DRAFT")
}

// A letter says which scope it follows, and shouts where no frozen version says the same.
func TestLettersNameTheirVersion(t *testing.T) {
	b := began(t, false)
	version := func() (v, differs int) {
		b.make(func(m *papers.Maker) {
			var err error
			v, differs, err = m.Version()
			require.NoError(t, err)
		})
		return v, differs
	}
	v, differs := version()
	require.Equal(t, [2]int{0, 0}, [2]int{v, differs})
	says(t, b.text(letter("D-1")), "no version is frozen")
	b.freeze()
	v, differs = version()
	require.Equal(t, [2]int{1, 0}, [2]int{v, differs})
	b.enter("units unit=K4/R2 kind=keg run=R2 quantity=1\nshipments shipment=S9 unit=K4/R2 quantity=1 consignee=D-2 shipped_at=2026-02-12_09:00\n")
	v, differs = version()
	require.Equal(t, 1, v)
	require.Positive(t, differs)
	says(t, b.text(letter("D-1")), "which DIFFERS from version 1 in")
	b.freeze()
	v, differs = version()
	require.Equal(t, [2]int{2, 0}, [2]int{v, differs})
	says(t, b.text(letter("D-1")), "version 2.")
}

// The six items of 21 CFR 7.53(b).
func TestStatusHasTheSixItems(t *testing.T) {
	b := began(t, false)
	b.take(&recall.Strategy{Completion: "three weeks"},
		&recall.Told{Party: "D-1", How: "phone"}, &recall.Told{Party: "D-1", How: "e-mail", Reached: true}, &recall.Told{Party: "D-1", How: "visit", Reached: true},
		&recall.Answered{Party: "D-2", Lines: []deliveries.AnswerLine{{OnHand: 1, Returned: 1}}},
		&recall.Checked{Party: "D-2", How: "phone", Notified: true, Followed: true})
	b.taken("sample", recall.Sampled{Level: "A", Percent: 100, Seed: "7", Of: 2, Parties: []string{"D-1", "D-3"}})
	b.taken("check", recall.Checked{Party: "D-9", How: "phone", Notified: true, Followed: true})
	status := b.text((*papers.Maker).Status)
	says(t, status, "2 of 3 consignees are notified", "how: e-mail", "how: by its own answer") // (1)
	says(t, status, "1 of 3 responded; they had 1 case on hand")                               // (2)
	says(t, status, "2: D-1 One; D-3 Three")                                                   // (3)
	says(t, status, "4. Returned, corrected and accounted for", "says sent back: 1")           // (4)
	says(t, status, "Level A of 21 CFR 7.42(b)(3): 100 % of 2 consignees", "There are 3 consignees now: DRAW AGAIN.",
		"Of 2 drawn: 0 made, 0 found the notice received and followed. Not checked yet: D-1, D-3. Checks of consignees that were not drawn: 2.", "D-9: not in scope") // (5)
	says(t, status, "three weeks") // (6)
	b.take(&recall.Checked{Party: "D-1", How: "phone", Notified: true, Followed: true, OnSale: 2}, &recall.Checked{Party: "D-3", How: "phone", Notified: true, Followed: true})
	says(t, b.text((*papers.Maker).Status), "Of 2 drawn: 2 made, 1 found the notice received and followed. Checks")
}

// Somebody walks the house by this list: what, where, how much, and what was counted.
func TestHoldList(t *testing.T) {
	text := began(t, false).text((*papers.Maker).HoldList)
	says(t, text, "code: FV2 what: since 2026-01-06 14:00 by the books: 20 hL last counted: 19 hL, 2026-02-21 09:30 place: cellar",
		"by the books: 80 cases last counted: 79 cases, 2026-02-21 09:00 place: bay 4", "by the books: 1 keg ", "by the books: 5 kg", "loose code: R2 what: KEG K34", "at most 1 keg ")
	require.NotContains(t, text, "T14:00", "no moment as machines write it")
}

// The report lists all it counts: each unit with its chain, what is in the house, what each consignee received.
func TestReportListsTheScope(t *testing.T) {
	b := began(t, false)
	says(t, b.text((*papers.Maker).Report), "In scope: 5 units in, with 160 cases and 3 kegs (17.796 hL); none possible; packed and on no unit: 1 keg", "unit: on none band: in product: KEG date codes: K34 packed: 1 keg")
	b.freeze()
	b.enter("units unit=K4/R2 kind=keg run=R2 quantity=1\n")
	b.freeze()
	b.take(&recall.Decided{Codes: []string{"P-2"}, Choice: scope.Exclude, Reason: "sieved, sheet 4"})
	b.freeze()
	report := b.text((*papers.Maker).Report)
	says(t, report, "At a glance", "In scope: 5 units in, with 80 cases and 4 kegs", "Scope: The scope as known with entry", "Annex 1", "Annex 2", "Annex 3",
		"unit: P-1 band: in product: CAN date codes: ONE packed: 80 cases at most affected: 80 from the suspect to it: H > B > FV@2026-01-05T14:00 > R1 > P-1",
		"consignee: D-3 Three unit: K2/R2 or K3/R2", "one of these, 1 keg",
		"removed unit P-2 - in, 80 affected entry 37, by Quint: Excluded: P-2: sieved, sheet 4")
}

// The picture is as wide as what is known, and doubts only what is doubtful: one of two kegs is at D-3, unknown which.
func TestPicture(t *testing.T) {
	began(t, false).make(func(m *papers.Maker) {
		flow, err := m.Picture()
		require.NoError(t, err)
		edges := map[string]paper.FlowEdge{}
		for _, e := range flow.Edges {
			edges[e.From+" > "+e.To] = e
		}
		// Of 4 kg, 60 hL took 4: 1,689.6 L of cans and 120 L of kegs. 80 cases are 844.8 L.
		kg := func(litres float64) float64 { return 4 * litres / 6000 }
		require.InDelta(t, 4, edges["lot H > brew B"].Weight, 1e-6)
		require.InDelta(t, kg(844.8*70/80), edges["run R1 > at D-1"].Weight, 1e-6, "net of 9 that came back")
		require.InDelta(t, kg(844.8*(80+9)/80), edges["run R1 > at in the house"].Weight, 1e-6)
		require.InDelta(t, kg(60), edges["run R2 > at in the house"].Weight, 1e-6, "two kegs by the books")
		require.True(t, edges["run R2 > at D-1"].Sure)
		doubtful := edges["run R2 > at D-3"]
		require.False(t, doubtful.Sure)
		require.True(t, math.IsNaN(doubtful.Weight), "no book says how much")
	})
}

// The whole letter, notice and hold list, as they go out: a change of their wording is a decision.
func TestGolden(t *testing.T) {
	b := began(t, false)
	b.take(&recall.Strategy{Depth: "consumer", Contact: "Quint, 555-0100, quint@testbrew.example"}, &recall.Classed{Class: "II"})
	b.freeze()
	for name, of := range map[string]func(*papers.Maker) (*paper.Document, error){"letter.txt": letter("D-1"), "press.txt": press, "hold.txt": (*papers.Maker).HoldList} {
		b.make(func(m *papers.Maker) {
			d, err := of(m)
			require.NoError(t, err)
			got := plain(t, d)
			path := filepath.Join("testdata", name)
			if *update {
				require.NoError(t, os.WriteFile(path, []byte(got), 0o644))
			}
			want, err := os.ReadFile(path)
			require.NoError(t, err)
			require.Equal(t, strings.Split(string(want), "\n"), strings.Split(got, "\n"), "go test -update writes it anew")
		})
	}
}

// The report's sums can be checked on paper: what one of several took away stands in a column of its own, and so
// does what was served.
func TestReportAddsUp(t *testing.T) {
	b := began(t, false)
	b.enter("removals subject=FV quantity=5 unit=hL at=2026-02-11_09:00 reason=taproom\n")
	b.take(&recall.Answered{Party: "D-3", Lines: []deliveries.AnswerLine{{Kegs: true, OnHand: 1}}})
	report := b.text((*papers.Maker).Report)
	says(t, report, "all kegs made: 4 kegs counted: 0 shipped: 1 returned: 0 repacked: 0 removed: 0 unaccounted: 3 of one of several: 1",
		"consignee: D-3 Three kegs received: 0 may be: 1 returned, arrived: 0 on hand there: 1 not explained: 0 recovered %: 0", "Columns that would hold nothing but 0 are left out.",
		"Served here: 1 time, last on 2026-02-11", "2026-02-11 09:00 tank FV 5 hL sure", "in tanks: 3.46 in units: 1.186 served: 0.333 lost: 0.02 not measured: 0",
		"25 (unit K3/R2); on no number: find them, tag each (heeltap pack KEG --kind keg --run R2 --quantity 1), then count")
	b.take(&recall.Answered{Party: "D-3"})
	says(t, b.text((*papers.Maker).Report), "returned, arrived: 0 elsewhere: 1 not explained: 0 recovered %: -")
}

// A version's table keeps how much a consignee had and has, and what moved.
func TestReportKeepsWhatMoved(t *testing.T) {
	b := began(t, false)
	b.freeze()
	b.enter("shipments shipment=S9 unit=P-2 quantity=7 consignee=D-1 shipped_at=2026-03-01_09:00\n")
	b.freeze()
	says(t, b.text((*papers.Maker).Report), "code: D-1 now: in, 86 cases and 1 keg received (+7 of P-2) was: in, 79 cases and 1 keg received")
}

// A count is carried on by what moved since, in the annex as on the screen.
func TestCountIsCarriedOn(t *testing.T) {
	b := began(t, false)
	b.enter("removals subject=P-2 quantity=79 at=2026-02-25_09:00 reason=destroyed witness=Ines\n")
	says(t, b.text((*papers.Maker).Report), "by the books: 1 case last counted: 79 cases, 2026-02-21 09:00; by what moved since 0 cases")
}

// Whose letter is out of date stands in the status, with what it was told of and what it has.
func TestStatusTellsAgain(t *testing.T) {
	b := began(t, false)
	b.freeze()
	b.take(&recall.Told{Party: "D-1", How: "phone", Reached: true}, &recall.Told{Party: "D-2", How: "phone", Reached: true})
	require.NotContains(t, b.text((*papers.Maker).Status), "TOLD AGAIN")
	b.enter("shipments shipment=S9 unit=P-2 quantity=7 consignee=D-1 shipped_at=2026-03-01_09:00\n")
	says(t, b.text((*papers.Maker).Status), "1 is TO BE TOLD AGAIN", "D-1 One: it was told 79 cases and 1 keg (version 1); now it is 86 cases and 1 keg: +7 of P-2.")
	says(t, b.text((*papers.Maker).Report), "1 is TO BE TOLD AGAIN", "D-1 One: tell again, it was told 79 cases and 1 keg (version 1); now it is 86 cases and 1 keg: +7 of P-2")
}

// A letter names no day that nobody knows.
func TestLetterWithoutADay(t *testing.T) {
	b := began(t, false)
	b.enter("parties party=D-4 name=Four role=consignee\n")
	b.take(&recall.Frozen{Version: 1, Head: 33, Items: []scope.Item{{Kind: "consignee", Code: "D-4", Band: "in"}}})
	four := b.text(letter("D-4"))
	says(t, four, "Testbrew supplied it to you.", "tell everyone who received it from you, and send us", "(product, date codes and quantity, to be filled in)", "A correction took deliveries")
	require.NotContains(t, b.text(letter("D-1")), "A correction took deliveries")
}

// Kegs of which one is there, unknown which, are asked for back like the others.
func TestLetterAsksForOneOfSeveralKegs(t *testing.T) {
	b := began(t, false)
	says(t, b.text(letter("D-1")), "have not come back to us: K1.")
	says(t, b.text(letter("D-3")), "have not come back to us: 1 of K2 or K3.")
}

// A consignee is found by its code, by what its form's code reads, and by the address that a phone reads off it.
func TestPartyRead(t *testing.T) {
	r := &recall.Recall{Code: "RC26-01"}
	scanned, err := labels.Payload("https://brewery.example", papers.FormCode(r, "D-1"))
	require.NoError(t, err)
	for _, text := range []string{"D-1", papers.FormCode(r, "D-1"), scanned} {
		require.Equal(t, "D-1", papers.PartyRead(r, text), text)
	}
}

// A wholesaler sorts by the same words as the public: product, size, date codes, and times where they are printed.
func TestLetterCarriesThePrintedRule(t *testing.T) {
	b := began(t, false)
	const cans = "Pale 440 mL, 24 to a case, date code ONE."
	says(t, b.text(press), cans)
	says(t, b.text(letter("D-2")), "Look for this on the package", cans, "even if it is not in the list below")
	require.NotContains(t, b.text(letter("D-2")), "K34", "it received no kegs")
	says(t, b.text(letter("D-3")), "date code K34: every keg that bears it")
	b.enter(`
products product=TIMED name=Timed container_ml=330 per_case=24 date_code=BB_{year}-{month}-{day}_{hour}:{minute}
vessels vessel=FV3 kind=fermenter unit=hL
brews brew=B3 beer=Pale started_at=2026-01-07_08:00 cast_out_at=2026-01-07_14:00 into=FV3 volume=20 unit=hL
runs run=R4 product=TIMED started_at=2026-02-05_08:00 ended_at=2026-02-05_10:00 date_code=BB_2026-11-05 good=4800 clock_offset_min=0
feeds run=R4 from=FV until=2026-02-05_09:00
feeds run=R4 from=FV3 since=2026-02-05_09:00
units unit=P-4 kind=pallet run=R4 quantity=100 first_at=2026-02-05_08:00 last_at=2026-02-05_08:59
shipments shipment=S6 unit=P-4 quantity=100 consignee=D-2 shipped_at=2026-02-11_09:00
`)
	const timed = "Timed, 330 mL, 24 to a case, date code BB 2026-11-05, times 08:00 to 08:59."
	says(t, b.text(press), timed)
	says(t, b.text(letter("D-2")), cans, timed)
	require.NotContains(t, b.text(letter("D-1")), "Timed")
}

// Where nobody can say what one delivery was, the letter has all rules, though another delivery says which it bears.
func TestLetterWithADeliveryOfUnknownGoods(t *testing.T) {
	b := began(t, false)
	b.enter("units unit=K4/R2 kind=keg run=R2 quantity=1\nshipments shipment=S9 unit=K4/R2 quantity=1 consignee=D-2 shipped_at=2026-02-12_09:00")
	b.freeze()
	b.in(func(tx *store.Tx) {
		for _, rec := range tx.Touching("K4/R2") {
			if x, ok := rec.(*lots.Shipment); ok {
				_, err := tx.Void(x.Seq, "not so", "me")
				require.NoError(t, err)
			}
		}
		for _, rec := range tx.Touching("K4/R2") {
			if x, ok := rec.(*lots.Packed); ok {
				_, err := tx.Void(x.Seq, "not so", "me")
				require.NoError(t, err)
			}
		}
	})
	text := b.text(letter("D-2"))
	says(t, text, "K4/R2", "Pale 440 mL, 24 to a case, date code ONE.", "Pale keg, 30 L, date code K34")
	says(t, text, "product and size: not on record pallet, stack or keg: K4/R2 received: 1 case at most affected: may be affected", "product and size: not on record date code: not on record delivered: 1 case")
	require.NotContains(t, text, "0 mL pallet")
}

// Where nothing in scope has left, or nothing was packed or served, there is nothing to tell the public.
func TestNoPressForNothing(t *testing.T) {
	b := began(t, false)
	b.make(func(m *papers.Maker) {
		require.Empty(t, m.NoPress())
		d, err := m.Press()
		require.NoError(t, err)
		require.NotNil(t, d)
	})
	b.suspects(graph.ForeignBody, "H2")
	b.make(func(m *papers.Maker) {
		require.Equal(t, "nothing in scope has left the brewery", m.NoPress())
		d, err := m.Press()
		require.NoError(t, err)
		require.Nil(t, d)
	})
	b.enter("removals subject=H2 quantity=1 unit=kg at=2026-02-11_09:00 reason=supplier-return\nremovals subject=FV2 quantity=1 unit=hL at=2026-02-11_09:00 reason=taproom\n")
	b.make(func(m *papers.Maker) { require.NotEmpty(t, m.NoPress()) })
	b.suspects(graph.ForeignBody, "B2")
	b.make(func(m *papers.Maker) { require.Empty(t, m.NoPress(), "it was served here") })
}

// A letter says who writes to whom, about what, and is marked as 21 CFR 7.49(b) asks. What nobody has set is a line to fill
// in, and the responsible person is told how to have it filled in for good.
func TestLetterHead(t *testing.T) {
	b := began(t, false)
	const line = "____________________ (postal address)"
	one := b.text(letter("D-1"))
	says(t, one, "From: Testbrew "+line+" ____________________ (telephone, e-mail)", "To: One (D-1) attention: Una Quay 1", "Date: 2026-03-02", "Reference: "+b.code,
		"Subject: URGENT: FOOD RECALL of Pale 440 mL and Pale keg", "Contact: ____________________ (name, telephone, e-mail)", "heeltap set site sender.address ADDRESS")
	says(t, b.text(letter("D-2")), "To: Two (D-2) "+line)
	b.in(func(tx *store.Tx) {
		for name, value := range map[string]string{recall.SettingSenderName: "Testbrew Ltd", recall.SettingSenderAddress: "Mill Lane 1, Ostwithe", recall.SettingSenderPhone: "555-0100", recall.SettingSenderEmail: "recall@testbrew.example"} {
			require.NoError(t, tx.Set(store.SiteSettings, name, value, "", "Quint"))
		}
	})
	for _, party := range []string{"D-1", "SUP"} {
		text := b.text(letter(party))
		says(t, text, "From: Testbrew Ltd Mill Lane 1, Ostwithe 555-0100, recall@testbrew.example", "Contact: Quint, 555-0100, recall@testbrew.example")
		require.NotContains(t, text, "sender.")
	}
	says(t, b.text(letter("SUP")), "To: Grower (SUP) attention: Ann", "Subject: Notice about a lot you supplied", "material: hop (HOP)")
	b.take(&recall.Strategy{Contact: "Vera, 555-0199"})
	says(t, b.text(letter("D-1")), "Contact: Vera, 555-0199")
	b.make(func(m *papers.Maker) {
		d, err := letter("D-1")(m)
		require.NoError(t, err)
		require.True(t, d.Red, "7.49(b): preferably in bold red type")
	})
}

// The answer form has a line for each date code, with what was delivered of it, and sums of cases and of kegs.
func TestAnswerFormByDateCode(t *testing.T) {
	b := began(t, false)
	b.enter(`
runs run=R3 product=CAN started_at=2026-02-04_08:00 ended_at=2026-02-04_10:00 date_code=THREE good=960
feeds run=R3 from=FV
units unit=P-3 kind=pallet run=R3 quantity=20
units unit=P-5 kind=pallet run=R3 quantity=10
units unit=P-5 kind=pallet run=R1 quantity=10
shipments shipment=S5 unit=P-3 quantity=20 consignee=D-1 shipped_at=2026-02-10_09:00
shipments shipment=S7 unit=P-5 quantity=20 consignee=D-2 shipped_at=2026-02-10_09:00
`)
	rows := b.form("D-1")
	require.Equal(t, [][]string{
		{"Pale 440 mL, 24 to a case", "ONE", "79 cases, 9 came back"},
		{"Pale 440 mL, 24 to a case", "THREE", "20 cases"},
		{"Pale keg, 30 L", "K34", "1 keg"},
		{"all cases", "", "99 cases, 9 came back"},
	}, rows)
	require.Equal(t, [][]string{
		{"Pale 440 mL, 24 to a case", "ONE", "1 case, 10 of 20 cases"},
		{"Pale 440 mL, 24 to a case", "THREE", "10 of 20 cases"},
		{"all cases", "", "21 cases"},
	}, b.form("D-2"))
	require.Equal(t, [][]string{{"Pale keg, 30 L", "K34", "perhaps 1 keg"}}, b.form("D-3"))
}

// form is the table of a consignee's answer form, without what is to be filled in.
func (b *book) form(party string) (out [][]string) {
	b.make(func(m *papers.Maker) {
		d, err := letter(party)(m)
		require.NoError(b.t, err)
		for _, p := range d.Parts {
			if table, ok := p.(paper.Table); ok && table.Hand {
				require.Equal(b.t, []string{"#found", "#sold or served", "#passed on", "#sent back", "#destroyed"}, table.Head[3:])
				for _, row := range table.Rows {
					require.Equal(b.t, slices.Repeat([]string{"______"}, 5), row[3:])
					out = append(out, row[:3])
				}
			}
		}
	})
	return out
}

// What is still out stands first; of kegs that came back empty nothing is left to find, and one line says so.
func TestLetterPutsFirstWhatIsOut(t *testing.T) {
	b := began(t, false)
	b.enter(`
units unit=K4/R2 kind=keg run=R2 quantity=1
shipments shipment=S8 unit=K4/R2 quantity=1 consignee=D-1 shipped_at=2026-02-12_09:00
shipments shipment=S9 unit=P-2 quantity=5 consignee=D-1 shipped_at=2026-02-13_09:00
returns return=T2 unit=K1/R2 quantity=1 consignee=D-1 returned_at=2026-02-25_09:00 state=empty
returns return=T3 unit=P-1 quantity=70 consignee=D-1 returned_at=2026-02-26_09:00
`)
	one := b.text(letter("D-1"))
	says(t, one, "Came back empty, so nothing of it is left to look for: keg K1.")
	_, list, _ := strings.Cut(one, "What we supplied to you")
	require.NotContains(t, list, "keg: keg K1 ")
	require.Less(t, strings.Index(list, "P-2"), strings.Index(list, "P-1"), "all of it came back")
	require.Less(t, strings.Index(list, "keg K4"), strings.Index(list, "P-1"))
}

// Whoever drank draught beer saw no code: the places and the days tell them.
func TestPressNamesWhereDraughtWasSold(t *testing.T) {
	b := began(t, false)
	text := b.text(press)
	says(t, text, "Where it was sold on draught", "Three ____________________ Pale keg 2026-02-12", "____________________ (customers of One, from its list)", "Bars and pubs: look for this on the keg. - Pale keg, 30 L, date code K34")
	require.NotContains(t, text, "our taproom")
	require.NotContains(t, text, "Two", "it received no keg")
	b.take(&recall.PassedOn{Party: "D-1", Accounts: []deliveries.SubAccount{{Name: "Corner Shop", Quantity: 12}, {Name: "The Tap", Address: "Quay 7", Quantity: 1, Unit: "keg"}}})
	b.enter("removals subject=FV quantity=1 unit=hL at=2026-02-05_19:00 reason=taproom\nremovals subject=FV quantity=1 unit=hL at=2026-02-07_19:00 reason=taproom\n")
	text = b.text(press)
	says(t, text, "The Tap Quay 7 Pale keg", "our taproom ____________________ Pale 2026-02-05, until 2026-02-07")
	require.NotContains(t, text, "Corner Shop")
	require.NotContains(t, text, "customers of One")
	b.suspects(graph.ForeignBody, "R1")
	require.NotContains(t, b.text(press), "draught", "no keg is in scope")
	says(t, b.text(letter("D-2")), "Look for this on the package and the case.")
	b.suspects(graph.Spoiler, "R2")
	text = b.text(press)
	says(t, text, "If you took any of it home from the tap, do not drink it.", "Bars and pubs: keep the kegs cool")
	require.NotContains(t, text, "Look for this on the package")
	says(t, b.text(letter("D-3")), "Look for this on the keg.")
	b.enter("products product=KEG2 name=Stout_keg_30_L beer=Stout container_ml=30000 per_case=1\nruns run=R5 product=KEG2 started_at=2026-02-06_08:00 ended_at=2026-02-06_10:00 date_code=K36 good=2\nfeeds run=R5 from=FV\nunits unit=K9/R5 kind=keg run=R5 quantity=1\nshipments shipment=S6 unit=K9/R5 quantity=1 consignee=D-3 shipped_at=2026-02-12_09:00\n")
	b.suspects(graph.Spoiler, "R5")
	says(t, b.text(press), "Three ____________________ Stout 2026-02-12")
}

// An exercise holds nothing: its papers say what would be held, and no word says that goods were stopped.
func TestExerciseHoldsNothing(t *testing.T) {
	b := began(t, true)
	b.in(func(tx *store.Tx) {
		r, err := recall.Load(tx, b.code)
		require.NoError(t, err)
		_, _, err = r.HoldAll(tx, "Quint")
		require.NoError(t, err)
		r, err = recall.Load(tx, b.code)
		require.NoError(t, err)
		_, _, err = r.HoldAll(tx, "Quint")
		require.ErrorContains(t, err, "nothing more to rehearse a hold on")
		_, err = r.LetGo(tx, []string{"P-1"}, "looked at", "Quint")
		require.NoError(t, err)
	})
	list := b.text((*papers.Maker).HoldList)
	says(t, list, "This is an exercise: nothing on this list is stopped by it. In a real recall, nothing on it would leave", "held: would be")
	require.NotContains(t, list, "held: yes")
	require.NotContains(t, list, "Nothing on this list leaves")
	report := b.text((*papers.Maker).Report)
	says(t, report, "In the house: 8 things, of which 6 would be held: that was rehearsed, and nothing was stopped", "Hold rehearsed on 7 things;",
		"Release rehearsed: P-1: looked at;", "a hold was rehearsed on 6")
	require.NotContains(t, report, "held and neither released")
}

// A second draw of effectiveness checks stands beside the first, and whom either drew is to be checked.
func TestDrawnTwice(t *testing.T) {
	b := began(t, false)
	b.take(&recall.Sampled{Level: "B", Percent: 30, Seed: "one"}, &recall.Sampled{Level: "B", Percent: 30, Seed: "six"})
	status := b.text((*papers.Maker).Status)
	says(t, status, "Consignees were drawn twice; a later draw takes nothing back of an earlier one.", "Draw 1, 2026-03-02 09:00, by Quint: Level B", "drawn with seed one.", "Draw 2, 2026-03-02 09:00, by Quint: Level B", "drawn with seed six.")
	b.in(func(tx *store.Tx) {
		r, err := recall.Load(tx, b.code)
		require.NoError(t, err)
		require.Len(t, r.Samples, 2)
		require.NotEqual(t, r.Samples[0].Parties, r.Samples[1].Parties, "else the test shows nothing")
		for _, s := range r.Samples {
			require.Subset(t, r.Drawn(), s.Parties)
		}
		require.Len(t, r.Drawn(), 2)
	})
	says(t, status, "Of 2 drawn: 0 made")
}

// What is still out there stands in a line of its own, on status and report: cases and kegs, and where they are by the answers.
func TestStillInTheTrade(t *testing.T) {
	b := began(t, false)
	want := "Still in the trade: at most 71 cases and 2 kegs (71 cases and 2 kegs not answered for or not explained)"
	says(t, b.text((*papers.Maker).Status), want+".")
	says(t, b.text((*papers.Maker).Report), want+".", strings.Replace(want, "trade: at", "trade: at", 1))
	b.take(&recall.Answered{Party: "D-1", Lines: []deliveries.AnswerLine{{OnHand: 30, Sold: 20, Returned: 10, PassedOn: 15}, {Kegs: true, Sold: 1}}})
	says(t, b.text((*papers.Maker).Status), "Still in the trade: at most 51 cases and 1 keg (20 cases with consignees by their answers; 10 cases on the way back; 15 cases passed on to their customers; "+
		"6 cases and 1 keg not answered for or not explained). Sold or served there: 20 cases and 1 keg, which cannot be recovered.")
}

// Whoever holds the status paper knows whom to call.
func TestRecallTeam(t *testing.T) {
	b := began(t, false)
	says(t, b.text((*papers.Maker).Status), "Recall team =========== Nobody is named yet.")
	b.in(func(tx *store.Tx) {
		for role, who := range map[string]string{"warehouse": "Otto, 555-0102", "lead": "Quint, 555-0100", "press-desk": "Ines Vale, MSc, +353 1 555 0103"} {
			require.NoError(t, tx.Set(store.SiteSettings, recall.SettingTeam+role, who, "", "Quint"))
		}
	})
	says(t, b.text((*papers.Maker).Status), "lead Quint 555-0100 press desk Ines Vale, MSc +353 1 555 0103 warehouse Otto 555-0102")
}

// What people called about is counted where it is about a code in scope, and apart where it may be.
func TestComplaintsAreCounted(t *testing.T) {
	b := began(t, false)
	says(t, b.text((*papers.Maker).Status), "By the inquiries noted: none noted.")
	b.in(func(tx *store.Tx) {
		for _, q := range []inquiry.Question{{Read: "ONE", Note: "a splinter", Caller: "Una"}, {Read: "ONE"}} {
			a, err := inquiry.Ask(tx, q)
			require.NoError(t, err)
			_, err = inquiry.Note(tx, a, "Otto")
			require.NoError(t, err)
		}
		_, err := inquiry.Note(tx, &inquiry.Answer{Question: inquiry.Question{Read: "O?E", Note: "flat"}, Candidates: []inquiry.Candidate{{Runs: []string{"R1", "R9"}}}}, "Otto")
		require.NoError(t, err)
		_, err = inquiry.Note(tx, &inquiry.Answer{Question: inquiry.Question{Read: "XX", Note: "sour"}, Candidates: []inquiry.Candidate{{Runs: []string{"R9"}}}}, "Otto")
		require.NoError(t, err)
	})
	status := b.text((*papers.Maker).Status)
	says(t, status, "By the inquiries noted: 1 complaint and 1 question; 1 more complaint may be about them: what was read also fits other codes.", "a splinter")
	require.NotContains(t, status, "Una", "who called is nobody else's affair")
	require.NotContains(t, status, "sour")
	says(t, b.text((*papers.Maker).Report), "Complaints about codes in scope: 1 complaint and 1 question")
}

// A large scope stays on one page: what is smallest is folded into groups of its kind, which say how much they stand
// for, and nothing is lost from the sums.
func TestPictureOfALargeScopeFolds(t *testing.T) {
	b := began(t, false)
	var more strings.Builder
	for i := range 60 {
		fmt.Fprintf(&more, "parties party=R-%02[1]d name=Shop_%02[1]d role=consignee channel=retailer\n", i)
		fmt.Fprintf(&more, "runs run=X%02[1]d product=CAN started_at=2026-02-05_%02[2]d:%02[3]d ended_at=2026-02-05_%02[2]d:%02[4]d date_code=X%02[1]d good=240\nfeeds run=X%02[1]d from=FV\n", i, 6+i/10, i%10*5, i%10*5+4)
		for k := range 3 {
			fmt.Fprintf(&more, "units unit=XP-%02[1]d-%[2]d kind=pallet run=X%02[1]d quantity=3\nshipments shipment=XS-%02[1]d-%[2]d unit=XP-%02[1]d-%[2]d quantity=2 consignee=R-%02[1]d shipped_at=2026-02-20_09:00\n", i, k)
		}
	}
	b.enter(more.String())
	b.make(func(m *papers.Maker) {
		flow, err := m.Picture()
		require.NoError(t, err)
		boxes, titles := map[int]int{}, map[string]string{}
		for _, n := range flow.Nodes {
			boxes[n.Column]++
			titles[n.Title] = n.Detail
		}
		for column, n := range boxes {
			require.LessOrEqual(t, n, 16, flow.Columns[column])
		}
		require.Contains(t, titles, "in the house", "what is no consignee stands by itself")
		runs := titles["47 runs of CAN"]
		require.Contains(t, runs, "141 pallets")
		retailers := 0
		for title, detail := range titles {
			if n, ok := strings.CutSuffix(title, " retailers"); ok {
				retailers++
				require.Contains(t, detail, "cases", n)
			}
		}
		require.Equal(t, 1, retailers)
		require.Contains(t, flow.Caption, "the annexes name every unit and consignee")
		pages := func(parts ...paper.Part) int {
			var w bytes.Buffer
			require.NoError(t, (&paper.Document{Title: "Recall report", Parts: parts}).PDF(&w))
			return bytes.Count(w.Bytes(), []byte("/Type /Page\n"))
		}
		require.Equal(t, 1, pages())
		require.LessOrEqual(t, pages(paper.Heading{Level: 1, Text: "What went where"}, paper.Picture{Flow: *flow}), 2, "one page for the picture and what is written below it")
	})
}
