package demo

import (
	"slices"
	"time"
)

// Story is what of the history is worth asking about.
type Story struct {
	Hop       string    // a lot of late hops, used in a few tanks after part of the beer had left them
	DateCode  string    // a can, with its time as printed
	Ends      string    // a lot of can ends that was opened in the middle of a run
	Tags      []string  // lots, a tank, a run, a pallet and a keg to print tags of
	Late      string    // a transfer that was written down weeks late
	LateFrom  string    // the fermenter it left
	KnownAt   time.Time // before that
	KnownCode string    // a brew whose reach it changed
	Recalled  string    // a hop lot to rehearse a recall on, fresh enough that some of it is in the house
	RecallAt  time.Time // the morning after the last entry
}

// Told picks the story out of a history.
func Told(entries []Entry) Story {
	var s Story
	rows := Rows(entries)
	for _, r := range rows {
		switch {
		case r.Sheet.Name == "receipts" && r.Row["item"] == "HOP-LATE" && s.Hop == "" && r.Row["received_at"] > "2025-06":
			s.Hop = r.Row["lot"]
		case r.Sheet.Name == "receipts" && len(s.Tags) < 8 && r.Row["received_at"] > "2026-01":
			s.Tags = append(s.Tags, r.Row["lot"])
		case r.Sheet.Name == "runs" && r.Row["product"] == "PALE-CAN" && r.Row["started_at"] > "2025-11" && s.DateCode == "":
			start, _ := time.Parse("2006-01-02 15:04", r.Row["started_at"])
			s.DateCode = r.Row["date_code"] + "@" + start.Add(72*time.Minute).Format("15:04")
		}
	}
	for _, r := range rows { // the last one that there was time to brew with and pack
		if r.Sheet.Name == "receipts" && r.Row["item"] == "HOP-LATE" && r.Row["received_at"] < "2026-02" {
			s.Recalled = r.Row["lot"]
		}
	}
	last := entries[len(entries)-1].Recorded
	s.RecallAt = time.Date(last.Year(), last.Month(), last.Day()+1, 9, 0, 0, 0, last.Location())
	lots := map[string]string{}
	for _, r := range rows {
		if r.Sheet.Name == "receipts" {
			lots[r.Row["lot"]] = r.Row["item"]
		}
	}
	for _, r := range slices.Backward(rows) {
		switch {
		case r.Sheet.Name == "feeds" && r.Row["since"] != "" && lots[r.Row["from"]] == "END-20" && s.Ends == "" && r.Row["since"] < "2025-12":
			s.Ends = r.Row["from"]
		case r.Sheet.Name == "units" && len(s.Tags) == 8:
			s.Tags = append(s.Tags, r.Row["unit"], r.Row["run"])
		case r.Sheet.Name == "units" && r.Row["kind"] == "keg" && len(s.Tags) == 10:
			s.Tags = append(s.Tags, r.Row["unit"], "FV2")
		}
	}
	for _, e := range entries {
		if e.Sheet == "transfers" && e.Row["out"] == "1.5" {
			s.Late, s.LateFrom, s.KnownAt = e.Row["transfer"], e.Row["from"], e.Recorded.Add(-time.Hour)
			for _, r := range rows {
				if r.Sheet.Name == "brews" && r.Row["into"] == s.LateFrom && r.Row["cast_out_at"] < e.Row["started_at"] {
					s.KnownCode = r.Row["brew"] // the last of them is what the tank held
				}
			}
		}
	}
	return s
}

// Doors lists the codes of the shops and pubs that the brewery supplies itself.
func Doors() []string {
	var out []string
	for _, p := range parties {
		if p[3] == "retailer" || p[3] == "on-premise" {
			out = append(out, p[0])
		}
	}
	return out
}
