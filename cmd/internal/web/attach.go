package web

import (
	"io"
	"mime"
	"mime/multipart"
	"net/http"
	"strings"

	"heeltap/graph/desk"
	"heeltap/labels"
	"heeltap/lots"
	"heeltap/lots/papers"
	"heeltap/lots/store"
)

var attachRoutes = []route{
	{Method: "GET", Pattern: "/attach", Right: "record", do: (*Server).attachPage},
	{Method: "POST", Pattern: "/attach", Right: "record", Large: true, do: (*Server).attach},
	{Method: "GET", Pattern: "/paper/{hash}", Right: "look", do: (*Server).paper},
	{Method: "POST", Pattern: "/detach", Right: "correct", do: (*Server).detach},
}

// filePolicy lets a file load and run nothing.
const filePolicy = "default-src 'none'; form-action 'none'; base-uri 'none'; frame-ancestors 'none'"

// policyFor is filePolicy in a sandbox. A PDF is drawn by the browser's own reader, apart from our pages, and some
// browsers show none in a sandbox.
func policyFor(mediaType string) string {
	if mediaType == "application/pdf" {
		return filePolicy + "; style-src 'unsafe-inline'; object-src 'self'"
	}
	return filePolicy + "; sandbox"
}

// papersOf keeps the files that were sent along, and finds those that were kept before; said tells what could not be.
func (s *Server) papersOf(v *visit) (kept []papers.Paper, said []string) {
	for _, text := range v.r.Form["kept"] {
		hash, name, _ := strings.Cut(text, " ")
		data, err := s.Papers.Read(hash)
		if err != nil {
			said = append(said, name+" is not here any more: attach it again")
			continue
		}
		kept = append(kept, papers.Paper{Hash: hash, Name: name, Type: papers.TypeOf(data), Size: int64(len(data))})
	}
	if v.r.MultipartForm == nil {
		return kept, said
	}
	for _, h := range v.r.MultipartForm.File["paper"] {
		p, err := s.keep(h)
		switch {
		case lots.KindOf(err) == lots.Internal && err != nil:
			s.Log.Error("paper not kept", "error", err.Error())
			said = append(said, h.Filename+" could not be kept: tell whoever runs the server")
		case err != nil:
			said = append(said, err.Error())
		default:
			kept = append(kept, p)
		}
	}
	return kept, said
}

// keep puts one file that was sent into the store.
func (s *Server) keep(h *multipart.FileHeader) (papers.Paper, error) {
	f, err := h.Open()
	if err != nil {
		return papers.Paper{}, err
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, papers.Largest+1))
	if err != nil {
		return papers.Paper{}, err
	}
	return s.Papers.Keep(h.Filename, data)
}

type attachForm struct {
	Token, Back string
	Code        string
	Papers      []papers.Paper
	Said        []string
}

func (s *Server) attachPage(v *visit) error {
	return s.show(v, "attach", "Attach a photo or paper", attachForm{Token: newToken(), Back: back(v.r.Referer()), Code: labels.ParsePayload(v.field("code"))})
}

// attach keeps photos and papers of a thing, and puts on record that they are its.
func (s *Server) attach(v *visit) error {
	f := attachForm{Token: v.field("form"), Back: back(v.field("back")), Code: v.field("code")}
	f.Papers, f.Said = s.papersOf(v)
	if len(f.Papers) == 0 && len(f.Said) == 0 {
		f.Said = []string{"Choose a photo or a paper."}
	}
	if len(f.Said) > 0 {
		return s.attachAgain(v, f)
	}
	return s.recordOnce(v, f.Token, func(tx *store.Tx) (*outcome, error) {
		code, err := desk.Subject(tx, f.Code)
		if err != nil {
			return nil, err
		}
		out := &outcome{Title: "Attached"}
		for _, p := range f.Papers {
			if _, err := desk.Attach(tx, code, p, v.by()); err != nil {
				return nil, err
			}
			out.Texts = append(out.Texts, p.Name+" is kept with "+code)
		}
		out.goTo(tx, &code)
		return out, nil
	}, func(why error) error {
		f.Token, f.Said = tokenAfter(v, why), []string{onPage(why.Error())}
		return s.attachAgain(v, f)
	})
}

func (s *Server) attachAgain(v *visit, f attachForm) error {
	v.w.WriteHeader(http.StatusUnprocessableEntity)
	return s.show(v, "attach", "Attach a photo or paper", f)
}

// detach takes a photo or paper off a thing to which it does not belong.
func (s *Server) detach(v *visit) error {
	return s.recordOnce(v, v.field("form"), func(tx *store.Tx) (*outcome, error) {
		code := v.field("code")
		p, err := desk.AttachedTo(tx, code, v.field("hash"))
		if err != nil {
			return nil, err
		}
		if !v.mayCorrect(p.By) {
			return nil, lots.Errorf(lots.Denied, "%s was attached by %s: ask them, or somebody in quality, to take it off", p.Name, p.By)
		}
		if err := desk.Detach(tx, code, p.Hash, v.field("reason"), v.by()); err != nil {
			return nil, err
		}
		out := &outcome{Title: "Taken off", Texts: []string{p.Name + " is no longer shown with " + code + ". The file and the journal keep that it was."}}
		out.goTo(tx, &code)
		return out, nil
	}, func(why error) error { return why })
}

// paper sends a photo or paper that is kept.
func (s *Server) paper(v *visit) error {
	hash := v.r.PathValue("hash")
	data, err := s.Papers.Read(hash)
	if lots.KindOf(err) == lots.Corrupt { // what to do about it is for whoever looks for the paper
		s.Log.Error("paper is not what was attached", "path", v.spot(), "error", err.Error())
		v.w.Header().Set("Content-Type", "text/html; charset=utf-8")
		v.w.WriteHeader(http.StatusInternalServerError)
		return s.show(v, "fail", "Not the paper that was attached", failPage{What: err.Error(), Then: "Nothing else is harmed. Tell whoever runs the server what it says here."})
	}
	if err != nil {
		return err
	}
	kind := papers.TypeOf(data)
	name := hash[:12] + papers.Ending(kind)
	if of := v.field("of"); of != "" {
		if err := s.view(v, func(tx *store.Tx) error {
			known, err := desk.PapersOf(tx, of)
			for _, p := range known.Attached {
				if p.Hash == hash {
					name = p.Name
				}
			}
			return err
		}); err != nil {
			return err
		}
	}
	return s.sendFile(v, kind, name, papers.Shown(kind), data)
}

// disposition says under which name a file is saved, and whether it is shown first.
func disposition(name string, shown bool) string {
	how := "attachment"
	if shown {
		how = "inline"
	}
	return mime.FormatMediaType(how, map[string]string{"filename": name})
}
