package recall

import (
	"fmt"
	"strings"
	"time"

	"heeltap/graph/recall/deliveries"
	"heeltap/graph/recall/internal/words"
	"heeltap/lots"
)

// Told is an attempt to reach a consignee or supplier.
type Told struct {
	Party   string `json:"party"`
	How     string `json:"how"`
	Who     string `json:"who,omitempty"` // whom they spoke to
	Reached bool   `json:"reached"`
	Text    string `json:"text,omitempty"`
}

func (s *Told) text() string {
	t := fmt.Sprintf("%s notified by %s", s.Party, s.How)
	if !s.Reached {
		t = fmt.Sprintf("%s tried by %s, not reached", s.Party, s.How)
	}
	return words.Join(t, s.Who, s.Text)
}

// Answered is what a consignee says became of what it received. Cases and kegs are kept apart.
type Answered struct {
	Party string                  `json:"party"`
	Who   string                  `json:"who,omitempty"`
	Lines []deliveries.AnswerLine `json:"lines"`
	Text  string                  `json:"text,omitempty"`

	odd []string // what the answer says and the records do not
}

func (s *Answered) text() string {
	var parts []string
	for _, l := range s.Lines {
		if len(s.Lines) > 1 && l.OnHand+l.Sold+l.PassedOn == 0 {
			continue
		}
		of := "cases"
		if l.Kegs {
			of = "kegs"
		}
		if l.Unit != "" {
			of = "in bulk, " + l.Unit
		}
		what := strings.TrimSpace(l.Product + " " + l.DateCode)
		parts = append(parts, strings.TrimSpace(fmt.Sprintf("%s %s: %s on hand, %s sold, %s returned, %s destroyed, %s passed on", what, of,
			lots.Figure(l.OnHand), lots.Figure(l.Sold), lots.Figure(l.Returned), lots.Figure(l.Destroyed), lots.Figure(l.PassedOn))))
	}
	if len(parts) == 0 {
		parts = []string{"nothing on hand, nothing sold or passed on"}
	}
	if s.Text != "" {
		parts = append(parts, s.Text)
	}
	return words.Join(s.Party+" answered", s.Who, strings.Join(parts, "; "))
}

// PassedOn is a consignee's list of whom it supplied.
type PassedOn struct {
	Party    string                  `json:"party"`
	Accounts []deliveries.SubAccount `json:"accounts"`
	Replace  bool                    `json:"replace,omitempty"` // in place of what it gave before
}

func (s *PassedOn) text() string {
	t := fmt.Sprintf("%s gave its list: %s", s.Party, words.Plural(len(s.Accounts), "account"))
	if s.Replace {
		t += ", in place of the list before"
	}
	return t
}

// Sampled chooses whom to check.
type Sampled struct {
	Level   string   `json:"level"`
	Percent float64  `json:"percent"`
	Seed    string   `json:"seed"`
	Of      int      `json:"of"` // consignees
	Parties []string `json:"parties"`

	At time.Time `json:"-"` // when it was drawn, and by whom
	By string    `json:"-"`
}

func (s *Sampled) text() string {
	return fmt.Sprintf("Effectiveness checks at level %s (%s %%): %d of %s, drawn with seed %s.", s.Level, lots.PercentFigure(s.Percent), len(s.Parties), words.Plural(s.Of, "consignee"), s.Seed)
}

// Checked is what an effectiveness check found.
type Checked struct {
	Party      string  `json:"party"`
	How        string  `json:"how"`
	Notified   bool    `json:"notified"` // had the notice
	Followed   bool    `json:"followed"` // did what it says
	OnSale     float64 `json:"on_sale"`  // cases still offered; before kegs were kept apart, of both
	KegsOnSale float64 `json:"kegs_on_sale,omitempty"`
	Text       string  `json:"text,omitempty"`
}

// StillOnSale is what the check found still offered.
func (s *Checked) StillOnSale() lots.Packages {
	return lots.Packages{Cases: s.OnSale, Kegs: s.KegsOnSale}
}

func (s *Checked) text() string {
	t := fmt.Sprintf("%s checked by %s: ", s.Party, s.How)
	if !s.Notified {
		t += "had no notice, "
	}
	if s.Followed {
		t += "followed it"
	} else {
		t += "did not follow it"
	}
	if left := s.StillOnSale(); !left.None() {
		t += fmt.Sprintf(", %s still on sale", left)
	}
	return words.Join(t, s.Text)
}
