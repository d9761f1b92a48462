package papers_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"heeltap/graph/recall"
	"heeltap/graph/recall/deliveries"
	"heeltap/graph/recall/papers"
	"heeltap/labels/paper"
	"heeltap/lots"
)

// A copy without contacts tells what was done with which quantities, and of no person; what it is made from stays whole,
// and letters are not made of it.
func TestACopyWithoutContacts(t *testing.T) {
	b := began(t, true)
	b.take(&recall.Told{Party: "D-1", How: "phone", Who: "Ottoline", Reached: true, Text: "will ask Peregrine"},
		&recall.Answered{Party: "D-1", Who: "Ottoline", Text: "Hollyhock found it", Lines: []deliveries.AnswerLine{{Sold: 5}}},
		&recall.PassedOn{Party: "D-1", Accounts: []deliveries.SubAccount{{Name: "Marchbank", Phone: "0700-911", Address: "1 Thistledown", Product: "P24", Quantity: 7}}})
	secrets := []string{"Ottoline", "Peregrine", "Hollyhock", "Marchbank", "0700-911", "Thistledown"}
	report := func(m *papers.Maker) (*paper.Document, error) { return m.Report() }
	bare := func(m *papers.Maker) (*paper.Document, error) { return m.WithoutContacts().Report() }
	whole, copied := b.text(report), b.text(bare)
	says(t, whole, secrets[:5]...) // the address is for letters and tables
	for _, s := range secrets {
		require.NotContains(t, copied, s)
	}
	says(t, copied, "Contacts are left out of this copy", "D-1 notified by phone", "D-1 answered", "5 sold", "D-1 gave its list", "7 cases")
	require.NotContains(t, whole, "left out of this copy")
	b.make(func(m *papers.Maker) {
		c := m.WithoutContacts()
		_, err := c.Letters()
		require.Equal(t, lots.Denied, lots.KindOf(err))
		_, err = c.Letter(papers.ToConsignee, "D-1")
		require.Equal(t, lots.Denied, lots.KindOf(err))
		_, err = c.MergeRows()
		require.Equal(t, lots.Denied, lots.KindOf(err))
		_, err = c.AccountRows()
		require.Equal(t, lots.Denied, lots.KindOf(err))
		d, err := m.Report()
		require.NoError(t, err)
		require.Equal(t, whole, oneLine(t, d), "the copy took nothing from the original")
	})
}
