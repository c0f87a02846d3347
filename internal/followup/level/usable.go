package level

import (
	"math"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// usable takes out of an input what no comparison can use, so that it is never taken for a value below: a number that is
// none, or is negative, makes its quantity disbelieved, and a factor or field that is not positive counts as not known.
func (in Input) usable() Input {
	d := &in.Dose
	if notANumber(d.Kerma) || notANumber(d.LeastKerma) {
		d.Kerma, d.LeastKerma = quantity.None[quantity.Gray](), quantity.None[quantity.Gray]()
		d.Suspicion |= procedure.SuspectKerma
	}
	if notANumber(d.KAP) || notANumber(d.LeastKAP) {
		d.KAP, d.LeastKAP = quantity.None[quantity.GraySquareMetre](), quantity.None[quantity.GraySquareMetre]()
		d.Suspicion |= procedure.SuspectKAP
	}
	if notANumber(d.FluoroTime) || notANumber(d.LeastTime) {
		d.FluoroTime, d.LeastTime = quantity.None[quantity.Second](), quantity.None[quantity.Second]()
	}
	if psd, ok := in.PSD.Get(); ok {
		switch {
		case math.IsNaN(float64(psd.Value)):
			in.PSD, in.PSDReason = quantity.None[Estimated](), "the estimate is not a number"
		case math.IsNaN(float64(psd.High)) || psd.High < psd.Value:
			psd.High, psd.LowerBound = psd.Value, true
			in.PSD = quantity.Some(psd)
		}
	}
	in.KermaFactor, in.KAPFactor = positive(in.KermaFactor), positive(in.KAPFactor)
	in.FieldAtSkin = positive(in.FieldAtSkin)
	return in
}

func notANumber[T ~float64](o quantity.Opt[T]) bool {
	v, ok := o.Get()
	return ok && !(v >= 0)
}

func positive[T ~float64](o quantity.Opt[T]) quantity.Opt[T] {
	if v, ok := o.Get(); ok && v > 0 && !math.IsInf(float64(v), 0) {
		return o
	}
	return quantity.None[T]()
}
