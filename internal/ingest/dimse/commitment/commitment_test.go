package commitment_test

import (
	"bytes"
	"context"
	"errors"
	"io"
	"log/slog"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"afterbeam/internal/demo"
	"afterbeam/internal/ingest"
	"afterbeam/internal/ingest/dimse"
	"afterbeam/internal/ingest/dimse/commitment"
	"afterbeam/internal/ingest/dimse/upper"
	"afterbeam/internal/peer"
	"afterbeam/internal/quantity"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/report/rdsr"
	"afterbeam/internal/store"
	"afterbeam/internal/witness"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

const (
	doseClass = "1.2.840.10008.5.1.4.1.1.88.67"
	wellKnown = "1.2.840.10008.1.20.1.1"
)

// rig is a service with a store, and a peer that asks and listens. Debian's DICOM programs ask for no commitment, so both
// ends of the associations are of package upper; the data sets of answers are read by dcmdump as well.
type rig struct {
	dir, door string
	db        *store.DB
	kept      dicomio.Identity
	log       *witness.Log
	clock     *witness.Clock
	service   *commitment.Service
	stop      func()

	listener net.Listener
	mu       sync.Mutex
	answers  []answer
	status   upper.Status // what the peer answers
	taking   bool         // whether the peer takes associations
	refusing bool         // whether it does not know its own title
	breaking int          // how many associations it aborts at the next answer
	silent   string       // address of another peer, HYBRID1
}

type answer struct {
	event uint16
	set   dicomio.DataSet
	bytes []byte
}

func newRig(t *testing.T, withAddress bool) *rig {
	t.Helper()
	r := &rig{dir: t.TempDir(), log: &witness.Log{}, taking: true, clock: witness.At(time.Date(2026, 9, 14, 8, 0, 0, 0, time.UTC))}
	r.listen(t)
	r.start(t, withAddress)
	t.Cleanup(func() { r.stop() })
	for _, c := range demo.Cases() {
		if c.File != "rhythm3-ablation.dcm" {
			continue
		}
		var b bytes.Buffer
		require.NoError(t, rdsr.Write(&b, &c.Report, rdsr.WriteOptions{}))
		keeper := ingest.Keeper{Vault: r.db, Limits: dicomio.DefaultLimits(), Fatal: func(err error) { t.Error(err) }, Kept: func() {}}
		_, _, err := keeper.Keep(t.Context(), store.System("test"), "test", bytes.NewReader(b.Bytes()))
		require.NoError(t, err)
		r.kept, err = dicomio.Identify(b.Bytes(), dicomio.DefaultLimits())
		require.NoError(t, err)
	}
	return r
}

// start opens the store and serves; stop ends both, as an ending process does.
func (r *rig) start(t *testing.T, withAddress bool) {
	t.Helper()
	db, err := store.Open(context.Background(), store.Config{Dir: r.dir, Program: "test", Now: r.clock.Now})
	require.NoError(t, err)
	r.db = db
	logger := slog.New(slog.NewTextHandler(r.log, nil))
	cfg := commitment.Config{Store: db, Title: "AFTERBEAM", Log: logger, Now: r.clock.Now}
	if withAddress {
		cfg.Peers = []commitment.Peer{{Title: "HYBRID1", Address: r.silent, Requestor: upper.Requestor{Limits: upper.DefaultLimits(), Calling: "AFTERBEAM"}}, {Title: "CATH2", Address: r.listener.Addr().String(), Requestor: upper.Requestor{Limits: upper.DefaultLimits(), Calling: "AFTERBEAM"}}}
	}
	service := commitment.New(cfg)
	r.service = service
	door, err := dimse.New(dimse.Config{
		Title: "AFTERBEAM", Limits: upper.DefaultLimits(), Associations: 4, PerPeer: 4, Log: logger, Services: []dimse.Service{service.Offer()},
	})
	require.NoError(t, err)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	r.door = l.Addr().String()
	ctx, cancel := context.WithCancel(context.Background())
	var running sync.WaitGroup
	running.Go(func() { _ = door.Serve(ctx, l, nil) }) // ends with ctx alone
	running.Go(func() { _ = service.Run(ctx) })
	var once sync.Once
	r.stop = func() {
		once.Do(func() {
			cancel()
			running.Wait()
			assert.NoError(t, db.Close())
		})
	}
}

// listen has the peer take reports on associations that the service opens.
func (r *rig) listen(t *testing.T) {
	t.Helper()
	var err error
	r.listener, err = net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	var running sync.WaitGroup
	running.Go(func() {
		for {
			conn, err := r.listener.Accept()
			if err != nil {
				return
			}
			running.Go(func() { r.take(conn) })
		}
	})
	t.Cleanup(func() {
		assert.NoError(t, r.listener.Close())
		running.Wait()
	})
}

func (r *rig) take(conn net.Conn) {
	r.mu.Lock()
	taking, refusing := r.taking, r.refusing
	r.mu.Unlock()
	if !taking {
		_ = conn.Close()
		return
	}
	offer := func(abstract string) (upper.Offer, bool) {
		return upper.Offer{Transfer: []string{upper.ImplicitLittle}, SCU: true}, abstract == commitment.SOPClass
	}
	admit := func(upper.Caller) error {
		if refusing {
			return upper.RejectCalled
		}
		return nil
	}
	a, err := upper.Acceptor{Limits: upper.DefaultLimits(), Offers: offer, Admit: admit}.Accept(context.Background(), conn)
	for err == nil {
		var m *upper.Message
		if m, err = a.Next(context.Background()); err == nil {
			err = r.answered(a, m)
		}
	}
}

// answered takes one report.
func (r *rig) answered(a *upper.Association, m *upper.Message) error {
	body, err := io.ReadAll(m.Data)
	if err != nil {
		return err
	}
	front, err := dicomio.Front(commitment.SOPClass, wellKnown, m.Context.Transfer)
	if err != nil {
		return err
	}
	whole := append(front, body...)
	file, err := dicomio.Read(whole, dicomio.DefaultLimits())
	if err != nil {
		return err
	}
	r.mu.Lock()
	if r.breaking > 0 {
		r.breaking--
		r.mu.Unlock()
		a.Abort()
		return errors.New("broken off")
	}
	r.answers = append(r.answers, answer{m.Command.Event.Or(0), file.Data, whole})
	status := r.status
	r.mu.Unlock()
	return a.Send(m.Context.ID, m.Command.Respond(status), nil)
}

func (r *rig) got() []answer {
	r.mu.Lock()
	defer r.mu.Unlock()
	return append([]answer{}, r.answers...)
}

// pass lets time pass and the service notice.
func (r *rig) pass(d time.Duration) {
	r.clock.Pass(d)
	r.service.Wake()
}

func (r *rig) set(change func()) {
	r.mu.Lock()
	defer r.mu.Unlock()
	change()
}

// ask asks for a commitment and gives the status; then is called before the release.
func (r *rig) ask(t *testing.T, transaction string, refs []store.Reference, then ...func(*upper.Association)) upper.Status {
	t.Helper()
	items := make([]dicomio.DataSet, 0, len(refs))
	for _, ref := range refs {
		items = append(items, dicomio.DataSet{{Tag: 0x00081150, VR: "UI", Values: []string{ref.SOPClass}}, {Tag: 0x00081155, VR: "UI", Values: []string{ref.SOPInstance}}})
	}
	set := dicomio.DataSet{{Tag: 0x00081195, VR: "UI", Values: []string{transaction}}, {Tag: 0x00081199, VR: "SQ", Items: items}}
	body, err := dicomio.Encode(set, dicomio.ExplicitLittleEndian)
	require.NoError(t, err)
	return r.send(t, upper.Command{Field: upper.NAction, RequestedClass: commitment.SOPClass, RequestedInstance: wellKnown, Action: quantity.Some[uint16](1)}, body, then...)
}

func (r *rig) send(t *testing.T, c upper.Command, body []byte, then ...func(*upper.Association)) upper.Status {
	t.Helper()
	a, err := upper.Requestor{Limits: upper.DefaultLimits(), Calling: "CATH2"}.Dial(t.Context(), r.door, "AFTERBEAM", upper.Each(commitment.SOPClass, upper.ExplicitLittle))
	require.NoError(t, err)
	m, err := a.Ask(t.Context(), a.Contexts()[0].ID, c, bytes.NewReader(body))
	require.NoError(t, err)
	for _, do := range then {
		do(a)
	}
	require.NoError(t, a.Release())
	return m.Command.Status
}

func (r *rig) pending(t *testing.T) int {
	t.Helper()
	all, err := r.db.PendingCommitments(t.Context(), "CATH2", 100)
	require.NoError(t, err)
	return len(all)
}

const soon = 20 * time.Second

func (r *rig) good() []store.Reference {
	return []store.Reference{{SOPClass: r.kept.SOPClassUID, SOPInstance: r.kept.SOPInstanceUID}}
}

func TestCommittedOnAnAssociationOfOurOwn(t *testing.T) {
	r := newRig(t, true)
	require.Equal(t, upper.Success, r.ask(t, "2.25.1", r.good()))
	require.Eventually(t, func() bool { return len(r.got()) == 1 && r.pending(t) == 0 }, soon, 10*time.Millisecond)
	one := r.got()[0]
	assert.Equal(t, uint16(1), one.event)
	assert.Equal(t, "2.25.1", one.set.Text(0x00081195))
	assert.Equal(t, "AFTERBEAM", one.set.Text(0x00080054))
	require.Len(t, one.set.Items(0x00081199), 1)
	assert.Equal(t, r.kept.SOPInstanceUID, one.set.Items(0x00081199)[0].Text(0x00081155))
	assert.Empty(t, one.set.Items(0x00081198))

	// Asked again it is answered again; another question under the same UID is none.
	require.Equal(t, upper.Success, r.ask(t, "2.25.1", r.good()))
	require.Eventually(t, func() bool { return len(r.got()) == 2 }, soon, 10*time.Millisecond)
	other := append(r.good(), store.Reference{SOPClass: doseClass, SOPInstance: "2.25.404"})
	assert.Equal(t, upper.StatusInvalidArgument, r.ask(t, "2.25.1", other))
}

func TestAnotherReaderReadsTheAnswer(t *testing.T) {
	dcmdump := peer.Need(t, "dcmdump")
	r := newRig(t, true)
	require.Equal(t, upper.Success, r.ask(t, "2.25.1", append(r.good(), store.Reference{SOPClass: doseClass, SOPInstance: "2.25.404"})))
	require.Eventually(t, func() bool { return len(r.got()) == 1 }, soon, 10*time.Millisecond)
	name := filepath.Join(t.TempDir(), "answer.dcm")
	require.NoError(t, os.WriteFile(name, r.got()[0].bytes, 0o600))
	out, err := exec.CommandContext(t.Context(), dcmdump, name).CombinedOutput()
	require.NoError(t, err, string(out))
	for _, text := range []string{"(0008,1195) UI [2.25.1]", "(0008,1198) SQ", "(0008,1199) SQ", "(0008,1197) US 274"} {
		assert.Contains(t, string(out), text)
	}
}

func TestWhyNot(t *testing.T) {
	r := newRig(t, true)
	damaged := r.good()
	refs := []store.Reference{
		{SOPClass: doseClass, SOPInstance: "2.25.404"},
		{SOPClass: "1.2.840.10008.5.1.4.1.1.88.33", SOPInstance: r.kept.SOPInstanceUID},
	}
	require.Equal(t, upper.Success, r.ask(t, "2.25.1", refs))
	require.Eventually(t, func() bool { return len(r.got()) == 1 }, soon, 10*time.Millisecond)
	one := r.got()[0]
	assert.Equal(t, uint16(2), one.event)
	require.Len(t, one.set.Items(0x00081198), 2)
	assert.Equal(t, "274", one.set.Items(0x00081198)[0].Text(0x00081197), "0112: no such object")
	assert.Equal(t, "281", one.set.Items(0x00081198)[1].Text(0x00081197), "0119: of another class")

	// One flipped byte on the disk is never committed to.
	var flipped int
	require.NoError(t, filepath.WalkDir(r.dir, func(name string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() || filepath.Dir(name) == r.dir {
			return err
		}
		raw, err := os.ReadFile(name)
		if err != nil || len(raw) < 100 {
			return err
		}
		raw[len(raw)/2] ^= 1
		flipped++
		return errors.Join(os.Chmod(name, 0o600), os.WriteFile(name, raw, 0o600))
	}))
	require.Equal(t, 1, flipped)
	require.Equal(t, upper.Success, r.ask(t, "2.25.2", damaged))
	require.Eventually(t, func() bool { return len(r.got()) == 2 }, soon, 10*time.Millisecond)
	one = r.got()[1]
	assert.Equal(t, uint16(2), one.event)
	assert.Equal(t, "272", one.set.Items(0x00081198)[0].Text(0x00081197), "0110: the bytes are not what they were")
}

func TestTheAnswerOutlivesTheProcessAndThePeersAbsence(t *testing.T) {
	r := newRig(t, true)
	r.set(func() { r.taking = false })
	require.Equal(t, upper.Success, r.ask(t, "2.25.1", r.good()))
	require.Eventually(t, func() bool { return bytes.Contains([]byte(r.log.String()), []byte("not delivered")) }, soon, 10*time.Millisecond)
	r.stop()
	assert.Empty(t, r.got())

	// A day later another process delivers it; a peer that refuses the report is asked again.
	r.set(func() { r.taking, r.status = true, upper.StatusProcessing })
	r.clock.Pass(24 * time.Hour)
	r.start(t, true)
	require.Eventually(t, func() bool { return len(r.got()) == 1 && r.attempted(t, 2) == 1 }, soon, 10*time.Millisecond)
	assert.Equal(t, 1, r.pending(t))
	r.set(func() { r.status = upper.Success })
	r.pass(24 * time.Hour)
	require.Eventually(t, func() bool { return len(r.got()) == 2 && r.pending(t) == 0 }, soon, 10*time.Millisecond)
}

func TestAPeerWithoutAddressIsAnsweredWhereItAsked(t *testing.T) {
	r := newRig(t, false)
	deaf := func(*upper.Association) {} // releases at once
	require.Equal(t, upper.Success, r.ask(t, "2.25.1", r.good(), deaf))
	assert.Equal(t, 1, r.pending(t), "it did not take the answer")
	// Its next question brings both answers.
	require.Equal(t, upper.Success, r.ask(t, "2.25.2", r.good(), func(a *upper.Association) {
		for range 2 {
			m, err := a.Next(t.Context())
			require.NoError(t, err)
			require.Equal(t, upper.NEventReport, m.Command.Field)
			require.NoError(t, r.answered(a, m))
		}
	}))
	require.Eventually(t, func() bool { return r.pending(t) == 0 }, soon, 10*time.Millisecond)
	assert.Len(t, r.got(), 2)
}

func TestRefusals(t *testing.T) {
	r := newRig(t, true)
	good := upper.Command{Field: upper.NAction, RequestedClass: commitment.SOPClass, RequestedInstance: wellKnown, Action: quantity.Some[uint16](1)}
	elsewhere, otherAction := good, good
	elsewhere.RequestedInstance = "2.25.9"
	otherAction.Action = quantity.Some[uint16](2)
	assert.Equal(t, upper.StatusNoSuchInstance, r.send(t, elsewhere, []byte("x")))
	assert.Equal(t, upper.StatusNoSuchAction, r.send(t, otherAction, []byte("x")))
	assert.Equal(t, upper.StatusProcessing, r.send(t, good, []byte("noise that is no data set at all")))
	assert.Equal(t, upper.StatusInvalidArgument, r.ask(t, "2.25.1", nil))
	assert.Equal(t, upper.StatusInvalidArgument, r.ask(t, "", r.good()))
	assert.Equal(t, upper.StatusInvalidArgument, r.ask(t, "2.25.1", append(r.good(), store.Reference{SOPClass: doseClass, SOPInstance: "Somebody^Else"})))
	assert.Equal(t, upper.StatusInvalidArgument, r.ask(t, "2.25.1", append(r.good(), store.Reference{SOPInstance: "2.25.2"})))
	assert.NotContains(t, r.log.String(), "Somebody")
	assert.Zero(t, r.pending(t))
}
