package organ

import (
	"context"
	"math"

	"afterbeam/internal/quantity"
)

// Doubt is one standard deviation of what organ doses rest on besides statistics.
type Doubt struct {
	// Display is that of the displayed kerma-area product, Table that of what passes the table, for a beam through it.
	Display, Table quantity.Percent
	// BodySize is that of the patient's width and depth, relative.
	BodySize float64
}

// How far the beams may be from where they are taken to be along the body: evenly within these limits, and the sample of it,
// in mm.
// Source: judgement: 20 mm is what places of organs in the body and of the body on the table leave open.
func shifts() []float64 { return []float64{-20, -10, 10, 20} }

// anatomy is one standard deviation of what the stylised body is from the patient, in percent, for effective dose and organs in
// the field; small and shallow organs can differ more.
// Source: judgement, after differences of 10 to 30 % between stylised and voxel bodies, known from memory.
const anatomy quantity.Percent = 15

// face is one standard deviation of what places and depths of the lenses are from the patient's, besides anatomy, in percent.
// Source: judgement: 10 mm of place in a field's scatter, 2 mm of depth and a tilted head, 10 to 20 % each.
const face quantity.Percent = 30

// part of the budget that each variation gets.
const variation = 1.0 / 8

// spread is what moves all doses besides statistics: sums of squares of logarithms, one standard deviation each.
type spread struct {
	organPlace, organSize doses
	place, size           [2]float64
	table                 float64
}

// spread computes the case again with the beams moved along the body, and with a thinner and a wider body.
func (c *Case) spread(ctx context.Context, bodies lookAlikes, middle outcome) (spread, error) {
	var s spread
	steps := shifts()
	for _, step := range steps {
		o, err := c.run(ctx, bodies, variation, step, "place")
		if err != nil {
			return s, err
		}
		// The middle is a fifth sample of the even distribution; it adds nothing to the sum.
		o.compare(middle, 1/float64(len(steps)+1), &s.organPlace, &s.place)
	}
	if c.Doubt.BodySize > 0 {
		for _, sign := range []float64{-1, 1} {
			other, err := newLookAlikes(c.Beams, stretchOf(c.Body.Dimensions, 1+sign*c.Doubt.BodySize))
			if err != nil {
				return s, err
			}
			o, err := c.run(ctx, other, variation, 0, "size")
			if err != nil {
				return s, err
			}
			o.compare(middle, 0.5, &s.organSize, &s.size)
		}
	}
	for _, b := range c.Beams {
		s.table += b.KAPGycm2 * b.TablePart
	}
	s.table /= c.total()
	return s, nil
}

// compare adds the squares of the logarithmic differences to the middle, each with a weight. Doses of nothing tell nothing.
func (o *outcome) compare(middle outcome, weight float64, organs *doses, effective *[2]float64) {
	square := func(a, b float64) float64 {
		if a <= 0 || b <= 0 {
			return 0
		}
		d := math.Log(a / b)
		return weight * d * d
	}
	for i := range organs {
		organs[i] += square(o.organs[i], middle.organs[i])
	}
	for i := range effective {
		effective[i] += square(o.effective[i], middle.effective[i])
	}
}

// total is the kerma-area product that reaches the patient.
func (c *Case) total() float64 {
	sum := 0.0
	for _, b := range c.Beams {
		sum += b.KAPGycm2
	}
	return sum
}

// logOf is the standard deviation of the logarithm for a relative one in percent.
func logOf(p quantity.Percent) float64 { return math.Log1p(float64(p) / 100) }

// shared is the part of the variance that all organs have in common.
func (c *Case) shared(s spread) float64 {
	return square(logOf(c.Doubt.Display)) + square(s.table*logOf(c.Doubt.Table)) + square(logOf(anatomy))
}

func square(x float64) float64 { return x * x }
