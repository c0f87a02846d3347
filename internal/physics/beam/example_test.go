package beam_test

import (
	"fmt"

	"afterbeam/internal/physics/beam"
)

func ExampleNew() {
	b, err := beam.New(beam.Quality{Voltage: 80, Aluminium: 3, Copper: 0.3})
	if err != nil {
		fmt.Println(err)
		return
	}
	table := []beam.Layer{beam.Sheet(beam.CarbonFibre, 2.5), beam.Sheet(beam.Foam, 50)}
	skin := b.Behind(table)
	fmt.Printf("half-value layer %.1f mm Al\n", float64(skin.HVL()))
	fmt.Printf("table lets through %.3f\n", b.Transmission(table, 1))
	fmt.Printf("tissue factor %.3f\n", skin.TissueFactor(beam.SoftTissue))
	fmt.Printf("backscatter of 10 cm x 10 cm %.2f in the middle, %.2f at an edge\n",
		skin.Scatter().Square(100), skin.Scatter().At(0, 100, 50, 50))
	// Output:
	// half-value layer 6.4 mm Al
	// table lets through 0.897
	// tissue factor 1.066
	// backscatter of 10 cm x 10 cm 1.45 in the middle, 1.25 at an edge
}
