package devicefile_test

import (
	"bytes"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/procedure"
	"afterbeam/internal/procedure/devicefile"
	"afterbeam/internal/quantity"
)

// What is written reads back the same.
func TestWriteReadsBack(t *testing.T) {
	whole, err := os.ReadFile("testdata/example.toml")
	require.NoError(t, err)
	want, err := devicefile.Read(bytes.NewReader(whole))
	require.NoError(t, err)
	bare := procedure.DeviceProfile{Device: "d", From: "2026-01-01"}
	// Zeros that are known to be zero stay.
	zero := procedure.DeviceProfile{
		Device: "z", From: "2026-01-01", MattressThickness: quantity.Some[quantity.Millimetre](0),
		Lateral: procedure.TableAxis{Meaning: procedure.AxisTableHead, Sign: -1, Zero: quantity.Some[quantity.Millimetre](0)},
	}
	want = append(want, bare, zero)
	var b bytes.Buffer
	require.NoError(t, devicefile.Write(&b, want))
	got, err := devicefile.Read(&b)
	require.NoError(t, err, b.String())
	assert.Equal(t, want, got)
}

// A draft with a factor is refused until somebody has signed it.
func TestWriteAsksForASignature(t *testing.T) {
	p := procedure.DeviceProfile{Device: "d", From: "2026-01-01", KermaFactor: quantity.Some(procedure.Factor{Value: 1.1, Uncertainty: 3})}
	var b bytes.Buffer
	require.NoError(t, devicefile.Write(&b, []procedure.DeviceProfile{p}))
	_, err := devicefile.Read(strings.NewReader(b.String()))
	require.ErrorIs(t, err, devicefile.ErrInvalid)
	assert.ErrorContains(t, err, "signed_by is empty")
	p.SignedBy = "P"
	got, err := devicefile.Read(strings.NewReader(strings.Replace(b.String(), `signed_by = ""`, `signed_by = "P"`, 1)))
	require.NoError(t, err)
	assert.Equal(t, []procedure.DeviceProfile{p}, got)
}
