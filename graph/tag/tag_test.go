package tag_test

import (
	"bytes"
	"context"
	"image"
	_ "image/png"
	"path/filepath"
	"testing"
	"time"

	"github.com/makiuchi-d/gozxing"
	"github.com/makiuchi-d/gozxing/qrcode"
	"github.com/stretchr/testify/require"

	"heeltap/graph/tag"
	"heeltap/labels"
	"heeltap/lots"
	"heeltap/lots/lineage/histories"
	"heeltap/lots/store"
)

const house = `
site name=Test time_zone=Europe/Copenhagen volume_unit=hL
items item=MALT name=pale_malt kind=malt unit=kg
items item=YST name=yeast kind=yeast unit=L
parties party=SUP name=s role=supplier
parties party=D-1 name=One role=consignee
vessels vessel=FV-1 kind=fermenter
vessels vessel=FV-2 kind=fermenter
products product=PALE name=Pale container_ml=440 per_case=24
products product=KEG name=Dark container_ml=30000 per_case=1
receipts lot=L-1 item=MALT supplier=SUP supplier_lot=A/1 quantity=500 unit=kg received_at=2026-03-01_08:00 best_by=2027-03-01
receipts lot=L-2 item=MALT supplier=SUP supplier_lot=A/2 quantity=12.5 unit=kg received_at=2026-03-01_08:00 status=hold
receipts lot=L-3 item=MALT supplier=SUP supplier_lot=- quantity=500 unit=kg received_at=2026-03-01_08:00 status=rejected
receipts lot=L-4 item=MALT supplier=SUP supplier_lot=A/4 quantity=500 unit=kg received_at=2026-03-01_08:00
brews brew=B-1 beer=Pale started_at=2026-03-02_07:00 cast_out_at=2026-03-02_13:00 into=FV-1 volume=19 unit=hL
brew_inputs brew=B-1 from=L-1 quantity=100 unit=kg
brews brew=B-2 beer=Pale started_at=2026-03-02_17:00 cast_out_at=2026-03-02_23:00 into=FV-2 volume=19 unit=hL
brew_inputs brew=B-2 from=L-1|L-4 quantity=100 unit=kg
crops lot=Y-1 item=YST vessel=FV-1 quantity=20 unit=L at=2026-03-08_10:00
runs run=R-1 product=PALE started_at=2026-03-10_08:00 ended_at=2026-03-10_10:00 date_code=ONE good=3840
runs run=R-2 product=KEG started_at=2026-03-10_11:00 ended_at=2026-03-10_12:00 date_code=TWO good=2
feeds run=R-1 from=FV-1
feeds run=R-2 from=FV-2
units unit=P-1 kind=pallet run=R-1 quantity=80 sscc=(00)952012345678912345
units unit=P-2 kind=pallet run=R-1 quantity=80
units unit=K-1/R-2 kind=keg run=R-2 quantity=1
shipments shipment=S-1 unit=P-2 quantity=50 consignee=D-1 shipped_at=2026-03-11_08:00
`

// What stands on a tag is how things are now, and not how they were when the goods came in.
func TestATagSaysTheStateNow(t *testing.T) {
	const (
		hold    = "holds subject=L-1 at=2026-03-12_08:00 reason=smell by=Q"
		letGo   = hold + " released_at=2026-03-13_08:00 released_by=Q release_reason=no"
		arrived = "holds subject=L-2 at=2026-03-01_08:00 reason=papers by=Q released_at=2026-03-02_08:00 released_by=Q release_reason=came"
		again   = "holds subject=L-2 at=2026-03-12_08:00 reason=mould by=Q"
		other   = "holds subject=L-4 at=2026-03-12_08:00 reason=smell by=Q"
		refused = "holds subject=L-3 at=2026-03-12_08:00 reason=smell by=Q"
	)
	for _, c := range []struct {
		name, rows, code, status string
		refused                  bool
	}{
		{"accepted", "", "L-1", "accepted", false},
		{"came in on hold", "", "L-2", "ON HOLD", false},
		{"came in on hold, released", arrived, "L-2", "released", false},
		{"released, and held again", arrived + "\n" + again, "L-2", "ON HOLD", false},
		{"rejected", "", "L-3", "REJECTED", true},
		{"rejected and held", refused, "L-3", "REJECTED", true},
		{"held", hold, "L-1", "ON HOLD", false},
		{"held and released", letGo, "L-1", "accepted", false},
		{"crop", "", "Y-1", "cropped", false},
		{"crop of what is held", hold, "Y-1", "ON HOLD", false},
		{"pallet", "", "P-1", "", false},
		{"pallet of what is held", hold, "P-1", "ON HOLD", false},
		{"pallet of what was held", letGo, "P-1", "", false},
		{"keg of one of several, the one held", other, "K-1/R-2", "POSSIBLY ON HOLD", false},
		{"vessel", hold, "FV-1", "ON HOLD", false},
		{"run", hold, "R-1", "ON HOLD", false},
		{"run of something else", hold, "R-2", "POSSIBLY ON HOLD", false},
	} {
		t.Run(c.name, func(t *testing.T) {
			x := of(t, house+c.rows, c.code)[0]
			require.Equal(t, c.status, x.Status)
			require.Equal(t, c.refused, x.Refused)
		})
	}
}

func TestWhatATagSays(t *testing.T) {
	tags := of(t, house, "L-1", "Y-1", "P-1", "P-2", "K-1/R-2", "R-1", "FV-1", "L-2")
	lot, crop, whole, part, keg, run, vessel := tags[0], tags[1], tags[2], tags[3], tags[4], tags[5], tags[6]
	require.Equal(t, labels.Tag{Kind: labels.KindLot, Code: "L-1", Title: "pale malt", SupplierLot: "A/1", Quantity: "500 kg", Received: "2026-03-01", BestBy: "2027-03-01", Status: "accepted"}, lot)
	require.Equal(t, "12.5 kg", tags[7].Quantity)
	require.Equal(t, "-", crop.SupplierLot)
	require.Contains(t, crop.Extra, labels.Row{Name: "From", Text: "FV-1"})
	require.Equal(t, labels.KindPallet, whole.Kind)
	require.Equal(t, "80 cases", whole.Quantity)
	require.Equal(t, "952012345678912345", whole.SSCC, "its digits, however they were typed")
	require.Equal(t, "30 of 80 cases", part.Quantity, "50 have left")
	require.Contains(t, whole.Extra, labels.Row{Name: "Run", Text: "R-1"})
	require.Contains(t, whole.Extra, labels.Row{Name: "Date code", Text: "ONE"})
	require.Equal(t, labels.KindKeg, keg.Kind)
	require.Equal(t, "1 keg", keg.Quantity)
	require.Equal(t, "Dark", keg.Title)
	require.Equal(t, "Pale", run.Title)
	require.Equal(t, "fermenter", vessel.Title)
}

// A tag is asked for by what another tag holds, and by what people type; what has no tag is refused.
func TestWhatIsAskedFor(t *testing.T) {
	for text, code := range map[string]string{
		"http://192.168.1.5:8417/t/P-1": "P-1", "https://tags.example/beer/t/K-1/R-2?x=1": "K-1/R-2", " L-1\n": "L-1", "l 1": "L-1", "952012345678912345": "P-1", "k1": "K-1/R-2",
	} {
		require.Equal(t, code, of(t, house, text)[0].Code, text)
	}
	for text, want := range map[string]string{"MALT": "tags are for lots, vessels, runs, pallets and kegs", "L-9": "the nearest are: ", "S-1": "tags are for"} {
		err := asked(t, house, func(tx *store.Tx) error { _, err := tag.Of(tx, []string{text}); return err })
		require.ErrorContains(t, err, want)
		require.NotEqual(t, lots.Internal, lots.KindOf(err))
	}
}

// Every tag of every stock is read back by a decoder that is not the encoder, with an address and without.
func TestDrawnTagsAreRead(t *testing.T) {
	tags := of(t, house, "L-1", "L-3", "FV-1", "R-1", "P-1", "K-1/R-2")
	for _, s := range labels.Stocks() {
		for _, x := range tags {
			for _, address := range []string{"", "http://192.168.1.5:8417"} {
				data, err := tag.Draw([]labels.Tag{x}, s, "x.png", address)
				require.NoError(t, err)
				want, err := labels.Payload(address, x.Code)
				require.NoError(t, err)
				require.Equal(t, want, read(t, data), "%s on %s", x.Code, s.Name)
				require.Equal(t, x.Code, labels.ParsePayload(want))
			}
		}
	}
	_, err := tag.Draw(tags, labels.Stocks()[0], "x.png", "")
	require.ErrorContains(t, err, "print several to a .pdf")
	_, err = tag.Draw(tags, labels.Stocks()[0], "x.txt", "")
	require.ErrorContains(t, err, "must end in .pdf, .png or .svg")
	sheet, err := tag.Draw(tag.Copies(tags, 9), labels.Stocks()[0], "x.PDF", "")
	require.NoError(t, err)
	require.Equal(t, "%PDF", string(sheet[:4]))
	svg, err := tag.Draw(tags[1:2], labels.Stocks()[0], "x.svg", "")
	require.NoError(t, err)
	require.Contains(t, string(svg), "REJECTED")
}

func TestCopiesStayTogether(t *testing.T) {
	a, b := labels.Tag{Code: "A"}, labels.Tag{Code: "B"}
	require.Equal(t, []labels.Tag{a, a, b, b}, tag.Copies([]labels.Tag{a, b}, 2))
	require.Equal(t, []labels.Tag{a}, tag.Copies([]labels.Tag{a}, 1))
}

func read(t *testing.T, data []byte) string {
	picture, _, err := image.Decode(bytes.NewReader(data))
	require.NoError(t, err)
	bitmap, err := gozxing.NewBinaryBitmapFromImage(picture)
	require.NoError(t, err)
	result, err := qrcode.NewQRCodeReader().Decode(bitmap, map[gozxing.DecodeHintType]any{gozxing.DecodeHintType_TRY_HARDER: true})
	require.NoError(t, err)
	return result.GetText()
}

func of(t *testing.T, history string, codes ...string) (tags []labels.Tag) {
	t.Helper()
	require.NoError(t, asked(t, history, func(tx *store.Tx) (err error) { tags, err = tag.Of(tx, codes); return err }))
	return tags
}

// asked records a history and asks about it.
func asked(t *testing.T, history string, ask func(tx *store.Tx) error) error {
	t.Helper()
	db, err := store.Create(context.Background(), filepath.Join(t.TempDir(), "t.db"))
	require.NoError(t, err)
	defer func() { require.NoError(t, db.Close()) }()
	db.Now = func() time.Time { return time.Date(2026, 3, 20, 12, 0, 0, 0, time.UTC) }
	var rows []store.Statement
	for _, r := range histories.Entered(histories.Written(history)) {
		rows = append(rows, store.Statement{Sheet: r.Sheet, Row: r.Row, By: "test"})
	}
	require.NoError(t, db.Update(context.Background(), func(tx *store.Tx) error {
		_, _, faults, err := tx.RecordRows(rows)
		require.Empty(t, faults)
		return err
	}))
	return db.View(context.Background(), ask)
}
