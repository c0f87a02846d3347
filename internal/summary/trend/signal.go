package trend

import (
	"math"
)

// judged looks for signals among the points of a chart of values, whose places on its scale are given, keeps those that end
// in the period, and the newest points.
func (c Chart) judged(at []float64, l line, in Scope, rules Rules) Chart {
	sides := make([]int, len(at))
	for i, v := range at {
		if !l.known {
			continue
		}
		sides[i] = sign(v - l.centre)
		switch {
		case v > l.upper:
			c.mark(i, i, OutsideHigh)
		case v < l.lower:
			c.mark(i, i, OutsideLow)
		}
		if i > 0 && l.ranges > 0 && math.Abs(v-at[i-1]) > l.ranges {
			c.Points[i].Rules = append(c.Points[i].Rules, WideRange) // marked alone: as a signal it would double those that come by chance
		}
	}
	return c.runs(at, sides, l.known, rules).kept(in, rules)
}

// runs marks the points from which on so many lie on one side, or rise or fall, eq. (17). Sides are -1, 0 or 1.
func (c Chart) runs(at []float64, sides []int, known bool, rules Rules) Chart {
	if !known {
		return c
	}
	steps := make([]int, len(at)) // from the point before
	for i := 1; i < len(at); i++ {
		steps[i] = sign(at[i] - at[i-1])
	}
	c.stretches(sides, rules.OneSide, 0, OneSideHigh, OneSideLow)
	c.stretches(steps, rules.Run-1, 1, Rising, Falling) // so many points have one step less
	return c
}

// stretches marks each stretch of at least so many equal signs, each as one signal. Before is how many points more than
// signs a stretch has.
func (c *Chart) stretches(signs []int, least, before int, up, down string) {
	for from := 0; from < len(signs); {
		to := from
		for to+1 < len(signs) && signs[to+1] == signs[from] {
			to++
		}
		if signs[from] != 0 && to-from+1 >= least {
			rule := up
			if signs[from] < 0 {
				rule = down
			}
			c.mark(from-before, to, rule)
			for i := from + least - 1; i < to; i++ {
				c.Points[i].Rules = append(c.Points[i].Rules, rule)
			}
		}
		from = to + 1
	}
}

// mark adds a signal from one point to another, at which it ends.
func (c *Chart) mark(from, to int, rule string) {
	c.Points[to].Rules = append(c.Points[to].Rules, rule)
	c.Signals = append(c.Signals, Signal{Rule: rule, From: c.Points[from].Day, To: c.Points[to].Day, Count: to - from + 1})
}

// kept leaves the signals that end in the period and the newest points, and marks those of the baseline.
func (c Chart) kept(in Scope, rules Rules) Chart {
	signals := []Signal{}
	for _, s := range c.Signals {
		if s.To >= in.From && s.To <= in.To {
			signals = append(signals, s)
		}
	}
	c.Signals = signals
	if b := c.Baseline; b != nil {
		for i, p := range c.Points {
			c.Points[i].Baseline = p.Day >= b.From && p.Day <= b.To
		}
	}
	if over := len(c.Points) - rules.PointsMost; over > 0 {
		c.Earlier, c.Points = over, c.Points[over:]
	}
	if c.Points == nil {
		c.Points = []Point{}
	}
	return c
}

func sign(v float64) int {
	switch {
	case v > 0:
		return 1
	case v < 0:
		return -1
	}
	return 0
}
