package recall

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"

	"heeltap/graph"
	"heeltap/graph/recall/account"
	"heeltap/graph/recall/deliveries"
	"heeltap/graph/recall/internal/words"
	"heeltap/graph/recall/printed"
	"heeltap/graph/recall/scope"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/store"
)

// The settings behind who must be told. A market is a country or union, such as US or EU.
const (
	SettingMarket      = "market"        // of a party, else of the site
	SettingMalt        = "malt-beverage" // of a product: yes where it is made with malted barley and hops, else no
	SettingAuthorityOf = "authority."    // of the site, with a market behind it: the authority there
)

// Authority is one that is concerned, and why.
type Authority struct {
	Market   string   `json:"market"`
	Name     string   `json:"name"`
	Products []string `json:"products"`
	Because  string   `json:"because"`
	Source   string   `json:"source"`
	Told     string   `json:"told"` // when, first; empty where nobody logged it
}

// Notification is who must be told and what they ask for first.
type Notification struct {
	// Recovery is true where nothing left the brewery's control.
	Recovery    bool        `json:"stock_recovery"`
	Authorities []Authority `json:"authorities"`
	Open        []string    `json:"open"` // what has to be settled before it is known who is concerned
	First       []Asked     `json:"first_asked"`
	Proposed    string      `json:"class_proposed"`
	Assigned    string      `json:"class_assigned"`
	Assigner    string      `json:"class_assigned_by"`
}

// Asked is one of the things that an authority asks for first.
type Asked struct {
	What   string `json:"what"`
	Answer string `json:"answer"`
	Source string `json:"source"`
}

// deferral stands under every list of authorities.
const deferral = "Who is concerned and what the law asks is for the authority and counsel to say; this list is where to begin."

// Deferral says that the list of authorities decides nothing.
func Deferral() string { return deferral }

// Notify tells which authorities are concerned by the markets that goods in scope went to.
func (r *Recall) Notify(tx *store.Tx, s *scope.Scope) (*Notification, error) {
	consignees, err := deliveries.Consignees(tx, s)
	if err != nil {
		return nil, err
	}
	n := &Notification{Recovery: !s.HasLeft(tx), Authorities: []Authority{}, Open: []string{}, Proposed: r.Proposed, Assigned: r.Assigned, Assigner: r.Assigner}
	markets := map[string]map[string]bool{} // market to products
	add := func(market, product string) {
		if markets[market] == nil {
			markets[market] = map[string]bool{}
		}
		markets[market][product] = true
	}
	home := tx.Setting(store.SiteSettings, SettingMarket)
	for _, c := range consignees {
		market := cmp.Or(tx.Setting(c.Party, SettingMarket), home)
		for _, l := range c.Lines {
			for _, p := range strings.Split(l.Product, ", ") {
				add(market, p)
			}
		}
		for _, l := range c.Bulk {
			add(market, l.Goods+" in bulk")
		}
	}
	for _, u := range s.Answer.Units {
		for _, p := range u.Parts { // where it was made is always concerned
			add(home, p.Product)
		}
	}
	for _, market := range slices.Sorted(maps.Keys(markets)) {
		if err := r.inMarket(tx, n, market, slices.Sorted(maps.Keys(markets[market]))); err != nil {
			return nil, err
		}
	}
	for _, y := range s.Undecided() {
		n.Open = append(n.Open, fmt.Sprintf("not decided: %s; %s", y.Text(), howToDecide(y.Code)))
	}
	for _, f := range s.Answer.UsesUnknown() {
		n.Open = append(n.Open, f.Text)
	}
	a, err := r.Reconcile(tx, s)
	if err != nil {
		return nil, err
	}
	n.First = r.firstAsked(tx, s, a, consignees)
	return n, tx.Err()
}

// concern is who is to be told in a market, and why.
type concern struct{ authority, because, source string }

// marketUS parts its products among authorities (inUS).
const marketUS = "US"

// concerns are the authorities of the other markets that are known without a setting.
var concerns = map[string]concern{
	"EU": {"competent authority of each member state concerned", "food placed on the market is not in compliance with food safety requirements", "Regulation (EC) 178/2002, Article 19"},
	"UK": {"local authority, and the Food Standards Agency or Food Standards Scotland", "food placed on the market may be unsafe", "Regulation (EC) 178/2002 as retained, Article 19"},
}

// AuthorityKnown reports whether it is known, by law or by the site's setting, whom to tell in a market.
func AuthorityKnown(tx *store.Tx, market string) bool {
	_, known := concerns[strings.ToUpper(market)]
	return known || strings.ToUpper(market) == marketUS || tx.Setting(store.SiteSettings, SettingAuthorityOf+market) != ""
}

// inMarket adds the authorities of one market.
func (r *Recall) inMarket(tx *store.Tx, n *Notification, market string, products []string) error {
	add := func(name, because, source string, products []string) {
		a := Authority{Market: market, Name: name, Products: products, Because: because, Source: source}
		for _, s := range r.Spoke {
			if !s.Asked && strings.EqualFold(s.Authority, name) && a.Told == "" {
				a.Told = lots.RFC3339(s.At.Unix(), tx.Site().Zone)
			}
		}
		n.Authorities = append(n.Authorities, a)
	}
	if named := tx.Setting(store.SiteSettings, SettingAuthorityOf+market); named != "" && market != "" {
		add(named, "set for this site", "the site's own setting", products)
		return nil
	}
	switch known, is := concerns[strings.ToUpper(market)]; {
	case market == "":
		n.Open = append(n.Open, "no market is set for "+strings.Join(products, ", ")+": heeltap set site market US (or EU, UK …), and heeltap set PARTY market … where one differs")
	case strings.ToUpper(market) == marketUS:
		return r.inUS(tx, add, products)
	case is:
		add(known.authority, known.because, known.source, products)
	default:
		n.Open = append(n.Open, fmt.Sprintf("no authority is known for market %s: heeltap set site authority.%s NAME", market, market))
	}
	return nil
}

// inUS parts the products of the US market: malt beverages from the rest.
func (r *Recall) inUS(tx *store.Tx, add func(name, because, source string, products []string), products []string) error {
	var malt, rest, unsure []string
	for _, p := range products {
		is, sure, err := maltBeverage(tx, p)
		if err != nil {
			return err
		}
		if is || !sure { // holes in the records do not decide which authority hears of it
			malt = append(malt, p)
		}
		if !is {
			rest = append(rest, p)
		}
		if !sure {
			unsure = append(unsure, p)
		}
	}
	note := ""
	if len(unsure) > 0 {
		note = fmt.Sprintf(" (for %s by the lots in its lineage alone: settle it with heeltap set PRODUCT malt-beverage yes or no)", strings.Join(unsure, ", "))
	}
	if len(malt) > 0 {
		add("TTB", "leads voluntary recalls of malt beverages, and consults FDA for the health hazard evaluation"+note, "TTB Industry Circular 2017-4", malt)
	}
	if len(rest) > 0 {
		add("FDA", "beer without malted barley or without hops is food under FDA's recall rules"+note, "TTB Industry Circular 2017-4; 21 CFR part 7", rest)
	}
	return nil
}

// maltBeverage reports whether a product is made with malted barley and hops: as set, else
// by whether malt and hop lots stand behind any of its runs.
func maltBeverage(tx *store.Tx, product string) (is, sure bool, err error) {
	switch tx.Setting(product, SettingMalt) {
	case "yes":
		return true, true, nil
	case "no":
		return false, true, nil
	}
	a, err := trace.Ask(tx, trace.Question{Dir: graph.Back, From: []string{"product:" + product}})
	if lots.KindOf(err) == lots.NotFound {
		return false, false, nil // nothing was packed of it
	}
	if err != nil {
		return false, false, err
	}
	kinds := map[string]bool{}
	for _, l := range a.Lots {
		thing, _ := tx.Thing(l.Code)
		kinds[thing.ItemKind] = true
	}
	return kinds["malt"] && kinds["hop"], false, nil
}

func (r *Recall) strategyText() string {
	if r.Strategy == (Strategy{}) {
		return "not decided"
	}
	return strings.TrimPrefix(r.Strategy.text(), "Strategy: ")
}

// firstAsked answers what 21 CFR 7.46(a) asks a firm for.
func (r *Recall) firstAsked(tx *store.Tx, s *scope.Scope, a *account.Account, consignees []deliveries.Consignee) []Asked {
	const source = "21 CFR 7.46(a)"
	codes := map[string][]string{}
	first, last := "", ""
	for _, run := range s.Answer.Runs {
		codes[run.Product] = append(codes[run.Product], run.DateCodes...)
		if x, ok := tx.Run(run.Code); ok {
			day := lots.RFC3339(x.Started.From, tx.Site().Zone)[:10]
			if first == "" || day < first {
				first = day
			}
			last = max(last, day)
		}
	}
	var products []string
	for _, code := range slices.Sorted(maps.Keys(codes)) {
		p := printed.Product(tx, code)
		slices.Sort(codes[code])
		products = append(products, fmt.Sprintf("%s, codes %s", words.NameAndSize(p.Name, printed.Size(p)), strings.Join(slices.Compact(codes[code]), ", ")))
	}
	var accounts []string
	for _, c := range consignees {
		accounts = append(accounts, fmt.Sprintf("%s (%s)", c.Name, c.Party))
	}
	return []Asked{
		{"Identity of the product", strings.Join(products, "; "), source},
		{"Reason, and how and when it was found", words.Join(r.Reason, r.Known, "opened "+lots.RFC3339(r.OpenedAt.Unix(), tx.Site().Zone)), source},
		{"Evaluation of the risk", fmt.Sprintf("hazard: %s (%s). The evaluation is for the responsible person to write", r.Hazard, r.Hazard.Holds()), source},
		{"Total produced, and the time span", fmt.Sprintf("%s in scope, packed %s to %s", words.CasesAndKegs(a.Cases.Produced, a.Kegs.Produced), first, last), source},
		{"Amount distributed", distributed(tx, s, consignees), source},
		{"Direct accounts: number and identity", fmt.Sprintf("%d: %s", len(accounts), strings.Join(accounts, "; ")), source},
		{"Proposed communication", "the letters and press draft of this recall", source},
		{"Proposed strategy", r.strategyText(), source},
		{"Contact", cmp.Or(r.Contact(SenderOf(tx)), r.Lead), source},
	}
}

// distributed says what left the brewery: what consignees received, what they may have received
// besides, and what was served or sold in the taproom.
func distributed(tx *store.Tx, s *scope.Scope, consignees []deliveries.Consignee) string {
	var cases, kegs, maybe, maybeKegs float64
	var kept lots.Packages
	for _, c := range consignees {
		for _, l := range c.Lines {
			if l.First == "" {
				kept.Add(l.Kegs, l.Shipped)
			}
		}
		cases, kegs = cases+c.Cases.Shipped, kegs+c.Kegs.Shipped
		maybe, maybeKegs = maybe+c.Cases.MayBe, maybeKegs+c.Kegs.MayBe
	}
	t := words.CasesAndKegs(cases, kegs)
	if maybe > 0 || maybeKegs > 0 {
		t += ", and up to " + words.CasesAndKegs(maybe, maybeKegs) + " besides, shipped as one of several"
	}
	if !kept.None() {
		t += fmt.Sprintf(" (of that %s counted at two consignees: a correction gave them to the other one, and nobody has signed for that)", kept)
	}
	for _, c := range consignees {
		for _, l := range c.Bulk {
			perhaps := map[bool]string{true: "perhaps "}[l.MayBe]
			t += fmt.Sprintf("; in bulk: %s%s of %s from %s to %s", perhaps, l.Amount(), l.Goods, l.From, c.Party)
		}
	}
	for _, x := range s.Served(tx) {
		t += fmt.Sprintf("; served here: %s %s of %s, %s", lots.Figure(x.Quantity), x.Unit, x.Code, words.Minute(x.At))
	}
	return t
}
