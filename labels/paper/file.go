package paper

import (
	"bytes"
	"fmt"
	"path/filepath"
	"strings"
)

// File gives the document as the file that a name's ending asks for: .pdf, .html (or .htm) or .txt.
func (d *Document) File(name string) ([]byte, error) {
	var b bytes.Buffer
	var err error
	switch strings.ToLower(filepath.Ext(name)) {
	case ".pdf":
		err = d.PDF(&b)
	case ".html", ".htm":
		err = d.HTML(&b)
	case ".txt":
		err = d.Plain(&b)
	default:
		return nil, fmt.Errorf("%s: papers are written as .pdf, .html or .txt", name)
	}
	return b.Bytes(), err
}
