package web_test

import (
	"bytes"
	"html"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"heeltap/graph/told"
	"heeltap/lots/papers"
	"heeltap/lots/store"
)

const shipped = `{"@context":["https://ref.gs1.org/standards/epcis/2.0.0/epcis-context.jsonld"],"type":"EPCISDocument","schemaVersion":"2.0","creationDate":"2026-03-02T10:00:00Z","epcisBody":{"eventList":[
{"type":"ObjectEvent","eventID":"urn:uuid:0a0b0c0d-0001-4000-8000-000000000001","eventTime":"2026-03-02T09:00:00Z","eventTimeZoneOffset":"+01:00","action":"OBSERVE","bizStep":"shipping","quantityList":[
{"epcClass":"urn:epc:class:lgtin:4012345.012345.TOLD-1","quantity":60,"uom":"KGM"},{"epcClass":"urn:epc:class:lgtin:4012345.012345.TOLD-2","quantity":40,"uom":"KGM"}],
"bizTransactionList":[{"type":"desadv","bizTransaction":"urn:epcglobal:cbv:bt:9520001111112:DN-<5521>"}]}]}}`

// A delivery that its supplier told of stands on the dock; its form is filled in but for what must be counted; what came is
// compared, asked about, and closes it.
func TestADeliveryThatWasToldOf(t *testing.T) {
	h := open(t)
	require.NoError(t, h.db.Update(t.Context(), func(tx *store.Tx) error {
		text := strings.ReplaceAll(shipped, "DN-<5521>", "DN-5521")
		in := bytes.NewReader([]byte(text))
		taken, err := told.Take(tx, told.Document{In: in, At: in, Name: "shipped.jsonld", From: "SUP-1", By: "test", Paper: func(hash string) (papers.Paper, error) { return papers.Paper{Hash: hash}, nil }})
		if err == nil {
			require.Equal(t, 1, taken.Expected)
		}
		return err
	}))
	c := h.signedIn("floor")
	dock := c.get("/dock").Body.String()
	require.Contains(t, dock, "1 delivery is on the way")
	require.Contains(t, dock, "TOLD-2")
	number := regexp.MustCompile(`/delivery\?expected=(\d+)`).FindStringSubmatch(dock)[1]
	page := c.get("/delivery?expected=" + number).Body.String()
	for name, text := range map[string]string{"supplier": "SUP-1", "expected": number, "supplier_lot.1": "TOLD-1", "supplier_lot.2": "TOLD-2", "document": "DN-5521", "quantity.1": "", "quantity.2": ""} {
		require.Equal(t, text, fieldIn(page, name), name)
	}
	head := h.head()
	cells := []string{"lots", "2", "expected", number, "supplier", "SUP-1", "document", "DN-5521", "item.1", "MALT-1", "supplier_lot.1", "TOLD-1", "quantity.1", "55", "unit.1", "kg", "supplier_lot.2", "TOLD-2"}
	w := c.post("/delivery", append([]string{"form", "told-1"}, cells...)...)
	require.Equal(t, http.StatusUnprocessableEntity, w.Code)
	page = w.Body.String()
	require.Contains(t, page, "told of 60 kg of lot TOLD-1, and 55 kg came in")
	require.Contains(t, page, "told of lot TOLD-2 too")
	require.Equal(t, head, h.head(), "it is looked at again first")
	require.Equal(t, number, fieldIn(page, "expected"))
	body := url.Values{"form": {"told-2"}}
	for i := 0; i < len(cells); i += 2 {
		body.Add(cells[i], cells[i+1])
	}
	for _, seen := range regexp.MustCompile(`name="seen" value="([^"]*)"`).FindAllStringSubmatch(page, -1) {
		body.Add("seen", html.UnescapeString(seen[1]))
	}
	w = c.send(c.request(http.MethodPost, "/delivery", body))
	require.Equal(t, http.StatusSeeOther, w.Code, w.Body.String())
	require.NotContains(t, c.get("/dock").Body.String(), "on the way")
	require.Contains(t, c.get("/delivery?expected="+number).Body.String(), "not expected any more: received as")
	require.Equal(t, http.StatusNotFound, c.get("/delivery?expected=999999").Code)
}
