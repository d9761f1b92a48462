package check

import (
	"slices"
	"strings"

	"heeltap/graph/doubt"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/datecode"
)

func codeRules() []Rule {
	return []Rule{
		{"date-code-twice", Widens, "one product and date code for two days or tanks: the public cannot tell them apart", "what is printed stays as it is; correct the coder for the next run", dateCodeTwice},
		{"run-without-date-code", Misses, "packages bear no date code that is on record: nobody who has one can be found by it, nor find it", "heeltap amend RUN date_code=…, or heeltap feed RUN --from UNIT --quantity …", runWithoutDateCode},
		{"date-code-odd", Misses, "the code is not what the pattern gives for that day: reading it leads to another run", "heeltap amend RUN date_code=…, or heeltap code RUN --date-code … --since …", dateCodeOdd},
		{"no-clock-check", Widens, "nobody noted how far the coder's clock was off: times on packages are uncertain", "heeltap amend RUN clock_offset_min=0, if it was right", noClockCheck},
		{"midnight-not-split", Widens, "the run went past midnight, and no change of the printed code was recorded", "heeltap code RUN --date-code … --since …", midnightNotSplit},
		{"bad-code-pattern", Widens, "the product's pattern cannot be read: printed codes cannot be checked against it, nor read off a package with it", "heeltap amend PRODUCT date_code=…", badCodePattern},
	}
}

// print is one stretch of printing: what of which run, on which day and from which tanks.
type print struct {
	run   *lots.Run
	entry int64
	day   string
	tanks string
}

// dateCodeTwice finds one product and code on two days, or on one day from other tanks where no time
// of day is printed that tells them apart. Codes that changed in mid-run are looked at as those of runs.
func dateCodeTwice(b *book) (out []Hit) {
	runs := slices.Clone(b.runs)
	slices.SortStableFunc(runs, func(x, y *lots.Run) int { return int(x.Started.From - y.Started.From) })
	seen := map[[2]string][]print{}
	see := func(r *lots.Run, code string, since lots.When, entry int64) {
		p := print{r, entry, b.day(since.From + r.ClockOffset), b.feedsText(r.Run)}
		pattern, _, ok := b.patternOf(r.Product)
		timed := ok && pattern.PrintsTime()
		key := [2]string{r.Product, code}
		for _, o := range seen[key] {
			if o.run == r || o.day == p.day && (timed || o.tanks == p.tanks) {
				continue
			}
			if o.day == p.day {
				out = append(out, hit(r.Run, entry, "runs %s (of %s) and %s (of %s) of %s both carry %s", o.run.Run, o.tanks, r.Run, p.tanks, r.Product, code))
			} else {
				out = append(out, hit(r.Run, entry, "runs %s (%s) and %s (%s) of %s both carry %s", o.run.Run, o.day, r.Run, p.day, r.Product, code))
			}
			break
		}
		seen[key] = append(seen[key], p)
	}
	for _, r := range runs {
		if r.DateCode != "" { // a repack bears the codes of others
			see(r, r.DateCode, r.Started, r.Seq)
		}
		for _, c := range b.codes[r.Run] {
			see(r, c.DateCode, c.Since, c.Seq)
		}
	}
	return out
}

// feedsText names the tanks and units that a run was packed from.
func (b *book) feedsText(run string) string {
	var out []string
	tanks, units := b.tanksOf(run)
	for _, f := range slices.Concat(tanks, units) {
		out = append(out, f.From.Codes...)
	}
	slices.Sort(out)
	return strings.Join(slices.Compact(out), ", ")
}

// badCodePattern finds patterns with a mistake in them; one of plain text is none.
func badCodePattern(b *book) (out []Hit) {
	for _, code := range sortedKeys(b.products) {
		p := b.products[code]
		if _, err := datecode.Parse(p.DateCode); p.DateCode != "" && err != nil {
			h := hit(code, p.Seq, "the pattern %q of %s cannot be read: %s", p.DateCode, code, err)
			h.Mend = "heeltap amend " + code + " 'date_code=…'"
			out = append(out, h)
		}
	}
	return out
}

// patternOf reads a product's pattern; false where it has none, or one of free text.
func (b *book) patternOf(product string) (*datecode.Pattern, *lots.Product, bool) {
	p := b.products[product]
	if p == nil || p.DateCode == "" {
		return nil, nil, false
	}
	pattern, err := datecode.Parse(p.DateCode)
	return pattern, p, err == nil
}

func dateCodeOdd(b *book) (out []Hit) {
	for _, r := range b.runs {
		p := b.products[r.Product]
		if p == nil {
			continue
		}
		if want, odd := doubt.OddCode(p, r, nil, b.zone); odd && r.DateCode != "" {
			out = append(out, hit(r.Run, r.Seq, "run %s carries %q; the pattern gives %q for its day", r.Run, r.DateCode, want))
		}
		for _, c := range b.codes[r.Run] {
			if want, odd := doubt.OddCode(p, r, c, b.zone); odd {
				out = append(out, hit(r.Run, c.Seq, "run %s carries %q from %s on; the pattern gives %q", r.Run, c.DateCode, b.stamp(c.Since.From), want))
			}
		}
	}
	return out
}

// runWithoutDateCode finds runs of which something bears no code: neither one of its own, nor those of units fed to it.
func runWithoutDateCode(b *book) (out []Hit) {
	for _, r := range b.runs {
		if text := trace.NoCode(b.tx, r); text != "" {
			out = append(out, hit(r.Run, r.Seq, "%s", text))
		}
	}
	return out
}

func noClockCheck(b *book) (out []Hit) {
	for _, r := range b.runs {
		if pattern, _, ok := b.patternOf(r.Product); ok && r.DateCode != "" && pattern.PrintsTime() && b.rows[r.Seq]["clock_offset_min"] == "" {
			out = append(out, hit(r.Run, r.Seq, "run %s prints the time of day, and nobody noted how far the clock was off", r.Run))
		}
	}
	return out
}

func midnightNotSplit(b *book) (out []Hit) {
	for _, r := range b.runs {
		pattern, _, ok := b.patternOf(r.Product)
		if !ok || r.DateCode == "" || !pattern.Dated() || r.Started.Day || len(b.codes[r.Run]) > 0 {
			continue
		}
		if b.day(r.Started.From+r.ClockOffset) != b.day(r.Ended.End()-1+r.ClockOffset) {
			out = append(out, hit(r.Run, r.Seq, "run %s went past midnight, so the printed date may have changed", r.Run))
		}
	}
	return out
}
