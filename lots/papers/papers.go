// Package papers keeps photos and papers as files in a folder beside the database, each under the SHA-256 of its
// content: the same file is kept once, and none that stands there is ever half written.
package papers

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"unicode"

	"heeltap/lots"
	"heeltap/lots/files"
)

// Largest is how many bytes a paper may have: 20 MB.
const Largest = 20 << 20

// Store is a folder of papers. It is made when the first is kept.
type Store struct{ Folder string }

// PathFor is the folder of the papers that belong to a database file.
func PathFor(db string) string { return filepath.Join(filepath.Dir(db), "heeltap-papers") }

// Paper is what is known of a file: what the journal says of it.
type Paper struct {
	Hash string `json:"hash"` // SHA-256 of its content, in hexadecimal
	Name string `json:"name"` // as whoever attached it called it
	Type string `json:"type"` // its media type, by its content
	Size int64  `json:"size"` // bytes
}

// Keep puts a file into the store, if it is not there already, and says what it is. It is Invalid where it is empty,
// too large, or neither a picture nor a PDF.
func (s Store) Keep(name string, data []byte) (Paper, error) {
	p := Paper{Name: tidy(name), Type: TypeOf(data), Size: int64(len(data))}
	switch {
	case len(data) == 0:
		return p, lots.Errorf(lots.Invalid, "%s is empty: choose the file again", p.Name)
	case len(data) > Largest:
		return p, lots.Errorf(lots.Invalid, "%s has %s MB, and 20 MB is the most: take a smaller picture", p.Name, lots.Figure(float64(len(data))/(1<<20)))
	case p.Type == "":
		return p, lots.Errorf(lots.Invalid, "%s is neither a picture (JPEG, PNG, WebP, HEIC) nor a PDF", p.Name)
	}
	sum := sha256.Sum256(data)
	p.Hash = hex.EncodeToString(sum[:])
	return p, s.write(p.Hash, data)
}

// KeepDocument puts a document of any size into the store as it stands, if it is not there already, under the SHA-256 that it
// must have. It is for what other programs read; people attach pictures and papers with Keep.
func (s Store) KeepDocument(name, mediaType, hash string, in io.ReadSeeker) (Paper, error) {
	p := Paper{Hash: hash, Name: tidy(name), Type: mediaType}
	var err error
	if p.Size, err = in.Seek(0, io.SeekEnd); err == nil {
		_, err = in.Seek(0, io.SeekStart)
	}
	if err != nil {
		return p, lots.Errorf(lots.Internal, "%s cannot be read: %w", p.Name, err)
	}
	if s.Has(hash) {
		return p, nil
	}
	path := s.path(hash)
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return p, lots.Errorf(lots.Internal, "the folder of papers cannot be made: %w", err)
	}
	err = files.WriteWith(path, func(f *os.File) error {
		sum := sha256.New()
		if _, err := io.Copy(io.MultiWriter(f, sum), in); err != nil {
			return err
		}
		if hex.EncodeToString(sum.Sum(nil)) != hash {
			return lots.Errorf(lots.Conflict, "%s changed while it was read: take it in again", p.Name)
		}
		return nil
	})
	if err != nil {
		return p, err
	}
	return p, cmp.Or(files.SyncFolder(s.Folder), files.SyncFolder(filepath.Dir(s.Folder)))
}

// write has a file appear whole, on the disk and not only in memory, or not at all.
func (s Store) write(hash string, data []byte) error {
	path := s.path(hash)
	if have, err := os.ReadFile(path); err == nil && bytes.Equal(have, data) {
		return nil
	}
	folder := filepath.Dir(path)
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return lots.Errorf(lots.Internal, "the folder of papers cannot be made: %w", err)
	}
	if err := files.WriteWhole(path, data); err != nil {
		return lots.Errorf(lots.Internal, "a paper cannot be kept: %w", err)
	}
	return cmp.Or(files.SyncFolder(s.Folder), files.SyncFolder(filepath.Dir(s.Folder)))
}

// Read gives a paper's content. It is NotFound where the file is gone, and Corrupt where it is not what was kept.
func (s Store) Read(hash string) ([]byte, error) {
	if !hashed.MatchString(hash) {
		return nil, lots.Errorf(lots.NotFound, "there is no paper %q", hash)
	}
	data, err := os.ReadFile(s.path(hash))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, lots.Errorf(lots.NotFound, "the file of this paper is not in %s, though the journal knows it: bring it back from a backup of that folder (%s)", filepath.Base(s.Folder), hash)
	}
	if err != nil {
		return nil, lots.Errorf(lots.Internal, "a paper cannot be read: %w", err)
	}
	if sum := sha256.Sum256(data); hex.EncodeToString(sum[:]) != hash {
		return nil, lots.Errorf(lots.Corrupt, "the file of this paper was changed since it was attached: bring it back from a backup of %s (%s)", filepath.Base(s.Folder), hash)
	}
	return data, nil
}

// Has reports whether the store has a paper's file.
func (s Store) Has(hash string) bool {
	if !hashed.MatchString(hash) {
		return false
	}
	_, err := os.Stat(s.path(hash))
	return err == nil
}

var hashed = regexp.MustCompile(`^[0-9a-f]{64}$`)

func (s Store) path(hash string) string { return filepath.Join(s.Folder, hash[:2], hash) }

// longestName is how much is kept of a file's name, in characters.
const longestName = 120

// tidy takes from a name what is no part of it: folders, line ends, and more than a line holds.
func tidy(name string) string {
	name = name[strings.LastIndexAny(name, `/\`)+1:]
	name = strings.TrimSpace(strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || unicode.Is(unicode.Bidi_Control, r) || r == unicode.ReplacementChar {
			return -1
		}
		return r
	}, name))
	if letters := []rune(name); len(letters) > longestName {
		name = string(letters[len(letters)-longestName:])
	}
	return cmp.Or(name, "paper")
}
