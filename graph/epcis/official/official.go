// Package official finds the official files of EPCIS, which are not ours to pass on: for tests only.
package official

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"
)

const unset = "HEELTAP_STANDARDS names no folder with the official files"

// folder is the one that HEELTAP_STANDARDS names; empty where none is, which fails where HEELTAP_CI is set.
func folder(t require.TestingT) string {
	at := os.Getenv("HEELTAP_STANDARDS")
	if at == "" {
		require.Empty(t, os.Getenv("HEELTAP_CI"), unset)
	}
	return at
}

// Folder is the folder with the standards' own files. Where there is none the test is skipped.
func Folder(t testing.TB) string {
	t.Helper()
	at := folder(t)
	if at == "" {
		t.Skip(unset + ": nothing is compared with them")
	}
	return at
}

// Schema is the EPCIS 2.0 JSON Schema, with formats judged; nil where there is no folder with it.
func Schema(t require.TestingT) *jsonschema.Schema {
	at := folder(t)
	if at == "" {
		return nil
	}
	s, err := compiled(filepath.Join(at, "epcis", "EPCIS-JSON-Schema.json"))
	require.NoError(t, err)
	return s
}

var (
	mu   sync.Mutex
	read = map[string]*jsonschema.Schema{} // by path
)

func compiled(path string) (*jsonschema.Schema, error) {
	mu.Lock()
	defer mu.Unlock()
	if s := read[path]; s != nil {
		return s, nil
	}
	c := jsonschema.NewCompiler()
	c.AssertFormat()
	c.UseRegexpEngine(expression)
	s, err := c.Compile(path)
	if err == nil {
		read[path] = s
	}
	return s, err
}

// notBefore is an expression that begins with what must not stand there: the schema uses those, and Go has none.
type notBefore struct {
	*regexp.Regexp
	text string
}

func (n notBefore) MatchString(s string) bool { return !n.Regexp.MatchString(s) }
func (n notBefore) String() string            { return n.text }

// expression reads an expression of the schema.
func expression(text string) (jsonschema.Regexp, error) {
	if rest, ok := strings.CutPrefix(text, "^(?!"); ok && strings.HasSuffix(rest, ")") {
		re, err := regexp.Compile("^(?:" + strings.TrimSuffix(rest, ")") + ")")
		return notBefore{re, text}, err
	}
	return regexp.Compile(text)
}
