package check

import "strings"

// firstFillUnproven folds the lineage's finding, with the command that puts each right.
func firstFillUnproven(b *book) []Hit {
	out := b.folded("first-fill-unproven")
	for i, h := range out {
		for vessel := range b.vessels { // a hose is told of at what was filled through it
			if strings.HasPrefix(h.Text, vessel+" is of ") {
				out[i].Mend = "heeltap clean " + vessel + " --at TIME --method cip, if it was cleaned"
			}
		}
	}
	return out
}
