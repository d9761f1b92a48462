package papers

import (
	"heeltap/graph/recall/scope"
	"heeltap/labels/paper"
)

// Unknown lists why it is not known yet what is affected: fills that suspect yeast came from and nobody has decided
// on, suspect lots whose uses are not recorded, and what was suspected or included and cannot be traced any more. Empty where it is known.
func (m *Maker) Unknown() (items []string) {
	for _, y := range m.s.Undecided() {
		items = append(items, "not decided: "+y.Text())
	}
	for _, f := range m.s.Answer.UsesUnknown() {
		items = append(items, f.Text)
	}
	for _, l := range m.s.Lost {
		if l.What != scope.Exclude && len(l.StandsIn) == 0 {
			items = append(items, "not traced: "+l.What+" "+l.Code+": "+l.Why+"; "+l.Mend())
		}
	}
	return items
}

// leftOut tells the responsible person what a draft may leave out, because it is not known yet.
func (m *Maker) leftOut() []paper.Part {
	unknown := m.Unknown()
	if len(unknown) == 0 {
		return nil
	}
	var items []string
	for _, u := range unknown {
		items = append(items, sentence(u))
	}
	return []paper.Part{paper.Text{Text: "Not everything that is affected is known yet, so this draft may leave something out. Settle this first (heeltap recall scope shows how), then draft again:", Strong: true},
		paper.List{Items: items}}
}
