package trace

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"heeltap/graph"
	"heeltap/lots"
)

// Shipments are summed by consignee and band, with the first and last day; bands are not added up.
// Cases and kegs are not either.
func TestByConsignee(t *testing.T) {
	sent := func(party, band, at string, n int64) Shipment {
		return Shipment{Reached: Reached{Band: band}, Consignee: party, Quantity: n, ShippedAt: at}
	}
	keg := sent("D-2", "in", "2026-03-05T08:00:00Z", 4)
	keg.Unit = "K-1/R-1"
	a := &Answer{Units: []Unit{{Reached: Reached{Code: "K-1/R-1"}, Kind: "keg"}}, Shipments: []Shipment{keg, sent("D-1", "possible", "2026-03-02T08:00:00Z", 1),
		sent("D-1", "in", "2026-03-04T08:00:00Z", 30), sent("D-1", "in", "2026-03-01T08:00:00Z", 50)}}
	require.Equal(t, []ConsigneeSum{
		{"D-1", "in", 2, lots.Packages{Cases: 80}, "2026-03-01T08:00:00Z", "2026-03-04T08:00:00Z"},
		{"D-1", "possible", 1, lots.Packages{Cases: 1}, "2026-03-02T08:00:00Z", "2026-03-02T08:00:00Z"},
		{"D-2", "in", 1, lots.Packages{Kegs: 4}, "2026-03-05T08:00:00Z", "2026-03-05T08:00:00Z"}}, a.ByConsignee())
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

// Cases and kegs are never one figure: a name that means either is null where there are both.
func TestTotalsKeepCasesAndKegsApart(t *testing.T) {
	both := Total{Units: 3, Cases: 80, Kegs: 2, Shipped: lots.Packages{Cases: 80, Kegs: 1}, Returned: lots.Packages{Kegs: 1}, Affected: lots.Packages{Cases: 40}}
	text, err := json.Marshal(both)
	require.NoError(t, err)
	var got map[string]any
	require.NoError(t, json.Unmarshal(text, &got))
	require.Nil(t, got["shipped"])
	require.Contains(t, got, "shipped")
	require.InDelta(t, 1, got["returned"], 0)
	require.InDelta(t, 40, got["affected"], 0)
	require.InDelta(t, 80, got["of_cases"].(map[string]any)["shipped"], 0)
	require.InDelta(t, 1, got["of_kegs"].(map[string]any)["shipped"], 0)
}
