package desk

import (
	"cmp"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"unicode"

	"heeltap/graph/trace"
	"heeltap/labels"
	"heeltap/lots"
	"heeltap/lots/datecode"
	"heeltap/lots/store"
)

// CodeOf finds the one thing of a kind that somebody means: by its code, however it is spaced, or by its
// name. Where that is not what was typed it is noted ([store.Tx.NoteReading]). An empty text means nothing.
func CodeOf(tx *store.Tx, text string, kind lots.Kind) (string, error) {
	text = strings.TrimSpace(text)
	if thing, known := tx.Thing(text); text == "" || known && thing.Kind == kind {
		return text, nil
	}
	code, err := codeMeant(tx, lots.Column{Name: string(kind), Kinds: []lots.Kind{kind}}, text)
	if err == nil && code == "" {
		err = noSuch(tx, kind, text, nil)
	}
	if err != nil {
		return "", err
	}
	tx.NoteReading(text, called(tx, code))
	return code, nil
}

// codeMeant is the one code of a column's kinds that a text can only mean: what a tag holds, a code
// however it is spaced, a keg's number, an SSCC, a date code, or a name; empty where there is none.
// What can mean several things is refused with all of them, and a name that is misspelt with those near it.
// Where the records could not be read, that is the error, and never that a text means nothing.
func codeMeant(tx *store.Tx, c lots.Column, text string) (string, error) {
	thing, known := tx.Thing(text)
	if known && slices.Contains(c.Kinds, thing.Kind) || text == "" {
		return "", tx.Err()
	}
	if code := labels.ParsePayload(text); code != text {
		return code, tx.Err()
	}
	if code, err := readAsCode(tx, c, text); code != "" || err != nil {
		return code, cmp.Or(tx.Err(), err)
	}
	all := thingsNamed(tx, c.Kinds)
	code, err := readAsName(c, text, all)
	if code == "" && err == nil && !known { // of a thing of another kind, whoever reads the row says what is wrong
		err = misspelt(tx, c, text, all)
	}
	return code, cmp.Or(tx.Err(), err)
}

// readAsCode is the code that a text is, however it is written; empty where there is none.
func readAsCode(tx *store.Tx, c lots.Column, text string) (string, error) {
	code, err := trace.CodeOf(tx, text, c.Kinds...)
	if kind := lots.KindOf(err); err == nil || kind != lots.NotFound && kind != lots.Invalid {
		return code, err
	}
	return onlyOne(text, numberedAlike(tx, c.Kinds, text))
}

// readAsName is the code of the thing that a text names, in the closest way that names any; empty where none does.
func readAsName(c lots.Column, text string, all []name) (string, error) {
	for _, is := range []func(name) bool{
		func(n name) bool { return datecode.Parted(n.name) == datecode.Parted(text) },
		func(n name) bool { return slices.Equal(wordsOf(n.name), wordsOf(text)) },
		func(n name) bool { return slices.Equal(wordsOf(withoutMore(n.name)), wordsOf(text)) },
	} {
		found := fitting(c.Name, slices.DeleteFunc(slices.Clone(all), func(n name) bool { return !is(n) }))
		if len(found) == 1 {
			return found[0].code, nil
		}
		if _, err := onlyOne(text, listed(found)); err != nil {
			return "", err
		}
	}
	return "", nil
}

// onlyOne is the one thing that a text means; empty where there is none, and refused where there are several.
func onlyOne(text string, found []string) (string, error) {
	switch len(found) {
	case 0:
		return "", nil
	case 1:
		return found[0], nil
	}
	return "", lots.Errorf(lots.Conflict, "%q can mean %s: give the code", text, strings.Join(found, " or "))
}

// misspelt refuses a text that is nearly a name or part of one: part of a name may be another thing's that is
// not recorded yet. Where nothing is near, whoever reads the row says so.
func misspelt(tx *store.Tx, c lots.Column, text string, all []name) error {
	if len(all) == 0 {
		return nil
	}
	near := nearNames(c, text, all)
	if len(near) == 0 && len(tx.Nearest(text, c.Kinds...)) == 0 {
		return nil
	}
	return noSuch(tx, c.Kinds[0], text, near)
}

// nearNames are the things whose names a text is part of, or looks like.
func nearNames(c lots.Column, text string, all []name) []name {
	near := slices.DeleteFunc(slices.Clone(all), func(n name) bool { return !partOf(wordsOf(text), wordsOf(n.name)) })
	for _, n := range nearest(text, all) {
		if !slices.Contains(near, n) {
			near = append(near, n)
		}
	}
	return fitting(c.Name, near)
}

// codedOnce are the kinds of thing of which there are few, that are known for years.
var codedOnce = []lots.Kind{lots.KindItem, lots.KindParty, lots.KindVessel, lots.KindLine, lots.KindProduct}

// numberedAlike lists the codes of such kinds that a text is, but for marks, case and the noughts before each number.
func numberedAlike(tx *store.Tx, kinds []lots.Kind, text string) (codes []string) {
	for _, kind := range kinds {
		if !slices.Contains(codedOnce, kind) {
			continue
		}
		for _, code := range tx.CodesOf(kind) {
			if noughts.ReplaceAllString(datecode.Parted(code), "$1$2") == noughts.ReplaceAllString(datecode.Parted(text), "$1$2") {
				codes = append(codes, code)
			}
		}
	}
	return codes
}

// noughts are those before a number.
var noughts = regexp.MustCompile(`(^|[^0-9])0+([0-9])`)

// noSuch says that there is no such thing, and what comes near.
func noSuch(tx *store.Tx, kind lots.Kind, text string, near []name) error {
	said := listed(near)
	for _, code := range tx.Nearest(text, kind) {
		if s := called(tx, code); !slices.Contains(said, s) {
			said = append(said, s)
		}
	}
	if len(said) == 0 {
		return lots.Errorf(lots.NotFound, "there is no %s %q, nor anything like it: give its code or its name", kind, text)
	}
	return lots.Errorf(lots.NotFound, "there is no %s %q; did you mean %s?", kind, text, strings.Join(said[:min(len(said), mostNear)], ", "))
}

const mostNear = 5

// name is a thing's code and the name that people know it by.
type name struct{ code, name, role string }

// sheetOf are the sheets of things that have names.
var sheetOf = map[lots.Kind]string{lots.KindItem: "items", lots.KindParty: "parties", lots.KindProduct: "products"}

// thingsNamed lists the things of some kinds that have names.
func thingsNamed(tx *store.Tx, kinds []lots.Kind) (out []name) {
	for _, kind := range kinds {
		if sheetOf[kind] == "" {
			continue
		}
		rows, err := tx.All(sheetOf[kind])
		if err != nil {
			return nil // the transaction keeps its error
		}
		for _, r := range rows {
			out = append(out, name{r.Row[r.Sheet.Code], r.Row["name"], r.Row["role"]})
		}
	}
	return out
}

// fitting leaves out the parties that a column is not about, where others are meant too.
func fitting(column string, found []name) []name {
	wrong := map[string]string{"supplier": "consignee", "consignee": "supplier"}[column]
	fit := slices.DeleteFunc(slices.Clone(found), func(n name) bool { return wrong != "" && n.role == wrong })
	if len(fit) == 0 {
		return found
	}
	return fit
}

// nearest lists the things whose names, or a word of them, look like a text.
func nearest(text string, all []name) (out []name) {
	of := map[string][]name{}
	var names []string
	for _, n := range all {
		for _, part := range append([]string{strings.ToLower(n.name)}, wordsOf(n.name)...) {
			if len(part) > leastWord || part == strings.ToLower(n.name) {
				names = append(names, part)
				of[part] = append(of[part], n)
			}
		}
	}
	slices.Sort(names)
	for _, near := range lots.NearestOf(text, slices.Compact(names)) {
		for _, n := range of[near] {
			if !slices.Contains(out, n) {
				out = append(out, n)
			}
		}
	}
	return out
}

func listed(found []name) []string {
	out := make([]string, len(found))
	for i, n := range found {
		out[i] = fmt.Sprintf("%s (%s)", n.name, n.code)
	}
	return out
}

// wordsOf are the words of a name, without case and marks; "and" and "&" are none.
func wordsOf(text string) []string {
	words := strings.FieldsFunc(strings.ToLower(text), func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) })
	return slices.DeleteFunc(words, func(w string) bool { return w == "and" })
}

// withoutMore is a name without what only tells it from others of its sort, after a comma or in brackets: "pale malt, bulk".
func withoutMore(name string) string {
	if i := strings.IndexAny(name, ",("); i > 0 {
		return name[:i]
	}
	return name
}

// leastWord is how many letters of a word say which is meant.
const leastWord = 3

// partOf reports whether words are all of a name, the last of them perhaps begun only.
func partOf(words, name []string) bool {
	for i, w := range words {
		begun := i == len(words)-1 && len(w) >= leastWord
		if !slices.ContainsFunc(name, func(n string) bool { return n == w || begun && strings.HasPrefix(n, w) }) {
			return false
		}
	}
	return len(words) > 0
}

// called is a code with the name people know it by.
func called(tx *store.Tx, code string) string {
	if name := nameOf(tx, code); name != code {
		return name + " (" + code + ")"
	}
	return code
}

// nameOf is what people call a thing; its code where it has no name.
func nameOf(tx *store.Tx, code string) string {
	entry, _, ok := tx.Introduces(code)
	if !ok {
		return code
	}
	row, _ := tx.Row(entry)
	return cmp.Or(row.Row["name"], code)
}
