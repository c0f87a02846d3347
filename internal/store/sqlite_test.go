package store_test

import (
	"context"
	"database/sql"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"
	sqlite3 "modernc.org/sqlite/lib"

	"afterbeam/internal/audit"
	"afterbeam/internal/store"
	"afterbeam/internal/store/conformance"
	"afterbeam/internal/store/invented"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

func open(t *testing.T, cfg store.Config) *store.DB {
	t.Helper()
	db, err := store.Open(context.Background(), cfg)
	require.NoError(t, err)
	return db
}

// opened opens a store that the test's end closes.
func opened(t *testing.T) (*store.DB, string) {
	t.Helper()
	dir := t.TempDir()
	db := open(t, store.Config{Dir: dir, Program: "test"})
	t.Cleanup(func() { assert.NoError(t, db.Close()) })
	return db, dir
}

// TestSQLiteConforms runs the suite; under CI every third store that it leaves behind also goes through an upgrade.
func TestSQLiteConforms(t *testing.T) {
	if inCI() {
		conformance.Run(t, afterwardsUpgraded(t))
		return
	}
	conformance.Run(t, open)
}

// The driver is translated C and works with exactly the runtime library it was translated for.
func TestRuntimeLibraryIsTheOneTheDriverNames(t *testing.T) {
	list := func(format, module string) string {
		out, err := exec.Command("go", "list", "-m", "-f", format, module).Output()
		require.NoError(t, err)
		return strings.TrimSpace(string(out))
	}
	content, err := os.ReadFile(filepath.Join(list("{{.Dir}}", "modernc.org/sqlite"), "go.mod"))
	require.NoError(t, err)
	want := ""
	for line := range strings.Lines(string(content)) {
		if fields := strings.Fields(line); len(fields) >= 2 && fields[0] == "modernc.org/libc" {
			want = fields[1]
		}
	}
	require.NotEmpty(t, want)
	assert.Equal(t, want, list("{{.Version}}", "modernc.org/libc"))
}

func schema(t *testing.T, db *sql.DB) []string {
	t.Helper()
	rows, err := db.Query(`SELECT sql FROM sqlite_schema WHERE sql IS NOT NULL AND name NOT LIKE 'goose%' AND name NOT LIKE 'sqlite%' ORDER BY type, name`)
	require.NoError(t, err)
	defer func() { assert.NoError(t, rows.Close()) }()
	var all []string
	for rows.Next() {
		var one string
		require.NoError(t, rows.Scan(&one))
		all = append(all, one)
	}
	require.NoError(t, rows.Err())
	return all
}

func TestMigrationsGoUpDownAndUp(t *testing.T) {
	db, _ := opened(t)
	up := schema(t, db.Writer())
	require.NotEmpty(t, up)
	for _, one := range up {
		if strings.HasPrefix(one, "CREATE TABLE") {
			assert.Contains(t, one, "STRICT")
		}
	}
	way, err := db.Migrations()
	require.NoError(t, err)
	_, err = way.DownTo(context.Background(), 0)
	require.NoError(t, err)
	assert.Empty(t, schema(t, db.Writer()))
	_, err = way.Up(context.Background())
	require.NoError(t, err)
	assert.Equal(t, up, schema(t, db.Writer()))
}

func TestNewerSchemaIsRefused(t *testing.T) {
	dir := t.TempDir()
	db := open(t, store.Config{Dir: dir})
	_, err := db.Writer().Exec(`INSERT INTO goose_db_version (version_id, is_applied) VALUES (9999, 1)`)
	require.NoError(t, err)
	require.NoError(t, db.Close())
	for _, beside := range []bool{false, true} {
		_, err = store.Open(context.Background(), store.Config{Dir: dir, Beside: beside})
		require.ErrorIs(t, err, store.ErrInvalid)
		assert.ErrorContains(t, err, "9999")
	}
}

// A full database says so, changes nothing, still reads, and works again once there is room.
func TestFullDatabase(t *testing.T) {
	ctx := context.Background()
	db, _ := opened(t)
	require.NoError(t, db.Note(ctx, store.Actor{Account: "a"}, audit.Record{Action: "first"}))
	_, err := db.Writer().Exec(`PRAGMA max_page_count = 1`) // SQLite raises it to the pages there are
	require.NoError(t, err)
	require.ErrorIs(t, db.Ready(ctx), store.ErrUnavailable)
	noted := 1
	for ; noted < 10_000; noted++ {
		if err = db.Note(ctx, store.Actor{Account: "a"}, audit.Record{Action: "more", Reason: strings.Repeat("x", 500)}); err != nil {
			break
		}
	}
	require.ErrorIs(t, err, store.ErrUnavailable)
	require.ErrorIs(t, db.Viewed(ctx, store.Actor{Account: "a"}, "patient.view", strings.Repeat("x", 5000), "p"), store.ErrUnavailable)
	head, err := audit.Verify(db.AuditRecords(ctx), nil)
	require.NoError(t, err)
	assert.Equal(t, uint64(noted), head.Sequence)
	_, err = db.Writer().Exec(`PRAGMA max_page_count = 1000000`)
	require.NoError(t, err)
	require.NoError(t, db.Ready(ctx))
	require.NoError(t, db.Note(ctx, store.Actor{Account: "a"}, audit.Record{Action: "again"}))
}

func TestReadyFindsAFolderThatCannotBeWritten(t *testing.T) {
	db, dir := opened(t)
	require.NoError(t, db.Ready(context.Background()))
	// Root may write anywhere, so the folder is taken away instead of its permission.
	require.NoError(t, os.Remove(filepath.Join(dir, "arrivals")))
	require.ErrorIs(t, db.Ready(context.Background()), store.ErrUnavailable)
}

func TestReadyFindsAReadOnlyDatabase(t *testing.T) {
	db, _ := opened(t)
	_, err := db.Writer().Exec(`PRAGMA query_only = 1`)
	require.NoError(t, err)
	require.ErrorIs(t, db.Ready(context.Background()), store.ErrUnavailable)
}

func TestFilesAreTheOwnersAlone(t *testing.T) {
	shared := filepath.Join(t.TempDir(), "shared")
	require.NoError(t, os.Mkdir(shared, 0o755), "a folder that others may look into")
	db := open(t, store.Config{Dir: shared, Program: "test"})
	defer func() { assert.NoError(t, db.Close()) }()
	_, err := db.Anchor(context.Background())
	require.NoError(t, err)
	backup := filepath.Join(t.TempDir(), "backup")
	require.NoError(t, os.Mkdir(backup, 0o755))
	require.NoError(t, db.Backup(context.Background(), backup))
	restored := filepath.Join(t.TempDir(), "restored")
	require.NoError(t, os.Mkdir(restored, 0o755))
	_, err = store.Restore(context.Background(), backup, restored, "test")
	require.NoError(t, err)
	for _, dir := range []string{shared, backup, restored} {
		entries, err := os.ReadDir(dir)
		require.NoError(t, err)
		for _, e := range entries {
			info, err := e.Info()
			require.NoError(t, err)
			assert.Zero(t, info.Mode().Perm()&0o077, "%s in %s", e.Name(), filepath.Base(dir))
		}
	}
}

func TestReadersCannotWrite(t *testing.T) {
	db, _ := opened(t)
	_, err := db.Reader().Exec(`INSERT INTO setting (name, value) VALUES ('a', 'b')`)
	require.ErrorContains(t, err, "readonly")
}

func TestStrictColumnsRefuseOtherTypes(t *testing.T) {
	db, _ := opened(t)
	_, err := db.Writer().Exec(`INSERT INTO flag (procedure_id, version, place, scope, scheme, level_id, quantity, state, value, basis, text, source)
		VALUES ('a', 'not a number', 1, '', '', '', '', '', 'nor this', '', '', '')`)
	require.ErrorContains(t, err, "cannot store TEXT value in INTEGER column")
}

// A panic in a change, caught by a door further up, must not keep the only writer.
func TestPanicInAChangeFreesTheWriter(t *testing.T) {
	db, _ := opened(t)
	require.Panics(t, func() { _ = db.Panic(context.Background()) })
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	require.NoError(t, db.Note(ctx, store.Actor{Account: "a"}, audit.Record{Action: "after"}))
}

func TestKindsOfResultCodes(t *testing.T) {
	for code, want := range map[int]error{
		sqlite3.SQLITE_FULL: store.ErrUnavailable, sqlite3.SQLITE_BUSY: store.ErrUnavailable, sqlite3.SQLITE_READONLY_DBMOVED: store.ErrUnavailable,
		sqlite3.SQLITE_IOERR_WRITE: store.ErrUnavailable, sqlite3.SQLITE_IOERR_FSYNC: store.ErrFatal, sqlite3.SQLITE_IOERR_DIR_FSYNC: store.ErrFatal,
		sqlite3.SQLITE_INTERRUPT: context.Canceled, sqlite3.SQLITE_CONSTRAINT_UNIQUE: store.ErrConflict, sqlite3.SQLITE_CONSTRAINT_FOREIGNKEY: store.ErrInvalid, sqlite3.SQLITE_CONSTRAINT_DATATYPE: store.ErrInvalid,
	} {
		assert.Equal(t, want, store.KindOf(code), code)
	}
	assert.NoError(t, store.KindOf(sqlite3.SQLITE_CORRUPT), "internal")
}

// Every way to tamper with the rows of the chain is found by Verify; a cut tail by the anchor alone.
func TestVerifyFindsTamperedRows(t *testing.T) {
	ctx := context.Background()
	tests := map[string]struct {
		statement string
		bad       int
	}{
		"edited":        {`UPDATE audit SET reason = 'another' WHERE sequence = 7`, 7},
		"actor":         {`UPDATE audit SET actor = 'b' WHERE sequence = 1`, 1},
		"deleted":       {`DELETE FROM audit WHERE sequence = 7`, 7},
		"renumbered":    {`UPDATE audit SET sequence = 100 WHERE sequence = 20`, 20},
		"moved in time": {`UPDATE audit SET time = '2020-01-01T00:00:00.000000Z' WHERE sequence = 3`, 3},
		"inserted": {`INSERT INTO audit SELECT 21, time, actor, role, session, source, action, 'forged', patient, outcome, reason, before, after, version, hash, hash
			FROM audit WHERE sequence = 20`, 21},
		"tail cut": {`DELETE FROM audit WHERE sequence > 15`, 16},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			db, _ := opened(t)
			for i := range 20 {
				require.NoError(t, db.Note(ctx, store.Actor{Account: "a"}, audit.Record{Action: "x", Object: fmt.Sprint(i)}))
			}
			anchor, err := db.Anchor(ctx)
			require.NoError(t, err)
			_, err = db.Writer().Exec(tt.statement)
			require.NoError(t, err)
			v, err := db.Verify(ctx, &anchor)
			require.NoError(t, err)
			require.ErrorIs(t, v.Chain, audit.ErrBroken)
			assert.ErrorContains(t, v.Chain, fmt.Sprintf("record %d ", tt.bad))
			assert.False(t, v.Sound())
		})
	}
}

func TestVerifyFindsDanglingRows(t *testing.T) {
	db, _ := opened(t)
	conn, err := db.Writer().Conn(context.Background())
	require.NoError(t, err)
	for _, statement := range []string{
		`PRAGMA foreign_keys = 0`, `INSERT INTO event_place (event_uid, plane, procedure_id) VALUES ('1.2', 0, 'nowhere')`, `PRAGMA foreign_keys = 1`,
	} {
		_, err = conn.ExecContext(context.Background(), statement)
		require.NoError(t, err)
	}
	require.NoError(t, conn.Close())
	v, err := db.Verify(context.Background(), nil)
	require.NoError(t, err)
	assert.Equal(t, "1 rows point to rows that are not there", v.Database)
	assert.False(t, v.Sound())
}

func TestRestoreRefusesAStoreInUse(t *testing.T) {
	db, dir := opened(t)
	require.NoError(t, db.Note(context.Background(), store.Actor{Account: "a"}, audit.Record{Action: "x"}))
	_, err := store.Restore(context.Background(), dir, filepath.Join(t.TempDir(), "to"), "test")
	require.ErrorIs(t, err, store.ErrInvalid)
}

// What the newest version tells is found again for cases that are older than the column.
func TestMigrationTellsWhichCasesHaveMaps(t *testing.T) {
	dir := t.TempDir()
	db := open(t, store.Config{Dir: dir})
	t.Cleanup(func() { require.NoError(t, db.Close()) })
	_, err := invented.Fill(t.Context(), dir, 8)
	require.NoError(t, err)
	before, err := db.Cases(t.Context(), store.Filter{})
	require.NoError(t, err)
	require.Len(t, before, 8)
	with := 0
	for _, c := range before {
		if c.HasMap {
			with++
		}
	}
	assert.Equal(t, 6, with, "three in four have one")
	way, err := db.Migrations()
	require.NoError(t, err)
	_, err = way.DownTo(t.Context(), 2)
	require.NoError(t, err)
	_, err = way.Up(t.Context())
	require.NoError(t, err)
	after, err := db.Cases(t.Context(), store.Filter{})
	require.NoError(t, err)
	assert.Equal(t, before, after)
}

// What was received before there was a registry is in it afterwards.
func TestTheRegistryIsFilledFromWhatWasThere(t *testing.T) {
	db, _ := opened(t)
	days := []string{"2026-09-01", "2026-09-03", "2026-09-03"}
	for i, day := range days {
		a, err := db.Receive(t.Context(), strings.NewReader(fmt.Sprint("bytes ", i)))
		require.NoError(t, err)
		require.NoError(t, a.Keep())
		r, _, err := db.Accept(t.Context(), store.System("test"), store.Arrival{Digest: a.Digest, StudyUID: fmt.Sprint("2.25.", i)})
		require.NoError(t, err)
		j, err := db.Lease(t.Context(), "test", time.Minute)
		require.NoError(t, err)
		at, err := time.Parse(time.DateOnly, day)
		require.NoError(t, err)
		require.NoError(t, db.SaveReport(t.Context(), j, store.Report{
			ReceiptID: r.ID, DataSetDigest: fmt.Sprint(i), StudyUID: r.StudyUID, DeviceKey: "2.25.7", ContentAt: at.Add(time.Hour), Day: day, Body: []byte("body"),
		}, store.Identity{Number: "7"}))
		j, err = db.Lease(t.Context(), "test", time.Minute)
		require.NoError(t, err)
		require.NoError(t, db.Finish(t.Context(), j))
	}
	before, err := db.Devices(t.Context(), nil)
	require.NoError(t, err)
	way, err := db.Migrations()
	require.NoError(t, err)
	_, err = way.DownTo(t.Context(), 3)
	require.NoError(t, err)
	_, err = way.Up(t.Context())
	require.NoError(t, err)
	after, err := db.Devices(t.Context(), nil)
	require.NoError(t, err)
	require.Len(t, after, 1)
	assert.Regexp(t, "^[a-z2-7]{24}$", after[0].ID)
	before[0].ID = after[0].ID
	assert.Equal(t, before, after)
	used, err := db.DaysOfUse(t.Context(), after[0].ID, 9)
	require.NoError(t, err)
	assert.Equal(t, []string{"2026-09-03", "2026-09-01"}, used)
}
