package desk

import (
	"fmt"
	"net/mail"
	"net/url"
	"regexp"
	"slices"
	"strings"

	"heeltap/graph/check"
	"heeltap/graph/recall"
	"heeltap/lots"
	"heeltap/lots/store"
)

// SettingAddress is the site's setting of the server's address, put before the code on tags.
const SettingAddress = "address"

// Set writes a setting of the site, or of a party or product; an empty value takes it back. Notes say
// what to know about it.
func Set(tx *store.Tx, of, name, value, reason, by string) (notes []string, err error) {
	if err := checkSetting(tx, of, name, value); err != nil {
		return nil, err
	}
	if err := tx.Set(of, name, value, reason, by); err != nil {
		return nil, err
	}
	if name == recall.SettingMarket && value != "" && !recall.AuthorityKnown(tx, value) {
		notes = append(notes, fmt.Sprintf("no authority is known for market %s: name it with heeltap set site %s%s NAME", value, recall.SettingAuthorityOf, value))
	}
	return notes, tx.Err()
}

// setting is what can be set of one kind of thing.
type setting struct {
	of   lots.Kind // empty: the site
	name string    // ends with a dot where something follows that the one who sets it chooses
	fits func(value string) error
}

var market = regexp.MustCompile(`^[A-Z]{2,3}$`)

// following is what may follow a name that ends with a dot.
var following = map[string]*regexp.Regexp{
	recall.SettingAuthorityOf: market,
	SettingGLN + ".":          regexp.MustCompile(`^[\pL\pN][\pL\pN -]*$`),
	recall.SettingTeam:        regexp.MustCompile(`^[a-z]+(-[a-z]+)*$`),
}

func settings() []setting {
	list := []setting{
		{"", recall.SettingMarket, aMarket},
		{lots.KindParty, recall.SettingMarket, aMarket},
		{lots.KindProduct, recall.SettingMalt, func(v string) error { return oneOf(v, "yes", "no") }},
		{"", SettingAddress, anAddress},
		{"", recall.SettingSenderName, anything},
		{"", recall.SettingSenderAddress, anything},
		{"", recall.SettingSenderPhone, anything},
		{"", recall.SettingSenderEmail, aMailbox},
		{"", store.SettingDecimal, func(v string) error { _, err := lots.ParseDecimal(v); return err }},
		{"", SettingPrefix, aPrefix},
		{"", SettingGLN, aGLN},
		{"", SettingGLN + ".", aGLN},
		{"", SettingReturns, func(v string) error { return oneOf(v, returnsHold, returnsAccept) }},
		{"", recall.SettingAuthorityOf, anything},
		{"", recall.SettingTeam, aMember},
		{"", recall.SettingScope, aCount},
		{"", recall.SettingAccount, aCount},
		{"", recall.SettingAuthority, aCount},
		{"", recall.SettingRemind, aCount},
		{"", recall.SettingTell, aCount},
	}
	for _, l := range check.Limits() {
		list = append(list, setting{"", checkLimit + l.Name, aNumber})
	}
	return list
}

// checkLimit begins the names of the readiness check's limits.
const checkLimit = "check."

func anything(string) error { return nil }

func aMailbox(v string) error {
	if a, err := mail.ParseAddress(v); err != nil || a.Address != v {
		return lots.Errorf(lots.Invalid, "%q is not an e-mail address: write one such as recall@brewery.example", v)
	}
	return nil
}

func aCount(v string) error {
	if n, err := lots.ParseCount(v); err != nil || n == 0 {
		return lots.Errorf(lots.Invalid, "%q is not a whole number above zero", v)
	}
	return nil
}

func aMember(v string) error {
	if _, _, ok := recall.CutNumber(v); !ok {
		return lots.Errorf(lots.Invalid, "%q is not a name and a telephone number: write them with a comma between, such as \"Quint, 555-0100\"", v)
	}
	return nil
}

func aNumber(v string) error {
	if n, err := lots.ParseNumber(v); err != nil || n == 0 {
		return lots.Errorf(lots.Invalid, "%q is not a number above zero", v)
	}
	return nil
}

func aMarket(v string) error {
	if !market.MatchString(v) {
		return lots.Errorf(lots.Invalid, "%q is not a market: write two or three capitals, such as US, EU or UK", v)
	}
	return nil
}

func oneOf(v string, words ...string) error {
	if !slices.Contains(words, v) {
		return lots.Errorf(lots.Invalid, "%q is not one of %s", v, strings.Join(words, ", "))
	}
	return nil
}

func anAddress(v string) error {
	if u, err := url.Parse(v); err != nil || u.Scheme != "http" && u.Scheme != "https" || u.Host == "" {
		return lots.Errorf(lots.Invalid, "%q is not an address: write one such as http://192.168.1.5:8417", v)
	}
	return nil
}

// is reports whether a name is the setting's.
func (s setting) is(name string) bool {
	rest, ok := strings.CutPrefix(name, s.name)
	if strings.HasSuffix(s.name, ".") {
		return ok && following[s.name].MatchString(rest)
	}
	return name == s.name
}

// checkSetting refuses a name that nothing reads, and a value that cannot be meant; an empty one takes back.
func checkSetting(tx *store.Tx, of, name, value string) error {
	kind := lots.Kind("")
	if of != store.SiteSettings {
		thing, ok := tx.Thing(of)
		if !ok {
			return lots.Errorf(lots.NotFound, "nothing is called %q: settings belong to the site, a product or a party", of)
		}
		kind = thing.Kind
	}
	var names []string
	for _, s := range settings() {
		if s.of != kind {
			continue
		}
		names = append(names, s.name)
		if !s.is(name) {
			continue
		}
		if value == "" {
			return nil
		}
		if err := s.fits(value); err != nil {
			return lots.Errorf(lots.Invalid, "%s: %w", name, err)
		}
		return nil
	}
	if len(names) == 0 {
		return lots.Errorf(lots.Invalid, "%s is a %s: settings belong to the site, a product or a party", of, kind)
	}
	near := lots.NearestOf(name, names)
	if len(near) == 0 {
		near = names[:min(len(names), 4)]
	}
	return lots.Errorf(lots.NotFound, "%s has no setting %q; it has %s (heeltap set --help and heeltap check --list show them all)", of, name, strings.Join(near, ", "))
}
