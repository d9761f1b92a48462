package main

import (
	"context"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"heeltap/cmd/internal/demo"
	"heeltap/lots/store"
)

func BenchmarkReplay(b *testing.B) {
	history := demo.Brewery()
	for range b.N {
		db, err := store.Create(context.Background(), filepath.Join(b.TempDir(), "demo.db"))
		require.NoError(b, err)
		require.NoError(b, replay(context.Background(), db, history))
		require.NoError(b, db.Close())
	}
}
