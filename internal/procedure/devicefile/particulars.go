package devicefile

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// particulars are what there is to know of a device, as people write it.
type particulars struct {
	Name     string   `toml:"name,omitempty" json:"name,omitzero"`
	Kerma    *factor  `toml:"kerma_factor,omitempty" json:"kerma_factor,omitzero"`
	KAP      *factor  `toml:"kap_factor,omitempty" json:"kap_factor,omitzero"`
	Meter    string   `toml:"meter,omitempty" json:"meter,omitzero"`
	Ref      *float64 `toml:"source_to_reference_mm,omitempty" json:"source_to_reference_mm,omitzero"`
	SISO     *float64 `toml:"source_to_isocentre_mm,omitempty" json:"source_to_isocentre_mm,omitzero"`
	Mobile   bool     `toml:"mobile,omitempty" json:"mobile,omitzero"`
	Angles   string   `toml:"angle_frame,omitempty" json:"angle_frame,omitzero"`
	Field    string   `toml:"field_plane,omitempty" json:"field_plane,omitzero"`
	Inherent *float64 `toml:"inherent_aluminium_mm,omitempty" json:"inherent_aluminium_mm,omitzero"`
	Axes     axes     `toml:"table_axes,omitempty" json:"table_axes,omitzero"`
	Table    table    `toml:"table,omitempty" json:"table,omitzero"`
}

type factor struct {
	Value         float64 `toml:"value,omitempty" json:"value,omitzero"`
	Uncertainty   float64 `toml:"uncertainty_percent,omitempty" json:"uncertainty_percent,omitzero"`
	From          string  `toml:"from,omitempty" json:"from,omitzero"`
	Until         string  `toml:"until,omitempty" json:"until,omitzero"`
	IncludesTable bool    `toml:"includes_table,omitempty" json:"includes_table,omitzero"`
}

type axes struct {
	Longitudinal axis `toml:"longitudinal,omitempty" json:"longitudinal,omitzero"`
	Lateral      axis `toml:"lateral,omitempty" json:"lateral,omitzero"`
	Height       axis `toml:"height,omitempty" json:"height,omitzero"`
}

type axis struct {
	Toward string   `toml:"grows_toward,omitempty" json:"grows_toward,omitzero"`
	Zero   *float64 `toml:"at_isocentre_mm" json:"at_isocentre_mm,omitzero"`
}

type table struct {
	Known    string   `toml:"known,omitempty" json:"known,omitzero"`
	Width    *float64 `toml:"width_mm,omitempty" json:"width_mm,omitzero"`
	Length   *float64 `toml:"length_mm,omitempty" json:"length_mm,omitzero"`
	Mattress *float64 `toml:"mattress_mm" json:"mattress_mm,omitzero"`
	Layers   []layer  `toml:"layer,omitempty" json:"layer,omitzero"`
}

type layer struct {
	Material string  `toml:"material,omitempty" json:"material,omitzero"`
	Mass     float64 `toml:"mass_g_cm2,omitempty" json:"mass_g_cm2,omitzero"`
}

// read checks the particulars and gives the profile that they describe.
func (d particulars) read() (procedure.DeviceProfile, error) {
	p := procedure.DeviceProfile{
		Name: d.Name, Mobile: d.Mobile,
		RefPoint: length(d.Ref), SourceToIsocentre: length(d.SISO), InherentAluminium: length(d.Inherent),
		TableWidth: length(d.Table.Width), TableLength: length(d.Table.Length), MattressThickness: length(d.Table.Mattress),
	}
	var err error
	set := func(e error) {
		if err == nil {
			err = e
		}
	}
	set(choose("meter", d.Meter, &p.Meter, meters()))
	set(choose("angle_frame", d.Angles, &p.Angles, frames()))
	set(choose("field_plane", d.Field, &p.FieldPlane, planes()))
	set(choose("table.known", d.Table.Known, &p.LayersKnown, tables()))
	set(d.Axes.Longitudinal.read("longitudinal", &p.Longitudinal))
	set(d.Axes.Lateral.read("lateral", &p.Lateral))
	set(d.Axes.Height.read("height", &p.Height))
	set(d.Kerma.read("kerma_factor", &p.KermaFactor))
	set(d.KAP.read("kap_factor", &p.KAPFactor))
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

func (f *factor) read(key string, to *quantity.Opt[procedure.Factor]) error {
	if f == nil {
		return nil
	}
	// Beyond a factor of 3 a display is broken, not miscalibrated; the display tolerance is +-35 % (IEC 60601-2-43:2010
	// clause 203.6.4.5, known from memory). The bound is our judgement.
	if !(f.Value >= 1.0/3 && f.Value <= 3) {
		return fmt.Errorf("%s.value wants measured/displayed between 0.33 and 3, got %v", key, f.Value)
	}
	if !(f.Uncertainty > 0 && f.Uncertainty <= 50) {
		return fmt.Errorf("%s.uncertainty_percent wants one standard deviation between 0 and 50, got %v", key, f.Uncertainty)
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
	if err := choose("table_axes."+name+".grows_toward", a.Toward, to, directions()); err != nil {
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
