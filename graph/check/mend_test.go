package check_test

import (
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"heeltap/graph/check"
	"heeltap/lots/store"
)

// given is what a person must give for the first command of a rule's mend, in order: a word for each place left open, empty
// where there is none. clears is whether the command is meant to clear the finding, and not a step on the way.
type given struct {
	words  func(b *brewery) []string
	clears bool
}

func words(w ...string) func(*brewery) []string { return func(*brewery) []string { return w } }

// at gives a time for each three numbers: day, hour and minute.
func at(n ...int) func(*brewery) []string {
	return func(b *brewery) (out []string) {
		for i := 0; i+2 < len(n); i += 3 {
			out = append(out, b.at(n[i], n[i+1], n[i+2]))
		}
		return out
	}
}

func and(lists ...func(*brewery) []string) func(*brewery) []string {
	return func(b *brewery) (out []string) {
		for _, l := range lists {
			out = append(out, l(b)...)
		}
		return out
	}
}

// advice names the rules that can only say what to do: no command can do it.
var advice = []string{"date-code-twice", "late-receipt", "past-best-by", "used-while-stopped", "cellar-silent", "usual-lot-missing", "late-entry",
	"round-times", "one-person", "counts-swapped", "return-shipped-again"}

// mends holds a word for … and for what stands in capitals.
var mends = map[string]given{
	"used-above-receipt":           {words(), false},
	"used-before-receipt":          {and(at(2, 10, 1), words("x")), false},
	"rejected-in-vessel":           {words("rejected"), false},
	"near-supplier-lots":           {words("Z7001", "x"), true},
	"supplier-lot-twice":           {words("A1009", "x"), true},
	"odd-supplier-lot":             {words("A1009", "x"), true},
	"odd-shape":                    {words("A5559", "x"), true},
	"lot-too-small":                {and(words("C-1"), at(4, 10, 31)), false},
	"rest-not-seen":                {words("3"), true},
	"units-do-not-meet":            {words("5", "x"), true},
	"store-never-emptied":          {at(6, 10, 1), false},
	"above-capacity":               {words(), false},
	"count-differs":                {and(words("3"), at(4, 16, 1)), true},
	"no-carrier":                   {words("own van", "x"), true},
	"brew-lacks-input":             {words("M-0", "225 kg"), true},
	"extract-impossible":           {words(), false},
	"turns-far-apart":              {words("FV2", "x"), false},
	"drawn-above-content":          {and(words("FV2", "3 hL", "3"), at(3, 7, 1, 3, 7, 31)), true},
	"nothing-there":                {words("FV1", "x"), true},
	"break-in-doubt":               {and(at(17, 6, 23), words("x")), false},
	"cleaned-with-beer-in":         {at(6, 7, 1), true},
	"no-clean-between":             {at(11, 6, 31), true},
	"clean-not-verified":           {words("x"), true},
	"line-after-allergen":          {at(11, 9, 43), true},
	"no-time-of-day":               {and(at(4, 7, 19), words("x")), true},
	"filled-not-empty":             {at(18, 7, 1), true},
	"addition-to-empty":            {and(at(3, 10, 21), words("x")), true},
	"at-one-time":                  {and(at(4, 6, 23), words("x")), true},
	"transfer-gain":                {words("24", "x"), true},
	"transfer-loss":                {words("24", "x"), true},
	"lot-in-vessel":                {words("SILO", "x"), true},
	"run-without-date-code":        {words("BB 2026-11-03", "x"), true},
	"date-code-odd":                {words("BB 2026-11-03", "x"), true},
	"no-clock-check":               {words("x"), true},
	"midnight-not-split":           {and(words("BB 2026-11-04"), at(5, 0, 0)), true},
	"bad-code-pattern":             {words("BB {year}-{month}-{day}", "x"), true},
	"run-without-tank":             {words("BT1"), true},
	"run-above-tank":               {words("BT1", "2 hL"), true},
	"run-below-tank":               {words("700", "x"), true},
	"run-too-fast":                 {and(at(4, 10, 2, 4, 11, 7), words("x")), true},
	"run-too-slow":                 {and(at(4, 11, 7), words("x")), true},
	"parts-do-not-fit":             {and(words("C-0", "430"), at(4, 10, 50)), true},
	"part-of-run-without-lot":      {and(words("E-0"), at(4, 10, 30, 4, 11, 7)), true},
	"undeclared-allergen":          {words("L", "milk"), false},
	"cases-on-no-unit":             {words("PX"), true},
	"units-above-run":              {words("Q-0", "20", "x"), true},
	"window-outside-run":           {and(at(4, 10, 54, 4, 11, 7), words("x")), true},
	"part-changed-between-runs":    {at(11, 9, 1), true},
	"unit-too-full":                {words("80", "x"), true},
	"keg-filled-while-out":         {and(words("D-2"), at(6, 9, 1)), true},
	"keg-filled-while-full":        {and(words("D-2"), at(4, 15, 1)), true},
	"keg-shipped-as-older-filling": {words("x"), true},
	"run-without-line":             {words("CANS", "x"), true},
	"keg-wash-in-doubt":            {and(at(11, 11, 47), words("x")), true},
	"rejects-above-run":            {words("600", "x"), true},
	"first-fill-unproven":          {at(4, 9, 21), true},
	"line-residue-unknown":         {words("yes", "x"), true},
	"keg-not-washed":               {and(at(4, 11, 47), words("CANS", "x")), true},
	"tank-age":                     {and(at(4, 10, 1), words("x")), false},
	"repack-does-not-add-up":       {words("Q-0", "1 case"), true},
	"unit-nowhere":                 {words("20", "cold store"), true},
	"shipped-above-packed":         {words("80", "x"), true},
	"return-not-measured":          {words("5", "x"), true},
	"shipped-before-packed":        {and(at(4, 14, 21), words("x")), true},
	"one-of-several":               {words("P-0", "x"), true},
	"consignee-without-contact":    {words("555", "d@example.org", "x"), true},
	"returned-above-shipped":       {words("D-1", "x"), true},
	"recall-scope-changed":         {words(), false},
	"no-exercise":                  {words(), false},
}

// open matches the places that a person must fill in.
var openPlace = regexp.MustCompile(`…|\b(TANK|LOT|OTHER-LOT|UNIT|KEG)\b`)

// built compiles the program, so that commands run as people type them.
func built(t *testing.T) string {
	path := filepath.Join(t.TempDir(), "heeltap")
	out, err := exec.Command("go", "build", "-o", path, "heeltap/cmd/heeltap").CombinedOutput()
	require.NoError(t, err, string(out))
	return path
}

// mended runs the first command of a rule's mend, filled in, and looks whether the finding is gone.
func mended(t *testing.T, program, path string, b *brewery, r *check.Report, rule string) {
	var hit check.Hit
	for _, h := range r.Hits {
		if h.Rule == rule && hit.Rule == "" {
			hit = h
		}
	}
	commands := check.Commands(hit.Mend)
	require.Equal(t, commands, hit.Commands)
	if slices.Contains(advice, rule) {
		i := slices.IndexFunc(check.Rules(), func(r check.Rule) bool { return r.Name == rule })
		require.Contains(t, check.MendText(check.Rules()[i].Mend), "(advice) ")
		return
	}
	g, ok := mends[rule]
	require.True(t, ok, "nobody tries what %s says: %s", rule, hit.Mend)
	require.NotEmpty(t, commands, "%s: %s", rule, hit.Mend)
	give := g.words(b)
	var args []string
	for _, word := range strings.Fields(strings.TrimPrefix(commands[0], "heeltap ")) {
		word = strings.Trim(word, "'") // for the shell
		args = append(args, openPlace.ReplaceAllStringFunc(word, func(place string) string {
			require.NotEmpty(t, give, "%s: %s needs more", rule, commands[0])
			next := give[0]
			give = give[1:]
			return next
		}))
	}
	require.Empty(t, give, "%s: %s needs less", rule, commands[0])
	cmd := exec.Command(program, append([]string{"--db", path}, args...)...)
	cmd.Env = append(os.Environ(), "HEELTAP_BY=Ines", "HEELTAP_DB=")
	out, err := cmd.CombinedOutput()
	if found := cmd.ProcessState.ExitCode() == 3; found && !g.clears { // it looks at something, and finds the fault too
		return
	}
	require.NoError(t, err, "%s: %q from %q: %s", rule, args, hit.Mend, out)
	if !g.clears {
		return
	}
	db, err := store.Open(context.Background(), path)
	require.NoError(t, err)
	defer func() { require.NoError(t, db.Close()) }()
	for _, h := range foundIn(t, db, rule).Hits {
		require.False(t, h.Code == hit.Code && h.Text == hit.Text, "%s: %q did not clear %q", rule, args, h.Text)
	}
}
