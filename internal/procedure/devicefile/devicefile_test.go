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
		"approved by the same":  {head + "signed_by = \"p\"\napproved_by = \"p\"\n", "another physicist"},
		"approved unsigned":     {head + "approved_by = \"p\"\n", "another physicist"},
		"factor no number":      {head + "signed_by = \"p\"\n[device.kap_factor]\nvalue = nan\nuncertainty_percent = 3\n", "between 0.33 and 3"},
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

// What was read from the file is the same after a way through JSON, and is written the same each time.
func TestParticularsAsJSON(t *testing.T) {
	whole, err := os.Open("testdata/example.toml")
	require.NoError(t, err)
	defer func() { require.NoError(t, whole.Close()) }()
	profiles, err := devicefile.Read(whole)
	require.NoError(t, err)
	bare, err := devicefile.Read(strings.NewReader("[[device]]\ndevice = \"d\"\nfrom = \"2026-01-01\"\n"))
	require.NoError(t, err)
	for _, p := range append(profiles, bare...) {
		text, err := devicefile.Marshal(p)
		require.NoError(t, err)
		got, err := devicefile.Unmarshal(text)
		require.NoError(t, err)
		want := p
		want.Device, want.Version, want.From, want.SignedBy, want.ApprovedBy = "", "", "", "", ""
		assert.Equal(t, want, got)
		again, err := devicefile.Marshal(got)
		require.NoError(t, err)
		assert.Equal(t, string(text), string(again))
	}
	for name, tt := range map[string]struct{ text, want string }{
		"unknown key":   {`{"kermafactor":{}}`, "unknown field"},
		"absurd factor": {`{"kap_factor":{"value":5,"uncertainty_percent":3}}`, "between 0.33 and 3"},
		"no JSON":       {`{`, "device profile not usable"},
	} {
		_, err := devicefile.Unmarshal([]byte(tt.text))
		require.ErrorIs(t, err, devicefile.ErrInvalid, name)
		assert.ErrorContains(t, err, tt.want, name)
	}
}
