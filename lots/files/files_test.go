package files

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// A file appears whole, in place of what stood there; where it cannot be written, what stood there stays
// and nothing is left behind.
func TestWriteWhole(t *testing.T) {
	folder := t.TempDir()
	path := filepath.Join(folder, "a.txt")
	for _, text := range []string{"longer than the next", "next"} {
		require.NoError(t, WriteWhole(path, []byte(text)))
		got, err := os.ReadFile(path)
		require.NoError(t, err)
		require.Equal(t, text, string(got))
	}
	require.Error(t, WriteWhole(filepath.Join(folder, "none", "a.txt"), nil))
	taken := filepath.Join(folder, "taken")
	require.NoError(t, os.MkdirAll(filepath.Join(taken, "inside"), 0o755))
	require.Error(t, WriteWhole(taken, []byte("x")))
	left, err := os.ReadDir(folder)
	require.NoError(t, err)
	require.Len(t, left, 2)
}
