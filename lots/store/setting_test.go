package store

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestSettings(t *testing.T) {
	db := create(t)
	require.NoError(t, db.Update(context.Background(), func(tx *Tx) error {
		require.NoError(t, tx.Set(SiteSettings, "market", "US", "", "me"))
		require.NoError(t, tx.Set("D-1", "market", "EU", "their address", "me"))
		require.NoError(t, tx.Set(SiteSettings, "market", "EU", "moved", "me"))
		return tx.Set("D-1", "channel", "x", "", "me")
	}))
	require.NoError(t, db.Update(context.Background(), func(tx *Tx) error {
		require.Equal(t, "EU", tx.Setting(SiteSettings, "market"), "the last value counts")
		require.Empty(t, tx.Setting("D-2", "market"))
		require.Equal(t, map[string]string{"market": "EU", "channel": "x"}, tx.Settings("D-1"))
		require.NoError(t, tx.Set("D-1", "channel", "", "taken back", "me"))
		require.Equal(t, map[string]string{"market": "EU"}, tx.Settings("D-1"))
		require.Error(t, tx.Set("", "market", "US", "", "me"))
		require.Error(t, tx.Set("D-1", "market", "US", "", ""), "nobody set it")
		return nil
	}))
	report, err := db.Audit(context.Background(), func(string) {})
	require.NoError(t, err)
	require.Empty(t, report.Differences)
}
