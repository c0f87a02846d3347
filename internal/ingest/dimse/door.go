package dimse

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/netip"
	"runtime/debug"
	"sync"
	"sync/atomic"
	"time"

	"afterbeam/internal/aetitle"
	"afterbeam/internal/crashpoint"
	"afterbeam/internal/ingest/dimse/upper"
)

// Defaults of Config.
const (
	DefaultTitle        = "AFTERBEAM"
	DefaultAssociations = 64
	DefaultPerPeer      = 16
)

// Connections that are not yet an association, or are being refused, have a bound of their own, in all and for each
// address, so that a caller over the limit is told so and a flood cannot take every place.
const (
	waitingRoom    = 256
	waitingPerPeer = 64
	pauseOnError   = 100 * time.Millisecond
)

// finishWithin is how long a message under way may take to end when the service stops.
const finishWithin = 10 * time.Second

// Config says how a door answers.
type Config struct {
	Title string
	// Callers lists who may call; empty is everyone.
	Callers []Caller
	Limits  upper.Limits
	// Associations bounds those at one time, in all and for each address.
	Associations, PerPeer int
	Services              []Service
	Log                   *slog.Logger
	// Measures counts; nil counts nothing.
	Measures *Measures
}

// Door answers associations.
type Door struct {
	cfg     Config
	classes map[string]Service

	mu      sync.Mutex
	waiting map[netip.Addr]int // connections without an association
	inRoom  int
	agreed  map[netip.Addr]int // associations
	inAll   int
}

// New makes a door, and tells which part of a Config cannot be used.
func New(cfg Config) (*Door, error) {
	d := &Door{cfg: cfg, classes: map[string]Service{}, waiting: map[netip.Addr]int{}, agreed: map[netip.Addr]int{}}
	title := aetitle.Check(cfg.Title)
	if title != nil {
		title = fmt.Errorf("AE title %w", title)
	}
	if err := errors.Join(title, cfg.Limits.Validate()); err != nil {
		return nil, err
	}
	for _, c := range cfg.Callers {
		if err := c.Validate(); err != nil {
			return nil, err
		}
	}
	if cfg.Associations < 1 || cfg.PerPeer < 1 {
		return nil, fmt.Errorf("associations want 1 or more, got %d in all and %d for each peer", cfg.Associations, cfg.PerPeer)
	}
	for _, s := range cfg.Services {
		if _, twice := d.classes[s.SOPClass]; twice {
			return nil, fmt.Errorf("SOP class %s has two services", s.SOPClass)
		}
		d.classes[s.SOPClass] = s
	}
	return d, nil
}

// Services lists what the door answers, in the order of its Config.
func (d *Door) Services() []Service { return d.cfg.Services }

// Serve answers what connects to a listener until ctx ends, then lets messages under way end and closes everything. With
// a TLS configuration the connections are encrypted. Several listeners may be served at once.
func (d *Door) Serve(ctx context.Context, l net.Listener, encryption *tls.Config) error {
	var running sync.WaitGroup
	defer running.Wait()
	// Associations outlive ctx for a while: a message that has begun is answered.
	life, cut := context.WithCancel(context.WithoutCancel(ctx))
	stop := context.AfterFunc(ctx, func() {
		_ = l.Close() // nothing of it is lost
		time.AfterFunc(finishWithin, cut)
	})
	defer stop()
	for {
		conn, err := l.Accept()
		switch {
		case err == nil:
		case ctx.Err() != nil, errors.Is(err, net.ErrClosed):
			running.Wait()
			cut()
			return ctx.Err()
		default: // no descriptors left, or a connection that was gone already
			d.cfg.Log.Warn("connection not taken", "error", err)
			time.Sleep(pauseOnError)
			continue
		}
		crashpoint.Reached(crashpoint.Connected)
		from := address(conn)
		if !d.enter(from) {
			d.cfg.Measures.refused(errCrowded)
			_ = conn.Close() // there is no room to say why
			continue
		}
		running.Go(func() { d.answer(ctx, life, conn, from, encryption) })
	}
}

// enter takes a place in the waiting room.
func (d *Door) enter(from netip.Addr) bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.inRoom >= waitingRoom || d.waiting[from] >= waitingPerPeer {
		return false
	}
	d.inRoom++
	d.waiting[from]++
	return true
}

func (d *Door) leave(from netip.Addr) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.inRoom--
	less(d.waiting, from)
}

// begin takes a place for an association.
func (d *Door) begin(from netip.Addr) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.inAll >= d.cfg.Associations || d.agreed[from] >= d.cfg.PerPeer {
		return upper.RejectLimit
	}
	d.inAll++
	d.agreed[from]++
	return nil
}

func (d *Door) end(from netip.Addr) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.inAll--
	less(d.agreed, from)
}

func less(counts map[netip.Addr]int, of netip.Addr) {
	if counts[of]--; counts[of] == 0 {
		delete(counts, of)
	}
}

// answer has one connection from beginning to end.
func (d *Door) answer(ctx, life context.Context, conn net.Conn, from netip.Addr, encryption *tls.Config) {
	peer := Peer{Address: from, Log: d.cfg.Log.With("address", from.String())}
	defer func() {
		if fault := recover(); fault != nil {
			peer.Log.Error("association failed", "panic", fmt.Sprintf("%T", fault), "stack", string(debug.Stack()))
			_ = conn.Close()
		}
	}()
	a, began, err := d.agree(ctx, life, conn, &peer, encryption)
	d.leave(from)
	if began {
		defer d.end(from)
	}
	if err != nil {
		d.cfg.Measures.refused(err)
		if !errors.Is(err, io.EOF) || began { // a connection that only looks whether there is someone says nothing
			peer.Log.Warn("no association", "error", err)
		}
		return
	}
	d.cfg.Measures.associated(encryption != nil)
	crashpoint.Reached(crashpoint.Associated)
	err = d.converse(ctx, life, a, peer)
	switch {
	case errors.Is(err, io.EOF):
	case ctx.Err() != nil:
		a.Abort()
	default:
		peer.Log.Warn("association ended early", "error", err)
		a.Abort()
	}
}

// agree makes the association; began tells that it took a place.
func (d *Door) agree(ctx, life context.Context, conn net.Conn, peer *Peer, encryption *tls.Config) (a *upper.Association, began bool, err error) {
	if encryption != nil {
		encrypted := tls.Server(conn, encryption)
		shaking, stop := context.WithTimeout(ctx, d.cfg.Limits.ARTIM)
		err := encrypted.HandshakeContext(shaking)
		stop()
		if err != nil {
			return nil, false, errors.Join(fmt.Errorf("%w: %w", errEncryption, err), conn.Close())
		}
		conn = encrypted
	}
	// The wait for a request ends with the service, what has been asked for a little later, with an A-ABORT.
	var asked atomic.Bool
	waiting := context.AfterFunc(ctx, func() {
		if !asked.Load() {
			_ = conn.Close()
		}
	})
	defer waiting()
	accept := upper.Acceptor{Limits: d.cfg.Limits, Offers: d.offer, Admit: func(c upper.Caller) error {
		asked.Store(true)
		peer.Title, peer.Certificate = c.Calling, presented(conn)
		if aetitle.Check(c.Calling) == nil {
			peer.Log = peer.Log.With("calling", c.Calling)
		}
		if err := d.admit(*peer, c.Called); err != nil {
			return err
		}
		err := d.begin(peer.Address)
		began = err == nil
		return err
	}}
	a, err = accept.Accept(life, conn)
	return a, began, err
}

// offer tells what is accepted of a SOP class.
func (d *Door) offer(abstract string) (upper.Offer, bool) {
	s, ok := d.classes[abstract]
	return upper.Offer{Transfer: s.Transfer, SCU: s.SCU}, ok
}

// converse answers the messages of an association until it ends.
func (d *Door) converse(ctx, life context.Context, a *upper.Association, peer Peer) error {
	for {
		m, err := a.Next(ctx)
		if err != nil {
			return err
		}
		crashpoint.Reached(crashpoint.CommandRead)
		if m.Command.Field.Response() || m.Command.Field == upper.CCancel {
			// An answer to what a Reply's Then sent, an answer to what was not asked, or a cancel of what has been answered.
			if handle, ok := d.classes[m.Context.Abstract].Handlers[m.Command.Field]; ok {
				if _, err := handle(life, Call{Peer: peer, Message: m, Association: a}); err != nil {
					return err
				}
			}
			continue
		}
		reply, err := d.reply(life, Call{Peer: peer, Message: m, Association: a})
		if err != nil {
			return err
		}
		if err := a.Skip(); err != nil {
			return err
		}
		response := m.Command.Respond(reply.Status)
		response.Comment = reply.Comment
		if reply.Instance != "" {
			response.AffectedInstance = reply.Instance
		}
		if err := a.Send(m.Context.ID, response, reply.Data); err != nil {
			return err
		}
		d.cfg.Measures.answered(m.Command.Field, reply.Status)
		if reply.Then != nil {
			if err := reply.Then(life, a); err != nil {
				return err
			}
		}
	}
}

// reply finds the handler of a message.
func (d *Door) reply(ctx context.Context, c Call) (Reply, error) {
	handle, ok := d.classes[c.Message.Context.Abstract].Handlers[c.Message.Command.Field]
	if !ok {
		return Reply{Status: upper.StatusUnrecognised, Comment: "operation not offered for this SOP class"}, nil
	}
	return handle(ctx, c)
}
