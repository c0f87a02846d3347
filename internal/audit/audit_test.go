package audit_test

import (
	"fmt"
	"iter"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/audit"
)

func chain(n int) []audit.Record {
	start := time.Date(2026, 9, 14, 8, 0, 0, 0, time.UTC)
	var head audit.Head
	records := make([]audit.Record, n)
	for i := range records {
		r := audit.Record{Actor: fmt.Sprintf("user %d", i%7), Role: "physicist", Action: "patient.view", Object: fmt.Sprint(i), Outcome: "done"}
		records[i] = audit.Seal(r, head, start.Add(time.Duration(i)*time.Second))
		head = records[i].Head()
	}
	return records
}

func all(records []audit.Record) iter.Seq2[audit.Record, error] {
	return func(yield func(audit.Record, error) bool) {
		for _, r := range records {
			if !yield(r, nil) {
				return
			}
		}
	}
}

func TestVerifyAcceptsAWholeChain(t *testing.T) {
	records := chain(1000)
	anchor := records[700].Head()
	head, err := audit.Verify(all(records), &anchor)
	require.NoError(t, err)
	assert.Equal(t, uint64(1000), head.Sequence)
	head, err = audit.Verify(all(nil), nil)
	require.NoError(t, err)
	assert.Equal(t, uint64(0), head.Sequence)
}

// Six kinds of tampering at 200 random places each: all 1,200 are found, naming the first bad record.
func TestVerifyFindsTampering(t *testing.T) {
	records := chain(500)
	anchor := records[len(records)-1].Head()
	rng := rand.New(rand.NewPCG(1, 2))
	kinds := map[string]func(r []audit.Record, at int) (tampered []audit.Record, firstBad int){
		"edit": func(r []audit.Record, at int) ([]audit.Record, int) {
			r[at].Reason = "another"
			return r, at + 1
		},
		"delete": func(r []audit.Record, at int) ([]audit.Record, int) {
			return slices.Delete(r, at, at+1), at + 1
		},
		"insert": func(r []audit.Record, at int) ([]audit.Record, int) {
			return slices.Insert(r, at, r[at]), at + 2
		},
		"reorder": func(r []audit.Record, at int) ([]audit.Record, int) {
			at = min(at, len(r)-2)
			r[at], r[at+1] = r[at+1], r[at]
			return r, at + 1
		},
		"clock back": func(r []audit.Record, at int) ([]audit.Record, int) {
			r[at].Time = r[at].Time.Add(-time.Hour)
			return r, at + 1
		},
		"cut tail": func(r []audit.Record, at int) ([]audit.Record, int) {
			return r[:at], at + 1
		},
	}
	for name, tamper := range kinds {
		t.Run(name, func(t *testing.T) {
			for range 200 {
				bad, first := tamper(slices.Clone(records), 1+rng.IntN(len(records)-1))
				_, err := audit.Verify(all(bad), &anchor)
				require.ErrorIs(t, err, audit.ErrBroken)
				assert.Contains(t, err.Error(), fmt.Sprintf("record %d ", first))
			}
		})
	}
}

// A rewritten tail is a chain in itself; only the anchor tells it from the true one.
func TestVerifyFindsARewrittenTailByItsAnchor(t *testing.T) {
	records := chain(50)
	anchor := records[40].Head()
	head := records[29].Head()
	for i := 30; i < len(records); i++ {
		records[i].Object = "forged"
		records[i] = audit.Seal(records[i], head, records[i].Time)
		head = records[i].Head()
	}
	_, err := audit.Verify(all(records), nil)
	require.NoError(t, err)
	_, err = audit.Verify(all(records), &anchor)
	assert.ErrorIs(t, err, audit.ErrBroken)
}

func TestSealNeverGoesBackInTime(t *testing.T) {
	now := time.Date(2026, 9, 14, 8, 0, 0, 0, time.UTC)
	first := audit.Seal(audit.Record{Action: "a"}, audit.Head{}, now)
	second := audit.Seal(audit.Record{Action: "b"}, first.Head(), now.Add(-time.Hour))
	assert.Equal(t, first.Time, second.Time)
	_, err := audit.Verify(all([]audit.Record{first, second}), nil)
	require.NoError(t, err)
}

func BenchmarkVerify(b *testing.B) {
	records := chain(10_000)
	for b.Loop() {
		if _, err := audit.Verify(all(records), nil); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.N*len(records))/b.Elapsed().Seconds(), "records/s")
}
