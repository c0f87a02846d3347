package queryretrieve_test

import (
	"bytes"
	"context"
	"io"
	"net"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/ingest/dimse/upper"
	"afterbeam/internal/quantity"
	"afterbeam/internal/report/dicomio"
)

const (
	findClass = "1.2.840.10008.5.1.4.1.2.2.1"
	moveClass = "1.2.840.10008.5.1.4.1.2.2.2"
	getClass  = "1.2.840.10008.5.1.4.1.2.2.3"
	doseClass = "1.2.840.10008.5.1.4.1.1.88.67"
	generalSR = "1.2.840.10008.5.1.4.1.1.88.33"
	textSR    = "1.2.840.10008.5.1.4.1.1.88.11"

	tagClass      dicomio.Tag = 0x00080016
	tagInstance   dicomio.Tag = 0x00080018
	tagDate       dicomio.Tag = 0x00080020
	tagLevel      dicomio.Tag = 0x00080052
	tagModality   dicomio.Tag = 0x00080060
	tagModalities dicomio.Tag = 0x00080061
	tagStudy      dicomio.Tag = 0x0020000D
	tagSeries     dicomio.Tag = 0x0020000E
)

// asked is one request that a scripted archive got.
type asked struct {
	command upper.Command
	set     dicomio.DataSet
}

func (a asked) text(tag dicomio.Tag) string { return a.set.Text(tag) }

// said is what a scripted archive answers to a C-FIND.
type said struct {
	answers []dicomio.DataSet
	raw     [][]byte // answers that are no data sets
	status  upper.Status
}

// script is an archive that answers as a test wants.
type script struct {
	t *testing.T
	// lacks are SOP classes that are not offered; noRoles refuses to be the SCU of storage.
	lacks   []string
	noRoles bool
	find    func(asked) said
	// retrieve answers a C-GET or C-MOVE by the final command; with one of its functions it may send before.
	retrieve func(s *script, a *upper.Association, m *upper.Message, r asked) upper.Command

	mu   sync.Mutex
	all  []asked
	reqs int // associations
}

// serve runs a scripted archive on loopback.
func (s *script) serve(t *testing.T) string {
	t.Helper()
	s.t = t
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	var running sync.WaitGroup
	running.Go(func() {
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			s.associations()
			running.Go(func() { s.converse(conn) })
		}
	})
	t.Cleanup(func() {
		_ = l.Close()
		running.Wait()
	})
	return l.Addr().String()
}

func (s *script) associations() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.reqs++
}

func (s *script) offer(abstract string) (upper.Offer, bool) {
	for _, one := range s.lacks {
		if one == abstract {
			return upper.Offer{}, false
		}
	}
	return upper.Offer{Transfer: []string{upper.ExplicitLittle, upper.ImplicitLittle}, SCU: !s.noRoles}, true
}

func (s *script) converse(conn net.Conn) {
	a, err := upper.Acceptor{Limits: limits(), Offers: s.offer}.Accept(context.Background(), conn)
	if err != nil {
		return
	}
	defer a.Abort()
	for {
		m, err := a.Next(context.Background())
		if err != nil {
			return
		}
		raw, err := io.ReadAll(m.Data)
		if err != nil {
			return
		}
		r := asked{m.Command, decoded(s.t, raw, m.Context.Transfer)}
		s.mu.Lock()
		s.all = append(s.all, r)
		s.mu.Unlock()
		if !s.answer(a, m, r) {
			return
		}
	}
}

func (s *script) answer(a *upper.Association, m *upper.Message, r asked) bool {
	if m.Command.Field != upper.CFind {
		final := s.retrieve(s, a, m, r)
		return final.Field == 0 || a.Send(m.Context.ID, final, nil) == nil
	}
	said := s.find(r)
	var bodies [][]byte
	for _, set := range said.answers {
		body, err := dicomio.Encode(set, m.Context.Transfer)
		assert.NoError(s.t, err)
		bodies = append(bodies, body)
	}
	for _, body := range append(bodies, said.raw...) {
		if a.Send(m.Context.ID, m.Command.Respond(upper.StatusPending), bytes.NewReader(body)) != nil {
			return false
		}
	}
	return a.Send(m.Context.ID, m.Command.Respond(said.status), nil) == nil
}

func (s *script) requests() []asked {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.all
}

func decoded(t *testing.T, raw []byte, transfer string) dicomio.DataSet {
	front, err := dicomio.Front(findClass, "1.2", transfer)
	assert.NoError(t, err)
	set, err := dicomio.ReadHeader(append(front, raw...), dicomio.DefaultLimits())
	assert.NoError(t, err)
	return set
}

// set makes an answer of tags and values in ascending order.
func set(pairs ...any) dicomio.DataSet {
	var all dicomio.DataSet
	for i := 0; i < len(pairs); i += 2 {
		tag := pairs[i].(dicomio.Tag)
		e := dicomio.Element{Tag: tag, VR: dicomio.VROf(tag)}
		switch v := pairs[i+1].(type) {
		case string:
			e.Values = []string{v}
		case []string:
			e.Values = v
		}
		all = append(all, e)
	}
	return all
}

// one answers every level with one study, series and instance, those of the first small study.
func one(r asked) said {
	switch r.text(tagLevel) {
	case "STUDY":
		return said{answers: []dicomio.DataSet{set(tagModalities, []string{"XA"}, tagStudy, "2.25.200000")}}
	case "SERIES":
		return said{answers: []dicomio.DataSet{set(tagModality, "SR", tagSeries, "2.25.300000")}}
	}
	return said{answers: []dicomio.DataSet{set(tagClass, doseClass, tagInstance, "2.25.100000")}}
}

// counted is a final answer with its counters.
func counted(m *upper.Message, status upper.Status, completed, failed, warnings uint16) upper.Command {
	c := m.Command.Respond(status)
	c.Completed, c.Failed, c.Warnings = quantity.Some(completed), quantity.Some(failed), quantity.Some(warnings)
	return c
}

// send stores a small study by a sub-operation of a C-GET and gives the status that was answered.
func (s *script) send(a *upper.Association, file []byte) upper.Status {
	id, err := dicomio.Identify(file, dicomio.DefaultLimits())
	assert.NoError(s.t, err)
	front, err := dicomio.Front(id.SOPClassUID, id.SOPInstanceUID, id.TransferSyntax)
	assert.NoError(s.t, err)
	for _, c := range a.Contexts() {
		if c.Abstract != id.SOPClassUID || c.Transfer != id.TransferSyntax || !c.SCU {
			continue
		}
		m, err := a.Ask(context.Background(), c.ID, upper.Command{Field: upper.CStore, AffectedClass: id.SOPClassUID, AffectedInstance: id.SOPInstanceUID}, bytes.NewReader(file[len(front):]))
		if err != nil {
			return upper.StatusProcessing
		}
		return m.Command.Status
	}
	return upper.StatusClassUnknown
}
