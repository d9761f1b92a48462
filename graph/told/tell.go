package told

import (
	"cmp"
	"slices"
	"strconv"
	"strings"
	"time"

	"heeltap/lots"
	"heeltap/lots/store"
)

// Shipped is a shipment as somebody else tells it.
type Shipped struct {
	Entry  int64     `json:"entry"` // of the journal: its number for people
	ID     string    `json:"event"`
	Party  string    `json:"party"`
	Name   string    `json:"name"` // of the party
	At     time.Time `json:"shipped_at"`
	Note   string    `json:"document"` // the delivery note, or whichever paper it names first
	To     string    `json:"to"`       // identifier of who it went to
	ToName string    `json:"to_name"`
	SSCCs  []string  `json:"sscc"`
	Lines  []Line    `json:"lines"`
	Hash   string    `json:"sha256"` // of the document it stood in
	// Over says why it is not expected any more; empty while it is.
	Over string `json:"over"`
	// Event is the event as it came.
	Event string `json:"-"`
}

// folded follows the steps about shipments: the last telling of each counts, unless it was declared in error.
type folded struct {
	order []string
	by    map[string]*Shipped
	wrong map[string]bool
	lots  map[string][]string
	given map[string]string
}

func fold(tx *store.Tx, about string) (*folded, error) {
	f := &folded{by: map[string]*Shipped{}, wrong: map[string]bool{}, lots: map[string][]string{}, given: map[string]string{}}
	err := eachStep(tx, about, func(entry int64, s *step) error {
		switch s.Do {
		case doShipped:
			was := f.by[s.ID]
			if was == nil {
				f.order = append(f.order, s.ID)
			} else {
				entry = was.Entry // its number stays
			}
			f.by[s.ID] = shippedOf(entry, s)
		case doWithdrawn:
			f.wrong[s.ID] = true
		case doReceived:
			f.lots[s.ID] = append(f.lots[s.ID], s.Lots...)
		case doClosed:
			f.given[s.ID] = s.Reason
		}
		return nil
	})
	return f, cmp.Or(err, tx.Err())
}

func shippedOf(entry int64, s *step) *Shipped {
	at, _ := time.Parse(time.RFC3339Nano, s.At)
	x := &Shipped{Entry: entry, ID: s.ID, Party: s.Party, At: at, To: s.To, ToName: s.ToName, SSCCs: append([]string{}, s.SSCCs...), Lines: append([]Line{}, s.Lines...), Hash: s.Hash, Event: s.Event}
	for _, kind := range []string{"desadv", "bol", ""} {
		for _, p := range s.Papers {
			if x.Note == "" && (p.Type == kind || kind == "") {
				x.Note = lastPart(p.ID)
			}
		}
	}
	return x
}

// lastPart is the number of a paper within its identifier.
func lastPart(id string) string {
	if strings.HasPrefix(id, "urn:uuid:") {
		return strings.TrimPrefix(id, "urn:uuid:")
	}
	return id[strings.LastIndexAny(id, ":/")+1:]
}

func (f *folded) finish(tx *store.Tx) []Shipped {
	out := []Shipped{}
	for _, id := range f.order {
		x := *f.by[id]
		x.Name = x.Party
		if p, ok := tx.Party(x.Party); ok {
			x.Name = p.Name
		}
		stands := slices.DeleteFunc(f.lots[id], func(lot string) bool { _, ok := tx.Receipt(lot); return !ok })
		switch {
		case f.wrong[id]:
			x.Over = "declared in error by whoever told it"
		case len(stands) > 0:
			x.Over = "received as " + strings.Join(stands, ", ")
		case f.given[id] != "":
			x.Over = "given up: " + f.given[id]
		}
		out = append(out, x)
	}
	return out
}

// Deliveries lists the deliveries that suppliers told of, in the order in which we were told: those still expected, or all.
// One whose receipts were taken back is expected again.
func Deliveries(tx *store.Tx, all bool) ([]Shipped, error) {
	f, err := fold(tx, aboutDeliveries)
	if err != nil {
		return nil, err
	}
	return slices.DeleteFunc(f.finish(tx), func(x Shipped) bool { return !all && x.Over != "" }), tx.Err()
}

// Delivery finds one by its number, or by its event's identifier.
func Delivery(tx *store.Tx, name string) (*Shipped, error) {
	all, err := Deliveries(tx, true)
	if err != nil {
		return nil, err
	}
	for i := range all {
		if all[i].ID == name || strconv.FormatInt(all[i].Entry, 10) == name {
			return &all[i], nil
		}
	}
	return nil, lots.Errorf(lots.NotFound, "no supplier told of a delivery %q: heeltap expected lists those that are on their way", name)
}

// Received puts on record that a delivery came in as these lots: it is not expected any more.
func Received(tx *store.Tx, x *Shipped, received []string, by string) error {
	_, err := tx.Act(aboutDeliveries, step{Do: doReceived, ID: x.ID, Lots: received}, by)
	return err
}

// GiveUp puts on record why a delivery is not expected any more, though nothing of it came in.
func GiveUp(tx *store.Tx, x *Shipped, reason, by string) error {
	switch {
	case strings.TrimSpace(reason) == "":
		return lots.Errorf(lots.Invalid, "say why delivery %d is not expected any more", x.Entry)
	case x.Over != "":
		return lots.Errorf(lots.Conflict, "delivery %d is not expected any more: %s", x.Entry, x.Over)
	}
	_, err := tx.Act(aboutDeliveries, step{Do: doClosed, ID: x.ID, Reason: reason}, by)
	return err
}

// PassedOn lists the shipments of our goods that a party tells of, but for those it declared in error.
func PassedOn(tx *store.Tx, party string) ([]Shipped, error) {
	f, err := fold(tx, aboutOnward+party)
	if err != nil {
		return nil, err
	}
	return slices.DeleteFunc(f.finish(tx), func(x Shipped) bool { return x.Over != "" }), tx.Err()
}

// Receiver names who a shipment went to: by name where one is known, else by the number or identifier that was told.
func (x *Shipped) Receiver() string {
	switch gln := KeyOf(x.To).GLN; {
	case x.ToName != "":
		return x.ToName
	case gln != "":
		return "location number " + gln
	}
	return cmp.Or(x.To, "not said to whom")
}
