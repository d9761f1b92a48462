package papers

import (
	"fmt"
	"strings"

	"heeltap/graph/inquiry"
	"heeltap/labels/paper"
)

// complaints lists what was noted of people who called about codes in scope.
func (m *Maker) complaints() ([]inquiry.Concern, error) {
	runs := map[string]bool{}
	for _, r := range m.s.Answer.Runs {
		runs[r.Code] = true
	}
	return inquiry.About(m.tx, runs)
}

// complaintsText counts them: what may be about another code is counted apart, and so is a mere question.
func complaintsText(list []inquiry.Concern) string {
	count := map[bool]map[bool]int{true: {}, false: {}} // sure, complaint
	for _, c := range list {
		count[c.Sure][c.Complaint()]++
	}
	said := func(sure bool, more string) string {
		var parts []string
		for _, x := range []struct {
			n    int
			what string
		}{{count[sure][true], "complaint"}, {count[sure][false], "question"}} {
			if x.n > 0 {
				parts = append(parts, countOf(x.n, more+x.what, more+x.what+"s"))
			}
		}
		return strings.Join(parts, " and ")
	}
	sure, more := said(true, ""), ""
	if sure != "" {
		more = "more "
	}
	may := said(false, more)
	switch {
	case may == "":
		return or(sure, "none noted")
	case sure != "":
		sure += "; "
	}
	return sure + may + " may be about them: what was read also fits other codes"
}

// complaintParts lists the calls about codes in scope; who called stays in the inquiry itself.
func (m *Maker) complaintParts() ([]paper.Part, error) {
	list, err := m.complaints()
	if err != nil {
		return nil, err
	}
	parts := []paper.Part{paper.Heading{Level: 1, Text: "Complaints and questions about codes in scope"}, paper.Text{Text: fmt.Sprintf("By the inquiries noted: %s.", complaintsText(list))}}
	t := paper.Table{Head: []string{"noted", "as read", "where", "what is the matter", "about a code in scope", "by", "#entry"}}
	for _, c := range list {
		sure := "may be"
		if c.Sure {
			sure = "yes"
		}
		t.Rows = append(t.Rows, []string{m.time(c.At.Unix()), c.Question.Read, m.personal(c.Question.Place), m.personal(c.Question.Note), sure, c.By, whole(c.Entry)})
	}
	if len(t.Rows) > 0 {
		parts = append(parts, t)
	}
	return parts, nil
}
