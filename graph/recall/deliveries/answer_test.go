package deliveries_test

import (
	"strings"
	"testing"

	"heeltap/graph/recall/deliveries"
)

// A list that is read names somebody on every row, in quantities that can be.
func FuzzReadAccounts(f *testing.F) {
	f.Add("name,quantity,unit\nThe Kittiwake,4,case\n")
	f.Add("\ufeffName ,PHONE\n\"a\nb\",1\n")
	f.Add("name\n\n")
	f.Add("name,quantity\na,NaN\n")
	f.Fuzz(func(t *testing.T, text string) {
		list, err := deliveries.ReadAccounts(strings.NewReader(text))
		if (err == nil) == (len(list) == 0) {
			t.Fatalf("%d accounts and %v", len(list), err)
		}
		for _, a := range list {
			if a.Name == "" || !(a.Quantity >= 0 && a.Quantity <= 1e9) {
				t.Fatalf("%+v", a)
			}
		}
	})
}
