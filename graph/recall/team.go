package recall

import (
	"cmp"
	"slices"
	"strings"

	"heeltap/lots/store"
)

// SettingTeam begins the names of the site's settings that say who is on the recall team: the role follows, such as
// team.lead, and the value is a name and a telephone number.
const SettingTeam = "team."

// Member is somebody on the recall team.
type Member struct {
	Role  string `json:"role"`
	Name  string `json:"name"`
	Phone string `json:"phone"`
}

// Team lists the recall team: the lead, the deputy, then the others by their roles.
func Team(tx *store.Tx) []Member {
	out := []Member{}
	for name, value := range tx.Settings(store.SiteSettings) {
		role, ok := strings.CutPrefix(name, SettingTeam)
		if !ok {
			continue
		}
		who, phone, _ := CutNumber(value)
		out = append(out, Member{strings.ReplaceAll(role, "-", " "), who, phone})
	}
	rank := func(role string) int {
		if i := slices.Index([]string{"lead", "deputy"}, role); i >= 0 {
			return i
		}
		return 2
	}
	slices.SortFunc(out, func(a, b Member) int {
		return cmp.Or(cmp.Compare(rank(a.Role), rank(b.Role)), cmp.Compare(a.Role, b.Role))
	})
	return out
}

// CutNumber takes apart a name and the telephone number behind its last comma; ok is false where there is no number.
func CutNumber(text string) (name, phone string, ok bool) {
	i := strings.LastIndex(text, ",")
	if i < 0 {
		return strings.TrimSpace(text), "", false
	}
	name, phone = strings.TrimSpace(text[:i]), strings.TrimSpace(text[i+1:])
	digits := 0
	for _, r := range phone {
		if r >= '0' && r <= '9' {
			digits++
		}
	}
	return name, phone, name != "" && digits >= 3
}
