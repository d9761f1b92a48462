package recall

import (
	"cmp"
	"slices"
	"strings"

	"heeltap/lots/store"
)

// The settings of the site that say who sends its letters.
const (
	SettingSenderName    = "sender.name"    // else the site's name
	SettingSenderAddress = "sender.address" // by post
	SettingSenderPhone   = "sender.phone"
	SettingSenderEmail   = "sender.email"
)

// Sender is whoever sends a recall's letters; what nobody set is empty.
type Sender struct{ Name, Address, Phone, Email string }

// SenderOf reads it from the site's settings.
func SenderOf(tx *store.Tx) Sender {
	set := func(name string) string { return strings.TrimSpace(tx.Setting(store.SiteSettings, name)) }
	return Sender{cmp.Or(set(SettingSenderName), tx.Site().Name), set(SettingSenderAddress), set(SettingSenderPhone), set(SettingSenderEmail)}
}

// Contact is whom to call or write to about this recall: as its strategy says, else its lead by the sender's telephone
// and e-mail. It is empty where neither is known: a name alone reaches nobody.
func (r *Recall) Contact(s Sender) string {
	reach := strings.Join(slices.DeleteFunc([]string{s.Phone, s.Email}, func(t string) bool { return t == "" }), ", ")
	if r.Strategy.Contact != "" || reach == "" {
		return r.Strategy.Contact
	}
	return strings.Join(slices.DeleteFunc([]string{r.Lead, reach}, func(t string) bool { return t == "" }), ", ")
}
