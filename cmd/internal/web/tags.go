package web

import (
	"cmp"
	"net/http"
	"slices"
	"strconv"

	"heeltap/graph/desk"
	"heeltap/graph/tag"
	"heeltap/labels"
	"heeltap/lots"
	"heeltap/lots/store"
)

var tagRoutes = []route{{Method: "GET", Pattern: "/tags", Right: "look", do: (*Server).tags}}

// stockCookie remembers on a machine what its tags are printed on.
const stockCookie = "heeltap_stock"

// mostTags is more than a lorry has pallets.
const mostTags = 200

// tagged is what tags are offered for.
type tagged struct {
	Code   string `json:"code"`
	Copies int    `json:"copies"`
}

// stocks offers what tags can be printed on; the one used last on this machine is chosen.
func stocks(v *visit) (out []option) {
	chosen := v.field("stock")
	if c, err := v.r.Cookie(stockCookie); err == nil && chosen == "" {
		chosen = c.Value
	}
	for _, s := range labels.Stocks() {
		out = append(out, option{s.Name, s.About, s.Name == chosen})
	}
	return out
}

// tags sends a sheet of tags: each code so many times.
func (s *Server) tags(v *visit) error {
	stock, err := labels.LogisticStock(v.field("stock"))
	logistic := err == nil
	if !logistic {
		stock, err = labels.StockByName(cmp.Or(v.field("stock"), labels.Stocks()[0].Name))
	}
	if err != nil {
		return lots.Errorf(lots.Invalid, "%w", err)
	}
	codes, copies := v.r.Form["code"], v.r.Form["copies"]
	if len(codes) == 0 {
		return lots.Errorf(lots.Invalid, "say what the tags are for: scan it, and print its tag from its page")
	}
	var all []labels.Tag
	address := ""
	err = s.view(v, func(tx *store.Tx) error {
		found, err := tag.Of(tx, codes)
		if err != nil {
			return err
		}
		address = cmp.Or(s.Address, tx.Setting(store.SiteSettings, desk.SettingAddress), s.reachedAt(v.r))
		if logistic {
			if _, err := tag.Logistic(tx, found, address, desk.Senders(tx)); err != nil {
				return err
			}
		}
		for i, t := range found {
			n, err := copiesOf(copies, i)
			if err != nil {
				return err
			}
			all = append(all, tag.Copies([]labels.Tag{t}, n)...)
		}
		return tx.Err()
	})
	if err != nil {
		return err
	}
	if len(all) == 0 || len(all) > mostTags {
		return lots.Errorf(lots.Invalid, "%d tags at once: print 1 to %d", len(all), mostTags)
	}
	data, err := tag.Draw(all, stock, "tags.pdf", address)
	if err != nil {
		return lots.Errorf(lots.Invalid, "%w", err)
	}
	if logistic { // the stock for tags stays the one chosen
		return s.sendFile(v, "application/pdf", "labels.pdf", true, data)
	}
	http.SetCookie(v.w, &http.Cookie{Name: stockCookie, Value: stock.Name, Path: "/", MaxAge: 400 * 24 * 3600, HttpOnly: true, Secure: s.Secure, SameSite: http.SameSiteLaxMode})
	return s.sendFile(v, "application/pdf", "tags.pdf", true, data)
}

// copiesOf is how often the tag of the i-th code is printed; once where nobody says.
func copiesOf(copies []string, i int) (int, error) {
	if i >= len(copies) || copies[i] == "" {
		return 1, nil
	}
	n, err := strconv.Atoi(copies[i])
	if err != nil || n < 0 || n > mostTags {
		return 0, lots.Errorf(lots.Invalid, "%q tags: write a number from 0 to %d", copies[i], mostTags)
	}
	return n, nil
}

// reachedAt is the address by which a browser reached this server.
func (s *Server) reachedAt(r *http.Request) string {
	scheme := "http"
	if s.Secure || r.TLS != nil {
		scheme = "https"
	}
	return scheme + "://" + r.Host
}

// sendFile sends a file that is no page of ours: nothing in it may run, and only what a browser shows safely is shown.
func (s *Server) sendFile(v *visit, mediaType, name string, shown bool, data []byte) error {
	h := v.w.Header()
	h.Set("Content-Type", mediaType)
	h.Set("Content-Disposition", disposition(name, shown))
	h.Set("Content-Security-Policy", policyFor(mediaType))
	h.Set("Content-Length", strconv.Itoa(len(data)))
	_, err := v.w.Write(data)
	return err
}

// tagActs are the kinds of thing that tags are printed for.
var tagActs = []lots.Kind{lots.KindLot, lots.KindVessel, lots.KindRun, lots.KindUnit}

// tagsOn offers tags of a thing that can have one.
func tagsOn(kind lots.Kind, code string) []tagged {
	if !slices.Contains(tagActs, kind) {
		return nil
	}
	return []tagged{{code, 1}}
}

// hasSSCC reports whether a pallet or keg has a number that a logistic label is made of.
func hasSSCC(tx *store.Tx, kind lots.Kind, code string) bool {
	if kind != lots.KindUnit {
		return false
	}
	rows, err := tx.RowsOf(code)
	return err == nil && slices.ContainsFunc(rows, func(r lots.Entered) bool { return r.Row["sscc"] != "" })
}

func logisticSizes() (out []option) {
	for _, s := range labels.LogisticStocks() {
		out = append(out, option{s.Name, s.About, s.Name == "a5"})
	}
	return out
}
