package web

import (
	"archive/zip"
	"bytes"
	"errors"
	"mime"
	"path"
	"slices"
	"strings"

	"heeltap/cmd/internal/people"
	"heeltap/graph/recall"
	"heeltap/graph/recall/account"
	"heeltap/graph/recall/house"
	"heeltap/graph/recall/mailing"
	"heeltap/graph/recall/papers"
	"heeltap/labels/paper"
	"heeltap/lots"
	"heeltap/lots/store"
)

// accountView is the page of the account.
type accountView struct {
	recallTop
	Sums    []sumOf
	Account recall.AccountAnswer
	Missing []account.UnitAccount
	Turn    turn
	// The rows of the tables on this page, and where it is in them.
	Groups     []account.GroupAccount
	GroupsTurn turn
	Back       []account.Recovery
	BackTurn   turn
	Struck     string
}

type sumOf struct {
	Of string
	account.Sum
}

// MissingText counts what is missing.
func (s sumOf) MissingText() string { return house.Amount(s.Missing, strings.TrimSuffix(s.Of, "s")) }

func (s *Server) accountPage(v *visit) error {
	return s.showRecall(v, "account", func(tx *store.Tx, b *board, top recallTop) (any, error) {
		page := accountView{recallTop: top, Account: b.Account}
		for _, x := range []sumOf{{"cases", b.Account.Cases}, {"kegs", b.Account.Kegs}} {
			if x.Produced > 0 {
				page.Sums = append(page.Sums, x)
			}
		}
		missing := b.Account.Missing()
		page.Turn = turnTo(v, len(missing))
		page.Missing = missing[page.Turn.start:page.Turn.end]
		page.GroupsTurn = turnOf(v, "groups", "groups", len(b.Account.Groups), perTable)
		page.Groups = b.Account.Groups[page.GroupsTurn.start:page.GroupsTurn.end]
		page.BackTurn = turnOf(v, "recovery", "recovery", len(b.Account.Consignees), perTable)
		page.Back = b.Account.Consignees[page.BackTurn.start:page.BackTurn.end]
		for _, l := range b.Recall.Log {
			if l.Name == "reconciled" {
				page.Struck = minuteOf(tx, l.At) + " by " + l.By
			}
		}
		return page, nil
	})
}

// papersView lists the papers, versions and signatures.
type papersView struct {
	recallTop
	Papers     []paperLine
	NoPress    string
	Unknown    []string
	Versions   []versionLine
	Signatures []told
	Report     string
	Drafted    string
	Drift      int
	Review     string
	Terminated string
	Withheld   bool // papers that bear personal details are, from whoever looks
}

type paperLine struct{ Name, Text string }

type versionLine struct {
	Version          int
	When, By, Reason string
	Items, Changes   int
}

func (s *Server) papersPage(v *visit) error {
	return s.showRecall(v, "papers", func(tx *store.Tx, b *board, top recallTop) (any, error) {
		r := b.Recall
		m, err := papers.New(tx, r, false)
		if err != nil {
			return nil, err
		}
		page := papersView{recallTop: top, NoPress: onPage(m.NoPress()), Unknown: m.Unknown(), Drift: b.Drift, Review: r.Review, Terminated: r.Ended,
			Papers: []paperLine{{"report", "Report: picture, timeline, scope, account, checks, gaps, signatures"}, {"status", "Status report, with the six items of 21 CFR 7.53(b)"}, {"holds", "List to walk the house by"}}}
		if page.NoPress == "" {
			page.Papers = append(page.Papers, paperLine{"press", "Press text"})
		}
		page.Withheld = !v.may(people.Contacts)
		for i := range page.Unknown {
			page.Unknown[i] = onPage(page.Unknown[i])
		}
		for _, x := range r.Versions {
			page.Versions = append(page.Versions, versionLine{x.Version, minuteOf(tx, x.At), x.By, x.Reason, len(x.Items), len(x.Changes)})
		}
		for _, x := range r.Signatures {
			page.Signatures = append(page.Signatures, told{minuteOf(tx, x.At), x.By, recallWords(x)})
		}
		for _, l := range r.Log {
			if l.Name == "letters" {
				page.Drafted = sentence(l.Text()) + " " + minuteOf(tx, l.At) + ", " + l.By
			}
		}
		return page, nil
	})
}

func recallWords(x recall.Signature) string {
	return (recall.Logged{Step: &x.Signed}).Text()
}

// ownStyle lets a paper bring its own style along, and nothing else: it is one page that needs nothing.
const ownStyle = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

// recallPaper sends a paper of a recall: by its ending as PDF, as a page or as text; and all letters together.
func (s *Server) recallPaper(v *visit) error {
	name := v.r.PathValue("name")
	ending := path.Ext(name)
	base := strings.TrimSuffix(name, ending)
	may := v.may(people.Contacts)
	if !may && !slices.Contains(ofAll, base) {
		return s.notAllowed(v, people.Contacts)
	}
	var data []byte
	err := s.view(v, func(tx *store.Tx) error {
		now, err := recall.Load(tx, strings.ToUpper(v.r.PathValue("code")))
		if err != nil {
			return err
		}
		if name == "letters.zip" {
			data, err = lettersOf(tx, now)
			return err
		}
		d, err := paperOf(tx, now, base, !may)
		if err != nil {
			return err
		}
		if d == nil || !slices.Contains([]string{".pdf", ".html", ".txt"}, ending) {
			return lots.Errorf(lots.NotFound, "%s has no paper %s", now.Code, name)
		}
		data, err = d.File(name)
		return err
	})
	if err != nil {
		return err
	}
	h := v.w.Header()
	h.Set("Content-Type", map[string]string{".pdf": "application/pdf", ".html": "text/html; charset=utf-8", ".txt": "text/plain; charset=utf-8", ".zip": "application/zip"}[ending])
	if ending == ".html" {
		h.Set("Content-Security-Policy", ownStyle)
	} else {
		h.Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": strings.ToUpper(v.r.PathValue("code")) + " " + name}))
	}
	_, err = v.w.Write(data)
	return err
}

// ofAll are the papers that everybody may read: those who may not see personal details, without them. Letters are no
// letters without them.
var ofAll = []string{"report", "status", "holds", "press"}

// paperOf makes a paper by its name, or a copy without personal details; nil where there is none of that name.
func paperOf(tx *store.Tx, now *recall.Recall, name string, bare bool) (*paper.Document, error) {
	if kind, party, ok := strings.Cut(name, " "); ok {
		return letterTo(tx, now, kind, party)
	}
	m, err := papers.New(tx, now, false)
	if err != nil {
		return nil, err
	}
	if bare && name != "holds" { // which bears none
		m = m.WithoutContacts()
	}
	switch name {
	case "report":
		return m.Report()
	case "status":
		return m.Status()
	case "holds":
		return m.HoldList()
	case "press":
		if m.NoPress() != "" {
			return nil, nil
		}
		return m.Press()
	}
	return nil, nil
}

// lettersOf puts all letters and tables into one archive.
func lettersOf(tx *store.Tx, now *recall.Recall) ([]byte, error) {
	made, err := mailing.Draft(tx, now, false)
	if err != nil {
		return nil, err
	}
	var out bytes.Buffer
	archive := zip.NewWriter(&out)
	put := func(name string, data []byte) error {
		w, err := archive.Create(name)
		if err != nil {
			return err
		}
		_, err = w.Write(data)
		return err
	}
	err = made.Each(put, func() {})
	return out.Bytes(), errors.Join(err, archive.Close())
}
