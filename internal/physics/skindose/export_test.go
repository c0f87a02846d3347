package skindose

// Normals gives the first points of one dimension of the samples, for tests.
func Normals(dimension, points int) []float64 {
	n := newNet(Seed)
	out := make([]float64, points)
	for i := range out {
		out[i] = n.normal(uint32(i), dimension)
	}
	return out
}

// Dimensions is how many there are.
const Dimensions = int(inputs)
