package commitment

import (
	"bytes"
	"context"
	"errors"
	"slices"
	"sync"
	"time"

	"afterbeam/internal/crashpoint"
	"afterbeam/internal/ingest/dimse/upper"
	"afterbeam/internal/store"
)

// The times between attempts to deliver an answer; the last one is repeated. After a week it is given up.
var waits = []time.Duration{time.Minute, 5 * time.Minute, 15 * time.Minute, time.Hour}

const giveUpAfter = 7 * 24 * time.Hour

// pollEvery finds answers that became due.
const pollEvery = 5 * time.Second

// atOnce bounds the answers that are delivered to one peer in one go.
const atOnce = 100

// Wake tells that an answer may be due; it never blocks.
func (s *Service) Wake() {
	select {
	case s.wake <- struct{}{}:
	default:
	}
}

// Run delivers answers to the peers with an address until ctx ends: to all of them at one time, so that one that is not there
// holds up no other.
func (s *Service) Run(ctx context.Context) error {
	var running sync.WaitGroup
	defer running.Wait()
	tick := time.NewTicker(pollEvery)
	defer tick.Stop()
	for {
		s.deliver(ctx, &running)
		select {
		case <-ctx.Done():
			return nil
		case <-s.wake:
		case <-tick.C:
		}
	}
}

// deliver begins to deliver every answer that is due.
func (s *Service) deliver(ctx context.Context, running *sync.WaitGroup) {
	due, err := s.cfg.Store.PendingCommitments(ctx, "", atOnce)
	if err != nil {
		if ctx.Err() == nil {
			s.cfg.Log.Error("storage commitments not read", "error", err)
		}
		return
	}
	of := map[string][]store.Commitment{}
	for _, c := range due {
		if _, known := s.peers[c.Peer]; known {
			of[c.Peer] = append(of[c.Peer], c)
			continue
		}
		// It is answered on the peer's next association; here only its end is looked for.
		s.settle(ctx, c, "", errors.New("no address is set for the peer, and it has not taken the answer on its own association"))
	}
	for title, due := range of {
		if s.begin(title) {
			running.Go(func() {
				defer s.end(title)
				s.deliverTo(ctx, s.peers[title], due)
			})
		}
	}
}

// begin tells whether a peer is not being reported to already. Where it is, what is due now is looked for again after that.
func (s *Service) begin(title string) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	_, busy := s.busy[title]
	s.busy[title] = busy
	return !busy
}

func (s *Service) end(title string) {
	s.mu.Lock()
	again := s.busy[title]
	delete(s.busy, title)
	s.mu.Unlock()
	if again {
		s.Wake()
	}
}

// deliverTo reports to one peer on an association for as many answers as it bears. A peer that cannot be called at all is not
// called again for each of them.
func (s *Service) deliverTo(ctx context.Context, peer Peer, due []store.Commitment) {
	var a *upper.Association
	var on upper.Context
	for i, c := range due {
		var err error
		if a == nil {
			if a, on, err = call(ctx, peer); err != nil {
				for _, c := range due[i:] {
					s.putOff(ctx, c, err)
				}
				return
			}
		}
		outcome, broken, err := s.tell(ctx, a, on, c)
		if broken {
			a.Abort()
			a = nil
		}
		if err != nil {
			s.putOff(ctx, c, err)
			continue
		}
		s.settle(ctx, c, outcome, nil)
	}
	if a == nil {
		return
	}
	if err := a.Release(); err != nil {
		s.cfg.Log.Info("association after a storage commitment ended early", "error", err) // the answers were taken
	}
}

// call opens an association to a peer, in the role of the service's provider.
func call(ctx context.Context, peer Peer) (*upper.Association, upper.Context, error) {
	proposals := upper.Each(SOPClass, transfers()...)
	for i := range proposals {
		proposals[i].SCP = true
	}
	a, err := peer.Requestor.Dial(ctx, peer.Address, peer.Title, proposals)
	if err != nil {
		return nil, upper.Context{}, err
	}
	i := slices.IndexFunc(a.Contexts(), func(one upper.Context) bool { return one.Abstract == SOPClass && one.SCP })
	if i < 0 {
		a.Abort()
		return nil, upper.Context{}, errors.New("the peer takes no storage commitment from a provider")
	}
	return a, a.Contexts()[i], nil
}

// tell reports one answer; broken tells that the association bears no more.
func (s *Service) tell(ctx context.Context, a *upper.Association, on upper.Context, c store.Commitment) (outcome string, broken bool, err error) {
	command, body, outcome, err := s.report(ctx, c, on.Transfer)
	if err != nil {
		return "", false, err
	}
	m, err := a.Ask(ctx, on.ID, command, bytes.NewReader(body))
	if err != nil {
		return "", true, err
	}
	crashpoint.Reached(crashpoint.CommitmentTold)
	return outcome, false, statusError(m.Command.Status)
}

// putOff settles an answer that was not delivered. The end of the service is no failure of the peer.
func (s *Service) putOff(ctx context.Context, c store.Commitment, failure error) {
	if ctx.Err() == nil {
		s.settle(ctx, c, "", failure)
	}
}

// settle writes down what became of an answer.
func (s *Service) settle(ctx context.Context, c store.Commitment, outcome string, failure error) {
	ctx = context.WithoutCancel(ctx)
	var err error
	now := s.cfg.Now()
	switch {
	case failure == nil:
		err = s.cfg.Store.CommitmentReported(ctx, c, outcome)
	case now.Sub(c.CreatedAt) > giveUpAfter:
		s.cfg.Log.Error("storage commitment given up", "commitment", c.ID, "error", failure)
		err = s.cfg.Store.CommitmentLater(ctx, c.ID, failure.Error(), time.Time{})
	default:
		s.cfg.Log.Warn("storage commitment not delivered", "commitment", c.ID, "attempt", c.Attempts+1, "error", failure)
		err = s.cfg.Store.CommitmentLater(ctx, c.ID, failure.Error(), now.Add(waits[min(c.Attempts, len(waits)-1)]))
	}
	if err != nil {
		s.cfg.Log.Error("storage commitment not written down", "commitment", c.ID, "error", err)
	}
}
