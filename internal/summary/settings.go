package summary

import (
	"errors"
	"fmt"

	"afterbeam/internal/quantity"
	"afterbeam/internal/summary/reference"
	"afterbeam/internal/summary/statistic"
	"afterbeam/internal/summary/trend"
)

// ErrInvalid marks an input or settings that no summary can be made of.
var ErrInvalid = errors.New("not to be summed up")

// DefaultSettings gives what a new site starts with.
func DefaultSettings() Settings {
	return Settings{
		Percentile:   statistic.Type7,
		CrossingFrom: 3, CrossingStep: 1,
		CrossingSource: "Fisher et al 2022 AAPM MPPG 12.a section 5.3 (secondhand)",
		ChildBelow:     18,
		MeterMonths:    12,
		Trend:          trend.DefaultRules(),
		References:     reference.Levels(),
		Distributions:  reference.Distributions(),
	}
}

func (s Settings) check() error {
	switch {
	case s.Percentile != statistic.Type6 && s.Percentile != statistic.Type7:
		return fmt.Errorf("%w: percentile type %d: want 6 or 7", ErrInvalid, s.Percentile)
	case !(s.CrossingFrom > 0) || !(s.CrossingStep > 0):
		return fmt.Errorf("%w: crossings from %v in steps of %v Gy: want numbers above 0", ErrInvalid, s.CrossingFrom, s.CrossingStep)
	case s.Trend.ProvisionalLeast < 2 || s.Trend.BaselineLeast < s.Trend.ProvisionalLeast || s.Trend.BaselineMost < s.Trend.BaselineLeast:
		return fmt.Errorf("%w: baseline of %d, %d to %d points: want at least 2, each not above the next", ErrInvalid,
			s.Trend.ProvisionalLeast, s.Trend.BaselineLeast, s.Trend.BaselineMost)
	case s.Trend.OneSide < 2 || s.Trend.Run < 3 || s.Trend.PointsMost < 1:
		return fmt.Errorf("%w: signals of %d and %d points, %d shown: want at least 2, 3 and 1", ErrInvalid, s.Trend.OneSide, s.Trend.Run, s.Trend.PointsMost)
	}
	return nil
}

// mostCrossings is how many steps are counted at most.
const mostCrossings = 100

// leastCrossings is how many steps are always shown, passed or not: up to the follow-up level of 5 Gy by default.
const leastCrossings = 3

// displayTolerance is by how much a dose display may be off, as a fraction of what it should show: 35 %.
// Source: IEC 60601-2-43 and 21 CFR 1020.32(k) (memory).
const displayTolerance = 0.35

// millimetrePerMetre turns a height into metres for the body mass index.
const millimetrePerMetre = float64(quantity.Metre)
