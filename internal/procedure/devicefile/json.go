package devicefile

import (
	"bytes"
	"encoding/json"
	"fmt"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// Marshal gives the particulars of a profile as JSON; the same profile gives the same bytes. The device, the day and the
// signatures are left out.
func Marshal(p procedure.DeviceProfile) ([]byte, error) {
	b, err := json.Marshal(particularsOf(p))
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrInvalid, err)
	}
	return b, nil
}

// particularsOf writes the particulars of a profile down.
func particularsOf(p procedure.DeviceProfile) particulars {
	s := particulars{
		Name: p.Name, Mobile: p.Mobile, Kerma: factorOf(p.KermaFactor), KAP: factorOf(p.KAPFactor),
		Meter: wordOf(meters(), p.Meter), Angles: wordOf(frames(), p.Angles), Field: wordOf(planes(), p.FieldPlane),
		Ref: millimetres(p.RefPoint), SISO: millimetres(p.SourceToIsocentre), Inherent: millimetres(p.InherentAluminium),
		Axes: axes{Longitudinal: axisOf(p.Longitudinal), Lateral: axisOf(p.Lateral), Height: axisOf(p.Height)},
		Table: table{
			Known: wordOf(tables(), p.LayersKnown), Width: millimetres(p.TableWidth), Length: millimetres(p.TableLength), Mattress: millimetres(p.MattressThickness),
		},
	}
	for _, l := range p.Layers {
		s.Table.Layers = append(s.Table.Layers, layer{Material: l.Material, Mass: float64(l.Mass)})
	}
	return s
}

// Unmarshal reads particulars from JSON. It returns ErrInvalid naming the key for anything it cannot use.
func Unmarshal(b []byte) (procedure.DeviceProfile, error) {
	var s particulars
	d := json.NewDecoder(bytes.NewReader(b))
	d.DisallowUnknownFields()
	if err := d.Decode(&s); err != nil {
		return procedure.DeviceProfile{}, fmt.Errorf("%w: %w", ErrInvalid, err)
	}
	p, err := s.read()
	if err != nil {
		return p, fmt.Errorf("%w: %w", ErrInvalid, err)
	}
	return p, nil
}

func factorOf(o quantity.Opt[procedure.Factor]) *factor {
	f, ok := o.Get()
	if !ok {
		return nil
	}
	return &factor{Value: f.Value, Uncertainty: float64(f.Uncertainty), From: f.From, Until: f.Until, IncludesTable: f.IncludesTable}
}

func millimetres(o quantity.Opt[quantity.Millimetre]) *float64 {
	v, ok := o.Get()
	if !ok {
		return nil
	}
	n := float64(v)
	return &n
}

func axisOf(a procedure.TableAxis) axis {
	return axis{Toward: wordOf(directions(), procedure.TableAxis{Meaning: a.Meaning, Sign: a.Sign}), Zero: millimetres(a.Zero)}
}

// wordOf gives the word of a value, "" for one that has none: the value of what is absent.
func wordOf[T comparable](words map[string]T, v T) string {
	if words[""] == v {
		return ""
	}
	for word, one := range words {
		if one == v {
			return word
		}
	}
	return ""
}
