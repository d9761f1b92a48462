package papers

import (
	"crypto/sha256"
	"encoding/hex"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"heeltap/lots"
)

const pdf = "%PDF-1.4\nan invented delivery note"

func filesIn(t *testing.T, folder string) (out []string) {
	t.Helper()
	require.NoError(t, filepath.WalkDir(folder, func(path string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			rel, _ := filepath.Rel(folder, path)
			out = append(out, filepath.ToSlash(rel))
		}
		return err
	}))
	return out
}

// The same content is kept once, under its SHA-256, whatever it is called; however many come at once.
func TestTheSameContentIsKeptOnce(t *testing.T) {
	s := Store{filepath.Join(t.TempDir(), "papers")}
	sum := sha256.Sum256([]byte(pdf))
	want := hex.EncodeToString(sum[:])
	var all sync.WaitGroup
	for _, name := range []string{"note.pdf", "C:\\scans\\note.pdf", "../../note.pdf", "a\r\nb.pdf"} {
		all.Go(func() {
			p, err := s.Keep(name, []byte(pdf))
			require.NoError(t, err)
			require.Equal(t, want, p.Hash)
			require.Equal(t, "application/pdf", p.Type)
			require.EqualValues(t, len(pdf), p.Size)
			require.NotContains(t, p.Name, "/")
			require.NotContains(t, p.Name, "\\")
			require.NotContains(t, p.Name, "\n")
		})
	}
	all.Wait()
	require.Equal(t, []string{want[:2] + "/" + want}, filesIn(t, s.Folder))
	data, err := s.Read(want)
	require.NoError(t, err)
	require.Equal(t, pdf, string(data))
	require.True(t, s.Has(want))
}

// What cannot be written whole is not there at all, and what stood there stays.
func TestNothingIsHalfWritten(t *testing.T) {
	s := Store{filepath.Join(t.TempDir(), "papers")}
	sum := sha256.Sum256([]byte(pdf))
	hash := hex.EncodeToString(sum[:])
	inTheWay := filepath.Join(s.Folder, hash[:2], hash)
	require.NoError(t, os.MkdirAll(filepath.Join(inTheWay, "full"), 0o755)) // the file cannot take its place
	_, err := s.Keep("note.pdf", []byte(pdf))
	require.Error(t, err)
	require.Empty(t, filesIn(t, s.Folder), "nothing half written is left")

	require.NoError(t, os.RemoveAll(inTheWay))
	p, err := s.Keep("note.pdf", []byte(pdf))
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(inTheWay, []byte(pdf[:9]), 0o644)) // a copy cut short by somebody else
	_, err = s.Read(p.Hash)
	require.Equal(t, lots.Corrupt, lots.KindOf(err))
	_, err = s.Keep("note.pdf", []byte(pdf))
	require.NoError(t, err, "kept again, it is whole again")
	_, err = s.Read(p.Hash)
	require.NoError(t, err)
}

// A file that is gone is said to be gone, and a name that is no hash opens nothing outside the folder.
func TestAMissingPaperIsSaidPlainly(t *testing.T) {
	s := Store{filepath.Join(t.TempDir(), "papers")}
	_, err := s.Read(strings.Repeat("ab", 32))
	require.Equal(t, lots.NotFound, lots.KindOf(err))
	require.ErrorContains(t, err, "bring it back from a backup")
	for _, bad := range []string{"", "..", "../../etc/passwd", strings.Repeat("A", 64), strings.Repeat("a", 63)} {
		_, err := s.Read(bad)
		require.Equal(t, lots.NotFound, lots.KindOf(err), bad)
		require.False(t, s.Has(bad))
	}
}

func TestWhatIsAPaper(t *testing.T) {
	for data, want := range map[string]string{
		"\xff\xd8\xff\xe0 rest":         "image/jpeg",
		"\x89PNG\r\n\x1a\n rest":        "image/png",
		"RIFF\x10\x00\x00\x00WEBPVP8 ":  "image/webp",
		"\x00\x00\x00\x18ftypheic rest": "image/heic",
		"\x00\x00\x00\x18ftypmp42 rest": "",
		pdf:                             "application/pdf",
		"<html><script>":                "",
		"GIF89a":                        "",
		"<svg xmlns=":                   "",
		"MZ":                            "",
	} {
		require.Equal(t, want, TypeOf([]byte(data)), "%q", data)
	}
	s := Store{filepath.Join(t.TempDir(), "papers")}
	for _, bad := range [][]byte{nil, []byte("<html>"), append([]byte(pdf), make([]byte, Largest)...)} {
		_, err := s.Keep("x", bad)
		require.Equal(t, lots.Invalid, lots.KindOf(err))
	}
	require.NoDirExists(t, s.Folder)
	require.False(t, Shown("image/heic"), "browsers do not show it: it is saved")
}
