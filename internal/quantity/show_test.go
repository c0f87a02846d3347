package quantity_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"afterbeam/internal/quantity"
)

func TestShow(t *testing.T) {
	assert.Equal(t, "2.99 Gy", quantity.ShowKerma(2.999, 3), "below a level it never prints as the level")
	assert.Equal(t, "3.00 Gy", quantity.ShowKerma(3, 3))
	assert.Equal(t, "0.123 Gy", quantity.ShowKerma(0.1234))
	assert.Equal(t, "499 Gy cm2", quantity.ShowKAP(499.7*quantity.GraySquareCentimetre, 500))
	assert.Equal(t, "12.3 Gy cm2", quantity.ShowKAP(12.34*quantity.GraySquareCentimetre))
	assert.Equal(t, "61.2 min", quantity.ShowMinutes(3672))
	v, low, high, unit := quantity.ShowSkin(2.99, 1.94, 4.61, 3)
	assert.Equal(t, []string{"2.99", "1.9", "4.6", "Gy"}, []string{v, low, high, unit})
	v, _, high, unit = quantity.ShowSkin(0.004, 0.002, 0.02)
	assert.Equal(t, []string{"4.0", "20", "mGy"}, []string{v, high, unit})
	assert.Equal(t, "22", quantity.ShowEffective(0.02234))
	assert.Equal(t, "1e+08 Gy", quantity.ShowKerma(1e8))
}
