package check

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// Working days as a calendar counts them, day by day.
func TestWorkdaysAgainstCountingDays(t *testing.T) {
	start := time.Date(2026, 2, 2, 15, 0, 0, 0, time.UTC)
	for from := range 9 {
		for days := range 400 {
			a := start.AddDate(0, 0, from)
			b := a.AddDate(0, 0, days).Add(-14 * time.Hour)
			n := 0
			for d := a.AddDate(0, 0, 1); !d.Truncate(24 * time.Hour).After(b.Truncate(24 * time.Hour)); d = d.AddDate(0, 0, 1) {
				if w := d.Weekday(); w != time.Saturday && w != time.Sunday {
					n++
				}
			}
			require.Equal(t, n, workdays(a, b), "%s to %s", a, b)
		}
	}
}
