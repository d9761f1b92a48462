package recall

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"heeltap/lots"
	"heeltap/lots/store"
)

// Cautions are shown on every screen, draft and report of a recall.
func Cautions() []string {
	return []string{
		"This finds and counts; it does not decide. Whether to recall, in which class, who must be told and by when is",
		"for the responsible person under the law where the beer was made and sold: contact the competent authority and counsel.",
		"Undeclared allergens, glass and bursting containers can injure: act on the hold first. Swollen or over-carbonated",
		"packages and kegs are under pressure, and tanks hold CO2: follow local codes and trained, licensed practice.",
		"Figures from perfect mixing are estimates, never a reason to call beer safe.",
	}
}

// State names where a recall stands: open, closed or terminated.
func (r *Recall) State() string {
	switch {
	case r.Ended != "":
		return "terminated"
	case r.Open:
		return "open"
	}
	return "closed"
}

// Timeline is what was done, in order, and how it stands against the targets.
type Timeline struct {
	Steps   []TimelineStep `json:"steps"`
	Targets []Target       `json:"targets"`
}

// TimelineStep is one step with its time on the clock.
type TimelineStep struct {
	Clock string `json:"clock"` // h:mm since the recall was opened
	At    string `json:"at"`
	By    string `json:"by"`
	Step  string `json:"step"`
	Text  string `json:"text"`
	Entry int64  `json:"entry"`
}

// Target is a time to do something in, and how it was met.
type Target struct {
	Name   string `json:"name"`
	Within string `json:"within"`
	Took   string `json:"took"`  // h:mm; empty while it is not reached
	State  string `json:"state"` // met, late, running, overdue
	// Note says what the step came to, where that it was done says little: an account may be struck and much be missing.
	Note   string `json:"note"`
	Source string `json:"source"`
}

// The settings that hold a site's targets, in minutes.
const (
	SettingScope     = "target.scope"     // first frozen version
	SettingAccount   = "target.account"   // account struck
	SettingAuthority = "target.authority" // records to an authority
)

var targets = []struct {
	name, setting string
	minutes       int64
	source        string
}{
	{"Scope frozen", SettingScope, 120, "common practice"},
	{"Account struck: goods located forwards and backwards", SettingAccount, 240, "common practice in retail schemes"},
}

// Timeline tells the steps in the order in which they were done.
func (r *Recall) Timeline(tx *store.Tx) Timeline {
	t := Timeline{Steps: []TimelineStep{}, Targets: []Target{}}
	log := slices.Clone(r.Log)
	slices.SortStableFunc(log, func(a, b Logged) int { return a.At.Compare(b.At) })
	zone := tx.Site().Zone
	for _, l := range log {
		t.Steps = append(t.Steps, TimelineStep{hours(l.At.Sub(r.OpenedAt)), lots.RFC3339(l.At.Unix(), zone), l.By, l.Name, l.Text(), l.Entry})
	}
	for _, x := range targets {
		minutes := settingOr(tx, x.setting, x.minutes)
		t.Targets = append(t.Targets, r.target(tx, x.name, time.Duration(minutes)*time.Minute, r.OpenedAt, r.reached(x.setting), x.source))
		if x.setting == SettingAccount {
			t.Targets[len(t.Targets)-1].Note = r.struck()
		}
	}
	for _, s := range r.Spoke {
		if s.Asked {
			minutes := settingOr(tx, SettingAuthority, 24*60)
			t.Targets = append(t.Targets, r.target(tx, "Records to "+s.Authority, time.Duration(minutes)*time.Minute, s.At, r.toldAfter(s), "21 CFR 1.361: as soon as possible, not more than 24 hours"))
		}
	}
	return t
}

// settingOr reads a number set for the site.
func settingOr(tx *store.Tx, name string, otherwise int64) int64 {
	if n, err := lots.ParseCount(tx.Setting(store.SiteSettings, name)); err == nil && n > 0 {
		return n
	}
	return otherwise
}

// reached is when a target of the recall itself was met; zero where it was not.
func (r *Recall) reached(setting string) time.Time {
	var first time.Time
	for _, l := range r.Log {
		met := false
		switch l.Step.(type) {
		case *Frozen:
			met = setting == SettingScope
		case *Reconciled:
			met = setting == SettingAccount
		}
		if met && (first.IsZero() || l.At.Before(first)) {
			first = l.At
		}
	}
	return first
}

// StateText is the state with its note.
func (t Target) StateText() string {
	if t.Note == "" {
		return t.State
	}
	return t.State + " (" + t.Note + ")"
}

// struck says what the last account came to; empty where none was struck, or where all is accounted for.
func (r *Recall) struck() string {
	var last *Reconciled
	for _, l := range r.Log {
		if s, ok := l.Step.(*Reconciled); ok {
			last = s
		}
	}
	if last == nil {
		return ""
	}
	var parts []string
	for _, o := range []struct {
		*Outcome
		unit string
	}{{last.Cases, "case"}, {last.Kegs, "keg"}} {
		if o.Outcome != nil && (o.Missing != 0 || o.Over != 0) {
			parts = append(parts, o.text(o.unit))
		}
	}
	if last.Cases == nil && last.Kegs == nil && (last.Unaccounted != 0 || last.Over != 0) {
		parts = append(parts, lots.PercentFigure(last.Accounted)+" % accounted for")
	}
	if len(parts) == 0 {
		return ""
	}
	return "the account is complete: every unit is in it. It does not find everything: " + strings.Join(parts, "; ")
}

// toldAfter is when an authority that asked was told next.
func (r *Recall) toldAfter(asked Said) time.Time {
	var first time.Time
	for _, s := range r.Spoke {
		if !s.Asked && strings.EqualFold(s.Authority, asked.Authority) && !s.At.Before(asked.At) && (first.IsZero() || s.At.Before(first)) {
			first = s.At
		}
	}
	return first
}

func (r *Recall) target(tx *store.Tx, name string, within time.Duration, from, reached time.Time, source string) Target {
	t := Target{Name: name, Within: hours(within), Source: source}
	switch {
	case reached.IsZero() && r.Now.Sub(from) > within:
		t.State = "overdue"
	case reached.IsZero():
		t.State = "running"
	case reached.Sub(from) > within:
		t.Took, t.State = hours(reached.Sub(from)), "late"
	default:
		t.Took, t.State = hours(reached.Sub(from)), "met"
	}
	return t
}

// Clock is the time on a recall's clock: h:mm since it was opened, with a sign where before.
func (r *Recall) Clock(at time.Time) string { return hours(at.Sub(r.OpenedAt)) }

// hours writes a duration as h:mm, with a sign where it is negative.
func hours(d time.Duration) string {
	sign := ""
	if d < 0 {
		sign, d = "-", -d
	}
	m := int(d.Minutes())
	return fmt.Sprintf("%s%d:%02d", sign, m/60, m%60)
}
