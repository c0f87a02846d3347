package organ_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"afterbeam/internal/physics/organ"
)

// TestLenses: beams at the height of the eyes. From the front a lens, 3 mm under the face, has air kerma there times a
// backscatter factor in soft tissue of 1.2 to 1.6 (section 3); from a side the near one has far more than the other, from behind
// both have little.
func TestLenses(t *testing.T) {
	lenses := func(focus, centre [3]string) (right, left float64) {
		row := []string{"head", "raised", focus[0], focus[1], focus[2], centre[0], centre[1], centre[2], "20", "16"}
		d := compute(t, organ.Case{
			Beams: []organ.Beam{referenceBeam(t, row, tungsten(t, 80, 3, 0.3))}, Body: adult(t), Key: "lenses",
			Budget: organ.Budget{Histories: 400_000, Most: 400_000},
		})
		at := func(o organ.Organ) float64 {
			return 1000 * float64(d.Organs[o].Value.Or(d.Organs[o].Below.Or(0))) // mGy per Gy cm2
		}
		return at(organ.LensRight), at(organ.LensLeft)
	}
	right, left := lenses([3]string{"0", "-75", "87"}, [3]string{"0", "0", "87"})
	kerma := 1000 / (20 * 16 * (66.0 * 66.0) / (75 * 75)) // mGy where the lenses are, 66 cm from the focus
	assert.InDelta(t, 1.4*kerma, right, 0.35*kerma)       // 0.2 and twice a standard error of 6 %
	assert.InDelta(t, 1.4*kerma, left, 0.35*kerma)
	right, left = lenses([3]string{"75", "0", "87"}, [3]string{"0", "0", "87"})
	assert.Greater(t, left, 2*right, "6 cm of tissue at 0.2/cm leave a third of a beam from the left, scatter adds")
	right, left = lenses([3]string{"0", "75", "87"}, [3]string{"0", "0", "87"})
	assert.Less(t, right+left, 0.3*kerma, "behind the whole head")
	assert.Positive(t, right+left)
	right, left = lenses([3]string{"0", "75", "50"}, [3]string{"0", "0", "50"})
	assert.Less(t, right+left, 0.05*kerma, "a beam at the heart")
}
