package commission

import (
	"fmt"
	"math"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// draft makes the profile to sign: what is shown replaces what was there, what is contradicted is taken out, what stays open
// is kept.
func (r *Result) draft(base procedure.DeviceProfile) {
	p := base
	p.Device, p.Version, p.From, p.SignedBy, p.ApprovedBy = r.Device, "", r.Record.Day, "", ""
	p.Layers = append([]procedure.TableLayer(nil), base.Layers...)
	for _, a := range []struct {
		name string
		axis *Axis
		to   *procedure.TableAxis
	}{
		{"longitudinal", &r.Longitudinal, &p.Longitudinal},
		{"lateral", &r.Lateral, &p.Lateral},
		{"height", &r.Height, &p.Height},
	} {
		r.put("table_axes."+a.name, a.axis.Conclusion, *a.to != procedure.TableAxis{}, func(shown bool) {
			was := *a.to
			*a.to = procedure.TableAxis{}
			if !shown {
				return
			}
			*a.to = a.axis.Means
			if was.Meaning == a.to.Meaning && was.Sign == a.to.Sign {
				a.to.Zero = was.Zero
			}
		})
	}
	r.single(&p)
	for _, z := range []struct {
		zero    *Zero
		meaning procedure.AxisMeaning
	}{{&r.HeightZero, procedure.AxisTableDown}, {&r.LeftZero, procedure.AxisTableLeft}, {&r.HeadZero, procedure.AxisTableHead}} {
		r.putZero(z.zero, z.meaning, &p)
	}
	r.put("angle_frame", r.Angles.Conclusion, p.Angles != procedure.FrameUnknown, func(bool) { p.Angles = r.Angles.Frame })
	r.putFactors(&p)
	r.Profile = p
}

// single takes out a kept position whose meaning this check shows of another one.
func (r *Result) single(p *procedure.DeviceProfile) {
	axes := []struct {
		name  string
		shown bool
		axis  *procedure.TableAxis
	}{
		{"longitudinal", r.Longitudinal.State == Shown, &p.Longitudinal},
		{"lateral", r.Lateral.State == Shown, &p.Lateral},
		{"height", r.Height.State == Shown, &p.Height},
	}
	for _, kept := range axes {
		for _, other := range axes {
			if !kept.shown && other.shown && kept.axis.Meaning == other.axis.Meaning {
				*kept.axis = procedure.TableAxis{}
				r.Changes = append(r.Changes, fmt.Sprintf("table_axes.%s: taken out, because table_axes.%s is shown to mean the same", kept.name, other.name))
			}
		}
	}
}

// putFactors drafts the factors of a device with one plane. A profile has one factor for all planes, and one tube does not speak
// for another.
func (r *Result) putFactors(p *procedure.DeviceProfile) {
	if r.Record.Plane != procedure.PlaneSingle {
		if r.Kerma.State == Shown || r.KAP.State == Shown {
			r.Changes = append(r.Changes, fmt.Sprintf("factors: shown of %s alone and left as they were, because a profile has one for all planes", r.Record.Plane))
		}
		return
	}
	r.put("kerma_factor", r.Kerma.Conclusion, p.KermaFactor.Present(), func(shown bool) {
		p.KermaFactor = r.Kerma.Factor
		if shown {
			p.Meter = procedure.MeterChecked
		}
	})
	r.put("kap_factor", r.KAP.Conclusion, p.KAPFactor.Present(), func(bool) { p.KAPFactor = r.KAP.Factor })
}

// put changes one particular of the draft by its state, and says what became of it.
func (r *Result) put(key string, c Conclusion, was bool, change func(shown bool)) {
	switch {
	case c.State == Shown:
		change(true)
		r.Changes = append(r.Changes, key+": as shown by this check")
	case c.State == Contradicted && was:
		change(false)
		r.Changes = append(r.Changes, key+": taken out, because this check contradicts itself there")
	case was:
		r.Changes = append(r.Changes, key+": kept from the profile before, not shown by this check")
	default:
		r.Changes = append(r.Changes, key+": none")
	}
}

// putZero changes the zero of whichever position has the meaning.
func (r *Result) putZero(z *Zero, meaning procedure.AxisMeaning, p *procedure.DeviceProfile) {
	for _, a := range []struct {
		name string
		axis *procedure.TableAxis
	}{{"longitudinal", &p.Longitudinal}, {"lateral", &p.Lateral}, {"height", &p.Height}} {
		if a.axis.Meaning != meaning {
			continue
		}
		r.put(fmt.Sprintf("table_axes.%s.at_isocentre_mm", a.name), z.Conclusion, a.axis.Zero.Present(), func(bool) {
			a.axis.Zero = rounded(z.Number)
		})
	}
}

// rounded gives a number to a tenth of a millimetre, as people write it.
func rounded(o quantity.Opt[quantity.Millimetre]) quantity.Opt[quantity.Millimetre] {
	v, ok := o.Get()
	if !ok {
		return o
	}
	return quantity.Some(quantity.Millimetre(math.Round(float64(v)*10) / 10))
}
