package trace

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"heeltap/graph"
	"heeltap/lots"
)

// Shipments are summed by consignee and band, with the first and last day; bands are not added up.
func TestByConsignee(t *testing.T) {
	sent := func(party, band, at string, n int64) Shipment {
		return Shipment{Reached: Reached{Band: band}, Consignee: party, Quantity: n, ShippedAt: at}
	}
	a := &Answer{Shipments: []Shipment{sent("D-2", "in", "2026-03-05T08:00:00Z", 4), sent("D-1", "possible", "2026-03-02T08:00:00Z", 1),
		sent("D-1", "in", "2026-03-04T08:00:00Z", 30), sent("D-1", "in", "2026-03-01T08:00:00Z", 50)}}
	require.Equal(t, []ConsigneeSum{
		{"D-1", "in", 2, 80, "2026-03-01T08:00:00Z", "2026-03-04T08:00:00Z"},
		{"D-1", "possible", 1, 1, "2026-03-02T08:00:00Z", "2026-03-02T08:00:00Z"},
		{"D-2", "in", 1, 4, "2026-03-05T08:00:00Z", "2026-03-05T08:00:00Z"}}, a.ByConsignee())
	require.Empty(t, (&Answer{}).ByConsignee())
}

// What was served is summed by vessel and band, over days of the site.
func TestPouredByVessel(t *testing.T) {
	at := func(text string) lots.When {
		w, err := time.Parse(time.RFC3339, text)
		require.NoError(t, err)
		return lots.At(w.Unix())
	}
	east := time.FixedZone("east", 2*60*60)
	list := []Poured{{Vessel: "SV-2", Band: graph.In, ML: 5, At: at("2026-03-01T08:00:00Z")}, {Vessel: "SV-1", Band: graph.In, ML: 100, At: at("2026-03-01T23:00:00Z")},
		{Vessel: "SV-1", Band: graph.Possible, ML: 7, At: at("2026-03-03T08:00:00Z")}, {Vessel: "SV-1", Band: graph.In, ML: 20, At: at("2026-03-04T08:00:00Z")}}
	require.Equal(t, []PouredSum{{"SV-1", "in", 120, "2026-03-02", "2026-03-04"}, {"SV-1", "possible", 7, "2026-03-03", "2026-03-03"},
		{"SV-2", "in", 5, "2026-03-01", "2026-03-01"}}, sumPoured(list, east))
	require.Empty(t, (&Answer{}).PouredByVessel())
}
