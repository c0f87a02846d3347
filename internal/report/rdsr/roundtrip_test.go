package rdsr_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/report/rdsr"
)

// carried leaves out what a dose report doesn't carry: digests, transfer syntax, Findings, and the age, which follows
// from the birth date. Times are compared in UTC.
func carried(r *procedure.Report) *procedure.Report {
	c := *r
	c.TransferSyntax, c.BytesDigest, c.DataSetDigest, c.ContentDigest, c.Findings = "", "", "", "", nil
	c.Patient.AgeYears = quantity.Opt[float64]{}
	c.Study.Date.Time, c.Content.Time = c.Study.Date.Time.UTC(), c.Content.Time.UTC()
	c.Events = append([]procedure.Event(nil), r.Events...)
	for i := range c.Events {
		e := &c.Events[i]
		e.Start.Time = e.Start.Time.UTC()
	}
	c.Planes = append([]procedure.PlaneTotal(nil), r.Planes...)
	for i := range c.Planes {
		c.Planes[i].Calibrations = append([]procedure.Calibration(nil), r.Planes[i].Calibrations...)
		for j := range c.Planes[i].Calibrations {
			c.Planes[i].Calibrations[j].When.Time = c.Planes[i].Calibrations[j].When.Time.UTC()
		}
	}
	return &c
}

func TestWrittenShapesReadBack(t *testing.T) {
	for name, report := range shapes() {
		for opt, options := range map[string]rdsr.WriteOptions{
			"current codes":    {},
			"codes of 2017":    {CodeGeneration: rdsr.Codes2017},
			"codes of the SRT": {CodeGeneration: rdsr.CodesSRT},
			"implicit":         {TransferSyntax: dicomio.ImplicitLittleEndian},
			"deflated":         {TransferSyntax: dicomio.DeflatedExplicit},
		} {
			t.Run(name+" "+opt, func(t *testing.T) {
				got, err := rdsr.Read(written(t, report, options), rdsr.Options{})
				require.NoError(t, err)
				assert.Equal(t, carried(report), carried(got))
			})
		}
	}
}

// A report in order has no Finding of weight: nothing repaired, suspect or refused.
func TestShapesInOrderAreNotSuspect(t *testing.T) {
	for name, report := range shapes() {
		t.Run(name, func(t *testing.T) {
			got, err := rdsr.Read(written(t, report, rdsr.WriteOptions{}), rdsr.Options{})
			require.NoError(t, err)
			for _, f := range got.Findings {
				t.Logf("%s %s %s: %s", f.Severity, f.Rule, f.Place, f.Text)
				assert.Contains(t, []procedure.Severity{procedure.Note, procedure.Reduced}, f.Severity)
			}
			for _, e := range got.Events {
				assert.Zero(t, e.Suspicion)
			}
		})
	}
}
