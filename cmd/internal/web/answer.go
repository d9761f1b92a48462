package web

import (
	"bytes"
	"net/http"
)

// answer is what a request is answered with, held back until all of it is known: a reading may fail after its page was
// written, and whoever reads slowly must not keep a transaction open meanwhile.
type answer struct {
	http.ResponseWriter // its headers are those that are sent
	status              int
	body                bytes.Buffer
}

// WriteHeader says how the answer begins; what was said first stands.
func (a *answer) WriteHeader(status int) {
	if a.status == 0 {
		a.status = status
	}
}

func (a *answer) Write(data []byte) (int, error) { return a.body.Write(data) }

// takeBack forgets what was to be said, so that something else can be.
func (a *answer) takeBack() {
	a.status = 0
	a.body.Reset()
	for _, of := range []string{"Content-Type", "Content-Length", "Content-Disposition", "Location"} {
		a.Header().Del(of)
	}
	a.Header().Set("Content-Security-Policy", policy)
	a.Header().Set("Cache-Control", "no-store")
}

// send sends the answer.
func (a *answer) send() error {
	if a.status != 0 {
		a.ResponseWriter.WriteHeader(a.status)
	}
	_, err := a.body.WriteTo(a.ResponseWriter)
	return err
}
