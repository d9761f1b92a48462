// Package allergens knows the allergens that the law of the United States and of the European
// Union names, and the words by which people write them down. It is no legal advice: what has
// to stand on a label is for the responsible person to decide under the law where it is sold.
//
// What a lot carries is read widely: a phrase that has a listed word in it means that allergen.
// What a label declares is read narrowly: it covers what it names and nothing beside that. No
// sort covers another sort (wheat no barley, almond no hazelnut), and a word that neither law
// has covers itself alone.
package allergens

import (
	"slices"
	"strings"
	"unicode"

	"heeltap/lots"
)

// tokens takes a phrase apart into plain words, each in the singular.
func tokens(phrase string) []string {
	words := strings.FieldsFunc(strings.ToLower(phrase), func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) })
	for i, w := range words {
		switch {
		case strings.HasSuffix(w, "ss") || len(w) < 4:
		case strings.HasSuffix(w, "ies"):
			words[i] = w[:len(w)-3] + "y"
		case strings.HasSuffix(w, "s"):
			words[i] = w[:len(w)-1]
		}
	}
	return words
}

// without finds any of some phrases in a text, whole words only, and takes them all out.
func without(text []string, phrases []string) (rest []string, found bool) {
	rest = text
	for _, p := range phrases {
		words := tokens(p)
		for i := 0; i+len(words) <= len(rest); {
			if slices.Equal(rest[i:i+len(words)], words) {
				rest, found = slices.Concat(rest[:i], rest[i+len(words):]), true
			} else {
				i++
			}
		}
	}
	return rest, found
}

// hit is what a phrase means in a group: sorts of it, or the group where it tells of none.
type hit struct {
	group *Group
	sorts []*Sort
}

// hits lists what a phrase means to a law.
func hits(groups []Group, phrase string) []hit {
	text := tokens(phrase)
	var out []hit
	for i := range groups {
		g := &groups[i]
		rest, _ := without(text, g.Not)
		h := hit{group: g}
		for k := range g.Sorts {
			if _, ok := without(rest, slices.Concat(g.Sorts[k].Names, g.Sorts[k].Words)); ok {
				h.sorts = append(h.sorts, &g.Sorts[k])
			}
		}
		_, whole := without(rest, slices.Concat(g.Names, g.Words))
		for k := range g.Sorts {
			if _, ok := without(rest, g.Sorts[k].Loose); ok && len(h.sorts) == 0 && !whole {
				h.sorts = append(h.sorts, &g.Sorts[k])
			}
		}
		if whole || len(h.sorts) > 0 {
			out = append(out, h)
		}
	}
	return out
}

// Known reports whether either law has a word.
func Known(word string) bool {
	return slices.ContainsFunc(laws, func(l Law) bool { return len(hits(l.Groups, word)) > 0 })
}

// Check refuses a word that neither law has, and names the nearest that one of them has.
func Check(word string) error {
	if Known(word) {
		return nil
	}
	var all []string
	for _, l := range laws {
		for _, g := range l.Groups {
			all = append(append(append(all, g.Name), g.Names...), g.Words...)
			for _, s := range g.Sorts {
				all = append(append(append(all, s.Names...), s.Words...), s.Loose...)
			}
		}
	}
	slices.Sort(all)
	near := lots.NearestOf(strings.ToLower(strings.TrimSpace(word)), slices.Compact(all))
	if len(near) == 0 {
		return lots.Errorf(lots.Invalid, "neither US nor EU law lists an allergen %q: a label covers it only with exactly the same word", word)
	}
	return lots.Errorf(lots.Invalid, "neither US nor EU law lists an allergen %q; did you mean %s?", word, strings.Join(near[:min(3, len(near))], ", "))
}

// Of lists the groups of a law that a word means.
func Of(groups []Group, word string) []Group {
	var out []Group
	for _, h := range hits(groups, word) {
		out = append(out, *h.group)
	}
	return out
}

// names reports whether a label's phrase is one of some names, with nothing beside it that changes it.
func names(phrase string, list []string) bool {
	rest, ok := without(tokens(phrase), list)
	return ok && !slices.ContainsFunc(rest, func(w string) bool { return !besides[w] })
}

// phrases takes what a label declares apart where one cell holds several.
func phrases(label []string) []string {
	var out []string
	for _, cell := range label {
		cell = strings.NewReplacer(" and ", ",", "&", ",", "+", ",", "/", ",", ";", ",").Replace(strings.ToLower(cell))
		out = append(out, strings.Split(cell, ",")...)
	}
	return out
}

// covered reports whether a label's phrases name a sort of a group, or the group where sort is nil.
func covered(label []string, g *Group, sort *Sort) bool {
	return slices.ContainsFunc(label, func(d string) bool {
		if sort == nil {
			return !g.Apart && names(d, g.Names)
		}
		return len(sort.Names) > 0 && names(d, sort.Names) || !g.Apart && !sort.Own && names(d, g.Names)
	})
}

// listed reports whether a word, as it stands, is one of the group's own: then only a name covers it.
func (g *Group) listed(word string) bool {
	all := slices.Concat(g.Names, g.Words)
	for _, s := range g.Sorts {
		all = slices.Concat(all, s.Names, s.Words, s.Loose)
	}
	text := tokens(word)
	return slices.ContainsFunc(all, func(w string) bool { return slices.Equal(tokens(w), text) })
}

// Covers reports whether a label names what a lot carries, under a law that has the word.
func Covers(groups []Group, label []string, carried string) bool {
	label = phrases(label)
	for _, h := range hits(groups, carried) {
		same := !h.group.listed(carried) && onLabel(label, carried) // "pine nut" says which nut
		if len(h.sorts) == 0 && !same && !covered(label, h.group, nil) {
			return false
		}
		for _, s := range h.sorts {
			if s.Except == "" && !same && !covered(label, h.group, s) {
				return false
			}
		}
	}
	return true
}

// onLabel reports whether the very same word stands on a label.
func onLabel(label []string, word string) bool {
	text := tokens(word)
	return slices.ContainsFunc(label, func(d string) bool { return slices.Equal(tokens(d), text) })
}

// Verdict is what the laws and a label say of one word that a lot carries.
type Verdict struct {
	Groups     map[string][]string // law to the groups that the word means; without those that have none
	Undeclared []string            // laws that have the word and to which the label does not name it
	Exempt     string              // what EU law leaves out, and why
	Known      bool                // false where neither law has the word
	OnLabel    bool                // the very same word stands on the label
}

// Missing reports whether the label lacks it: to a law, or, where no law has the word, altogether.
func (v Verdict) Missing() bool { return len(v.Undeclared) > 0 || !v.Known && !v.OnLabel }

// Judge compares one word with a label, under both laws.
func Judge(label []string, word string) Verdict {
	v := Verdict{Groups: map[string][]string{}, OnLabel: onLabel(phrases(label), word)}
	for _, l := range laws {
		for _, h := range hits(l.Groups, word) {
			v.Known = true
			v.Groups[l.Name] = append(v.Groups[l.Name], h.group.Name)
			for _, s := range h.sorts {
				if s.Except != "" {
					v.Exempt = s.Except
				}
			}
		}
		if !Covers(l.Groups, label, word) {
			v.Undeclared = append(v.Undeclared, l.Name)
		}
	}
	return v
}

// Declared reports whether a label's words name what a lot carries under every law that has it;
// a word that no law has must stand on the label itself.
func Declared(label []string, word string) bool { return !Judge(label, word).Missing() }
