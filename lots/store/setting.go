package store

import (
	"encoding/json"

	"heeltap/lots"
)

// AboutSettings is what the steps that set a value are about.
const AboutSettings = "settings"

// setting is a value that somebody gave to a thing: the site itself, or what a code names.
type setting struct {
	Of     string `json:"of"`
	Name   string `json:"name"`
	Value  string `json:"value"`
	Reason string `json:"reason,omitempty"`
}

// SiteSettings is what the settings of the whole site are set of.
const SiteSettings = "site"

// Set gives a thing a value that no sheet has a column for: of is SiteSettings or a
// code. The last value counts; an empty one takes it back. It changes no record and no lineage.
func (tx *Tx) Set(of, name, value, reason, by string) error {
	if of == "" || name == "" {
		return lots.Errorf(lots.Invalid, "name the setting and what it belongs to")
	}
	_, err := tx.Act(AboutSettings, setting{of, name, value, reason}, by)
	return err
}

// Setting gives the value set for a thing; empty where none is.
func (tx *Tx) Setting(of, name string) string { return tx.Settings(of)[name] }

// Settings gives all values set for a thing, by name.
func (tx *Tx) Settings(of string) map[string]string {
	out := map[string]string{}
	tx.fail(tx.Acts(AboutSettings, func(e *Entry, step []byte) error {
		var s setting
		if err := json.Unmarshal(step, &s); err != nil {
			return lots.Errorf(lots.Corrupt, "entry %d cannot be read: %w", e.Seq, err)
		}
		if s.Of != of {
			return nil
		}
		if out[s.Name] = s.Value; s.Value == "" {
			delete(out, s.Name)
		}
		return nil
	}))
	return out
}
