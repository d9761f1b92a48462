// Package files writes files and folders whole or not at all, on the disk and not only in memory, and for the user it runs as alone.
package files

import (
	"cmp"
	"errors"
	"os"
	"path/filepath"
	"syscall"

	"heeltap/lots"
)

// WriteWhole writes a file that appears whole or not at all; what stood there stays until then.
func WriteWhole(path string, data []byte) error {
	return WriteWith(path, func(f *os.File) error {
		_, err := f.Write(data)
		return err
	})
}

// WriteWith is WriteWhole for what write puts into the file piece by piece.
func WriteWith(path string, write func(f *os.File) error) error {
	f, err := os.CreateTemp(filepath.Dir(path), ".heeltap-*") // with mode 0600, whatever the mask
	if err != nil {
		return Failed(path, err)
	}
	err = cmp.Or(write(f), f.Sync())
	err = cmp.Or(err, f.Close())
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err == nil {
		err = SyncFolder(filepath.Dir(path))
	}
	if err != nil {
		os.Remove(f.Name())
		return Failed(path, err)
	}
	return nil
}

// Failed says why a file cannot be written.
func Failed(path string, err error) error {
	if _, ok := errors.AsType[*lots.Error](err); ok {
		return err
	}
	switch {
	case errors.Is(err, syscall.ENOSPC), errors.Is(err, syscall.EDQUOT):
		return lots.Errorf(lots.Internal, "%s cannot be written: the disk is full", path)
	case errors.Is(err, os.ErrNotExist):
		return lots.Errorf(lots.NotFound, "%s cannot be written: %w", path, err)
	}
	return lots.Errorf(lots.Invalid, "%s cannot be written: %w", path, err)
}

// SyncFolder has a folder's list of files on the disk too.
func SyncFolder(folder string) error {
	d, err := os.Open(folder)
	if err != nil {
		return err
	}
	defer d.Close()
	if err := d.Sync(); err != nil && !errors.Is(err, errors.ErrUnsupported) && !errors.Is(err, syscall.EINVAL) && !os.IsPermission(err) { // not every system can
		return err
	}
	return nil
}

// Full reports whether the disk that a folder is on has no room.
func Full(folder string) bool {
	f, err := os.CreateTemp(folder, ".heeltap-*")
	if err == nil {
		_, err = f.Write(make([]byte, 1<<16))
		err = cmp.Or(err, f.Close(), os.Remove(f.Name()))
	}
	return errors.Is(err, syscall.ENOSPC) || errors.Is(err, syscall.EDQUOT)
}
