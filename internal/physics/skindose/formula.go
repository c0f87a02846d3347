package skindose

import (
	"errors"
	"fmt"

	"afterbeam/internal/quantity"
)

// ErrGeometry marks a distance or an area that is not positive.
var ErrGeometry = errors.New("impossible geometry")

// KermaAtSkin moves the reference air kerma along the beam to the skin by the inverse square law, eq. (6.2). Both
// distances are from the focal spot; ErrGeometry is returned when either is not positive.
func KermaAtSkin(ref quantity.Gray, spotToRef, spotToSkin quantity.Millimetre) (quantity.Gray, error) {
	if !(spotToRef > 0) || !(spotToSkin > 0) {
		return 0, fmt.Errorf("%w: focus to reference point %v mm, focus to skin %v mm, both must be positive",
			ErrGeometry, float64(spotToRef), float64(spotToSkin))
	}
	return ref * quantity.Gray(inverseSquare(float64(spotToRef), float64(spotToSkin))), nil
}

func inverseSquare(ref, skin float64) float64 { return (ref / skin) * (ref / skin) }

// KermaFromKAP gives the mean air kerma over a field of the given area, eq. (6.3). ErrGeometry is returned when the
// area is not positive.
func KermaFromKAP(kap quantity.GraySquareMetre, area quantity.SquareMetre) (quantity.Gray, error) {
	if !(area > 0) {
		return 0, fmt.Errorf("%w: field area %v m2, must be positive", ErrGeometry, float64(area))
	}
	return quantity.Gray(float64(kap) / float64(area)), nil
}

// PerKAP is a skin dose per kerma-area product in Gy per Gy m2; 1 mGy per Gy cm2 is 10 of it.
type PerKAP float64

// MilliGrayPerGycm2 is the unit in which the literature gives skin dose per kerma-area product.
const MilliGrayPerGycm2 PerKAP = 10

// DoseFromKAP gives the skin dose that belongs to a kerma-area product, eq. (6.8).
func DoseFromKAP(kap quantity.GraySquareMetre, k PerKAP) quantity.Gray {
	return quantity.Gray(float64(k) * float64(kap))
}

// KAPForDose gives the kerma-area product at which a skin dose is reached, eq. (6.8) turned round. ErrGeometry is
// returned when k is not positive.
func KAPForDose(dose quantity.Gray, k PerKAP) (quantity.GraySquareMetre, error) {
	if !(k > 0) {
		return 0, fmt.Errorf("%w: dose per kerma-area product %v, must be positive", ErrGeometry, float64(k))
	}
	return quantity.GraySquareMetre(float64(dose) / float64(k)), nil
}

// DoseFromKerma gives the skin dose that belongs to a reference air kerma by a ratio, eq. (6.7).
func DoseFromKerma(kerma quantity.Gray, ratio quantity.Ratio) quantity.Gray {
	return kerma * quantity.Gray(ratio)
}

// Beamline is what stands between the focal spot and one point of skin: the factors of eq. (6.1) without units.
type Beamline struct {
	// Transmission of the table along the ray, 1 where the table is not crossed.
	Transmission float64
	// ForwardScatter of the table, 1 where it is not crossed.
	ForwardScatter float64
	// Backscatter of the patient for the beam behind the table and the field at the skin.
	Backscatter float64
	// Tissue is the mean ratio of the mass energy absorption of tissue and air.
	Tissue float64
}

// Product gives the skin dose per air kerma free in air at the same point without the table.
func (l Beamline) Product() float64 {
	return l.Transmission * l.ForwardScatter * l.Backscatter * l.Tissue
}

// Dose gives the absorbed dose in the skin at one point for one static beam, eq. (6.1). It returns ErrGeometry when a
// distance is not positive.
func (l Beamline) Dose(ref quantity.Gray, spotToRef, spotToSkin quantity.Millimetre) (quantity.Gray, error) {
	k, err := KermaAtSkin(ref, spotToRef, spotToSkin)
	return k * quantity.Gray(l.Product()), err
}
