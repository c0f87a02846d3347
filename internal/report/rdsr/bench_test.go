package rdsr_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"afterbeam/internal/procedure"
	"afterbeam/internal/report/rdsr"
)

func thousandEvents() *procedure.Report {
	r := header(8)
	for n := range 1000 {
		kind := procedure.Fluoroscopy
		if n%5 == 0 {
			kind = procedure.Stationary
		}
		e := exposure(r, procedure.PlaneSingle, kind, 0.004)
		e.UID = fmt.Sprintf("%s8.%d", uidRoot, n)
		r.Events = append(r.Events, e)
	}
	r.Planes = []procedure.PlaneTotal{total(r, procedure.PlaneSingle)}
	return r
}

func BenchmarkReadThousandEvents(b *testing.B) {
	data := written(b, thousandEvents(), rdsr.WriteOptions{})
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		_, err := rdsr.Read(data, rdsr.Options{})
		require.NoError(b, err)
	}
}
