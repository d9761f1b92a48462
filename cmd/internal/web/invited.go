package web

import (
	"net"
	"net/url"
	"strconv"
	"strings"

	"heeltap/cmd/internal/people"
	"heeltap/graph/desk"
	"heeltap/labels"
	"heeltap/lots"
	"heeltap/lots/store"
)

// invite adds a person and shows the link by which they set their password, once.
func (s *Server) invite(v *visit) error {
	page := peopleView{Name: v.field("name"), Login: v.field("login"), Role: people.Role(v.field("role"))}
	token, p, err := s.People.Invite(v.ctx, v.session.Person, page.Name, page.Login, page.Role)
	if err != nil {
		if isInternal(err) {
			return err
		}
		page.Said = err.Error()
		v.begin(err)
		return s.showPeople(v, page)
	}
	return s.showLink(v, p, token)
}

// newLink shows a new link by which a person sets a new password.
func (s *Server) newLink(v *visit) error {
	p, err := s.personAt(v)
	if err != nil {
		return err
	}
	token, err := s.People.Reset(v.ctx, v.session.Person, p.ID)
	if err != nil {
		return s.personAgain(v, err)
	}
	return s.showLink(v, p, token)
}

type linkView struct {
	people.Person
	Address, Token, Until string
	OnlyHere              bool // it leads to this machine, and nobody else's gets there
}

func (s *Server) showLink(v *visit, p people.Person, token string) error {
	zone, err := s.zone(v)
	if err != nil {
		return err
	}
	base, err := s.address(v)
	if err != nil {
		return err
	}
	u, err := url.Parse(base)
	if err != nil {
		return err
	}
	page := linkView{p, base + "/welcome/" + token, token, stamp(s.People.Now().Add(s.People.Good), zone), isLoopback(u.Host)}
	return s.show(v, "link", "A link for "+p.Name, page)
}

// address is where other people's browsers find this server: where whoever asks found it, or where tags point if that is this very machine.
func (s *Server) address(v *visit) (string, error) {
	scheme := "http"
	if s.Secure {
		scheme = "https"
	}
	here := scheme + "://" + v.r.Host
	if !isLoopback(v.r.Host) {
		return here, nil
	}
	err := s.view(v, func(tx *store.Tx) error {
		if tags, err := url.Parse(tx.Setting(store.SiteSettings, desk.SettingAddress)); err == nil && tags.Host != "" {
			here = tags.Scheme + "://" + tags.Host
		}
		return nil
	})
	return here, err
}

func isLoopback(host string) bool {
	if h, _, err := net.SplitHostPort(host); err == nil {
		host = h
	}
	host = strings.Trim(host, "[]")
	return host == "localhost" || net.ParseIP(host).IsLoopback()
}

// linkPicture draws a one-time link that is still good, for a telephone to scan.
func (s *Server) linkPicture(v *visit) error {
	token := v.field("token")
	if _, err := s.People.Holder(v.ctx, token); err != nil {
		return err
	}
	base, err := s.address(v)
	if err != nil {
		return err
	}
	qr, err := labels.NewQR(base+"/welcome/"+token, 80)
	if err != nil {
		return lots.Errorf(lots.Invalid, "this address is too long for a picture: %w", err)
	}
	v.w.Header().Set("Content-Type", "image/svg+xml")
	_, err = v.w.Write([]byte(drawn(qr)))
	return err
}

// drawn writes a code as a picture: dark on white, whatever the page's colours.
func drawn(qr labels.QR) string {
	var b strings.Builder
	side := strconv.Itoa(qr.Side + 2*qr.Quiet)
	b.WriteString(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 ` + side + ` ` + side + `" shape-rendering="crispEdges"><rect width="` + side + `" height="` + side + `" fill="#fff"/><path fill="#000" d="`)
	for _, bar := range qr.Bars {
		n := strconv.Itoa(bar.N)
		b.WriteString("M" + strconv.Itoa(bar.X+qr.Quiet) + " " + strconv.Itoa(bar.Y+qr.Quiet) + "h" + n + "v1h-" + n + "z")
	}
	b.WriteString(`"/></svg>`)
	return b.String()
}
