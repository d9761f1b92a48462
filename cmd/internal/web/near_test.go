package web_test

import (
	"html"
	"net/http"
	"regexp"
	"testing"

	"github.com/stretchr/testify/require"

	"heeltap/lots"
)

// put is what the first button sends that offers what may have been meant in a field.
func put(t *testing.T, page, field string) string {
	t.Helper()
	m := regexp.MustCompile(`name="put" value="(` + regexp.QuoteMeta(field) + `=[^"]*)"`).FindStringSubmatch(page)
	require.NotNil(t, m, "nothing is offered for %s", field)
	return html.UnescapeString(m[1])
}

// A misspelt name is answered with buttons that put what was meant in its place, on every form that names things; the
// form is then sent as if it had been typed so, and nothing else of it is lost.
func TestMisspeltNamesAreOffered(t *testing.T) {
	h := open(t)
	c := h.signedIn("floor")
	refused := func(path string, form ...string) string {
		t.Helper()
		head := h.head()
		a := c.post(path, form...)
		require.Equal(t, http.StatusUnprocessableEntity, a.Code, a.Body)
		require.Equal(t, head, h.head())
		return a.Body.String()
	}
	recorded := func(path string, form ...string) {
		t.Helper()
		a := c.post(path, form...)
		require.Equal(t, http.StatusSeeOther, a.Code, a.Body)
	}
	// A form of one row.
	one := []string{"form", "n-1", "subject", "PAL-l1", "quantity", "1", "reason", "sample", "unit", ""}
	page := refused("/do/remove", one...)
	require.Equal(t, "subject=PAL-1", put(t, page, "subject"))
	require.Regexp(t, `(?s)<form[^>]*action="/do/remove"[^>]*>\s*<button class="unseen"`, page, "Enter sends what was typed, and not what is offered")

	// A delivery: the name of a party, and of an item of its second lot.
	delivery := []string{"form", "n-2", "supplier", "SUP1x", "lots", "2", "item.1", "MALT-1", "supplier_lot.1", "W8", "quantity.1", "5", "unit.1", "kg",
		"item.2", "MALTT-1", "supplier_lot.2", "W9", "quantity.2", "6", "unit.2", "kg"}
	page = refused("/delivery", delivery...)
	require.Equal(t, "supplier=SUP-1", put(t, page, "supplier"))
	require.Equal(t, "item.2=MALT-1", put(t, page, "item.2"))
	page = refused("/delivery", append(delivery, "put", "supplier=SUP-1")...)
	require.Equal(t, "SUP-1", fieldIn(page, "supplier"), "it is put in, and the rest is still asked about")
	require.Equal(t, "MALTT-1", fieldIn(page, "item.2"))
	delivery[3] = "SUP-1"
	before := len(h.recordsOf("receipts"))
	recorded("/delivery", append(delivery, "put", put(t, page, "item.2"))...)
	rows := h.recordsOf("receipts")
	require.Len(t, rows, before+2)
	require.Equal(t, "MALT-1", rows[before+1].(*lots.Receipt).Item)

	// Lines of lots at a tank and in a brew, and cells of a sheet from paper.
	fresh := rows[before].(*lots.Receipt).Lot
	near := fresh[:len(fresh)-1] + "O" + fresh[len(fresh)-1:]
	page = refused("/vessel/FV-1/add", "form", "n-3", "order", "0", "from0", near, "quantity0", "1")
	require.Equal(t, "from0="+fresh, put(t, page, "from0"))
	recorded("/vessel/FV-1/add", "form", "n-3", "order", "0", "from0", near, "quantity0", "1", "put", "from0="+fresh)
	brew := []string{"form", "n-4", "beer", "Pale", "started_at", "06:00", "cast_out_at", "11:00", "order", "0", "from0", near, "quantity0", "1", "into-order", "0", "into-from0", "FVV-1", "into-quantity0", "3"}
	page = refused("/brew", brew...)
	require.Equal(t, "into-from0=FV-1", put(t, page, "into-from0"))
	page = refused("/brew", append(brew, "put", "into-from0=FV-1")...)
	require.Equal(t, "from0="+fresh, put(t, page, "from0"))
	page = refused("/typed/count", "form", "n-5", "at", "2026-03-19 08:00", "lines.0", "2", "subject.0.0", near, "quantity.0.0", "1", "unit.0.0", "kg")
	require.Equal(t, "subject.0.0="+fresh, put(t, page, "subject.0.0"))

	// What was not sent cannot be put in.
	page = refused("/do/remove", append(one, "put", "override=because")...)
	require.NotContains(t, page, "because")
}
