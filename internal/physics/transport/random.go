package transport

import "math/bits"

// stream is a source of random numbers: xoshiro256++ (Blackman and Vigna 2021, ACM Trans Math Softw 47:36). Every block of
// histories has its own, so that a result does not depend on which worker did which block.
type stream struct{ a, b, c, d uint64 }

// newStream gives the stream of one block. The state comes from SplitMix64 (Steele, Lea and Flood 2014) at a point that
// seed and block determine.
func newStream(seed, block uint64) stream {
	z := seed
	mix := func() uint64 {
		z += 0x9e3779b97f4a7c15
		v := z
		v = (v ^ v>>30) * 0xbf58476d1ce4e5b9
		v = (v ^ v>>27) * 0x94d049bb133111eb
		return v ^ v>>31
	}
	z = mix() ^ block*0xd1342543de82ef95
	s := stream{mix(), mix(), mix(), mix()}
	s.next() // shows two words of the state in their sum and is not used
	return s
}

func (s *stream) next() uint64 {
	out := bits.RotateLeft64(s.a+s.d, 23) + s.a
	t := s.b << 17
	s.c ^= s.a
	s.d ^= s.b
	s.b ^= s.c
	s.a ^= s.d
	s.c ^= t
	s.d = bits.RotateLeft64(s.d, 45)
	return out
}

// uniform is in [0, 1).
func (s *stream) uniform() float64 { return float64(s.next()>>11) * 0x1p-53 }
