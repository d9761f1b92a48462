package web_test

import (
	"bytes"
	"net/http"
	"os"
	"os/exec"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"heeltap/graph/inquiry"
	"heeltap/graph/recall"
	"heeltap/graph/recall/deliveries"
	"heeltap/lots"
	"heeltap/lots/store"
)

// secrets are personal details of a supplier, a consignee and those it supplied, and what was said of people while
// a recall ran. All are invented.
var secrets = []string{"Quimby", "0700-900", "zelda@", "Larkspur", "Ottoline", "Peregrine", "Marchbank", "0700-911", "Thistledown",
	"Hollyhock", "Wetherby", "Calloway", "Ravensworth"}

// Each address, asked by somebody who need not know whom to reach at a supplier or consignee, says nothing of them;
// those who run recalls are told, with their password and not by a PIN; who called is told to those who take calls, too. The loading list bears the address for the
// driver.
func TestContactsAreForThoseWhoNeedThem(t *testing.T) {
	h := open(t)
	parties := sheetNamed(t, "parties")
	for _, role := range []string{"supplier", "consignee"} {
		code := strings.ToUpper(role[:3]) + "-9"
		require.Empty(t, h.record(store.Statement{Sheet: parties, Row: lots.Row{"party": code, "name": "Ninth", "role": role,
			"contact": "Quimby", "phone": "0700-900", "email": "zelda@ninth.example", "address": "9 Larkspur Row"}, By: "Person of floor"}, true))
	}
	entry := h.head()
	for _, x := range []struct {
		sheet string
		row   lots.Row
	}{
		{"receipts", lots.Row{"lot": "LOT-9", "item": "MALT-1", "supplier": "SUP-9", "supplier_lot": "N", "quantity": "10", "unit": "kg", "received_at": "2026-03-01 08:00"}},
		{"brew_inputs", lots.Row{"brew": "BREW-1", "from": "LOT-9", "quantity": "5", "unit": "kg", "at": "2026-03-02 07:00"}},
		{"shipments", lots.Row{"shipment": "SH-9", "unit": "PAL-1", "quantity": "5", "consignee": "CON-9", "shipped_at": "2026-03-17 08:00"}},
	} {
		require.Empty(t, h.record(store.Statement{Sheet: sheetNamed(t, x.sheet), Row: x.row, By: "Person of floor"}, true))
	}
	require.NoError(t, h.db.Update(t.Context(), func(tx *store.Tx) error {
		now, err := recall.Begin(tx, recall.Opened{Mock: true, Suspects: []string{"LOT-9"}, Hazard: "foreign-body", Reason: "wire"}, recall.At{}, "Person of quality")
		if err != nil {
			return err
		}
		require.Equal(t, "MR26-02", now.Code)
		call, err := inquiry.Ask(tx, inquiry.Question{Read: "BB", Caller: "Mrs Ravensworth", Note: "flat"})
		if err != nil {
			return err
		}
		if _, err := inquiry.Note(tx, call, "Person of floor"); err != nil {
			return err
		}
		for _, step := range []recall.Step{
			&recall.Told{Party: "CON-9", How: "phone", Who: "Ottoline", Reached: true, Text: "will ask Peregrine"},
			&recall.Answered{Party: "CON-9", Who: "Ottoline", Text: "Hollyhock found it", Lines: []deliveries.AnswerLine{{Sold: 5}}},
			&recall.PassedOn{Party: "CON-9", Accounts: []deliveries.SubAccount{{Name: "Marchbank", Phone: "0700-911", Address: "1 Thistledown"}}},
			&recall.Checked{Party: "CON-9", How: "visit", Notified: true, Followed: true, Text: "Wetherby showed it"},
			&recall.Spoke{Authority: "FSA", Text: "Calloway took it down"},
		} {
			if now, err = now.Take(tx, step, recall.At{}, "Person of quality"); err != nil {
				return err
			}
		}
		return nil
	}))

	paths := []string{"/party/SUP-9", "/party/CON-9", "/shipment/SH-9", "/lot/LOT-9", "/shipment/SH-9/list", "/find?q=CON-9", "/find?q=Quimby", "/find?q=0700-900",
		"/recall/MR26-02", "/recall/MR26-02/consignee/SUP-9", "/recall/MR26-02/consignee/CON-9", "/recall/MR26-02/paper/letters.zip",
		"/trace?from=LOT-9", "/inquiry/noted", "/office", "/readiness", "/inquiry?read=BB&place=Larkspur", "/load/SH-9"}
	for _, tail := range []string{"scope", "house", "consignees", "account", "papers"} {
		paths = append(paths, "/recall/MR26-02/"+tail)
	}
	for _, name := range []string{"report", "status", "holds", "press", "consignee CON-9", "supplier SUP-9"} {
		for _, ending := range []string{".txt", ".html", ".pdf"} {
			paths = append(paths, "/recall/MR26-02/paper/"+strings.ReplaceAll(name, " ", "%20")+ending)
		}
	}
	for n := entry - 1; n <= h.head(); n++ {
		for _, tail := range []string{"", "/amend", "/void"} {
			paths = append(paths, "/entry/"+strings.TrimSpace(lots.Figure(float64(n)))+tail)
		}
	}
	for _, x := range matrix {
		if strings.HasPrefix(x.route, "GET") && !strings.Contains(x.path, "OWN") && !strings.HasSuffix(x.path, "events") {
			paths = append(paths, strings.ReplaceAll(x.path, "MR26-01", "MR26-02"))
		}
	}

	visitors := h.visitors()
	told := map[string]bool{}
	for _, path := range paths {
		for name, c := range visitors {
			body := readable(t, c.get(path).Body.Bytes())
			may := name == "quality" || name == "admin"
			loads := (strings.HasPrefix(path, "/load/") || strings.HasSuffix(path, "/list")) && strings.Contains(recorders, name)
			for _, secret := range secrets {
				if !strings.Contains(body, secret) {
					continue
				}
				if strings.Contains(path, secret) {
					continue // what was asked is said back
				}
				if may {
					told[secret] = true
				} else if !(loads && secret == "Larkspur") && !(secret == "Ravensworth" && strings.Contains(recorders, name)) {
					t.Errorf("%s tells %s of %s", path, name, secret)
				}
			}
		}
	}
	for _, secret := range secrets {
		if secret == "Thistledown" {
			continue // it stands in packed files only
		}
		require.True(t, told[secret], "nobody was told of %s: the test asks nothing that bears it", secret)
	}
	require.Equal(t, http.StatusForbidden, visitors["viewer"].get("/recall/MR26-02/paper/letters.zip").Code)
}

// readable is what a person or a search finds in an answer: the words that a PDF shows and those that stand in its bytes,
// of anything else what it is. Where pdftotext is missing, the pages and texts of the same papers are looked through alone.
func readable(t *testing.T, body []byte) string {
	t.Helper()
	if !bytes.HasPrefix(body, []byte("%PDF")) {
		return string(body)
	}
	if _, err := exec.LookPath("pdftotext"); err != nil {
		require.Empty(t, os.Getenv("HEELTAP_CI"), "pdftotext is missing")
		return string(body)
	}
	cmd := exec.Command("pdftotext", "-layout", "-", "-")
	cmd.Stdin = bytes.NewReader(body)
	text, err := cmd.Output()
	require.NoError(t, err)
	require.Greater(t, len(text), 100)
	return string(body) + strings.Join(strings.Fields(string(text)), " ")
}

// An auditor reads the report, the status and the press text: the parties by their names, with all quantities, and the line
// that says what the copy leaves out. Whoever runs recalls gets them whole, and nobody else gets letters.
func TestACopyWithoutContactsStillProves(t *testing.T) {
	h := open(t)
	visitors := h.visitors()
	const left = "Contacts are left out of this copy"
	for _, name := range []string{"report", "status", "press"} {
		for _, ending := range []string{".txt", ".html", ".pdf"} {
			if _, err := exec.LookPath("pdftotext"); ending == ".pdf" && err != nil {
				continue
			}
			path := "/recall/MR26-01/paper/" + name + ending
			for who, c := range visitors {
				switch a := c.get(path); who {
				case "quality", "admin":
					require.Equal(t, http.StatusOK, a.Code, path)
					require.NotContains(t, readable(t, a.Body.Bytes()), left, path)
				case "viewer", "floor":
					require.Equal(t, http.StatusOK, a.Code, path)
					text := strings.Join(strings.Fields(readable(t, a.Body.Bytes())), " ")
					require.Contains(t, text, left, path)
					if name != "press" {
						require.Contains(t, text, "CON-1", path)
					}
				}
			}
		}
	}
	for _, name := range []string{"letters.zip", "consignee%20CON-1.pdf"} {
		require.Equal(t, http.StatusForbidden, visitors["viewer"].get("/recall/MR26-01/paper/"+name).Code)
	}
	require.NotContains(t, visitors["viewer"].get("/recall/MR26-01/paper/holds.txt").Body.String(), left, "it bears none")
}
