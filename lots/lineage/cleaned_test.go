package lineage_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/lineage"
	"heeltap/lots/lineage/histories"
)

// cleans lists the verified cleans that may be added to a history: of all it names, at each moment it names.
func cleans(rows []histories.Row) (out []histories.Row) {
	var things, times []string
	for _, r := range rows {
		switch r.Sheet {
		case "vessels":
			things = append(things, r.Row["vessel"])
		case "lines":
			things = append(things, r.Row["line"])
		}
		sheet, _ := lots.SheetNamed(r.Sheet)
		for _, c := range sheet.Columns {
			if at := r.Row[c.Name]; c.Type == lots.Time && at != "" && !slices.Contains(times, at) {
				times = append(times, at)
			}
		}
	}
	if times == nil {
		times = []string{"2026-03-28 12:00"}
	}
	for _, thing := range things {
		for _, at := range times {
			out = append(out, histories.Row{Sheet: "cleans", Row: lots.Row{"vessel": thing, "at": at, "method": "cip", "ref": "added"}})
		}
	}
	return out
}

// without leaves out the links that cut names.
func (d *derived) without(cut func(lineage.Link) bool) *derived {
	out := &derived{nodes: d.nodes, next: map[lineage.Ref][]lineage.Link{}, forward: d.forward}
	for src, links := range d.next {
		for _, l := range links {
			if !cut(l) {
				out.next[src] = append(out.next[src], l)
			}
		}
	}
	return out
}

// Whoever notes one more verified clean never hears that more may be affected, but where the clean itself is in doubt: where more
// flowed out after it than came in, the records speak against it, and what was there before may be in what flowed out. Those links alone are left out.
func TestAVerifiedCleanNeverWidensTheAnswer(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rows := histories.DrawSize(t, rapid.SampledFrom(sizes()).Draw(t, "size"))
		before, err := deriveRows(histories.Entered(rows))
		if err != nil {
			return
		}
		for range 5 {
			requireNoWider(t, rows, before, rapid.SampledFrom(cleans(rows)).Draw(t, "clean"))
		}
	})
}

func requireNoWider(t *rapid.T, rows []histories.Row, before *derived, clean histories.Row) {
	after, err := deriveRows(histories.Entered(append(rows[:len(rows):len(rows)], clean)))
	if err != nil {
		return // a clean may cut flows so that they form a ring
	}
	after = after.without(func(l lineage.Link) bool { return l.Cause == graph.BreakInDoubt })
	if more := lost(after, before); more != nil {
		t.Fatalf("clean %v\n%s%s", clean.Row, histories.Text(rows), strings.Join(more, "\n"))
	}
}

var (
	twoTanksDays  = []string{"2026-03-05", "2026-03-06", "2026-03-07"}
	twoTanksTimes = []string{"", "_09:00", "_10:00", "_14:00"}
)

// twoTanks draws a few acts on two tanks within three days, at few moments, so that what is uncertain lies beside what was cleaned.
func twoTanks(t *rapid.T) []histories.Row {
	text := "site name=Invented time_zone=UTC\nvessels vessel=V kind=fermenter\nvessels vessel=W kind=fermenter\n"
	for i := range rapid.IntRange(3, 7).Draw(t, "acts") {
		at := rapid.SampledFrom(twoTanksDays).Draw(t, "day") + rapid.SampledFrom(twoTanksTimes).Draw(t, "time")
		v := rapid.SampledFrom([]string{"V", "V", "W"}).Draw(t, "vessel")
		switch rapid.SampledFrom([]string{"brew", "brew", "transfer", "clean", "circulate"}).Draw(t, "act") {
		case "brew":
			text += fmt.Sprintf("brews brew=B%d beer=Pale started_at=%s cast_out_at=%[2]s into=%s volume=1000 unit=L\n", i, at, v)
		case "transfer":
			to := map[string]string{"V": "W", "W": "V"}[v]
			text += fmt.Sprintf("transfers transfer=T%d from=%s to=%s out=500 in=500 unit=L started_at=%s ended_at=%[4]s\n", i, v, to, at)
		case "clean":
			text += fmt.Sprintf("cleans vessel=%s at=%s method=cip ref=%d\n", v, at, i)
		default:
			perhaps := rapid.SampledFrom([]string{"no", "yes"}).Draw(t, "perhaps")
			text += fmt.Sprintf("circulations vessels=V;W perhaps=%s started_at=%s ended_at=%[2]s ref=%d\n", perhaps, at, i)
		}
	}
	return histories.Written(text)
}

// The same of two tanks and every clean that may be added.
func TestAVerifiedCleanOfTwoTanksNeverWidensTheAnswer(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rows := twoTanks(t)
		before, err := deriveRows(histories.Entered(rows))
		if err != nil {
			return
		}
		for _, day := range twoTanksDays {
			for _, at := range twoTanksTimes {
				clean := histories.Written(fmt.Sprintf("cleans vessel=V at=%s%s method=cip ref=added", day, at))[0]
				requireNoWider(t, rows, before, clean)
			}
		}
	})
}

// What is placed before a clean but may have come after it is in what is filled next only as far as nothing was cleaned between.
func TestACleanBetweenCutsWhatMayHaveComeAfterAnother(t *testing.T) {
	text := `site name=Invented time_zone=UTC
items item=HOP name=hop kind=hop unit=kg
parties party=SUP name=S role=supplier
vessels vessel=V kind=fermenter
vessels vessel=W kind=fermenter
brews brew=B1 beer=Pale started_at=2026-03-05 cast_out_at=2026-03-05 into=V volume=1000 unit=L
transfers transfer=T from=V to=W out=500 in=500 unit=L started_at=2026-03-05_09:00 ended_at=2026-03-05_09:00
brews brew=B2 beer=Pale started_at=2026-03-08_07:00 cast_out_at=2026-03-08_13:00 into=V volume=1000 unit=L
cleans vessel=V at=2026-03-06_10:00 method=cip
`
	once, err := deriveRows(histories.Entered(histories.Written(text)))
	require.NoError(t, err)
	twice, err := deriveRows(histories.Entered(histories.Written(text + "cleans vessel=V at=2026-03-05_10:00 method=cip\n")))
	require.NoError(t, err)
	require.Empty(t, lost(twice, once))
}
