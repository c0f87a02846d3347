package skindose

import "math"

// net gives points that fill the unit cube of some dimensions evenly: those of Sobol, scrambled after Owen, eq. (7.5).
// The first 2^k points take each of the 2^k equal intervals of each dimension once.
//
// Source: Sobol IM 1967, USSR Comput Math Math Phys 7(4):86; Owen AB 1995, in Monte Carlo and Quasi-Monte Carlo Methods in
// Scientific Computing, Springer; known from memory.
type net struct {
	seed       uint64
	directions [][32]uint32
}

// polynomial is a primitive polynomial over the integers modulo 2, of the degree that initial has numbers, with the
// inner coefficients in binary, and the first direction numbers, which are odd and below 2, 4, 8, ...
type polynomial struct {
	inner   uint32
	initial []uint32
}

// polynomials are those of the second dimension and on.
//
// Source: Joe S, Kuo FY 2008, SIAM J Sci Comput 30:2635, their table of direction numbers; known from memory. Any odd
// numbers below the bounds would serve.
func polynomials() []polynomial {
	return []polynomial{
		{0, []uint32{1}},
		{1, []uint32{1, 3}},
		{1, []uint32{1, 3, 1}},
		{2, []uint32{1, 1, 1}},
		{1, []uint32{1, 1, 3, 3}},
		{4, []uint32{1, 3, 5, 13}},
		{2, []uint32{1, 1, 5, 5, 17}},
		{4, []uint32{1, 1, 5, 5, 5}},
		{7, []uint32{1, 1, 7, 11, 19}},
		{11, []uint32{1, 1, 5, 1, 1}},
		{13, []uint32{1, 1, 1, 3, 11}},
	}
}

func newNet(seed uint64) *net {
	n := &net{seed: seed}
	var first [32]uint32
	for k := range first {
		first[k] = 1 << (31 - k)
	}
	n.directions = append(n.directions, first)
	for _, p := range polynomials() {
		var v [32]uint32
		degree := len(p.initial)
		for k := range v {
			if k < degree {
				v[k] = p.initial[k] << (31 - k)
				continue
			}
			v[k] = v[k-degree] ^ v[k-degree]>>degree
			for j := 1; j < degree; j++ {
				if p.inner>>(degree-1-j)&1 == 1 {
					v[k] ^= v[k-j]
				}
			}
		}
		n.directions = append(n.directions, v)
	}
	return n
}

// normal gives one coordinate of one point as a standard normal deviate.
func (n *net) normal(point uint32, dimension int) float64 {
	x := uint32(0)
	for k := 0; point>>k != 0; k++ {
		if point>>k&1 == 1 {
			x ^= n.directions[dimension][k]
		}
	}
	return deviate(scramble(x, n.seed+uint64(dimension)<<40))
}

// scramble flips each binary digit at random by the digits before it, so that equal beginnings stay equal.
func scramble(x uint32, key uint64) uint32 {
	out := x
	for k := range 32 {
		before := uint64(x) >> (32 - k)
		if mix(key+uint64(k)<<33+before)&1 == 1 {
			out ^= 1 << (31 - k)
		}
	}
	return out
}

// scattered gives a normal deviate of a sample that no dimension of the net is left for.
func (n *net) scattered(point uint32, thing, which int) float64 {
	return deviate(uint32(mix(mix(n.seed+uint64(point))+uint64(thing)<<1+uint64(which)) >> 32))
}

func deviate(x uint32) float64 {
	const cells = 1 << 32
	return math.Sqrt2 * math.Erfinv(2*(float64(x)+0.5)/cells-1)
}

// mix scatters the bits of a number.
// Source: the output function of Steele GL, Lea D, Flood CH 2014, OOPSLA, p. 453 (SplitMix64); known from memory.
func mix(x uint64) uint64 {
	x += 0x9e3779b97f4a7c15
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	return x ^ x>>31
}
