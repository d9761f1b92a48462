package deliveries

import (
	"encoding/csv"
	"errors"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"heeltap/lots"
)

// AnswerLine is a consignee's account of one product, or of all it received.
type AnswerLine struct {
	Product   string  `json:"product,omitempty"`
	DateCode  string  `json:"date_code,omitempty"`
	Kegs      bool    `json:"kegs,omitempty"` // quantities are kegs, else cases
	Unit      string  `json:"unit,omitempty"` // of goods in bulk: L, kg or each; else empty
	OnHand    float64 `json:"on_hand"`        // when the notice came
	Sold      float64 `json:"sold"`           // or served: cannot be recovered
	Returned  float64 `json:"returned"`       // on its way back
	Destroyed float64 `json:"destroyed"`      // there
	PassedOn  float64 `json:"passed_on"`      // to its own customers
}

// Possible refuses quantities that cannot be.
func (l AnswerLine) Possible() error {
	for _, q := range []float64{l.OnHand, l.Sold, l.PassedOn, l.Returned, l.Destroyed} {
		if l.Unit == "" && !QuantityOK(q) {
			return lots.Errorf(lots.Invalid, "%s is not a quantity of cases or kegs: give a whole number", lots.Figure(q))
		}
		if !(q >= 0 && q <= mostQuantity) {
			return lots.Errorf(lots.Invalid, "%s %s is not a quantity: give a number that is not below zero", lots.Figure(q), l.Unit)
		}
	}
	if l.Returned+l.Destroyed > l.OnHand {
		return lots.Errorf(lots.Invalid, "%s sent back and %s destroyed are more than the %s that were on hand: on hand is what it had when the notice came", lots.Figure(l.Returned), lots.Figure(l.Destroyed), lots.Figure(l.OnHand))
	}
	return nil
}

// Of reports whether a line counts cases, or kegs; what came in bulk is neither.
func (l AnswerLine) Of(kegs bool) bool { return l.Unit == "" && l.Kegs == kegs }

// SubAccount is somebody whom a consignee supplied.
type SubAccount struct {
	Name     string  `json:"name"`
	Contact  string  `json:"contact,omitempty"`
	Phone    string  `json:"phone,omitempty"`
	Email    string  `json:"email,omitempty"`
	Address  string  `json:"address,omitempty"`
	Product  string  `json:"product,omitempty"`
	DateCode string  `json:"date_code,omitempty"`
	Quantity float64 `json:"quantity"`
	Unit     string  `json:"unit,omitempty"` // case or keg
	// Told is the event of the consignee's own EPCIS document that says so, and ToldAt when it says it shipped; empty of a
	// list that somebody took down.
	Told   string `json:"told,omitempty"`
	ToldAt string `json:"told_at,omitempty"`
}

// WithoutPersonal is what was supplied, without to whom: a name on somebody's list may be a person's.
func (a SubAccount) WithoutPersonal() SubAccount {
	a.Name, a.Contact, a.Phone, a.Email, a.Address = "", "", "", "", ""
	return a
}

// OfKegs reports whether its quantity is of kegs; a list that does not say so means cases.
func (a SubAccount) OfKegs() bool { return a.Unit == "keg" }

// Possible refuses an account without a name, or in what nobody counts.
func (a SubAccount) Possible() error {
	switch {
	case strings.TrimSpace(a.Name) == "":
		return lots.Errorf(lots.Invalid, "an account on the list has no name")
	case a.Unit != "" && a.Unit != "case" && a.Unit != "keg":
		return lots.Errorf(lots.Invalid, "%s: %q is not case or keg", a.Name, a.Unit)
	case !QuantityOK(a.Quantity):
		return lots.Errorf(lots.Invalid, "%s: %s is not a quantity of cases or kegs: give a whole number", a.Name, lots.Figure(a.Quantity))
	}
	return nil
}

// accountColumns are what a consignee's list of its own customers may have; name must be there.
var accountColumns = []string{"name", "contact", "phone", "email", "address", "product", "date_code", "quantity", "unit"}

// mostListBytes is more than any list of customers takes.
const mostListBytes = 16 << 20

// ReadAccounts reads a consignee's list of whom it supplied: a CSV file with a heading, of
// columns name, contact, phone, email, address, product, date_code, quantity, unit (case or
// keg), in any order; only name is needed. All faults come at once, with their lines.
func ReadAccounts(in io.Reader) ([]SubAccount, error) {
	rows := csv.NewReader(io.LimitReader(in, mostListBytes))
	rows.FieldsPerRecord = -1
	rows.TrimLeadingSpace = true
	head, err := rows.Read()
	if errors.Is(err, io.EOF) {
		return nil, lots.Errorf(lots.Invalid, "the list is empty: its first line names the columns %s", strings.Join(accountColumns, ", "))
	}
	if err != nil {
		return nil, lots.Errorf(lots.Invalid, "the list cannot be read: %w", err)
	}
	var faults lots.Faults
	at := map[string]int{}
	for i, h := range head {
		h = strings.ToLower(strings.TrimSpace(strings.TrimPrefix(h, "\ufeff")))
		if !slices.Contains(accountColumns, h) {
			faults = append(faults, lots.Fault{Line: 1, Column: h, Reason: "is no column of such a list: it has " + strings.Join(accountColumns, ", ")})
		}
		at[h] = i
	}
	if _, ok := at["name"]; !ok {
		faults = append(faults, lots.Fault{Line: 1, Column: "name", Reason: "is missing"})
	}
	var out []SubAccount
	for len(faults) == 0 {
		row, err := rows.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, lots.Errorf(lots.Invalid, "the list cannot be read: %w", err)
		}
		line, _ := rows.FieldPos(0)
		a, fault := readAccount(row, at)
		if fault != nil {
			fault.Line = line
			faults = append(faults, *fault)
			out = nil
			continue
		}
		out = append(out, a)
	}
	if len(faults) > 0 {
		return nil, faults
	}
	if len(out) == 0 {
		return nil, lots.Errorf(lots.Invalid, "the list names nobody")
	}
	return out, nil
}

func readAccount(row []string, at map[string]int) (SubAccount, *lots.Fault) {
	cell := func(name string) string {
		if i, ok := at[name]; ok && i < len(row) {
			return strings.TrimSpace(row[i])
		}
		return ""
	}
	a := SubAccount{Name: cell("name"), Contact: cell("contact"), Phone: cell("phone"), Email: cell("email"), Address: cell("address"),
		Product: cell("product"), DateCode: cell("date_code"), Unit: cell("unit")}
	if a.Name == "" {
		return a, &lots.Fault{Column: "name", Reason: "is missing"}
	}
	if a.Unit != "" && a.Unit != "case" && a.Unit != "keg" {
		return a, &lots.Fault{Column: "unit", Reason: strconv.Quote(a.Unit) + " is not case or keg"}
	}
	if q := cell("quantity"); q != "" {
		n, err := strconv.ParseFloat(q, 64)
		if err != nil || !QuantityOK(n) {
			return a, &lots.Fault{Column: "quantity", Reason: strconv.Quote(q) + " is not a quantity of cases or kegs: give a whole number"}
		}
		a.Quantity = n
	}
	return a, nil
}

// mostQuantity is more cases or kegs than any party has.
const mostQuantity = 1e9

// QuantityOK reports whether a number can be a quantity of cases or kegs, which are counted whole.
func QuantityOK(q float64) bool {
	return q >= 0 && q <= mostQuantity && q == math.Trunc(q) // no comparison holds of what is no number
}
