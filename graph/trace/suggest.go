package trace

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/datecode"
	"heeltap/lots/store"
)

const (
	mostSuggested = 6
	costSuggested = 1.3 // of a reading of a date code: what costs more is too far off
	leastTail     = 4   // digits at the end of an SSCC, or more, say which it may be
)

// unknown says that nothing has the code, and what comes near.
func (r *resolver) unknown(code, kind string) error {
	near := r.suggest(code, kind)
	what := "nothing recorded is called"
	if kind != "" {
		what = "there is no " + strings.ReplaceAll(kind, "-", " ")
	}
	if gone, ok := r.tx.TakenBack(code); ok {
		what = fmt.Sprintf("entry %d voided %s (%s); %s", gone.Seq, code, gone.Reason(), what)
	}
	wrong := misdialled(code)
	for _, said := range datecode.Around(code) {
		wrong = cmp.Or(wrong, misdialled(said.Text))
	}
	if wrong != "" {
		wrong = " " + wrong + "."
	}
	if len(near) == 0 {
		return lots.Errorf(lots.NotFound, "%s %q, nor anything like it.%s That does not mean it is not affected: check how it was read and written down", what, code, wrong)
	}
	return lots.Errorf(lots.NotFound, "%s %q.%s That does not mean it is not affected; the nearest are: %s", what, code, wrong, strings.Join(near, ", "))
}

// suggest lists what an unknown text may have been meant for, the nearest first.
func (r *resolver) suggest(code, kind string) []string {
	base, _, timed := cutLast(code, "@")
	texts := []string{code}
	if timed {
		texts = append(texts, base)
	}
	for _, said := range datecode.Around(texts[len(texts)-1]) {
		if !slices.Contains(texts, said.Text) {
			texts = append(texts, said.Text)
		}
	}
	var out []string
	named := map[string]bool{} // with a time of day
	add := func(found ...string) {
		for _, x := range found {
			if !slices.Contains(out, x) && !named[x] {
				out = append(out, x)
			}
		}
	}
	for _, text := range texts {
		add(r.ending(text, kind)...)
	}
	for _, x := range r.worn(texts, kind) {
		add(x)
		if code, _, ok := cutLast(x, "@"); ok {
			named[code] = true
		}
	}
	for _, text := range texts {
		add(r.near(text, kind)...)
	}
	return out[:min(len(out), mostSuggested)]
}

func (r *resolver) near(code, kind string) []string {
	switch kind {
	case "":
		return lots.NearestOf(code, append(r.tx.PrintedTexts(), r.tx.Nearest(code)...))
	case kindSupplierLot, kindDateCode, kindSSCC, kindDocument, kindKeg:
		return lots.NearestOf(code, r.tx.PrintedTexts(kind))
	case kindFill:
		return r.tx.Nearest(code, lots.KindVessel)
	case kindClean:
		return r.cleansNear(code)
	}
	return r.tx.Nearest(code, lots.Kind(kind))
}

// worn lists the date codes that a text may be a poor reading of, with the time of day read with it.
func (r *resolver) worn(texts []string, kind string) []string {
	if kind != "" && kind != kindDateCode {
		return nil
	}
	type near struct {
		text string
		cost float64
	}
	var found []near
	for _, code := range r.tx.PrintedTexts(kindDateCode) {
		best := near{cost: costSuggested}
		for _, text := range texts {
			m, ok := r.fit(text, code)
			if !ok || m.Cost >= best.cost {
				continue
			}
			best = near{code, m.Cost}
			if m.Clock.Whole() {
				best.text += "@" + m.Time
			}
		}
		if best.text != "" {
			found = append(found, best)
		}
	}
	slices.SortFunc(found, func(a, b near) int { return cmp.Or(cmp.Compare(a.cost, b.cost), cmp.Compare(a.text, b.text)) })
	var out []string
	for _, x := range found[:min(len(found), mostSuggested/2)] {
		out = append(out, x.text)
	}
	return out
}

// ending lists the kegs and SSCCs whose last digits a text gives.
func (r *resolver) ending(text, kind string) []string {
	var out []string
	for _, printed := range []string{kindKeg, kindSSCC} {
		if kind != "" && kind != printed {
			continue
		}
		for _, known := range r.tx.PrintedTexts(printed) {
			if len(out) < mostSuggested/2 && EndsIn(printed, known, text) {
				out = append(out, known)
			}
		}
	}
	return out
}

// EndsIn reports whether a text gives the last digits of a keg's number, all but its letters and the noughts
// before it, or of an SSCC, four of them or more.
func EndsIn(kind, number, text string) bool {
	digits := datecode.Plain(text)
	if digits == "" || strings.ContainsFunc(digits, func(r rune) bool { return r < '0' || r > '9' }) {
		return false
	}
	plain := datecode.Plain(number)
	switch kind {
	case store.PrintedSSCC:
		return len(digits) >= leastTail && len(digits) < len(plain) && strings.HasSuffix(plain, digits)
	case store.PrintedKeg:
		bare := strings.TrimLeft(strings.TrimLeftFunc(plain, func(r rune) bool { return r < '0' || r > '9' }), "0")
		return bare != "" && bare == strings.TrimLeft(digits, "0")
	}
	return false
}

// Stands says why a text that was put down before, as it is recorded, cannot be asked about any more; nil
// where it can. Unlike [Understood] it reads nothing into it.
func Stands(tx *store.Tx, text string) error {
	_, err := (&resolver{tx: tx, dir: graph.Forward, site: tx.Site(), literal: true}).resolve(text)
	return err
}

// CodeOf finds the code of the one thing of the kinds given, or of any, that a text means: its code however
// it is spaced (but for digits that only a mark parts: FV11 is never FV-1-1), a keg's number, an SSCC, a supplier's lot, or a date code for the run that printed it. The
// caller tells of it where that is not what was typed. The error is NotFound where there is none, and Conflict, with all of them, where there are several.
func CodeOf(tx *store.Tx, text string, kinds ...lots.Kind) (string, error) {
	r := &resolver{tx: tx, dir: graph.Forward, site: tx.Site(), parted: true}
	text = strings.TrimSpace(text)
	readings, _, err := r.meanings(text)
	if err != nil {
		return "", err
	}
	var names []string
	for _, m := range readings {
		for _, name := range r.thingsOf(m, kinds) {
			if !slices.Contains(names, name) {
				names = append(names, name)
			}
		}
	}
	switch len(names) {
	case 0:
		return "", lots.Errorf(lots.NotFound, "%s is a %s: give the code of a %s", text, strings.ReplaceAll(readings[0].kind, "-", " "), oneOf(kinds))
	case 1:
		_, code, _ := strings.Cut(names[0], ":")
		return code, nil
	}
	return "", ambiguous(text, names)
}

// Recorded gives the recorded code of some kinds that a text means, and notes what it was read as; the text
// itself where it is recorded, or means nothing. The error is Conflict where it can mean several.
func Recorded(tx *store.Tx, text string, kinds ...lots.Kind) (string, error) {
	if _, known := tx.Thing(text); known {
		return text, nil
	}
	code, err := CodeOf(tx, text, kinds...)
	switch {
	case err == nil:
		tx.NoteReading(text, code)
		return code, nil
	case lots.KindOf(err) == lots.NotFound, lots.KindOf(err) == lots.Invalid:
		return text, nil
	}
	return "", err
}

func oneOf(kinds []lots.Kind) string {
	words := make([]string, len(kinds))
	for i, k := range kinds {
		words[i] = string(k)
	}
	return strings.Join(words, ", ")
}

// thingsOf lists, as kind:code, the things of some kinds that a reading means.
func (r *resolver) thingsOf(m reading, kinds []lots.Kind) []string {
	wanted := func(kind string) bool { return len(kinds) == 0 || slices.Contains(kinds, lots.Kind(kind)) }
	if slices.Contains(kinds, lots.Kind(m.kind)) || len(kinds) == 0 && m.kind != kindFill {
		if m.at == nil {
			return []string{m.String()}
		}
	}
	switch m.kind {
	case kindKeg, kindSSCC, kindSupplierLot, kindDateCode, string(lots.KindRun):
	default:
		return nil
	}
	t, err := r.target(m)
	if err != nil {
		return nil
	}
	var out []string
	for _, f := range t.from {
		if wanted(f.Kind) && (f.Kind == string(lots.KindRun) || m.kind != kindDateCode || m.at != nil) {
			out = append(out, f.Kind+":"+f.Code)
		}
	}
	if m.at == nil {
		return out
	}
	for _, s := range t.starts { // a time of day says which units too
		if s.Kind.String() == string(lots.KindUnit) && wanted(string(lots.KindUnit)) && !slices.Contains(out, "unit:"+s.Code) {
			out = append(out, "unit:"+s.Code)
		}
	}
	return out
}

// TextOf finds the one recorded text, a code or one that is printed, that a text stands for however it is
// spaced and whatever words stand around it.
func TextOf(tx *store.Tx, text string) (string, error) {
	r := &resolver{tx: tx, dir: graph.Forward, site: tx.Site()}
	readings, _, err := r.meanings(strings.TrimSpace(text))
	if err != nil {
		return "", err
	}
	var codes, names []string
	for _, m := range readings {
		if !slices.Contains(codes, m.code) {
			codes, names = append(codes, m.code), append(names, m.String())
		}
	}
	if len(codes) > 1 {
		return "", ambiguous(text, names)
	}
	if codes[0] != text {
		tx.NoteReading(text, names[0])
	}
	return codes[0], nil
}
