// Package files writes files whole or not at all.
package files

import (
	"cmp"
	"errors"
	"io"
	"os"
	"path/filepath"

	"heeltap/lots"
)

// WriteWhole writes a file that appears whole or not at all; what stood there stays until then.
func WriteWhole(path string, data []byte) error {
	return Write(path, func(w io.Writer) error {
		_, err := w.Write(data)
		return err
	})
}

// Write is WriteWhole for what is written piece by piece. An error of the writer's own is returned as it is.
func Write(path string, write func(io.Writer) error) error {
	f, err := os.CreateTemp(filepath.Dir(path), ".heeltap-*")
	if err != nil {
		return lots.Errorf(lots.NotFound, "%s cannot be written: %w", path, err)
	}
	if err := write(f); err != nil {
		f.Close()
		os.Remove(f.Name())
		if _, own := errors.AsType[*os.PathError](err); !own {
			return err
		}
		return lots.Errorf(lots.Invalid, "%s cannot be written: %w", path, err)
	}
	err = cmp.Or(f.Chmod(0o644), f.Close())
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		os.Remove(f.Name())
		return lots.Errorf(lots.Invalid, "%s cannot be written: %w", path, err)
	}
	return nil
}
