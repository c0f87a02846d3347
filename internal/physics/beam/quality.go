package beam

import (
	"errors"
	"fmt"

	"afterbeam/internal/quantity"
)

// ErrQuality marks a beam that cannot be made: voltage outside 30 to 150 kV, filtration negative or beyond any filter.
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
	// MaxAluminium and MaxCopper are far above the filters of fluoroscopy (some 10 mm and 0.9 mm): more is a unit mistaken.
	MaxAluminium quantity.Millimetre = 100
	MaxCopper    quantity.Millimetre = 10
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
		name   string
		t, max quantity.Millimetre
	}{{"aluminium", q.Aluminium, MaxAluminium}, {"copper", q.Copper, MaxCopper}} {
		if !(f.t >= 0 && f.t <= f.max) {
			return fmt.Errorf("%w: %v mm of %s, want 0 to %v mm", ErrQuality, f.t, f.name, f.max)
		}
	}
	return nil
}
