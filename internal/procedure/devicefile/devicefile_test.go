package devicefile_test

import (
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/procedure"
	"afterbeam/internal/procedure/devicefile"
	"afterbeam/internal/quantity"
)

func TestReadTheExample(t *testing.T) {
	f, err := os.Open("testdata/example.toml")
	require.NoError(t, err)
	defer func() { require.NoError(t, f.Close()) }()
	profiles, err := devicefile.Read(f)
	require.NoError(t, err)
	require.Len(t, profiles, 1)
	p := profiles[0]
	assert.Equal(t, "Hybrid 1", p.Name)
	assert.Equal(t, procedure.FramePatient, p.Angles)
	assert.Equal(t, procedure.TableAxis{Meaning: procedure.AxisTableDown, Sign: 1, Zero: quantity.Some(quantity.Millimetre(0))}, p.Height)
	assert.Equal(t, procedure.TableAxis{Meaning: procedure.AxisTableHead, Sign: 1}, p.Longitudinal)
	assert.Equal(t, quantity.Some(procedure.Factor{Value: 1.08, Uncertainty: 3, From: "2026-01-15", Until: "2027-01-14"}), p.KermaFactor)
	assert.Equal(t, quantity.None[quantity.Millimetre](), p.RefPoint, "an absent key stays absent")
	assert.Len(t, p.Layers, 2)
}

func TestReadRefuses(t *testing.T) {
	head := "[[device]]\ndevice = \"d\"\nfrom = \"2026-01-01\"\n"
	tests := map[string]struct{ text, want string }{
		"nothing":               {"", "no [[device]] section"},
		"no key":                {"[[device]]\nfrom = \"2026-01-01\"\n", "device is missing"},
		"no date":               {"[[device]]\ndevice = \"d\"\n", "from wants a date"},
		"misspelt key":          {head + "sined_by = \"x\"\n", "unknown key"},
		"factor unsigned":       {head + "[device.kerma_factor]\nvalue = 1.1\nuncertainty_percent = 3\n", "signed_by is empty"},
		"factor absurd":         {head + "signed_by = \"p\"\n[device.kerma_factor]\nvalue = 10.8\nuncertainty_percent = 3\n", "between 0.33 and 3"},
		"factor without spread": {head + "signed_by = \"p\"\n[device.kap_factor]\nvalue = 1.1\n", "uncertainty_percent wants"},
		"factor date":           {head + "signed_by = \"p\"\n[device.kap_factor]\nvalue = 1.1\nuncertainty_percent = 3\nfrom = \"1.2.2026\"\n", "wants a date"},
		"frame":                 {head + "angle_frame = \"room\"\n", "gantry, patient, unknown"},
		"axis":                  {head + "[device.table_axes.height]\ngrows_toward = \"sideways\"\n", "table_axes.height.grows_toward"},
		"zero without meaning":  {head + "[device.table_axes.height]\nat_isocentre_mm = 3\n", "without grows_toward"},
		"distance":              {head + "source_to_isocentre_mm = -1\n", "source_to_isocentre_mm must be above 0"},
		"layer":                 {head + "[device.table]\nknown = \"typed\"\n[[device.table.layer]]\nmaterial = \"wood\"\nmass_g_cm2 = 1\n", "carbon_fibre"},
		"no layers":             {head + "[device.table]\nknown = \"measured\"\n", "no [[device.table.layer]]"},
		"not TOML":              {"device = [", "device profile not usable"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			_, err := devicefile.Read(strings.NewReader(tt.text))
			require.ErrorIs(t, err, devicefile.ErrInvalid)
			assert.Contains(t, err.Error(), tt.want)
		})
	}
}

func FuzzRead(f *testing.F) {
	f.Add("[[device]]\ndevice = \"d\"\nfrom = \"2026-01-01\"\n")
	f.Fuzz(func(_ *testing.T, s string) { _, _ = devicefile.Read(strings.NewReader(s)) })
}
