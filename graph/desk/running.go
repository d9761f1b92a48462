package desk

import (
	"cmp"
	"encoding/json"
	"slices"
	"strconv"
	"time"

	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/datecode"
	"heeltap/lots/store"
)

// A run is recorded while it goes on: its row says what is known so far, from its start to the last thing entered
// about it, with as many good containers as hang on units. Each act below puts that right by a correction, so that
// a question asked in mid-run is answered with what has been packed by then.

// runStep is the journal's word that a run began or ended on a line.
type runStep struct {
	Do  string `json:"do"` // begin or end
	Run string `json:"run"`
}

func aboutLine(line string) string { return "line " + line }

// Start is what is known when a run begins.
type Start struct {
	Run      string // its code; proposed if empty
	Line     string
	Product  string
	DateCode string
	At       string   // now if empty
	Feeds    []string // tanks, lots and units; A|B for one of several
	By       string
	Override string
}

// Begin starts a run on a line, with its feeds.
func Begin(tx *store.Tx, s Start) (run string, said []*Said, err error) {
	line, err := CodeOf(tx, s.Line, lots.KindLine)
	if err != nil {
		return "", nil, err
	}
	if on, going := RunningOn(tx, line); going {
		return "", nil, lots.Errorf(lots.Conflict, "run %s is still going on %s: stop it first", on.Code(), line)
	}
	if len(s.Feeds) == 0 {
		return "", nil, lots.Errorf(lots.Invalid, "say what feeds the run: the tank, and the lots of cans, ends, labels and whatever else is on the line")
	}
	at, err := momentOr(tx, s.At)
	if err != nil {
		return "", nil, err
	}
	row := lots.Row{"run": s.Run, "product": s.Product, "line": line, "started_at": clock(tx, at), "ended_at": clock(tx, at+60), "date_code": s.DateCode, "good": "0", "rejects": "0"}
	first, err := recordIn(tx, "runs", row, s.By, s.Override)
	if err != nil {
		return "", nil, err
	}
	run = *first.Code
	said = append(said, first)
	for _, feed := range s.Feeds {
		one, err := recordIn(tx, "feeds", lots.Row{"run": run, "from": feed}, s.By, s.Override)
		if err != nil {
			return "", nil, err
		}
		said = append(said, one)
	}
	_, err = tx.Act(aboutLine(line), runStep{"begin", run}, s.By)
	first.Text = Sentence(tx, first.Entry) // it goes on only now
	return run, said, err
}

// recordIn records a row of a sheet by its name.
func recordIn(tx *store.Tx, sheet string, row lots.Row, by, override string) (*Said, error) {
	s, _ := lots.SheetNamed(sheet)
	for name, text := range row {
		if text == "" {
			delete(row, name)
		}
	}
	return Record(tx, Act{Sheet: s, Row: row, By: by, Override: override})
}

// momentOr reads a time of day or a moment; now, to the minute, where nothing is typed.
func momentOr(tx *store.Tx, text string) (int64, error) {
	if text == "" {
		return tx.Recorded().Unix() / 60 * 60, nil
	}
	w, _, err := lots.ParseWhenAt(text, tx.Site().Zone, tx.Recorded())
	if err != nil {
		return 0, lots.Errorf(lots.Invalid, "%w", err)
	}
	if !w.Certain() {
		return 0, lots.Errorf(lots.Invalid, "%s is a day: give the time too, such as 09:30", text)
	}
	return w.From, nil
}

func clock(tx *store.Tx, unix int64) string {
	return time.Unix(unix, 0).In(tx.Site().Zone).Format(time.RFC3339)
}

// Running is a run that goes on.
type Running struct {
	*lots.Run
	Began *store.Entry
}

// RunningOn finds the run that goes on on a line.
func RunningOn(tx *store.Tx, line string) (*Running, bool) {
	var on Running
	code := ""
	if err := tx.Acts(aboutLine(line), func(e *store.Entry, step []byte) error {
		var s runStep
		if err := json.Unmarshal(step, &s); err != nil {
			return lots.Errorf(lots.Corrupt, "entry %d cannot be read: %w", e.Seq, err)
		}
		if code, on.Began = s.Run, e; s.Do != "begin" {
			code = ""
		}
		return nil
	}); err != nil || code == "" {
		return nil, false
	}
	run, ok := tx.Run(code)
	on.Run = run
	return &on, ok // taken back since: nothing goes on
}

// going finds a run that goes on, by its code.
func going(tx *store.Tx, code string) (*lots.Run, error) {
	run, ok := tx.Run(code)
	if !ok {
		return nil, lots.Errorf(lots.NotFound, "there is no run %s", code)
	}
	if on, ok := RunningOn(tx, run.Line); !ok || on.Code() != code {
		return nil, lots.Errorf(lots.Conflict, "run %s has ended: correct its entries if something is missing", code)
	}
	return run, nil
}

// Code is the run's.
func (r *Running) Code() string { return r.Run.Run }

// FedBy is one feed of a run.
type FedBy struct {
	Entry    int64
	From     lots.Ref
	Name     string // of the item, or what the tank is
	ItemKind string // of a lot
	Since    int64
	Until    int64 // 0 while it goes on
}

// FeedsOf lists what feeds a run, those that go on first.
func FeedsOf(tx *store.Tx, run string) []FedBy {
	var out []FedBy
	for _, rec := range tx.Touching(run) {
		f, ok := rec.(*lots.Feed)
		if !ok || f.Run != run {
			continue
		}
		x := FedBy{Entry: f.Seq, From: f.From, Since: trace.FedAt(tx, f).From}
		if f.HasUntil {
			x.Until = f.Until.From
		}
		if thing, ok := tx.Thing(f.From.Code()); ok {
			x.ItemKind = thing.ItemKind
		}
		if r, ok := tx.Receipt(f.From.Code()); ok {
			x.Name = nameOf(tx, r.Item)
		}
		out = append(out, x)
	}
	slices.SortStableFunc(out, func(a, b FedBy) int {
		return cmp.Or(cmp.Compare(min(a.Until, 1), min(b.Until, 1)), cmp.Compare(a.Since, b.Since))
	})
	return out
}

// ChangeFeed records that a run went over from one feed to another at a moment: the entry of the feed that
// ended, or 0 where something is fed besides.
func ChangeFeed(tx *store.Tx, run string, ended int64, from, at, by, override string) ([]*Said, error) {
	r, err := going(tx, run)
	if err != nil {
		return nil, err
	}
	moment, err := momentOr(tx, at)
	if err != nil {
		return nil, err
	}
	if moment < r.Started.From {
		return nil, lots.Errorf(lots.Invalid, "the run began at %s, after that", clock(tx, r.Started.From)[11:16])
	}
	if err := goOn(tx, r, moment+60, 0, by); err != nil {
		return nil, err
	}
	if ended != 0 {
		rec, _ := tx.Record(ended)
		if f, ok := rec.(*lots.Feed); !ok || f.Run != run {
			return nil, lots.Errorf(lots.Invalid, "entry %d is no feed of run %s", ended, run)
		}
		if _, err := Amend(tx, Change{Name: strconv.FormatInt(ended, 10), Reason: "changed in mid-run", By: by}, map[string]string{"until": clock(tx, moment)}); err != nil {
			return nil, err
		}
	}
	said, err := recordIn(tx, "feeds", lots.Row{"run": run, "from": from, "since": clock(tx, moment)}, by, override)
	if err != nil {
		return nil, err
	}
	return []*Said{said}, nil
}

// goOn carries a run's row on to a moment, and to as many good containers as hang on units and more come to.
func goOn(tx *store.Tx, r *lots.Run, until, more int64, by string) error {
	set := map[string]string{}
	if until > r.Ended.From {
		set["ended_at"] = clock(tx, until)
	}
	if good := onUnits(tx, r.Run) + more; good > r.Good {
		set["good"] = strconv.FormatInt(good, 10)
	}
	if len(set) == 0 {
		return nil
	}
	_, err := Amend(tx, Change{Name: r.Run, Reason: "the run goes on", By: by}, set)
	return err
}

// onUnits is how many containers of a run hang on pallets and kegs.
func onUnits(tx *store.Tx, run string) int64 {
	sum := int64(0)
	for _, rec := range tx.Touching(run) {
		if p, ok := rec.(*lots.Packed); ok && p.Run == run {
			sum += p.Quantity * perCase(tx, run)
		}
	}
	return sum
}

func perCase(tx *store.Tx, run string) int64 {
	if r, ok := tx.Run(run); ok {
		if p, ok := tx.Product(r.Product); ok {
			return max(1, p.PerCase)
		}
	}
	return 1
}

// Off is a pallet, stack or keg as it comes off the line.
type Off struct {
	Unit, Kind, Quantity, Place, SSCC string
	WashedAt, Washer                  string // of a keg
	At                                string // its last container; now if empty
	By                                string
}

// TakeOff records a unit of a run that goes on. Its window runs from where the unit before it ended.
func TakeOff(tx *store.Tx, run string, o Off) (*Said, error) {
	r, err := going(tx, run)
	if err != nil {
		return nil, err
	}
	at, err := momentOr(tx, o.At)
	if err != nil {
		return nil, err
	}
	quantity, err := strconv.ParseInt(o.Quantity, 10, 64)
	if err != nil || quantity < 1 {
		return nil, lots.Errorf(lots.Invalid, "%q is no number of cases: count what stands on it", o.Quantity)
	}
	since := lastOff(tx, run, r.Started.From)
	if at < since {
		return nil, lots.Errorf(lots.Invalid, "the one before came off at %s: this one cannot have been full before that", clock(tx, since)[11:16])
	}
	if err := goOn(tx, r, max(at, r.Started.From+60), quantity*perCase(tx, run), o.By); err != nil {
		return nil, err
	}
	row := lots.Row{"unit": o.Unit, "kind": cmp.Or(o.Kind, "pallet"), "run": run, "quantity": o.Quantity, "place": o.Place, "sscc": o.SSCC,
		"washed_at": o.WashedAt, "washer": o.Washer, "first_at": clock(tx, since), "last_at": clock(tx, max(at, since))}
	return recordIn(tx, "units", row, o.By, "")
}

// lastOff is when the last unit of a run came off; its start where none has.
func lastOff(tx *store.Tx, run string, start int64) int64 {
	last := start
	for _, rec := range tx.Touching(run) {
		if p, ok := rec.(*lots.Packed); ok && p.Run == run && p.HasLast {
			last = max(last, p.Last.From)
		}
	}
	return last
}

// End is what is counted when a run is over.
type End struct{ At, Good, Rejects, By string }

// EndRun ends a run with its counts.
func EndRun(tx *store.Tx, run string, e End) (*Corrected, error) {
	r, err := going(tx, run)
	if err != nil {
		return nil, err
	}
	at, err := momentOr(tx, e.At)
	if err != nil {
		return nil, err
	}
	if last := lastOff(tx, run, r.Started.From); at < last {
		return nil, lots.Errorf(lots.Invalid, "something came off the line at %s: the run cannot have ended before that", clock(tx, last)[11:16])
	}
	if e.Good == "" {
		return nil, lots.Errorf(lots.Invalid, "count the good containers: %d hang on pallets and kegs so far", onUnits(tx, run))
	}
	at = max(at, r.Started.From+60)
	set := map[string]string{"ended_at": clock(tx, at), "good": e.Good, "rejects": cmp.Or(e.Rejects, "0")}
	if r.Ended.From == at {
		delete(set, "ended_at")
	}
	out, err := Amend(tx, Change{Name: run, Reason: "the run ended", By: e.By}, set)
	if err != nil {
		return nil, err
	}
	_, err = tx.Act(aboutLine(r.Line), runStep{"end", run}, e.By)
	return out, err
}

// CodeFor is what a product's pattern prints at a moment on a line; empty without a pattern that can be read.
func CodeFor(tx *store.Tx, product, line string, at time.Time) string {
	p, ok := tx.Product(product)
	if !ok {
		return ""
	}
	pattern, err := datecode.Parse(p.DateCode)
	if p.DateCode == "" || err != nil {
		return ""
	}
	return pattern.Recorded(datecode.Moment{Packed: at.In(tx.Site().Zone), ShelfLifeDays: p.ShelfLifeDays, Line: line, Product: product})
}

// PartsBefore lists the kinds of packaging part that the product's last run was fed with, by name: what
// has to be on the line again. The lots are not among it: they are scanned, never taken over.
func PartsBefore(tx *store.Tx, product string) []string {
	var last *lots.Run
	for _, rec := range tx.Touching(product) {
		if r, ok := rec.(*lots.Run); ok && r.Product == product && (last == nil || r.Started.From > last.Started.From) {
			last = r
		}
	}
	if last == nil {
		return nil
	}
	var out []string
	for _, f := range FeedsOf(tx, last.Run) {
		if f.Name != "" && !slices.Contains(out, f.Name) {
			out = append(out, f.Name)
		}
	}
	return out
}
