package inquiry

import (
	"slices"
	"strings"
	"unicode"
)

// The beginnings of words, and the whole words, after which somebody must be called at once; common practice.
var (
	alarming = []string{"illness", "sick", "vomit", "hospital", "doctor", "ambulance", "allerg", "anaphyla", "breath", "faint", "unconscious", "glass", "shard", "splinter", "needle", "metal", "burst", "explo", "shatter",
		"swollen", "swell", "bulg", "bloat", "gush", "overcarbonat", "chemical", "caustic", "bleach", "detergent", "burn", "injur", "hurt", "wound", "bleed", "blood", "cutting", "chok", "child", "tamper", "poison", "dead", "died", "death"}
	alarmingWords = []string{"ill", "rash", "rashes", "hives", "cut", "cuts", "kid", "kids", "baby", "babies"}
	phrases       = []string{"foreign body", "foreign bodies", "foreign object", "foreign matter", "over carbonat", "threw up", "throwing up"}
)

// urgent lists the words of a note that cannot wait, each as it is listed, in the note's order.
func urgent(note string) []string {
	words := strings.FieldsFunc(strings.ToLower(note), func(r rune) bool { return !unicode.IsLetter(r) })
	out := []string{}
	add := func(w string) {
		if !slices.Contains(out, w) {
			out = append(out, w)
		}
	}
	for _, x := range words {
		if slices.Contains(alarmingWords, x) {
			add(x)
		}
		for _, w := range alarming {
			if strings.HasPrefix(x, w) {
				add(w)
			}
		}
	}
	text := " " + strings.Join(words, " ")
	for _, p := range phrases {
		if strings.Contains(text, " "+p) {
			add(p)
		}
	}
	return out
}
