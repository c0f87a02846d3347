package quantity

// Gray is absorbed dose or air kerma in Gy (J/kg).
type Gray float64

// Sievert is effective or equivalent dose in Sv.
type Sievert float64

// GraySquareMetre is kerma-area product in Gy m2; 1 Gy m2 = 10 000 Gy cm2.
type GraySquareMetre float64

// Millimetre is a length in mm.
type Millimetre float64

// SquareMetre is an area in m2.
type SquareMetre float64

// Second is a time span in s.
type Second float64

// Degree is a plane angle in degrees.
type Degree float64

// Kilovolt is a tube voltage in kV.
type Kilovolt float64

// Milliampere is a tube current in mA.
type Milliampere float64

// MilliampereSecond is a current-time product in mA s.
type MilliampereSecond float64

// PerSecond is a rate in 1/s, such as pulses per second.
type PerSecond float64

// Kilogram is a mass in kg.
type Kilogram float64

// GramPerSquareCentimetre is mass per area of a layer in g/cm2.
type GramPerSquareCentimetre float64

// Ratio is a plain number without a unit.
type Ratio float64

// Percent is a plain number in hundredths.
type Percent float64

// Unit sizes of trade units in canonical units, for the edges that read and print them.
const (
	MilliGray            Gray            = 1e-3
	MilliSievert         Sievert         = 1e-3
	GraySquareCentimetre GraySquareMetre = 1e-4
	Centimetre           Millimetre      = 10
	Metre                Millimetre      = 1000
	SquareCentimetre     SquareMetre     = 1e-4
	Minute               Second          = 60
	Hour                 Second          = 3600
)

// Gycm2 gives the kerma-area product in Gy cm2, the unit of the clinic.
func (k GraySquareMetre) Gycm2() float64 { return float64(k / GraySquareCentimetre) }

// Cm2 gives the area in cm2.
func (a SquareMetre) Cm2() float64 { return float64(a / SquareCentimetre) }

// Cm gives the length in cm.
func (l Millimetre) Cm() float64 { return float64(l / Centimetre) }

// Minutes gives the time span in min.
func (s Second) Minutes() float64 { return float64(s / Minute) }

// MSv gives the dose in mSv.
func (s Sievert) MSv() float64 { return float64(s / MilliSievert) }
