// Package devicefile reads device profiles from a TOML file, the form in which a physicist writes down and signs for
// what is known of each room's equipment.
//
// Every key is optional except device and from; a key that is absent keeps the stated default of an unknown device. A
// key the package does not know is an error, so that a misspelt factor never silently stays at 1.
package devicefile

import (
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"time"

	"github.com/BurntSushi/toml"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// ErrInvalid marks a profile file that cannot be used; the text names the device, the key and the expected form.
var ErrInvalid = errors.New("device profile not usable")

type file struct {
	Device []device `toml:"device"`
}

type device struct {
	Key      string   `toml:"device"`
	Name     string   `toml:"name"`
	Version  string   `toml:"version"`
	From     string   `toml:"from"`
	SignedBy string   `toml:"signed_by"`
	Kerma    *factor  `toml:"kerma_factor"`
	KAP      *factor  `toml:"kap_factor"`
	Meter    string   `toml:"meter"`
	Ref      *float64 `toml:"source_to_reference_mm"`
	SISO     *float64 `toml:"source_to_isocentre_mm"`
	Mobile   bool     `toml:"mobile"`
	Angles   string   `toml:"angle_frame"`
	Field    string   `toml:"field_plane"`
	Inherent *float64 `toml:"inherent_aluminium_mm"`
	Axes     axes     `toml:"table_axes"`
	Table    table    `toml:"table"`
}

type factor struct {
	Value         float64 `toml:"value"`
	Uncertainty   float64 `toml:"uncertainty_percent"`
	From          string  `toml:"from"`
	Until         string  `toml:"until"`
	IncludesTable bool    `toml:"includes_table"`
}

type axes struct {
	Longitudinal axis `toml:"longitudinal"`
	Lateral      axis `toml:"lateral"`
	Height       axis `toml:"height"`
}

type axis struct {
	Toward string   `toml:"grows_toward"`
	Zero   *float64 `toml:"at_isocentre_mm"`
}

type table struct {
	Known    string   `toml:"known"`
	Width    *float64 `toml:"width_mm"`
	Length   *float64 `toml:"length_mm"`
	Mattress *float64 `toml:"mattress_mm"`
	Layers   []layer  `toml:"layer"`
}

type layer struct {
	Material string  `toml:"material"`
	Mass     float64 `toml:"mass_g_cm2"`
}

// Read reads all profiles of a file. It returns ErrInvalid naming the device and key for anything it cannot use.
func Read(r io.Reader) ([]procedure.DeviceProfile, error) {
	var f file
	meta, err := toml.NewDecoder(r).Decode(&f)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrInvalid, err)
	}
	if unknown := meta.Undecoded(); len(unknown) > 0 {
		return nil, fmt.Errorf("%w: unknown key %q", ErrInvalid, unknown[0].String())
	}
	if len(f.Device) == 0 {
		return nil, fmt.Errorf("%w: no [[device]] section", ErrInvalid)
	}
	profiles := make([]procedure.DeviceProfile, 0, len(f.Device))
	for i, d := range f.Device {
		p, err := d.profile()
		if err != nil {
			return nil, fmt.Errorf("%w: device %d (%q): %w", ErrInvalid, i+1, d.Key, err)
		}
		profiles = append(profiles, p)
	}
	return profiles, nil
}

func (d device) profile() (procedure.DeviceProfile, error) {
	p := procedure.DeviceProfile{
		Device: d.Key, Name: d.Name, Version: d.Version, From: d.From, SignedBy: d.SignedBy, Mobile: d.Mobile,
		RefPoint: length(d.Ref), SourceToIsocentre: length(d.SISO), InherentAluminium: length(d.Inherent),
		TableWidth: length(d.Table.Width), TableLength: length(d.Table.Length), MattressThickness: length(d.Table.Mattress),
	}
	if d.Key == "" {
		return p, errors.New("device is missing: the device observer UID, or maker|model|serial")
	}
	if err := date("from", d.From); err != nil {
		return p, err
	}
	var err error
	set := func(e error) {
		if err == nil {
			err = e
		}
	}
	set(choose("meter", d.Meter, &p.Meter, map[string]procedure.MeterKnowledge{
		"": procedure.MeterUnchecked, "unchecked": procedure.MeterUnchecked, "checked": procedure.MeterChecked,
	}))
	set(choose("angle_frame", d.Angles, &p.Angles, map[string]procedure.AngleFrame{
		"": procedure.FrameUnknown, "unknown": procedure.FrameUnknown, "patient": procedure.FramePatient, "gantry": procedure.FrameGantry,
	}))
	set(choose("field_plane", d.Field, &p.FieldPlane, map[string]procedure.FieldPlane{
		"": procedure.FieldAtDetector, "detector": procedure.FieldAtDetector, "reference": procedure.FieldAtReference, "isocentre": procedure.FieldAtIsocentre,
	}))
	set(choose("table.known", d.Table.Known, &p.LayersKnown, map[string]procedure.TableKnowledge{
		"": procedure.TableDefault, "default": procedure.TableDefault, "typed": procedure.TableTyped, "measured": procedure.TableMeasured,
	}))
	set(d.Axes.Longitudinal.read("longitudinal", &p.Longitudinal))
	set(d.Axes.Lateral.read("lateral", &p.Lateral))
	set(d.Axes.Height.read("height", &p.Height))
	set(d.Kerma.read("kerma_factor", d.SignedBy, &p.KermaFactor))
	set(d.KAP.read("kap_factor", d.SignedBy, &p.KAPFactor))
	set(positive(map[string]*float64{
		"source_to_reference_mm": d.Ref, "source_to_isocentre_mm": d.SISO, "inherent_aluminium_mm": d.Inherent,
		"table.width_mm": d.Table.Width, "table.length_mm": d.Table.Length,
	}))
	for _, l := range d.Table.Layers {
		if l.Mass <= 0 || !knownMaterial(l.Material) {
			set(fmt.Errorf("table.layer wants material %s and a positive mass_g_cm2, got %q and %v", materials, l.Material, l.Mass))
		}
		p.Layers = append(p.Layers, procedure.TableLayer{Material: l.Material, Mass: quantity.GramPerSquareCentimetre(l.Mass)})
	}
	if len(p.Layers) == 0 && p.LayersKnown != procedure.TableDefault {
		set(errors.New("table.known is typed or measured, but no [[device.table.layer]] is given"))
	}
	return p, err
}

const materials = "carbon_fibre, foam, aluminium, water or pmma"

func knownMaterial(name string) bool {
	switch name {
	case "carbon_fibre", "foam", "aluminium", "water", "pmma":
		return true
	}
	return false
}

func (f *factor) read(key, signedBy string, to *quantity.Opt[procedure.Factor]) error {
	if f == nil {
		return nil
	}
	// Beyond a factor of 3 a display is broken, not miscalibrated; the display tolerance is +-35 % (IEC 60601-2-43:2010
	// clause 203.6.4.5, known from memory). The bound is our judgement.
	if f.Value < 1.0/3 || f.Value > 3 {
		return fmt.Errorf("%s.value wants measured/displayed between 0.33 and 3, got %v", key, f.Value)
	}
	if f.Uncertainty <= 0 || f.Uncertainty > 50 {
		return fmt.Errorf("%s.uncertainty_percent wants one standard deviation between 0 and 50, got %v", key, f.Uncertainty)
	}
	if signedBy == "" {
		return fmt.Errorf("%s is given, but signed_by is empty: no factor is applied without a signature", key)
	}
	for name, day := range map[string]string{key + ".from": f.From, key + ".until": f.Until} {
		if day == "" {
			continue
		}
		if err := date(name, day); err != nil {
			return err
		}
	}
	*to = quantity.Some(procedure.Factor{
		Value: f.Value, Uncertainty: quantity.Percent(f.Uncertainty), From: f.From, Until: f.Until, IncludesTable: f.IncludesTable,
	})
	return nil
}

func (a axis) read(name string, to *procedure.TableAxis) error {
	directions := map[string]procedure.TableAxis{
		"":      {},
		"head":  {Meaning: procedure.AxisTableHead, Sign: 1},
		"foot":  {Meaning: procedure.AxisTableHead, Sign: -1},
		"left":  {Meaning: procedure.AxisTableLeft, Sign: 1},
		"right": {Meaning: procedure.AxisTableLeft, Sign: -1},
		"down":  {Meaning: procedure.AxisTableDown, Sign: 1},
		"up":    {Meaning: procedure.AxisTableDown, Sign: -1},
	}
	if err := choose("table_axes."+name+".grows_toward", a.Toward, to, directions); err != nil {
		return err
	}
	if a.Zero != nil && a.Toward == "" {
		return fmt.Errorf("table_axes.%s.at_isocentre_mm is given without grows_toward", name)
	}
	to.Zero = length(a.Zero)
	return nil
}

func length(v *float64) quantity.Opt[quantity.Millimetre] {
	if v == nil {
		return quantity.None[quantity.Millimetre]()
	}
	return quantity.Some(quantity.Millimetre(*v))
}

func date(key, day string) error {
	if _, err := time.Parse(time.DateOnly, day); err != nil {
		return fmt.Errorf("%s wants a date such as 2026-01-31, got %q", key, day)
	}
	return nil
}

func positive(values map[string]*float64) error {
	var bad []string
	for key, v := range values {
		if v != nil && !(*v > 0) {
			bad = append(bad, key)
		}
	}
	if len(bad) == 0 {
		return nil
	}
	slices.Sort(bad)
	return fmt.Errorf("%s must be above 0", strings.Join(bad, ", "))
}

func choose[T any](key, got string, to *T, among map[string]T) error {
	v, ok := among[got]
	if !ok {
		return fmt.Errorf("%s wants one of %s, got %q", key, strings.Join(slices.DeleteFunc(slices.Sorted(maps.Keys(among)), func(s string) bool { return s == "" }), ", "), got)
	}
	*to = v
	return nil
}
