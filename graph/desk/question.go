package desk

import (
	"regexp"
	"strings"
	"time"

	"heeltap/lots"
	"heeltap/lots/store"
)

// clause is the end of one, before what is said next.
var clause = regexp.MustCompile(`[:;.?] `)

// asQuestion words a doubt about a row for somebody who has not recorded it yet: without how to correct it, and without
// its code, which it has not got yet.
func asQuestion(doubt, code string) string {
	text := doubt
	if mending := strings.Index(text, "heeltap "); mending >= 0 {
		ends := clause.FindAllStringIndex(text[:mending], -1)
		if len(ends) > 0 {
			mending = ends[len(ends)-1][0]
		}
		if text = text[:mending]; len(ends) > 0 && doubt[mending] == '?' {
			text += "?"
		}
	}
	text = strings.ReplaceAll(text, code, "this lot")
	text = strings.ReplaceAll(text, "void one of the two", "do not record it again")
	if !strings.HasSuffix(text, "?") && !strings.HasSuffix(text, ".") {
		text += "."
	}
	return strings.ToUpper(text[:1]) + text[1:]
}

// day writes the day of a moment for people.
func day(tx *store.Tx, at lots.When) string {
	return "on " + time.Unix(at.From, 0).In(tx.Site().Zone).Format("2 January 2006")
}
