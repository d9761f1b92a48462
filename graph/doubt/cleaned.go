package doubt

import (
	"heeltap/graph/trace"
	"heeltap/lots"
)

// cleanedOut warns where what just came in had gone, by the times on record, at a clean that was entered before it:
// most of what was in the vessel, so that one of the two times is likely wrong.
func (d *doubts) cleanedOut(entry int64, mend string) {
	told := map[int64]bool{}
	for _, a := range d.tx.ArrivalsOf(entry) {
		for _, f := range trace.FillsOf(d.tx, a.Vessel) {
			if f.Since != a.Fill || f.Until == 0 || f.LeftAt(f.Until) < f.Total/2 || f.LeftAt(f.Until) < 1 {
				continue
			}
			for _, rec := range d.tx.Touching(a.Vessel) {
				c, ok := rec.(*lots.Clean)
				if !ok || !c.Breaks() || c.Subject.Code() != a.Vessel || told[c.Seq] || c.At.From > f.Until || f.Until > c.At.To+1 {
					continue
				}
				told[c.Seq] = true
				d.add("GONE AT A CLEAN: by the times on record this went into %s before its clean on %s, and %s went down the drain then. If it is still in there, one of the two times is wrong: %s, or heeltap amend %d at=…",
					a.Vessel, d.stamp(c.At.From), d.volume(int64(f.LeftAt(f.Until))), mend, c.Seq)
			}
		}
	}
}
