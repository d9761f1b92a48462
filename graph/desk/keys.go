package desk

import (
	"cmp"
	"encoding/json"
	"fmt"
	"regexp"
	"slices"
	"strings"

	"heeltap/graph/recall"
	"heeltap/lots"
	"heeltap/lots/gs1"
	"heeltap/lots/store"
)

// The site's settings of its own GS1 numbers.
const (
	SettingPrefix = "gs1.prefix" // the company prefix
	SettingGLN    = "gs1.gln"    // of the brewery; of one of its places, with .PLACE behind it
)

// Numbers of our own are never given twice. Three things see to that, since none alone is enough. The journal keeps what was
// given and every number of ours that any entry ever named, also one that was taken back: that holds over rebuilds, exports
// and imports. A mark beside the database keeps how far we are: that holds where an older backup is brought back in place.
// And where there is no mark though numbers were given, because the database came to another machine, a hundredth of all
// numbers is skipped, for nobody can know how many were given after the backup.

// skipped is the part of a prefix's numbers that is skipped where the mark is missing.
const skipped = 100

// given is the step that a number was given, or met on a row: all that is known of one kind of number of one prefix by then.
type given struct {
	Next   int64      `json:"next"`             // the number that comes next, if no entry names it
	Met    [][2]int64 `json:"met,omitempty"`    // numbers from Next on that entries named, as first and last of stretches, in order
	Number string     `json:"number,omitempty"` // that was given
	To     string     `json:"to,omitempty"`     // whose it is
	Before int64      `json:"before,omitempty"` // the entry of the step before, which this one goes on from
	Why    string     `json:"why,omitempty"`    // numbers were skipped
}

func aboutKeys(kind string, p gs1.Prefix) string { return "own " + kind + " " + string(p) }

// PrefixOf is the site's company prefix; an error says how to set it where there is none.
func PrefixOf(tx *store.Tx) (gs1.Prefix, error) {
	text := tx.Setting(store.SiteSettings, SettingPrefix)
	if text == "" {
		return "", lots.Errorf(lots.Conflict, "no company prefix is set: GS1 licenses one to you, and heeltap set site %s PREFIX says it. Numbers made up without one may be another company's", SettingPrefix)
	}
	p, err := gs1.ParsePrefix(text)
	if err != nil {
		return "", lots.Errorf(lots.Invalid, "%w", err)
	}
	return p, tx.Err()
}

// named finds numbers in entries, by the columns and settings that hold them.
var named = map[string]*regexp.Regexp{
	gs1.SSCC: regexp.MustCompile(`"sscc":"([^"]+)"`),
	gs1.GTIN: regexp.MustCompile(`"gtin":"([^"]+)"`),
	gs1.GLN:  regexp.MustCompile(`"(?:gln|value)":"([^"]+)"`),
}

// known gathers what is known of one kind of our numbers: the last step, and what entries after it named.
func known(tx *store.Tx, kind string, p gs1.Prefix) (k given, err error) {
	about := aboutKeys(kind, p)
	last, step, before, err := tx.LastAct(about)
	if err != nil {
		return k, err
	}
	from := int64(1)
	if last != nil {
		if err := json.Unmarshal(step, &k); err != nil {
			return k, lots.Errorf(lots.Corrupt, "entry %d cannot be read: %w", last.Seq, err)
		}
		from = last.Seq
		if k.Before != before { // it came from another journal, and does not know of the step before it
			from = 1
			if err := tx.Acts(about, func(e *store.Entry, step []byte) error {
				var one given
				if err := json.Unmarshal(step, &one); err != nil {
					return lots.Errorf(lots.Corrupt, "entry %d cannot be read: %w", e.Seq, err)
				}
				k.Next = max(k.Next, one.Next)
				return nil
			}); err != nil {
				return k, err
			}
		}
		before = last.Seq
	}
	var met []int64
	if err := tx.Entries(from, func(e *store.Entry) bool {
		for _, m := range named[kind].FindAllStringSubmatch(e.Body, -1) {
			if n, ok := p.Count(kind, m[1]); ok {
				met = append(met, n)
			}
		}
		return true
	}); err != nil {
		return k, err
	}
	k = given{Next: k.Next, Met: joined(k.Met, met, k.Next), Before: before}
	return k, tx.Err()
}

// joined adds numbers to stretches and leaves out those below next.
func joined(met [][2]int64, more []int64, next int64) (out [][2]int64) {
	all := slices.Clone(met)
	for _, n := range more {
		all = append(all, [2]int64{n, n})
	}
	slices.SortFunc(all, func(a, b [2]int64) int { return cmp.Compare(a[0], b[0]) })
	for _, s := range all {
		if last := len(out) - 1; last >= 0 && s[0] <= out[last][1]+1 {
			out[last][1] = max(out[last][1], s[1])
		} else {
			out = append(out, s)
		}
	}
	return slices.DeleteFunc(out, func(s [2]int64) bool { return s[1] < next })
}

// free is the first number from n on that no entry named.
func (k given) free(n int64) int64 {
	for _, s := range k.Met {
		if n >= s[0] && n <= s[1] {
			n = s[1] + 1
		}
	}
	return n
}

// Give gives something the next number of a kind, and puts on record that it is given. Notes say what to know of it.
func Give(tx *store.Tx, kind, to, by string) (number string, notes []string, err error) {
	p, err := PrefixOf(tx)
	if err != nil {
		return "", nil, err
	}
	k, err := known(tx, kind, p)
	if err != nil {
		return "", nil, err
	}
	mark, stands, err := tx.Mark(aboutKeys(kind, p))
	if err != nil {
		return "", nil, err
	}
	all := p.Capacity(kind)
	next := max(k.Next, mark)
	if k.Next > 0 && !stands {
		jump := max(1, all/skipped)
		next = k.Next + jump
		k.Why = fmt.Sprintf("%d numbers skipped, since nothing beside this database says how far they were given", jump)
		notes = append(notes, fmt.Sprintf("%s: %d numbers of the prefix were skipped, for some of them may stand on labels printed after the backup that this database comes from. If more than that were printed, say heeltap keys resume %s with the highest",
			strings.ToUpper(kind), jump, kind))
	}
	n := k.free(next)
	if n >= all {
		return "", nil, lots.Errorf(lots.Conflict, "prefix %s has no %s left: all %s are given or skipped. Ask GS1 for another prefix, and set it with heeltap set site %s", p, strings.ToUpper(kind), lots.FigureOf(float64(all), ""), SettingPrefix)
	}
	if left := all - n - 1; left < max(10, all/20) && all > 1 {
		notes = append(notes, fmt.Sprintf("%d of the prefix's %s numbers are left after this one: ask GS1 for another prefix in time", left, strings.ToUpper(kind)))
	}
	k.Next, k.Number, k.To = n+1, p.Key(kind, n), to
	k.Met = joined(k.Met, nil, k.Next)
	if _, err := tx.Act(aboutKeys(kind, p), k, by); err != nil {
		return "", nil, err
	}
	tx.RaiseMark(aboutKeys(kind, p), k.Next)
	return k.Number, notes, tx.Err()
}

// Resume says which number of a kind was the highest given: the next ones come after it. It never goes back.
func Resume(tx *store.Tx, kind, number, by string) error {
	p, err := PrefixOf(tx)
	if err != nil {
		return err
	}
	n, ok := p.Count(kind, number)
	if !ok {
		return lots.Errorf(lots.Invalid, "%q is no %s of prefix %s: copy it from the newest label", number, strings.ToUpper(kind), p)
	}
	k, err := known(tx, kind, p)
	if err != nil {
		return err
	}
	mark, _, err := tx.Mark(aboutKeys(kind, p))
	if err != nil {
		return err
	}
	k.Next = max(n+1, k.Next, mark)
	k.Met, k.Why = joined(k.Met, nil, k.Next), "said by hand: "+number+" was given"
	if _, err := tx.Act(aboutKeys(kind, p), k, by); err != nil {
		return err
	}
	tx.RaiseMark(aboutKeys(kind, p), k.Next)
	return tx.Err()
}

// KeysLeft is what is known of one kind of our numbers.
type KeysLeft struct {
	Kind  string `json:"kind"`
	Given int64  `json:"given_or_skipped"`
	Left  int64  `json:"left"`
	Next  string `json:"next"` // empty where none is left
}

// KeysOf says for each kind how many numbers of the prefix are given and left.
func KeysOf(tx *store.Tx) (p gs1.Prefix, out []KeysLeft, err error) {
	if p, err = PrefixOf(tx); err != nil {
		return "", nil, err
	}
	for _, kind := range gs1.KeyKinds() {
		k, err := known(tx, kind, p)
		if err != nil {
			return "", nil, err
		}
		mark, stands, err := tx.Mark(aboutKeys(kind, p))
		if err != nil {
			return "", nil, err
		}
		all, next := p.Capacity(kind), max(k.Next, mark)
		if k.Next > 0 && !stands {
			next = k.Next + max(1, all/skipped)
		}
		n := min(k.free(next), all)
		one := KeysLeft{Kind: kind, Given: n, Left: all - n}
		if n < all {
			one.Next = p.Key(kind, n)
		}
		out = append(out, one)
	}
	return p, out, tx.Err()
}

// ownSSCC gives a pallet or keg filling that is packed without an SSCC one of ours, where the site has a prefix. A further
// row of a unit goes with the number that the unit has. A stack never leaves as one, so it gets none.
func ownSSCC(tx *store.Tx, s *lots.Sheet, row lots.Row, by string) (notes []string, err error) {
	if s.Name != "units" || row["sscc"] != "" || row["kind"] == "stack" || row["unit"] == "" || tx.Setting(store.SiteSettings, SettingPrefix) == "" {
		return nil, tx.Err()
	}
	if _, there := tx.Thing(row["unit"]); there {
		return nil, tx.Err()
	}
	number, notes, err := Give(tx, gs1.SSCC, row["unit"], by)
	if e, ok := err.(*lots.Error); ok && e.Kind == lots.Conflict { // the pallet is packed all the same
		return []string{row["unit"] + " has no SSCC: " + e.Error()}, nil
	}
	if err != nil {
		return nil, err
	}
	row["sscc"] = number
	return append(notes, row["unit"]+" has SSCC "+number), nil
}

// GiveKey gives what a code names its GS1 number by an amendment: a product its GTIN, a pallet or keg filling its SSCC, a
// place of our own its GLN. A party's own number, which it got from its own company, is given as text; then only its check
// digit is judged. What has a number keeps it.
func GiveKey(tx *store.Tx, code, text, by string) (number string, notes []string, err error) {
	thing, ok := tx.Thing(code)
	if !ok {
		return "", nil, lots.Errorf(lots.NotFound, "nothing is called %q: numbers are for products, pallets, kegs and parties", code)
	}
	rows, err := tx.RowsOf(code)
	if err != nil {
		return "", nil, err
	}
	kinds := map[lots.Kind]string{lots.KindProduct: gs1.GTIN, lots.KindUnit: gs1.SSCC, lots.KindParty: gs1.GLN}
	kind, ok := kinds[thing.Kind]
	if !ok {
		return "", nil, lots.Errorf(lots.Invalid, "%s is a %s: numbers are for products, pallets, kegs and parties", code, thing.Kind)
	}
	for _, r := range rows {
		if has := r.Row[kind]; has != "" {
			return "", nil, lots.Errorf(lots.Conflict, "%s has %s %s already: labels carry it, so it stays", code, strings.ToUpper(kind), has)
		}
	}
	if len(rows) == 0 {
		return "", nil, lots.Errorf(lots.NotFound, "%s has no row", code)
	}
	switch {
	case text != "":
		if err := keyFits(kind, text); err != nil {
			return "", nil, err
		}
		number = text
	case kind == gs1.GLN && rows[0].Row["channel"] != "own" && rows[0].Row["role"] != "own":
		return "", nil, lots.Errorf(lots.Invalid, "%s is another company: ask it for its GLN and give that with --number. Ours are for places of our own (role or channel own)", code)
	default:
		if number, notes, err = Give(tx, kind, code, by); err != nil {
			return "", nil, err
		}
	}
	_, err = Amend(tx, Change{Name: code, Entry: rows[0].Seq, Reason: "its GS1 number", By: by}, map[string]string{kind: number})
	return number, notes, err
}

// keyFits judges a number that somebody else gave.
func keyFits(kind, text string) error {
	if kind == gs1.GLN {
		if err := gs1.CheckKey(kind, text); err != nil {
			return lots.Errorf(lots.Invalid, "%w", err)
		}
		return nil
	}
	if n, ok := gs1.Read(text); !ok || n.Kind != kind || !n.Valid() {
		return lots.Errorf(lots.Invalid, "%q is no %s: a digit is wrong or missing", text, strings.ToUpper(kind))
	}
	return nil
}

// GiveSiteGLN gives the brewery, or one of its places by name, a GLN of ours and keeps it as a setting.
func GiveSiteGLN(tx *store.Tx, place, by string) (number string, notes []string, err error) {
	name := SettingGLN
	if place != "" {
		name += "." + place
	}
	if has := tx.Setting(store.SiteSettings, name); has != "" {
		return "", nil, lots.Errorf(lots.Conflict, "it has GLN %s already", has)
	}
	if err := checkSetting(tx, store.SiteSettings, name, ""); err != nil {
		return "", nil, err
	}
	if number, notes, err = Give(tx, gs1.GLN, cmp.Or(place, "the brewery"), by); err != nil {
		return "", nil, err
	}
	more, err := Set(tx, store.SiteSettings, name, number, "given from our prefix", by)
	return number, append(notes, more...), err
}

func aPrefix(v string) error {
	if _, err := gs1.ParsePrefix(v); err != nil {
		return lots.Errorf(lots.Invalid, "%w", err)
	}
	return nil
}

func aGLN(v string) error { return keyFits(gs1.GLN, v) }

// Senders are the lines that say on a logistic label who packed it.
func Senders(tx *store.Tx) []string {
	out := []string{cmp.Or(tx.Setting(store.SiteSettings, recall.SettingSenderName), tx.Site().Name)}
	if a := tx.Setting(store.SiteSettings, recall.SettingSenderAddress); a != "" {
		out = append(out, a)
	}
	return out
}
