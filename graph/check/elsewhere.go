package check

import "strings"

// firstFillUnproven folds the lineage's finding, with the command that puts each right.
func firstFillUnproven(b *book) []Hit {
	out := b.folded("first-fill-unproven")
	for i, h := range out {
		for vessel := range b.vessels { // a hose is told of at what was filled through it
			if strings.HasPrefix(h.Text, vessel+" is of ") {
				out[i].Mend = "record the clean it came with, if it was cleaned: heeltap clean " + vessel + " --method cip --at …"
			}
		}
	}
	return out
}
