package ingest_test

import (
	"context"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/procedure"
	"afterbeam/internal/procedure/lexicon"
	"afterbeam/internal/store"
)

// unheardOf is a report with a description that no table knows and without codes, places and protocol names.
func unheardOf(t testing.TB) procedure.Report {
	t.Helper()
	r := scene(t, stageOne, 3)
	r.Study.Description, r.Study.Performed, r.Study.ProcedureCodes = "Grosser Eingriff Saal 3", "", nil
	for i := range r.Events {
		r.Events[i].Protocol, r.Events[i].Target, r.Events[i].Anatomy = "", procedure.Code{}, procedure.Code{}
	}
	return r
}

func (r *rig) publish(t testing.TB, base int, rows ...lexicon.Row) store.Recomputation {
	t.Helper()
	draft, err := r.db.DraftLexicon(t.Context(), author, base, rows, "as the site calls it")
	require.NoError(t, err)
	_, asked, err := r.db.PublishLexicon(t.Context(), signer, draft.ID, "read", lexicon.Default())
	require.NoError(t, err)
	return asked
}

// TestAPublishedLexiconClassesAnew publishes a row for a name that was unknown: the case gets a new version that names the version
// of the lexicon, the recomputation lists what moved, and other cases stay as they are. A person's word stands above it.
func TestAPublishedLexiconClassesAnew(t *testing.T) {
	r := newRig(t)
	report, other := unheardOf(t), renamed(scene(t, stageOne, 3), 2)
	r.send(t, report, other)
	r.settle(t)
	before, still := r.the(t, report.StudyUID), r.the(t, other.StudyUID)
	require.Equal(t, lexicon.Unclassified, before.Case.Class)
	assert.NotContains(t, before.Methods, "lexicon version", "as before there were versions")

	row := lexicon.Row{Kind: lexicon.KindDescription, Match: "grosser eingriff SAAL 3", Class: "aortic_complex", Complexity: "complex"}
	asked := r.publish(t, 0, row)
	assert.Equal(t, 1, asked.Studies)
	r.settle(t)
	v := r.the(t, report.StudyUID)
	assert.Equal(t, before.Number+1, v.Number)
	assert.Equal(t, "aortic_complex", v.Case.Class)
	assert.Contains(t, v.Methods, " lexicon version:1 ")
	assert.Contains(t, v.Change, "lexicon version 1 instead of 0; class aortic_complex instead of unclassified")
	assert.NotContains(t, v.Change, "methods")
	assert.Equal(t, still.Number, r.the(t, other.StudyUID).Number)
	list, err := r.db.Differences(t.Context(), asked.ID, "", 10)
	require.NoError(t, err)
	require.Len(t, list, 1)
	assert.Equal(t, before.Case.ID, list[0].Case.ID)
	assert.NotEmpty(t, list[0].Numbers, "the class moves the estimates")

	tag, err := r.db.Tag(t.Context(), v.Case.ID)
	require.NoError(t, err)
	require.NoError(t, r.db.AddFacts(t.Context(), author, v.Case.ID, tag, []store.Fact{{Name: "class", Value: "neuro", Source: "person", Reason: "I was there"}}))
	r.settle(t)
	row.Class = "visceral"
	assert.Equal(t, 0, r.publish(t, 1, row).Studies)
	r.settle(t)
	assert.Equal(t, "neuro", r.the(t, report.StudyUID).Case.Class, "a person's word stands above the lexicon")
}

// unaware is a store that does not know what its cases are called until it is told.
type unaware struct {
	*store.DB
	unnamed []store.Version
	told    chan map[string]lexicon.Names
}

func (f *unaware) Unnamed(_ context.Context, after string, _ int) ([]store.Version, error) {
	if after != "" {
		return nil, nil
	}
	return f.unnamed, nil
}

func (f *unaware) KeepNames(_ context.Context, names map[string]lexicon.Names) error {
	f.told <- names
	return nil
}

// TestWhatCasesAreCalledIsFoundAgain has the pipeline read names out of the versions of a store that an earlier program kept; a
// body that cannot be read has none, and holds up no other.
func TestWhatCasesAreCalledIsFoundAgain(t *testing.T) {
	r := newRig(t)
	report := unheardOf(t)
	r.send(t, report)
	r.settle(t)
	cases, names, err := r.db.Called(t.Context())
	require.NoError(t, err)
	require.Len(t, cases, 1)
	f := &unaware{DB: r.db, told: make(chan map[string]lexicon.Names, 1)}
	broken := store.Version{Case: store.Case{ID: "broken"}, Body: []byte("no body")}
	f.unnamed = []store.Version{broken, r.the(t, report.StudyUID)}
	r.pipeline.Store = f
	ctx, stop := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() { r.pipeline.Run(ctx); close(done) }()
	assert.Equal(t, map[string]lexicon.Names{cases[0].CaseID: names[cases[0].Names]}, <-f.told)
	stop()
	<-done
	assert.Equal(t, "Grosser Eingriff Saal 3", names[cases[0].Names].Description)
}
