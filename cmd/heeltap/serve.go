package main

import (
	"cmp"
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"net/url"
	"os"
	"os/signal"
	"strings"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"heeltap/cmd/internal/people"
	"heeltap/cmd/internal/web"
	"heeltap/graph/desk"
	"heeltap/lots"
	"heeltap/lots/papers"
	"heeltap/lots/store"
)

// mostInMemory is how many bytes the lineage may take in memory while pages are served: about three million links.
const mostInMemory = 512 << 20

// serving is how the pages are served.
type serving struct {
	listen    string
	hosts     []string
	cert, key string
	plain     bool
	backup    keeping
	personas  []web.Persona // of the demo
	story     bool          // the demo's clock goes on where its story ends
	patience  time.Duration // how long a page waits for what takes long; 0: a moment
}

func (e *env) serveCommand() *cobra.Command {
	var o serving
	cmd := &cobra.Command{
		Use:   "serve",
		Short: "Serve the pages to browsers in the house",
		Long: `Serve the records as pages: for the dock, the cellar, the line, the loading bay and the office. Nothing is loaded
from elsewhere and nothing is sent elsewhere.

It listens on this machine alone until --listen names another address. Beyond this machine passwords must not travel
in the clear: give a certificate (--cert, --key), or put up with it by saying --plain-http. The first start prints a
link that makes the first account; it works once and for a day.

What went into what is kept in memory, up to 512 MB (about three million links); more than that is read from the file each time.`,
		Example: `  heeltap serve
  heeltap serve --listen :8417 --host brewhouse.lan --cert house.pem --key house.key --backup /mnt/nas/heeltap`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return e.serve(cmd.Context(), o) },
	}
	cmd.Flags().StringVar(&o.listen, "listen", "127.0.0.1:8417", "address and port to listen on")
	cmd.Flags().StringSliceVar(&o.hosts, "host", nil, "a name that browsers know this machine by (repeatable; the names of --listen and of the tags' address are known)")
	cmd.Flags().StringVar(&o.cert, "cert", "", "certificate chain for TLS (PEM)")
	cmd.Flags().StringVar(&o.key, "key", "", "its private key (PEM)")
	cmd.Flags().BoolVar(&o.plain, "plain-http", false, "serve beyond this machine without TLS: whoever is on the network can read passwords")
	o.backup.flags(cmd, "backup")
	return cmd
}

func (e *env) serve(ctx context.Context, o serving) (err error) {
	if (o.cert == "") != (o.key == "") {
		return lots.Errorf(lots.Invalid, "give both --cert and --key")
	}
	db, err := e.open(ctx)
	if err != nil {
		return err
	}
	defer func() { err = cmp.Or(err, db.Close()) }()
	db.KeepInMemory(mostInMemory)
	if o.story {
		if db.Now, err = afterTheStory(ctx, db, e.now); err != nil {
			return err
		}
	}
	book, err := people.Open(ctx, people.PathFor(e.path()))
	if err != nil {
		return err
	}
	defer func() { err = cmp.Or(err, book.Close()) }()
	listener, err := net.Listen("tcp", o.listen)
	if err != nil {
		return lots.Errorf(lots.Invalid, "nothing can listen on %s: %w", o.listen, err)
	}
	secure := o.cert != ""
	if !secure && !o.plain && !loopback(listener.Addr()) {
		listener.Close()
		return lots.Errorf(lots.Invalid, "%s can be reached from other machines, and passwords would cross the network in the clear: give --cert and --key, or --plain-http if you accept that", listener.Addr())
	}
	hosts, err := e.hosts(ctx, db, o, listener.Addr())
	if err != nil {
		return err
	}
	server := &web.Server{DB: db, People: book, Hosts: hosts, Secure: secure, Demo: o.personas, Papers: papers.Store{Folder: papers.PathFor(e.path())}, Address: e.getenv("HEELTAP_ADDRESS"), Story: o.story, Patience: o.patience,
		Log: slog.New(slog.NewTextHandler(e.errOut, &slog.HandlerOptions{Level: slog.LevelWarn}))}
	defer server.Close()
	handler, err := server.Handler()
	if err != nil {
		return err
	}
	if err := e.tellServing(ctx, book, listener.Addr(), hosts, secure, o); err != nil {
		return err
	}
	stop, err := e.backUpDaily(ctx, o.backup, server.Log)
	if err != nil {
		return err
	}
	defer stop()
	return listenUntilStopped(ctx, server.HTTP(handler), listener, o)
}

// listenUntilStopped serves until it is told to stop, then lets what is being recorded finish.
func listenUntilStopped(ctx context.Context, srv *http.Server, listener net.Listener, o serving) error {
	ctx, stop := signal.NotifyContext(ctx, os.Interrupt, syscall.SIGTERM)
	defer stop()
	done := make(chan error, 1)
	go func() {
		if o.cert == "" {
			done <- srv.Serve(listener)
			return
		}
		srv.TLSConfig = &tls.Config{MinVersion: tls.VersionTLS12}
		done <- srv.ServeTLS(listener, o.cert, o.key)
	}()
	select {
	case err := <-done:
		return lots.Errorf(lots.Invalid, "the pages can no longer be served: %w", err)
	case <-ctx.Done():
	}
	last, cancel := context.WithTimeout(context.Background(), 20*time.Second)
	defer cancel()
	if err := srv.Shutdown(last); err != nil && !errors.Is(err, context.DeadlineExceeded) {
		return err
	}
	return nil
}

func loopback(addr net.Addr) bool {
	tcp, ok := addr.(*net.TCPAddr)
	return ok && tcp.IP.IsLoopback()
}

// hosts are the names that the server answers to: those given, this machine's, and that of the tags.
func (e *env) hosts(ctx context.Context, db *store.DB, o serving, addr net.Addr) ([]string, error) {
	hosts := append([]string{"localhost", "127.0.0.1", "::1"}, o.hosts...)
	if tcp, ok := addr.(*net.TCPAddr); ok && !tcp.IP.IsUnspecified() {
		hosts = append(hosts, tcp.IP.String())
	}
	address := e.getenv("HEELTAP_ADDRESS")
	if err := db.View(ctx, func(tx *store.Tx) error {
		address = cmp.Or(address, tx.Setting(store.SiteSettings, desk.SettingAddress))
		return nil
	}); err != nil {
		return nil, err
	}
	if u, err := url.Parse(address); err == nil && u.Hostname() != "" {
		hosts = append(hosts, u.Hostname())
	}
	for i := range hosts {
		hosts[i] = strings.ToLower(hosts[i])
	}
	return hosts, nil
}

// tellServing says where the pages are, and how the first person gets in.
func (e *env) tellServing(ctx context.Context, book *people.Book, addr net.Addr, hosts []string, secure bool, o serving) error {
	scheme := map[bool]string{true: "https", false: "http"}[secure]
	host := addr.String()
	if tcp, ok := addr.(*net.TCPAddr); ok && tcp.IP.IsUnspecified() {
		host = net.JoinHostPort(hosts[len(hosts)-1], fmt.Sprint(tcp.Port))
	}
	base := scheme + "://" + host
	e.printf("The pages are at %s (stop with Ctrl-C).\n", base)
	if !secure && !loopback(addr) {
		e.note("without TLS whoever is on this network can read passwords and change what is sent")
	}
	empty, err := book.Empty(ctx)
	if err != nil || !empty {
		return err
	}
	token, err := book.SetupToken(ctx)
	if err != nil {
		return err
	}
	e.printf("Nobody has an account yet. Make the first, which may do everything, at\n  %s/setup/%s\nThe link works once, until tomorrow.\n", base, token)
	return nil
}
