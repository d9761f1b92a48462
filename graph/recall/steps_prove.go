package recall

import (
	"fmt"
	"strings"

	"heeltap/graph/recall/internal/words"
	"heeltap/lots"
)

// Classed keeps the class proposed by the firm, or the one assigned by an authority.
type Classed struct {
	Class     string `json:"class"` // I, II or III
	Authority string `json:"authority,omitempty"`
	Reason    string `json:"reason,omitempty"`
}

func (s *Classed) text() string {
	if s.Authority != "" {
		return words.Join("Class "+s.Class+" assigned by "+s.Authority, s.Reason)
	}
	return words.Join("Class "+s.Class+" proposed", s.Reason)
}

// Spoke is contact with an authority: told by us, or asking us for records.
type Spoke struct {
	Authority string `json:"authority"`
	Asked     bool   `json:"asked"` // it asked for records: the clock of 21 CFR 1.361 runs
	Text      string `json:"text,omitempty"`
}

func (s *Spoke) text() string {
	if s.Asked {
		return words.Join(s.Authority+" asked for records", s.Text)
	}
	return words.Join(s.Authority+" told", s.Text)
}

// Destroyed is destruction, with how and before whom.
type Destroyed struct {
	Unit     string  `json:"unit"`
	Quantity float64 `json:"quantity"`
	Method   string  `json:"method"`
	Witness  string  `json:"witness"`
	Entry    int64   `json:"entry,omitempty"` // the removal; none in an exercise

	Surplus bool   `json:"-"` // it was more than is here by the books
	Ref     string `json:"-"` // tells two otherwise equal ones apart
}

func (s *Destroyed) text() string {
	if s.Entry == 0 {
		return fmt.Sprintf("Destruction rehearsed: %s of %s, %s, witness %s; nothing was removed", lots.Figure(s.Quantity), s.Unit, s.Method, s.Witness)
	}
	return fmt.Sprintf("Destroyed: %s of %s, %s, witness %s", lots.Figure(s.Quantity), s.Unit, s.Method, s.Witness)
}

// Strategy is how the recall is to be carried out, by the lead's decision.
type Strategy struct {
	Depth        string `json:"depth"`                  // consumer, retail or wholesale: 21 CFR 7.42(b)(1)
	Instructions string `json:"instructions,omitempty"` // what a consignee is to do with the goods
	Contact      string `json:"contact,omitempty"`      // whom to call, with number and address
	Completion   string `json:"completion,omitempty"`   // when it is expected to be done
}

func (s *Strategy) text() string {
	var parts []string
	for _, x := range [][2]string{{"depth", s.Depth}, {"instructions", s.Instructions}, {"contact", s.Contact}, {"completion", s.Completion}} {
		if x[1] != "" {
			parts = append(parts, x[0]+" "+x[1])
		}
	}
	return "Strategy: " + strings.Join(parts, "; ")
}

// Noted is anything else worth keeping.
type Noted struct {
	Text string `json:"text"`
}

func (s *Noted) text() string { return s.Text }

// Drafted says that letters were written out.
type Drafted struct {
	Version int `json:"version"`
	Letters int `json:"letters"`
}

func (s *Drafted) text() string {
	if s.Version == 0 {
		return fmt.Sprintf("Letters drafted for %s, for no frozen version", words.Plural(s.Letters, "party"))
	}
	return fmt.Sprintf("Letters drafted for %s, for version %d", words.Plural(s.Letters, "party"), s.Version)
}

// Reconciled says that the account was struck, and what it came to.
// An account that was struck before cases and kegs were kept apart has the three sums of both alone.
type Reconciled struct {
	Cases *Outcome `json:"cases,omitempty"`
	Kegs  *Outcome `json:"kegs,omitempty"`

	Accounted   float64 `json:"accounted,omitempty"` // percent of what was produced
	Unaccounted float64 `json:"unaccounted,omitempty"`
	Over        float64 `json:"over,omitempty"` // accounted for beyond what was made
}

// Outcome is what an account of cases, or of kegs, came to.
type Outcome struct {
	Made    float64 `json:"made"`
	Missing float64 `json:"missing"`
	Over    float64 `json:"over,omitempty"` // accounted for beyond what was made
	Percent float64 `json:"percent"`        // accounted for
}

// possible reports whether an outcome can be.
func (o *Outcome) possible() bool {
	return o == nil || o.Made >= 0 && o.Missing >= 0 && o.Over >= 0 && o.Percent <= 100
}

func (o *Outcome) text(unit string) string {
	made := lots.Figure(o.Made) + " " + unit
	if o.Made != 1 {
		made += "s"
	}
	t := fmt.Sprintf("%s %% of %s accounted for", lots.PercentFigure(o.Percent), made)
	if o.Missing == 0 {
		t += ", nothing missing"
	} else {
		t += ", " + lots.Figure(o.Missing) + " not"
	}
	if o.Over != 0 {
		t += fmt.Sprintf("; MORE THAN WAS MADE by %s: a shipment, a count or a removal is wrong", lots.Figure(o.Over))
	}
	return t
}

func (s *Reconciled) text() string {
	var parts []string
	for _, x := range []struct {
		o    *Outcome
		unit string
	}{{s.Cases, "case"}, {s.Kegs, "keg"}} {
		if x.o != nil {
			parts = append(parts, x.o.text(x.unit))
		}
	}
	if len(parts) > 0 {
		return "Account struck: " + strings.Join(parts, "; ") + "."
	}
	missing := "nothing missing"
	if s.Unaccounted != 0 {
		missing = fmt.Sprintf("%s of the cases and kegs not", lots.Figure(s.Unaccounted))
	}
	t := fmt.Sprintf("Account struck: %s %% accounted for, %s", lots.PercentFigure(s.Accounted), missing)
	if s.Over != 0 {
		t += fmt.Sprintf("; MORE THAN WAS MADE by %s: a shipment, a count or a removal is wrong", lots.Figure(s.Over))
	}
	return t + "."
}

// Closed ends the brewery's own work.
type Closed struct {
	Review string `json:"review"` // what was learned
	Open   int    `json:"open"`   // lines still open when it was closed
}

func (s *Closed) text() string {
	return fmt.Sprintf("Closed with %s. Review: %s", words.Plural(s.Open, "open line"), s.Review)
}

// Reopened begins again.
type Reopened struct {
	Reason string `json:"reason"`
}

func (s *Reopened) text() string { return "Opened again: " + s.Reason }

// Terminated is the authority's word that it is over.
type Terminated struct {
	Authority string `json:"authority"`
	Text      string `json:"text,omitempty"`
}

func (s *Terminated) text() string { return words.Join("Terminated by "+s.Authority, s.Text) }
