// Package files writes files whole or not at all.
package files

import (
	"cmp"
	"os"
	"path/filepath"

	"heeltap/lots"
)

// WriteWhole writes a file that appears whole or not at all; what stood there stays until then.
func WriteWhole(path string, data []byte) error {
	f, err := os.CreateTemp(filepath.Dir(path), ".heeltap-*")
	if err != nil {
		return lots.Errorf(lots.NotFound, "%s cannot be written: %w", path, err)
	}
	_, err = f.Write(data)
	err = cmp.Or(err, f.Chmod(0o644), f.Close())
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		os.Remove(f.Name())
		return lots.Errorf(lots.Invalid, "%s cannot be written: %w", path, err)
	}
	return nil
}
