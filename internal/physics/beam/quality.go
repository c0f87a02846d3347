package beam

import (
	"errors"
	"fmt"
	"math"

	"afterbeam/internal/quantity"
)

// ErrQuality marks a beam that cannot be made: voltage outside 30 to 150 kV, negative or unreadable filtration.
var ErrQuality = errors.New("beam quality out of range")

// Quality names a beam by what a report can say of it.
type Quality struct {
	Voltage   quantity.Kilovolt
	Aluminium quantity.Millimetre // total aluminium, inherent and added
	Copper    quantity.Millimetre
}

// The limits of the beams that can be made.
const (
	// MinVoltage and MaxVoltage bound the tube voltages of fluoroscopy accepted by New.
	MinVoltage quantity.Kilovolt = 30
	MaxVoltage quantity.Kilovolt = 150
	// TableVoltage is the highest voltage of the spectrum table; see Voltage.
	TableVoltage quantity.Kilovolt = 140
	// TubeAluminium is the aluminium equivalent of the tube whose spectra were measured; see Aluminium.
	// Source: computed by the project: the spectra compared with those of an unfiltered tungsten model, 1.73 mm at 40 kV,
	// 1.89 to 1.93 mm at 60 to 100 kV, 1.85 mm at 120 kV.
	TubeAluminium quantity.Millimetre = 1.9
)

// Voltage gives the tube voltage the spectrum table is used at: kv itself, or 140 kV above that, then clamped is true
// and the caller has to say so.
func Voltage(kv quantity.Kilovolt) (used quantity.Kilovolt, clamped bool) {
	if kv > TableVoltage {
		return TableVoltage, true
	}
	return kv, false
}

// Aluminium gives the total aluminium the spectrum is made for: total itself, or the 1.9 mm that the spectra already
// contain when total is less, then clamped is true and the caller has to say so. The beam is then harder than named,
// which makes backscatter and tissue factor come out on the high side.
func Aluminium(total quantity.Millimetre) (used quantity.Millimetre, clamped bool) {
	if total < TubeAluminium {
		return TubeAluminium, true
	}
	return total, false
}

func (q Quality) check() error {
	if !(q.Voltage >= MinVoltage && q.Voltage <= MaxVoltage) {
		return fmt.Errorf("%w: tube voltage %v kV, want %v to %v kV", ErrQuality, q.Voltage, MinVoltage, MaxVoltage)
	}
	for _, f := range []struct {
		name string
		t    quantity.Millimetre
	}{{"aluminium", q.Aluminium}, {"copper", q.Copper}} {
		if !(f.t >= 0) || math.IsInf(float64(f.t), 1) {
			return fmt.Errorf("%w: %v mm of %s, want zero or more", ErrQuality, f.t, f.name)
		}
	}
	return nil
}
