package monthtable_test

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"slices"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/export/monthtable"
	"afterbeam/internal/export/table"
	"afterbeam/internal/quantity"
	"afterbeam/internal/summary"
)

// month is twelve cases of one class, KAP of 1 to 12 Gy cm2, the last without Ka,r.
func month(t *testing.T) summary.Summary {
	t.Helper()
	in := summary.Input{AsOf: "2026-11-02"}
	for i := range 12 {
		at := time.Date(2026, time.October, 1+i, 8, 0, 0, 0, time.UTC)
		c := summary.Case{ID: fmt.Sprint("case", i), Start: at, Day: at.Format(time.DateOnly), Class: "coronary_diagnostic", Room: "Cath 2", Device: "d", KAP: quantity.Some(quantity.GraySquareMetre(float64(i+1) * 1e-4))}
		if i < 11 {
			c.Kerma = quantity.Some(quantity.Gray(0.1))
		}
		in.Cases = append(in.Cases, c)
	}
	var err error
	in.Period, err = summary.ParsePeriod("2026-10")
	require.NoError(t, err)
	s, err := summary.Summarise(in, summary.DefaultSettings())
	require.NoError(t, err)
	return s
}

// TestWrite finds the numbers of the summary in the table, and the reason where there is none.
func TestWrite(t *testing.T) {
	s := month(t)
	var out bytes.Buffer
	digest, err := monthtable.Write(&out, table.Machine, s, monthtable.Made{At: time.Date(2026, 11, 2, 9, 0, 0, 0, time.UTC), Program: "test", Language: "en"})
	require.NoError(t, err)
	rows, err := csv.NewReader(&out).ReadAll()
	require.NoError(t, err)
	require.Len(t, rows, digest.Rows+1)
	column := func(name string) int { return slices.Index(rows[0], name) }
	find := func(quantity, statistic string) []string {
		for _, r := range rows[1:] {
			if r[column("parted_by")] == "all" && r[column("quantity")] == quantity && r[column("statistic")] == statistic && r[column("indicator")] == "Q4" {
				return r
			}
		}
		require.Fail(t, "no row", "%s %s", quantity, statistic)
		return nil
	}
	median := find("kap_gy_cm2", "median")
	assert.Equal(t, "6.50000", median[column("value")], "of 1 to 12")
	assert.Equal(t, "12", median[column("n")])
	low, err := strconv.ParseFloat(median[column("low")], 64)
	require.NoError(t, err)
	assert.Equal(t, 3.0, low, "order statistic 3 of 12: exact binomial, 95 %")
	p90 := find("kap_gy_cm2", "p90")
	assert.Empty(t, p90[column("value")])
	assert.Equal(t, "few-values, wants 36", p90[column("value_absent")])
	kerma := find("kar_gy", "median")
	assert.Equal(t, "11", kerma[column("n")])
	assert.Equal(t, "12", kerma[column("cases")])
}

// TestForms writes every format with the same rows.
func TestForms(t *testing.T) {
	s := month(t)
	var all []table.Digest
	for _, f := range table.Formats() {
		var out bytes.Buffer
		digest, err := monthtable.Write(&out, f, s, monthtable.Made{At: time.Date(2026, 11, 2, 9, 0, 0, 0, time.UTC), Program: "test", Language: "de", Notice: "synthetic"})
		require.NoError(t, err)
		assert.NotZero(t, out.Len())
		all = append(all, digest)
	}
	assert.Equal(t, all[0], all[1])
	assert.Equal(t, all[0], all[2])
}
