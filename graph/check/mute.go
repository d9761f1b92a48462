package check

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"heeltap/lots"
	"heeltap/lots/store"
)

// Mute is somebody's word that hits are known and may stand until a day.
type Mute struct {
	Rule   string `json:"rule"`
	Code   string `json:"code"` // empty: every hit of the rule
	Reason string `json:"reason"`
	Until  string `json:"until"` // date
	By     string `json:"by"`
	End    bool   `json:"end,omitempty"` // it takes an earlier one of the same rule and code back
}

const aboutMutes = "check"

// Silence records a mute, or takes one back.
func Silence(tx *store.Tx, m Mute) error {
	if !known(m.Rule) {
		return lots.Errorf(lots.NotFound, "there is no rule %s; heeltap check --list shows them all", m.Rule)
	}
	if strings.TrimSpace(m.Reason) == "" {
		return lots.Errorf(lots.Invalid, "a mute needs a reason: --reason TEXT")
	}
	zone := tx.Site().Zone
	if m.End {
		all, err := Mutes(tx)
		if err != nil {
			return err
		}
		if !all.stands(m.Rule, m.Code, tx.Recorded(), zone) {
			return lots.Errorf(lots.NotFound, "%s is not muted, so there is nothing to take back", strings.TrimSpace(m.Rule+" "+m.Code))
		}
		m.Until = ""
		_, err = tx.Act(aboutMutes, m, m.By)
		return err
	}
	until, err := time.ParseInLocation(time.DateOnly, m.Until, zone)
	if err != nil || !until.After(tx.Recorded()) {
		return lots.Errorf(lots.Invalid, "a mute needs a last day, after today: --until 2026-12-31")
	}
	if m.Code != "" {
		r, err := Run(tx, []string{m.Rule}, time.Time{})
		if err != nil {
			return err
		}
		if !slices.ContainsFunc(r.Hits, func(h Hit) bool { return h.Code == m.Code }) {
			return lots.Errorf(lots.NotFound, "%s finds nothing about %s: heeltap check --rule %s --json lists their codes", m.Rule, m.Code, m.Rule)
		}
	}
	_, err = tx.Act(aboutMutes, m, m.By)
	return err
}

type mutes []Mute

// Mutes reads every mute, in order.
func Mutes(tx *store.Tx) (mutes, error) {
	var out mutes
	err := tx.Acts(aboutMutes, func(e *store.Entry, step []byte) error {
		var m Mute
		if err := json.Unmarshal(step, &m); err != nil {
			return lots.Errorf(lots.Corrupt, "entry %d cannot be read: %w", e.Seq, err)
		}
		out = append(out, m)
		return nil
	})
	return out, err
}

// why says by which mute a hit is silent; empty where it is not, or the mute has run out or was taken back.
func (m mutes) why(h Hit, now time.Time, zone *time.Location) string {
	ended := map[string]bool{}
	for _, x := range slices.Backward(m) {
		switch {
		case x.Rule != h.Rule || x.Code != "" && x.Code != h.Code || ended[x.Code]:
		case x.End:
			ended[x.Code] = true
		case x.lasts(now, zone):
			return fmt.Sprintf("%s (%s, until %s)", x.Reason, x.By, x.Until)
		}
	}
	return ""
}

// lasts reports whether a mute's last day is not over.
func (m Mute) lasts(now time.Time, zone *time.Location) bool {
	until, err := time.ParseInLocation(time.DateOnly, m.Until, zone)
	return err == nil && now.Before(until.AddDate(0, 0, 1))
}

// stands reports whether a mute of just this rule and code lasts and was not taken back.
func (m mutes) stands(rule, code string, now time.Time, zone *time.Location) bool {
	for _, x := range slices.Backward(m) {
		if x.Rule != rule || x.Code != code {
			continue
		}
		if x.End {
			return false
		}
		if x.lasts(now, zone) {
			return true
		}
	}
	return false
}
