package desk

import (
	"encoding/json"

	"heeltap/graph/inquiry"
	"heeltap/graph/recall"
	"heeltap/lots/sheet"
	"heeltap/lots/store"
)

// Steps gives what was done that no sheet has a column for, as files that an export puts beside the sheets: settings,
// recalls, inquiries, and all other steps.
func Steps(tx *store.Tx) ([]sheet.Beside, error) {
	all, err := tx.Steps()
	if err != nil {
		return nil, err
	}
	recalls, err := recall.All(tx)
	if err != nil {
		return nil, err
	}
	of := map[string]string{store.AboutSettings: "settings.json", inquiry.AboutInquiries: "inquiries.json"}
	for _, r := range recalls {
		of[r.Code] = "recalls.json"
	}
	files := map[string][]store.Step{}
	for _, s := range all {
		name, ok := of[s.About]
		if !ok {
			name = "steps.json"
		}
		files[name] = append(files[name], s)
	}
	var out []sheet.Beside
	for _, name := range sheet.Besides {
		if len(files[name]) == 0 {
			continue
		}
		data, err := json.MarshalIndent(files[name], "", "  ")
		if err != nil {
			return nil, err
		}
		out = append(out, sheet.Beside{Name: name, Data: append(data, '\n')})
	}
	return out, nil
}
