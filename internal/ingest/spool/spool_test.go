package spool_test

import (
	"bytes"
	"context"
	"errors"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"afterbeam/internal/demo"
	"afterbeam/internal/ingest"
	"afterbeam/internal/ingest/spool"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/report/rdsr"
	"afterbeam/internal/store"
	"afterbeam/internal/witness"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// rig is a watched folder over a store of its own.
type rig struct {
	dir    string
	db     *store.DB
	keeper *ingest.Keeper
	log    *witness.Log
}

func newRig(t *testing.T) *rig {
	t.Helper()
	db, err := store.Open(t.Context(), store.Config{Dir: t.TempDir(), Program: "test"})
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, db.Close()) })
	r := &rig{dir: filepath.Join(t.TempDir(), "incoming"), db: db, log: &witness.Log{}}
	r.keeper = &ingest.Keeper{Vault: db, Limits: dicomio.DefaultLimits(), Fatal: func(err error) { t.Error(err) }, Kept: func() {}}
	require.NoError(t, os.MkdirAll(r.dir, 0o700))
	return r
}

// watch runs the door until the test ends; quick has a rest that tests can wait for.
func (r *rig) watch(t *testing.T, keeper spool.Keeper, rest time.Duration) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	var running sync.WaitGroup
	running.Go(func() {
		assert.NoError(t, spool.Run(ctx, spool.Config{
			Dir: r.dir, Keeper: keeper, Log: slog.New(slog.NewTextHandler(r.log, nil)), Now: time.Now, Rest: rest, Sweep: 50 * time.Millisecond,
		}))
	})
	t.Cleanup(func() { cancel(); running.Wait() })
}

const quick = 40 * time.Millisecond

func (r *rig) file(t *testing.T, name string, content []byte) {
	t.Helper()
	require.NoError(t, os.WriteFile(filepath.Join(r.dir, name), content, 0o600))
}

// under lists the files below a folder of the watched one.
func (r *rig) under(dir string) []string {
	var names []string
	_ = filepath.WalkDir(filepath.Join(r.dir, dir), func(name string, e os.DirEntry, err error) error {
		if err == nil && !e.IsDir() {
			relative, _ := filepath.Rel(filepath.Join(r.dir, dir), name)
			names = append(names, relative)
		}
		return nil
	})
	return names
}

func (r *rig) eventually(t *testing.T, what string, is func() bool) {
	t.Helper()
	require.Eventually(t, is, 20*time.Second, 10*time.Millisecond, "%s\n%s", what, r.log)
}

func report(t *testing.T) []byte {
	t.Helper()
	r := demo.Cases()[0].Report
	r.Events = r.Events[:1]
	var b bytes.Buffer
	require.NoError(t, rdsr.Write(&b, &r, rdsr.WriteOptions{}))
	return b.Bytes()
}

// otherObject gives a DICOM object that is no dose report.
func otherObject(t *testing.T) []byte {
	t.Helper()
	// The UID of Basic Text SR Storage has the length of that of the dose report with one digit exchanged.
	return bytes.ReplaceAll(report(t), []byte("1.2.840.10008.5.1.4.1.1.88.67"), []byte("1.2.840.10008.5.1.4.1.1.88.59"))
}

// tomography gives a report of the same SOP class that says it is about computed tomography.
func tomography(t *testing.T) []byte {
	t.Helper()
	r := demo.Cases()[0].Report
	r.Events = r.Events[:1]
	set := rdsr.DataSet(&r, rdsr.WriteOptions{})
	root := func(tag dicomio.Tag) *dicomio.Element {
		for i := range set {
			if set[i].Tag == tag {
				return &set[i]
			}
		}
		t.Fatalf("no element %v", tag)
		return nil
	}
	const content, code = 0x0040A730, 0x0040A168
	for _, item := range root(content).Items {
		for k := range item {
			if item[k].Tag == code && item[k].Items[0].Text(0x00080100) == "113704" {
				item[k].Items[0] = dicomio.DataSet{{Tag: 0x00080100, VR: "SH", Values: []string{"77477000"}}, {Tag: 0x00080102, VR: "SH", Values: []string{"SCT"}}}
			}
		}
	}
	var b bytes.Buffer
	require.NoError(t, dicomio.Write(&b, set, dicomio.ExplicitLittleEndian))
	return b.Bytes()
}

func TestATomographyReportIsNotAccepted(t *testing.T) {
	r := newRig(t)
	r.file(t, "head.dcm", tomography(t))
	r.watch(t, r.keeper, quick)
	r.eventually(t, "an answer", func() bool { return len(r.under("quarantine")) == 2 })
	assert.Empty(t, r.under("accepted"))
	reason, err := os.ReadFile(filepath.Join(r.dir, "quarantine/head.dcm.reason.txt"))
	require.NoError(t, err)
	assert.Contains(t, string(reason), "computed tomography")
}

func TestEveryFileGoesWhereItsAnswerStands(t *testing.T) {
	r := newRig(t)
	outside := filepath.Join(t.TempDir(), "outside.dcm")
	require.NoError(t, os.WriteFile(outside, report(t), 0o600))
	require.NoError(t, os.Symlink(outside, filepath.Join(r.dir, "link.dcm")))
	require.NoError(t, os.Mkdir(filepath.Join(r.dir, "sub"), 0o700))
	r.file(t, "sub/deeper.dcm", report(t))
	r.file(t, ".hidden.dcm", report(t))
	r.file(t, "unfinished.dcm.part", report(t))
	r.file(t, "Doe^Jane.dcm", report(t))
	r.file(t, "letter.txt", []byte("no dose report at all"))
	r.file(t, "text.dcm", otherObject(t))
	r.watch(t, r.keeper, quick)
	r.eventually(t, "three answers", func() bool {
		return len(r.under("accepted")) == 1 && len(r.under("refused")) == 2 && len(r.under("quarantine")) == 2
	})
	// A second file of the same name and fate gets a name of its own.
	r.file(t, "letter.txt", []byte("nor this one"))
	r.eventually(t, "a second refusal", func() bool { return len(r.under("refused")) == 4 })

	kept, err := r.db.Receipts(t.Context(), store.ReceiptKept, "", 10)
	require.NoError(t, err)
	require.Len(t, kept, 1)
	assert.Equal(t, "folder", kept[0].Door)
	assert.Equal(t, []string{filepath.Join(time.Now().Format(time.DateOnly), kept[0].ID+".dcm")}, r.under("accepted"))
	assert.Equal(t, []string{"text.dcm", "text.dcm.reason.txt"}, r.under("quarantine"))
	assert.Equal(t, []string{"letter-2.txt", "letter-2.txt.reason.txt", "letter.txt", "letter.txt.reason.txt"}, r.under("refused"))
	reason, err := os.ReadFile(filepath.Join(r.dir, "refused/letter.txt.reason.txt"))
	require.NoError(t, err)
	assert.Contains(t, string(reason), "DICOM")
	for _, name := range []string{"link.dcm", "sub/deeper.dcm", ".hidden.dcm", "unfinished.dcm.part"} {
		_, err := os.Lstat(filepath.Join(r.dir, name))
		require.NoError(t, err, "%s stays", name)
	}
	assert.NotContains(t, r.log.String(), "Doe", "the name of a file may name a patient")
}

func TestAFileIsTakenWhenItHasRestedOrWasRenamed(t *testing.T) {
	r := newRig(t)
	r.watch(t, r.keeper, 300*time.Millisecond)
	whole := report(t)
	f, err := os.Create(filepath.Join(r.dir, "slow.dcm"))
	require.NoError(t, err)
	for part := range 8 {
		_, err := f.Write(whole[part*len(whole)/8 : (part+1)*len(whole)/8])
		require.NoError(t, err)
		time.Sleep(100 * time.Millisecond)
		require.FileExists(t, f.Name(), "a file that grows is left alone")
	}
	require.NoError(t, f.Close())
	r.eventually(t, "taken whole", func() bool { return len(r.under("accepted")) == 1 })
	assert.Empty(t, r.under("refused"))
}

func TestARenamedFileIsTakenAtOnce(t *testing.T) {
	r := newRig(t)
	r.watch(t, r.keeper, time.Hour)
	require.Eventually(t, func() bool { _, err := os.Stat(filepath.Join(r.dir, "refused")); return err == nil }, 5*time.Second, time.Millisecond)
	time.Sleep(100 * time.Millisecond) // until the watch stands: only a notice tells of the rename
	r.file(t, "a.dcm.part", report(t))
	require.NoError(t, os.Rename(filepath.Join(r.dir, "a.dcm.part"), filepath.Join(r.dir, "a.dcm")))
	require.Eventually(t, func() bool { return len(r.under("accepted")) == 1 }, 20*time.Second, 20*time.Millisecond)
}

// wrapped lets a test come between the folder and the keeper.
type wrapped func(ctx context.Context, actor store.Actor, door string, body io.Reader) (store.Receipt, ingest.Answer, error)

func (w wrapped) Keep(ctx context.Context, actor store.Actor, door string, body io.Reader) (store.Receipt, ingest.Answer, error) {
	return w(ctx, actor, door, body)
}

func TestFilesWaitWhileTheStorageTakesNothing(t *testing.T) {
	r := newRig(t)
	var tries atomic.Int32
	r.watch(t, wrapped(func(ctx context.Context, actor store.Actor, door string, body io.Reader) (store.Receipt, ingest.Answer, error) {
		if tries.Add(1) <= 3 {
			return store.Receipt{}, 0, store.ErrUnavailable
		}
		return r.keeper.Keep(ctx, actor, door, body)
	}), quick)
	r.file(t, "a.dcm", report(t))
	r.eventually(t, "kept at the fourth try", func() bool { return len(r.under("accepted")) == 1 })
	assert.EqualValues(t, 4, tries.Load())
}

func TestACrashBetweenKeepingAndMovingIsHarmless(t *testing.T) {
	r := newRig(t)
	receipt, answer, err := r.keeper.Keep(t.Context(), store.System("test"), "folder", bytes.NewReader(report(t)))
	require.NoError(t, err)
	require.Equal(t, ingest.Stored, answer)
	r.file(t, "a.dcm", report(t))
	r.watch(t, r.keeper, quick)
	r.eventually(t, "moved", func() bool { return len(r.under("accepted")) == 1 })
	assert.True(t, strings.HasSuffix(r.under("accepted")[0], receipt.ID+".dcm"), "again gives the same receipt")
}

func TestAFileWrittenWhileItIsReadStays(t *testing.T) {
	r := newRig(t)
	var once sync.Once
	r.watch(t, wrapped(func(ctx context.Context, actor store.Actor, door string, body io.Reader) (_ store.Receipt, _ ingest.Answer, err error) {
		written := false
		once.Do(func() {
			written = true
			err = os.WriteFile(filepath.Join(r.dir, "a.dcm"), report(t), 0o600)
		})
		if written {
			return store.Receipt{}, 0, errors.Join(ingest.ErrRefused, err)
		}
		return r.keeper.Keep(ctx, actor, door, body)
	}), quick)
	r.file(t, "a.dcm", report(t)[:100])
	r.eventually(t, "kept when it was whole", func() bool { return len(r.under("accepted")) == 1 })
	assert.Empty(t, r.under("refused"))
}
