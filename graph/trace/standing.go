package trace

import (
	"strings"

	"heeltap/lots/store"
)

// OpenHold is a hold that was placed and not released.
type OpenHold struct {
	Codes  []string // of one kind; several where it is not known which
	Since  string
	Reason string
	Entry  int64
}

// Text names what is held.
func (h OpenHold) Text() string { return strings.Join(h.Codes, " or ") }

// OpenHolds lists the holds that stand, in order of their entries.
func OpenHolds(tx *store.Tx) ([]OpenHold, error) {
	list, err := openHolds(tx)
	if err != nil {
		return nil, err
	}
	out := []OpenHold{}
	for _, h := range list {
		out = append(out, OpenHold{h.subject.Codes, h.at.Text(tx.Site().Zone), h.reason, h.entry})
	}
	return out, tx.Err()
}
