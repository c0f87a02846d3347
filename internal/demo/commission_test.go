package demo_test

import (
	"bytes"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/demo"
	"afterbeam/internal/physics/commission"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/report/rdsr"
)

// The check finds out how Rhythm 3 was made up.
func TestTheCheckOfRhythm3(t *testing.T) {
	var b bytes.Buffer
	c := demo.Check()
	require.NoError(t, rdsr.Write(&b, &c.Report, rdsr.WriteOptions{}))
	report, err := rdsr.Read(b.Bytes(), rdsr.Options{})
	require.NoError(t, err)
	record, err := commission.Read(strings.NewReader(demo.CheckForm()))
	require.NoError(t, err)
	r, err := commission.Check(report, record, procedure.DeviceProfile{})
	require.NoError(t, err)
	assert.Equal(t, procedure.AxisTableHead, r.Profile.Longitudinal.Meaning)
	assert.Equal(t, -1, r.Profile.Longitudinal.Sign)
	assert.Equal(t, procedure.TableAxis{Meaning: procedure.AxisTableLeft, Sign: 1}, r.Profile.Lateral)
	assert.Equal(t, procedure.TableAxis{Meaning: procedure.AxisTableDown, Sign: -1, Zero: quantity.Some[quantity.Millimetre](1065)}, r.Profile.Height)
	assert.Equal(t, procedure.FrameGantry, r.Profile.Angles)
	f, ok := r.Kerma.Factor.Get()
	require.True(t, ok, r.Kerma.Says)
	assert.InDelta(t, 0.925, f.Value, 0.002)
	assert.True(t, r.KAP.Factor.Present(), r.KAP.Says)
	assert.False(t, r.Profile.KermaFactor.Present(), "one tube of two does not speak for both")
	assert.False(t, r.Contradicted())
}
