package printed

import (
	"fmt"
	"strings"

	"heeltap/graph/recall/internal/words"
	"heeltap/lots"
	"heeltap/lots/store"
)

// Product is a product as it is recorded; of one that nobody recorded the code stands for its name.
func Product(tx *store.Tx, code string) *lots.Product {
	if p, ok := tx.Product(code); ok {
		return p
	}
	return &lots.Product{Code: code, Name: code, PerCase: 1}
}

// Size says what one package holds.
func Size(p *lots.Product) string {
	if p.PerCase > 1 {
		return fmt.Sprintf("%d mL, %d to a case", p.ContainerML, p.PerCase)
	}
	if p.ContainerML >= 1000 && p.ContainerML%1000 == 0 {
		return fmt.Sprintf("%d L", p.ContainerML/1000)
	}
	return fmt.Sprintf("%d mL", p.ContainerML)
}

// ProductText names a product and what one package of it holds, without what the name says already.
func ProductText(tx *store.Tx, code string) (name, sizeText string) {
	p := Product(tx, code)
	return p.Name, strings.TrimPrefix(words.NameAndSize(p.Name, Size(p)), p.Name+", ")
}
