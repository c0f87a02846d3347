package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"runtime"
	"strings"

	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/physics/effective"
	"afterbeam/internal/physics/organ"
	"afterbeam/internal/quantity"
)

// organs are the organ doses of a case, or the reason why there are none.
type organs struct {
	doses  organ.Doses
	reason string
}

// computeOrgans follows photons for every case.
func (l *line) computeOrgans(ctx context.Context, m assessment.Method, budget organ.Budget, progress io.Writer) error {
	step := bar(progress, "organ doses")
	for i := range l.cases {
		c := &l.cases[i]
		plan, reason := m.OrganCase(c.Procedure, c.Facts, c.Procedure.StudyUID+" "+c.Procedure.DeviceKey)
		c.organs = &organs{reason: reason}
		if reason == "" {
			plan.Budget, plan.Workers = budget, runtime.GOMAXPROCS(0)
			var err error
			if c.organs.doses, err = organ.Compute(ctx, plan); err != nil {
				return fmt.Errorf("%s: %w", c.name(), err)
			}
		}
		step(i+1, len(l.cases))
	}
	return nil
}

// json is what stands under organ_doses.
func (o *organs) json() (json.RawMessage, error) {
	if o.reason != "" {
		return json.Marshal(map[string]string{"reason": o.reason})
	}
	return json.Marshal(o.doses)
}

// shownOrgans is how many organs a case's lines tell of: those with the highest doses.
const shownOrgans = 8

// lines tell the effective dose of the own beams beside that of the coefficients, and the organs that received most.
func (o *organs) lines(by effective.Estimate) []string {
	if o.reason != "" {
		return []string{"no organ doses: " + o.reason}
	}
	e := o.doses.Effective
	first := fmt.Sprintf("effective dose computed %s mSv, range %s to %s (k=2), of a reference person",
		quantity.ShowEffective(e.Value), quantity.ShowEffective(e.Low), quantity.ShowEffective(e.High))
	if v, ok := by.Value.Get(); ok && v > 0 {
		first += fmt.Sprintf("; %s times that by coefficients", quantity.Significant(float64(e.Value/v), 2))
	}
	list := []string{first}
	var told []string
	for _, d := range o.doses.Highest(shownOrgans) {
		told = append(told, fmt.Sprintf("%s %s (%s to %s)", d.Organ, milligray(d.Value.Or(0)), milligray(d.Low.Or(0)), milligray(d.High.Or(0))))
	}
	list = append(list, "organ doses in mGy: "+strings.Join(told[:len(told)/2], ", ")+",", strings.Join(told[len(told)/2:], ", "))
	return append(list, organ.Caution)
}

func milligray(v quantity.Gray) string { return quantity.Figures(float64(v/quantity.MilliGray), 2) }
