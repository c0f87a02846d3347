package main

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"os"
	"os/signal"
	"sync"
	"syscall"
	"time"

	"afterbeam/internal/access"
	"afterbeam/internal/httpapi"
	"afterbeam/internal/settings"
)

// The times of a running service.
const (
	anchorEvery = 5 * time.Minute
	stopWithin  = 20 * time.Second
	// escalateEvery is how often overdue asks are looked for: their days are counted by date.
	escalateEvery = 15 * time.Minute
)

type serveCommand struct{ configOption }

// Run serves until it is told to stop, then lets requests and jobs under way end.
func (v *serveCommand) Run(c console) error {
	s, err := v.settings()
	if err != nil {
		return fmt.Errorf("%w: %w", errUsage, err)
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	logger, err := logTo(c.err, s.Log.Level)
	if err != nil {
		return err
	}
	w, err := assemble(ctx, s, logger, toServe)
	if err != nil {
		return err
	}
	if err := w.offerSetup(ctx, c); err != nil {
		return errors.Join(err, w.close())
	}
	return errors.Join(w.run(ctx, func(address string) {
		logger.Info("serving", "address", address, "version", programVersion())
	}), w.close())
}

// offerSetup prints the one-time setup token while there is no account. Nothing else shows it, and a new start makes it
// anew.
func (w *works) offerSetup(ctx context.Context, c console) error {
	secret := access.NewSecret()
	offered, err := w.db.OfferSetup(ctx, secret.Hash)
	if err != nil || !offered {
		return err
	}
	_, err = fmt.Fprintf(c.out, `There is no account yet. Make the first one, an administrator, with this one-time setup token:
  %s
  curl -X POST -H "Authorization: Bearer %s" -H "Content-Type: application/json" -d '{"name":"first admin"}' %s/v1/setup
`, secret.Text, secret.Text, reachedAt(w.settings.HTTP))
	return err
}

// reachedAt gives the address under which the interface is asked from its own machine. A certificate is for a name that
// only the site knows when every address is served.
func reachedAt(h settings.HTTP) string {
	scheme, name := "http", "localhost"
	if h.Certificate != "" {
		scheme, name = "https", "NAME-IN-CERTIFICATE"
	}
	host, port, err := net.SplitHostPort(h.Listen)
	if err != nil {
		return scheme + "://" + h.Listen
	}
	if ip := net.ParseIP(host); host != "" && (ip == nil || !ip.IsUnspecified()) {
		name = host
	}
	return scheme + "://" + net.JoinHostPort(name, port)
}

// run listens, works and keeps the anchor of the audit chain until ctx ends. started is told the address.
func (w *works) run(ctx context.Context, started func(address string)) error {
	api, err := w.listen(ctx, w.settings.HTTP.Listen)
	if err != nil {
		return err
	}
	servers := []*http.Server{httpapi.HTTPServer(w.api.Handler(), w.log)}
	listeners := []net.Listener{api}
	if w.settings.Metrics.Listen != "" {
		metrics, err := (&net.ListenConfig{}).Listen(ctx, "tcp", w.settings.Metrics.Listen)
		if err != nil {
			return errors.Join(fmt.Errorf("listen for metrics: %w", err), api.Close())
		}
		servers = append(servers, httpapi.HTTPServer(tokened(w.settings.Metrics.Token, w.api.Metrics()), w.log))
		listeners = append(listeners, metrics)
	}
	if err := w.listenDICOM(ctx); err != nil {
		for _, l := range listeners {
			err = errors.Join(err, l.Close())
		}
		return err
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	var running sync.WaitGroup
	failed := make(chan error, len(servers)+len(w.doors))
	for i, server := range servers {
		running.Go(func() {
			if err := server.Serve(listeners[i]); !errors.Is(err, http.ErrServerClosed) {
				failed <- err
			}
		})
	}
	running.Go(func() { w.pipeline.Run(ctx) })
	running.Go(func() { w.courier.Run(ctx) })
	running.Go(func() { w.keepAnchor(ctx) })
	running.Go(func() { w.escalate(ctx) })
	running.Go(func() { w.upkeep.Run(ctx) })
	for _, door := range w.doors {
		running.Go(func() {
			if err := door(ctx); err != nil && ctx.Err() == nil {
				failed <- err
			}
		})
	}
	started(api.Addr().String())
	select {
	case <-ctx.Done():
	case err = <-failed:
	}
	cancel()
	// The stop has its own time: the context that ended asked for it.
	stopping, done := context.WithTimeout(context.Background(), stopWithin)
	defer done()
	for _, server := range servers {
		err = errors.Join(err, server.Shutdown(stopping))
	}
	running.Wait()
	return err
}

// listen opens the listener of the interface, encrypted when there is a certificate.
func (w *works) listen(ctx context.Context, address string) (net.Listener, error) {
	l, err := (&net.ListenConfig{}).Listen(ctx, "tcp", address)
	if err != nil {
		return nil, fmt.Errorf("listen: %w", err)
	}
	if w.settings.HTTP.Certificate == "" {
		return l, nil
	}
	pair, err := certificate(w.settings.HTTP)
	if err != nil {
		return nil, errors.Join(err, l.Close())
	}
	return tls.NewListener(l, &tls.Config{Certificates: []tls.Certificate{pair}, MinVersion: tls.VersionTLS12, NextProtos: []string{"h2", "http/1.1"}}), nil
}

func certificate(h settings.HTTP) (tls.Certificate, error) {
	pair, err := tls.LoadX509KeyPair(h.Certificate, h.Key)
	if err != nil {
		return pair, fmt.Errorf("http.certificate and http.key: %w", err)
	}
	return pair, nil
}

// escalate keeps what overdue asks have come to, now and from time to time.
func (w *works) escalate(ctx context.Context) {
	tick := time.NewTicker(escalateEvery)
	defer tick.Stop()
	for {
		told, err := w.db.EscalateAsks(ctx)
		switch {
		case err != nil && ctx.Err() == nil:
			w.log.Error("escalate asks", "error", err)
		case len(told) > 0:
			w.log.Warn("asks are overdue", "asks", len(told))
		}
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
	}
}

// keepAnchor writes the end of the audit chain outside the database every few minutes and once more at the stop, and
// tells it to the log.
func (w *works) keepAnchor(ctx context.Context) {
	tick := time.NewTicker(anchorEvery)
	defer tick.Stop()
	for {
		w.anchor(context.WithoutCancel(ctx))
		select {
		case <-ctx.Done():
			w.anchor(context.WithoutCancel(ctx))
			return
		case <-tick.C:
		}
	}
}

func (w *works) anchor(ctx context.Context) {
	head, err := w.db.Anchor(ctx)
	if err != nil {
		w.log.Error("audit anchor", "error", err)
		return
	}
	w.log.Info("audit anchor", "sequence", head.Sequence, "hash", head.Hash)
}

// tokened asks for a bearer token where one is set.
func tokened(token string, next http.Handler) http.Handler {
	if token == "" {
		return next
	}
	want := access.Hash("Bearer " + token)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if access.Hash(r.Header.Get("Authorization")) != want {
			w.Header().Set("WWW-Authenticate", "Bearer")
			http.Error(w, "token wanted", http.StatusUnauthorized)
			return
		}
		next.ServeHTTP(w, r)
	})
}

func logTo(w interface{ Write([]byte) (int, error) }, level string) (*slog.Logger, error) {
	var l slog.Level
	if err := l.UnmarshalText([]byte(level)); err != nil {
		return nil, fmt.Errorf("log.level: %w", err)
	}
	return slog.New(slog.NewJSONHandler(w, &slog.HandlerOptions{Level: l})), nil
}
