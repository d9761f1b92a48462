package web

import (
	"net"
	"net/http"
	"slices"
	"strings"

	"heeltap/lots/papers"
)

// What one request may send: forms, and forms with a photo or a paper.
const (
	mostForm = 256 << 10
	mostFile = 3*papers.Largest + mostForm
)

// policy lets a page load what this server itself holds and nothing else, run no script written into it, and be
// shown in no other page.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

// fenced puts on every answer what keeps other sites out, and refuses what does not come from a page of ours.
func (s *Server) fenced(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "same-origin")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Cache-Control", "no-store")
		if !s.ours(r.Host) {
			http.Error(w, "This server does not answer to that name. Whoever runs it can allow it with --host.", http.StatusMisdirectedRequest)
			return
		}
		if !slices.Contains([]string{http.MethodGet, http.MethodHead}, r.Method) && !fromOurPage(r) {
			http.Error(w, "This did not come from one of our pages, and nothing was recorded. Open the page again and send it from there.", http.StatusForbidden)
			return
		}
		next.ServeHTTP(w, r)
	})
}

// ours reports whether a request names this server: a page elsewhere whose name was pointed here does not.
func (s *Server) ours(host string) bool {
	name := host
	if h, _, err := net.SplitHostPort(host); err == nil {
		name = h
	}
	name = strings.Trim(strings.ToLower(name), "[]")
	return slices.Contains(s.Hosts, name)
}

// fromOurPage reports whether a browser says that a request comes from a page of this server: what the standard
// library's protection refuses is refused, and so is what it lets pass because no browser spoke (neither header is
// there) or no page sent it (it was typed by hand). Every browser in use sends one of the two with a form.
func fromOurPage(r *http.Request) bool {
	site, origin := r.Header.Get("Sec-Fetch-Site"), r.Header.Get("Origin")
	return new(http.CrossOriginProtection).Check(r) == nil && site != "none" && (site != "" || origin != "")
}
