package paper

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// A paper is written in the format that its file's name asks for, whatever its case, and in no other.
func TestFileByItsName(t *testing.T) {
	d := &Document{Title: "Notice", Parts: []Part{Text{Text: "hello"}}}
	for name, begins := range map[string]string{"a.pdf": "%PDF-", "A.PDF": "%PDF-", "a.html": "<!DOCTYPE html>", "a.htm": "<!DOCTYPE html>"} {
		data, err := d.File(name)
		require.NoError(t, err)
		require.True(t, strings.HasPrefix(strings.ToLower(string(data)), strings.ToLower(begins)), "%s: %.30s", name, data)
	}
	data, err := d.File("a.txt")
	require.NoError(t, err)
	require.Contains(t, string(data), "hello")
	for _, name := range []string{"a.docx", "a", ""} {
		_, err := d.File(name)
		require.ErrorContains(t, err, "papers are written as .pdf, .html or .txt")
	}
}
