package store_test

import (
	"context"
	"database/sql"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/pressly/goose/v3"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/audit"
	"afterbeam/internal/procedure/lexicon"
	"afterbeam/internal/store"
	"afterbeam/internal/store/conformance"
	"afterbeam/internal/store/invented"
)

// schemaVersions are the numbers of the migrations, oldest first.
func schemaVersions(t *testing.T) (all []int64) {
	t.Helper()
	files, err := filepath.Glob("migrations/sqlite/*.sql")
	require.NoError(t, err)
	for _, name := range files {
		version, err := goose.NumericComponent(name)
		require.NoError(t, err)
		all = append(all, version)
	}
	require.Greater(t, len(all), 20)
	return all
}

// raw opens the database of a closed store as any program would.
func raw(t *testing.T, dir string, do func(db *sql.DB)) {
	t.Helper()
	db, err := sql.Open("sqlite", filepath.Join(dir, "afterbeam.db")+"?_pragma=synchronous(0)")
	require.NoError(t, err)
	do(db)
	require.NoError(t, db.Close())
}

// backTo takes the schema of a closed store back to what it was at a version.
func backTo(t *testing.T, dir string, version int64) {
	t.Helper()
	raw(t, dir, func(db *sql.DB) {
		way, err := goose.NewProvider(goose.DialectSQLite3, db, os.DirFS("migrations/sqlite"))
		require.NoError(t, err)
		_, err = way.DownTo(context.Background(), version)
		require.NoError(t, err, "back to schema %d", version)
	})
}

// content gives every row of every table of a closed store, by table; columns limits each table to those columns, nil is all.
func content(t *testing.T, dir string, columns map[string][]string) (rows, found map[string][]string) {
	t.Helper()
	rows, found = map[string][]string{}, map[string][]string{}
	raw(t, dir, func(db *sql.DB) {
		for _, table := range texts(t, db, `SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite%' AND name NOT LIKE 'goose%' ORDER BY name`) {
			found[table] = texts(t, db, `SELECT name FROM pragma_table_info('`+table+`') ORDER BY cid`)
			of := found[table]
			if columns != nil {
				if of = columns[table]; of == nil {
					continue // a table that came later
				}
			}
			var quoted []string
			for _, c := range of {
				quoted = append(quoted, `'`+c+`=' || quote("`+c+`")`)
			}
			rows[table] = texts(t, db, `SELECT `+strings.Join(quoted, ` || ' ' || `)+` AS line FROM "`+table+`" ORDER BY line`)
		}
	})
	return rows, found
}

func texts(t *testing.T, db *sql.DB, query string) (all []string) {
	t.Helper()
	rows, err := db.Query(query)
	require.NoError(t, err)
	defer func() { assert.NoError(t, rows.Close()) }()
	for rows.Next() {
		var one string
		require.NoError(t, rows.Scan(&one))
		all = append(all, one)
	}
	require.NoError(t, rows.Err())
	return all
}

// upgraded takes a closed store back to an earlier schema, opens it with the program as it is, and wants every row that was there to
// be there still, digit by digit. It leaves the store upgraded and closed.
func upgraded(t *testing.T, dir string, version int64) {
	t.Helper()
	backTo(t, dir, version)
	before, columns := content(t, dir, nil)
	db, err := store.Open(context.Background(), store.Config{Dir: dir, Program: "upgrade"})
	require.NoError(t, err, "from schema %d", version)
	require.NoError(t, db.Close())
	after, _ := content(t, dir, columns)
	for table := range before {
		assert.Equal(t, before[table], after[table], "table %s, from schema %d", table, version)
	}
}

// TestUpgradeFromEverySchema fills a small store and upgrades it from every schema that there ever was: nothing is lost, the store
// verifies, and a case reads back as it was.
func TestUpgradeFromEverySchema(t *testing.T) {
	filled := t.TempDir()
	id, object := filledStore(t, filled)
	versions := schemaVersions(t)
	for i, version := range versions {
		if !inCI() && i%5 != 0 && i < len(versions)-3 {
			continue // a few of them in an ordinary run
		}
		t.Run(fmt.Sprintf("schema %d", version), func(t *testing.T) {
			dir := t.TempDir()
			require.NoError(t, os.CopyFS(dir, os.DirFS(filled)))
			want := caseNow(t, filled, id)
			upgraded(t, dir, version)
			got := caseNow(t, dir, id)
			assert.Equal(t, want.Body, got.Body)
			assert.Equal(t, want.Digest, got.Digest)
			assert.Equal(t, want.Case.Kerma, got.Case.Kerma)
			assert.Equal(t, want.Case.PSD, got.Case.PSD)
			db := open(t, store.Config{Dir: dir})
			defer func() { require.NoError(t, db.Close()) }()
			v, err := db.Verify(t.Context(), nil)
			require.NoError(t, err)
			assert.True(t, v.Sound(), "%+v", v)
			assert.Equal(t, 1, v.Receipts)
			bytes, err := db.Raw(object)
			require.NoError(t, err)
			assert.Equal(t, "a report", string(bytes))
			require.NoError(t, db.Note(t.Context(), store.System("test"), audit.Record{Action: "after"}), "it works on")
		})
	}
}

func inCI() bool { return os.Getenv("CI") == "true" || os.Getenv("CI") == "1" }

// filledStore makes a store with something in most tables and gives the id of a case and of a receipt.
func filledStore(t *testing.T, dir string) (id, receipt string) {
	t.Helper()
	ctx, person := t.Context(), store.Actor{Account: "a physicist", Role: "physicist"}
	db := open(t, store.Config{Dir: dir, Program: "earlier"})
	_, err := invented.Fill(ctx, dir, 30)
	require.NoError(t, err)
	a, err := db.Receive(ctx, strings.NewReader("a report"))
	require.NoError(t, err)
	require.NoError(t, a.Keep())
	r, _, err := db.Accept(ctx, person, store.Arrival{Digest: a.Digest, Size: 8, Door: "test", SOPClass: "1.2", SOPInstance: "2.25.1", StudyUID: "2.25.2"})
	require.NoError(t, err)
	cases, err := db.Cases(ctx, store.Filter{Limit: 1})
	require.NoError(t, err)
	require.Len(t, cases, 1)
	account, err := db.AddAccount(ctx, person, "dr one", "physicist", nil)
	require.NoError(t, err)
	_, err = db.AddToken(ctx, person, account.ID, "ab_1234", "hash", "test", time.Now().Add(time.Hour))
	require.NoError(t, err)
	require.NoError(t, db.OfferPassword(ctx, person, account.ID, "link", time.Now().Add(time.Hour)))
	_, err = db.BeginSession(ctx, person, store.Session{Account: account, Way: "password", EndsAt: time.Now().Add(time.Hour)}, "session")
	require.NoError(t, err)
	_, err = db.MakePaper(ctx, person, store.Paper{CaseID: cases[0].ID, Version: 1, Kind: "patient-sheet", Language: "de", Size: "a4"}, func(store.Paper) (pdf, html []byte, err error) {
		return []byte("pdf"), []byte("html"), nil
	})
	require.NoError(t, err)
	_, err = db.DraftLexicon(ctx, person, 0, []lexicon.Row{{Kind: lexicon.KindText, Match: "renal denervation", Class: "rhythm_ablation"}}, "a draft")
	require.NoError(t, err)
	_, err = db.AddHold(ctx, person, cases[0].ID, "a claim")
	require.NoError(t, err)
	run, err := db.BeginRun(ctx, store.BackupRun)
	require.NoError(t, err)
	require.NoError(t, db.EndRun(ctx, person, run, "copied", nil))
	require.NoError(t, db.Close())
	// The invented rows were written past the store: what it keeps beside each case for summaries is made by the migration.
	backTo(t, dir, 22)
	require.NoError(t, open(t, store.Config{Dir: dir, Program: "earlier"}).Close())
	return cases[0].ID, r.Digest
}

func caseNow(t *testing.T, dir, id string) store.Version {
	t.Helper()
	db := open(t, store.Config{Dir: dir})
	v, err := db.Version(t.Context(), id, 0)
	require.NoError(t, err)
	require.NoError(t, db.Close())
	return v
}

// afterwardsUpgraded opens stores that their test's end closes, takes every third of them back to one earlier schema after the other
// and upgrades it: whatever can be in a store survives.
func afterwardsUpgraded(t *testing.T) conformance.Open {
	versions, opened := schemaVersions(t), map[string]bool{}
	return func(t *testing.T, cfg store.Config) *store.DB {
		t.Helper()
		// A test that opens its store again has it closed only where it opened it first.
		if turn := len(opened); !opened[cfg.Dir] && turn%3 == 0 {
			t.Cleanup(func() {
				if !t.Failed() {
					upgraded(t, cfg.Dir, versions[turn/3%len(versions)])
				}
			})
		}
		opened[cfg.Dir] = true
		return open(t, cfg)
	}
}

// A store of a newer program is refused with both numbers, and nothing in it is touched.
func TestANewerStoreIsLeftAlone(t *testing.T) {
	dir := t.TempDir()
	require.NoError(t, open(t, store.Config{Dir: dir}).Close())
	raw(t, dir, func(db *sql.DB) {
		_, err := db.Exec(`INSERT INTO goose_db_version (version_id, is_applied) VALUES (99999, 1)`)
		require.NoError(t, err)
		_, err = db.Exec(`CREATE TABLE of_the_future (id TEXT PRIMARY KEY) STRICT`)
		require.NoError(t, err)
	})
	before, _ := content(t, dir, nil)
	versions := schemaVersions(t)
	for _, beside := range []bool{false, true} {
		_, err := store.Open(context.Background(), store.Config{Dir: dir, Beside: beside})
		require.ErrorIs(t, err, store.ErrInvalid)
		assert.ErrorContains(t, err, fmt.Sprintf("the database has schema 99999, this program knows schemas up to %d", versions[len(versions)-1]))
	}
	after, _ := content(t, dir, nil)
	assert.Equal(t, before, after)
}
