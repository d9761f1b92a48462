package trace

import (
	"cmp"
	"maps"
	"slices"
	"strings"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/store"
)

// The kinds a question can name with kind:code, beside the kinds of code itself.
const (
	kindFill        = "fill"
	kindSupplierLot = store.PrintedSupplierLot
	kindDateCode    = store.PrintedDateCode
	kindSSCC        = store.PrintedSSCC
	kindDocument    = store.PrintedDocument
	kindKeg         = store.PrintedKeg
	kindClean       = "clean"
)

var kinds = []string{
	string(lots.KindLot), kindSupplierLot, string(lots.KindBrew), string(lots.KindVessel), kindFill, string(lots.KindRun), kindDateCode,
	string(lots.KindUnit), kindSSCC, kindKeg, string(lots.KindShipment), kindDocument, string(lots.KindLine), string(lots.KindTransfer),
	string(lots.KindReturn), string(lots.KindItem), string(lots.KindProduct), string(lots.KindParty), kindClean,
}

// reading is one way to understand a text, with a time or without.
type reading struct {
	kind, code string
	at         *moment
}

func (r reading) String() string {
	if r.at != nil {
		return r.kind + ":" + r.code + "@" + r.at.text
	}
	return r.kind + ":" + r.code
}

// takesTime reports whether a kind can be narrowed to a time.
func takesTime(kind string) bool {
	switch kind {
	case string(lots.KindVessel), string(lots.KindRun), string(lots.KindLine), kindDateCode, kindKeg:
		return true
	}
	return false
}

// resolver turns what a person asks for into where a walk starts.
type resolver struct {
	tx   *store.Tx
	dir  graph.Direction
	site lots.Site
	// literal takes a text only for what is recorded so, but for its case and outer spaces: one that
	// was put down before must not come to mean something else.
	literal bool
	// parted never joins digits that marks part in a code: what is recorded about FV11 must not be recorded about FV-1-1.
	parted bool
}

// resolve understands one text: a code, a text as printed, kind:code, each perhaps with @ and a
// time; else what it is but for spacing, marks, and words and a time of day around it.
func (r *resolver) resolve(text string) (*target, error) {
	text = strings.TrimSpace(text)
	readings, loose, err := r.meanings(text)
	if err != nil {
		return nil, err
	}
	t, chosen, err := r.choose(text, readings)
	if err != nil {
		return nil, err
	}
	if loose {
		t.read = chosen.String()
		r.tx.NoteReading(text, t.read)
	}
	return t, nil
}

// meanings lists what a text can mean in the closest way that means anything; loose where it is not
// recorded just so. What is recorded goes before any other way to read it.
func (r *resolver) meanings(text string) (found []reading, loose bool, err error) {
	if text == "" {
		return nil, false, lots.Errorf(lots.Invalid, "give a code, such as a lot, a date code or a pallet")
	}
	kind, code := splitKind(text)
	var timeFault error
	for _, exact := range []bool{true, false} {
		readings, err := r.readings(code, kind, exact)
		timeFault = cmp.Or(timeFault, err)
		if len(readings) == 0 && kind != "" && exact { // a label may print LOT:4711
			readings = r.known(text, "", true, nil)
		}
		if len(readings) > 0 {
			return readings, false, nil
		}
	}
	if _, gone := r.tx.TakenBack(code); !gone && !r.literal { // a code taken back is not another one
		if found = r.interpret(code, kind); len(found) > 0 {
			return found, true, nil
		}
	}
	if timeFault != nil {
		return nil, false, lots.Errorf(lots.Invalid, "%s: %w", text, timeFault)
	}
	return nil, false, r.unknown(code, kind)
}

// splitKind takes kind:code apart where the first part is a kind, however it is written.
func splitKind(text string) (kind, code string) {
	before, after, ok := strings.Cut(text, ":")
	if !ok {
		return "", text
	}
	plain := func(s string) string {
		return strings.NewReplacer("-", "", "_", "", " ", "", "'", "").Replace(strings.ToLower(s))
	}
	for _, k := range kinds {
		if plain(k) == plain(before) {
			return k, strings.TrimSpace(after)
		}
	}
	return "", text
}

// readings lists what a text can mean. The error tells of an @ with no time behind it.
func (r *resolver) readings(text, kind string, exact bool) ([]reading, error) {
	found := r.known(text, kind, exact, nil)
	base, when, ok := cutLast(text, "@")
	if !ok {
		return found, nil
	}
	at, err := parseMoment(when, r.site.Zone)
	if err != nil {
		return found, err
	}
	return append(found, r.known(base, kind, exact, at)...), nil
}

func cutLast(s, sep string) (before, after string, ok bool) {
	i := strings.LastIndex(s, sep)
	if i < 0 {
		return s, "", false
	}
	return s[:i], s[i+len(sep):], true
}

// known looks a text up among codes, derived fills and printed texts.
func (r *resolver) known(text, kind string, exact bool, at *moment) []reading {
	var found []reading
	add := func(k, code string) {
		if (kind == "" || kind == k) && (at == nil || takesTime(k)) && !slices.Contains(found, reading{k, code, at}) {
			found = append(found, reading{k, code, at})
		}
	}
	codes := []string{text}
	if !exact {
		codes = r.tx.Alike(text)
	}
	for _, code := range codes {
		if _, k, ok := r.tx.Introduces(code); ok {
			add(string(k), code)
		}
	}
	if exact && at == nil {
		for _, n := range r.tx.NodesNamed(text) {
			if n.Kind == graph.Fill {
				add(kindFill, text)
			}
		}
	}
	for _, p := range r.tx.PrintedAs(text, exact) {
		add(p.Kind, p.Text)
	}
	if exact && (kind == kindClean || kind == "" && at == nil && len(found) == 0) {
		found = append(found, r.cleansNamed(text, kind, at)...)
	}
	return found
}

// choose takes the only thing meant, or says what the text could mean.
func (r *resolver) choose(text string, readings []reading) (*target, reading, error) {
	var targets []*target
	var distinct []reading
	var fault error
	for _, reading := range readings {
		t, err := r.target(reading)
		if err != nil {
			fault = cmp.Or(fault, err)
			continue
		}
		if !slices.ContainsFunc(targets, t.same) {
			targets = append(targets, t)
			distinct = append(distinct, reading)
		}
	}
	switch len(targets) {
	case 0:
		return nil, reading{}, fault
	case 1:
		return targets[0], distinct[0], nil
	}
	names := make([]string, len(distinct))
	for i, d := range distinct {
		names[i] = d.String()
	}
	return nil, reading{}, ambiguous(text, names)
}

// ambiguous says what a text could mean, each in the form that means it alone.
func ambiguous(text string, names []string) error {
	return lots.Errorf(lots.Conflict, "%s could mean %s: give one of those instead", text, strings.Join(names, " or "))
}

// target is where a walk starts, and how that is told.
type target struct {
	read      string // kind:code that the text was read as, where it is not recorded just so
	from      []From
	starts    []start
	runs      map[string]graph.Band // runs meant that are no starts themselves: their units of some time are
	shipments map[int64]bool        // rows of shipments asked for
	notes     []Finding             // what has to be said of the start
}

// start is one node a walk starts at; of names the run by which a unit was meant.
type start struct {
	store.Node
	possible bool
	of       string
}

// same reports whether two targets start alike, so that it does not matter which was meant.
func (t *target) same(o *target) bool {
	return slices.EqualFunc(t.starts, o.starts, func(a, b start) bool { return a.ID == b.ID && a.possible == b.possible }) &&
		maps.Equal(t.runs, o.runs) && maps.Equal(t.shipments, o.shipments)
}

// add makes a thing and its nodes part of the start.
func (t *target) add(kind, code string, possible bool, nodes ...store.Node) {
	t.mention(kind, code, possible)
	for _, n := range nodes {
		t.addStart(start{Node: n, possible: possible})
	}
}

// mention puts a thing on the list of what the trace started at, once and with its surer band.
func (t *target) mention(kind, code string, possible bool) {
	band := sureness(possible)
	for i, f := range t.from {
		if f.Kind == kind && f.Code == code {
			if band == graph.In {
				t.from[i].Band = band.String()
			}
			return
		}
	}
	t.from = append(t.from, From{Kind: kind, Code: code, Band: band.String()})
}

// at says which true time of a thing is meant.
func (t *target) at(code, text string) {
	for i := range t.from {
		if t.from[i].Code == code && text != "" {
			t.from[i].At = text
		}
	}
}

// say puts in words what a start is.
func (t *target) say(kind, code, text string) {
	for i, f := range t.from {
		if f.Kind == kind && f.Code == code && text != "" {
			t.from[i].Text = text
		}
	}
}

func (t *target) merge(o *target) {
	for _, f := range o.from {
		t.mention(f.Kind, f.Code, f.Band != graph.In.String())
		t.at(f.Code, f.At)
		t.say(f.Kind, f.Code, f.Text)
	}
	for _, s := range o.starts {
		t.addStart(s)
	}
	for run, band := range o.runs {
		t.meanRun(run, band)
	}
	for entry := range o.shipments {
		t.ask(entry)
	}
	t.notes = append(t.notes, o.notes...)
}

func (t *target) addStart(s start) {
	i := slices.IndexFunc(t.starts, func(o start) bool { return o.ID == s.ID })
	if i < 0 {
		t.starts = append(t.starts, s)
	} else if t.starts[i].possible && !s.possible {
		t.starts[i] = s
	}
}

func (t *target) meanRun(run string, band graph.Band) {
	if t.runs == nil {
		t.runs = map[string]graph.Band{}
	}
	t.runs[run] = max(t.runs[run], band)
}

func (t *target) ask(entry int64) {
	if t.shipments == nil {
		t.shipments = map[int64]bool{}
	}
	t.shipments[entry] = true
}

// sorted puts starts and what they stand for in order, so that an answer does not depend on how it was found.
func (t *target) sorted() *target {
	slices.SortFunc(t.from, func(a, b From) int { return cmp.Or(cmp.Compare(a.Code, b.Code), cmp.Compare(a.Kind, b.Kind)) })
	slices.SortFunc(t.starts, func(a, b start) int { return cmp.Or(cmp.Compare(a.Code, b.Code), cmp.Compare(a.Kind, b.Kind)) })
	return t
}
