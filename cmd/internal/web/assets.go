package web

import (
	"crypto/sha256"
	"encoding/hex"
	"io/fs"
	"mime"
	"path"

	"heeltap/lots"
)

// assetVersion tells the assets of one build from those of another.
var assetVersion = versionOf(assets)

func versionOf(files fs.FS) string {
	sum := sha256.New()
	fs.WalkDir(files, ".", func(name string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			data, _ := fs.ReadFile(files, name)
			sum.Write(data)
		}
		return nil
	})
	return hex.EncodeToString(sum.Sum(nil))[:12]
}

// asset sends one of the files that the program holds.
func (s *Server) asset(v *visit) error {
	name := path.Clean(v.r.PathValue("name"))
	data, err := assets.ReadFile("assets/" + name)
	if err != nil {
		return lots.Errorf(lots.NotFound, "there is no file %s", name)
	}
	h := v.w.Header()
	h.Set("Content-Type", mime.TypeByExtension(path.Ext(name)))
	if v.r.PathValue("version") == assetVersion {
		h.Set("Cache-Control", "public, max-age=31536000, immutable")
	}
	_, err = v.w.Write(data)
	return err
}
