package plausible

import (
	"math"
	"strconv"
	"strings"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/report/notebook"
)

// parts compares a plane's totals with their fluoroscopy and acquisition parts.
func parts(t *procedure.PlaneTotal, notes *notebook.Notebook, at notebook.Place) {
	part(t.RefKerma, t.FluoroKerma, t.AcquisitionKerma, notes, at.Of("Dose (RP) Total"))
	part(t.KAP, t.FluoroKAP, t.AcquisitionKAP, notes, at.Of("Dose Area Product Total"))
}

func part[T ~float64](total, fluoro, acquisition quantity.Opt[T], notes *notebook.Notebook, at notebook.Place) {
	all, ok := total.Get()
	f, okF := fluoro.Get()
	a, okA := acquisition.Get()
	if !ok || !okF || !okA {
		return
	}
	rounding := (resolution(float64(all)) + resolution(float64(f)) + resolution(float64(a))) / 2
	if math.Abs(float64(all-f-a)) > totalTolerance*float64(max(all, f+a))+rounding {
		notes.Add("total-parts", procedure.Reduced, at, "the total is not fluoroscopy and acquisition together")
	}
}

// resolution gives the last decimal place of a number as it was written: its shortest decimal form shows it.
func resolution(v float64) float64 {
	if v == 0 {
		return 0
	}
	mantissa, exponent, _ := strings.Cut(strconv.FormatFloat(v, 'e', -1, 64), "e")
	_, fraction, _ := strings.Cut(mantissa, ".")
	power, err := strconv.Atoi(exponent)
	if err != nil {
		return 0
	}
	return math.Pow(10, float64(power-len(fraction)))
}

// tally is the sum of one quantity over events, its rounding, and whether each event had it.
type tally struct {
	sum, rounding float64
	events        int
	complete      bool
}

func (t *tally) add(v float64, ok bool) {
	t.events++
	t.complete = t.complete && ok
	t.sum += v
	t.rounding += resolution(v) / 2
}

// kinds are the tallies of one plane: all events, fluoroscopy and acquisitions.
type kinds struct{ kerma, area, time [3]tally }

const (
	all = iota
	fluoroscopy
	acquisition
)

func tallies(r *procedure.Report, plane procedure.Plane) kinds {
	var k kinds
	for i := range 3 {
		k.kerma[i].complete, k.area[i].complete, k.time[i].complete = true, true, true
	}
	for i := range r.Events {
		e := &r.Events[i]
		if plane != procedure.PlaneAll && e.Plane != plane {
			continue
		}
		k.add(all, e)
		switch e.Type {
		case procedure.Fluoroscopy:
			k.add(fluoroscopy, e)
		case procedure.Stationary, procedure.Stepping, procedure.Rotational:
			k.add(acquisition, e)
		case procedure.EventUnknown:
			for _, i := range []int{fluoroscopy, acquisition} {
				k.kerma[i].complete, k.area[i].complete, k.time[i].complete = false, false, false
			}
		}
	}
	return k
}

func (k *kinds) add(i int, e *procedure.Event) {
	kerma, okKerma := e.RefKerma.Get()
	k.kerma[i].add(float64(kerma), okKerma)
	area, okArea := e.KAP.Get()
	k.area[i].add(float64(area), okArea)
	duration, okDuration := e.Technique.Duration.Get()
	k.time[i].add(float64(duration), okDuration)
}

// totalAgainstEvents compares the totals of one plane with the sums of its events, fluoroscopy and acquisition apart.
// Times of total are clock times: sums of irradiation durations.
func totalAgainstEvents(r *procedure.Report, t *procedure.PlaneTotal, notes *notebook.Notebook, at notebook.Place) {
	k := tallies(r, t.Plane)
	if k.kerma[all].events == 0 {
		return
	}
	against(t.RefKerma, k.kerma[all], &t.Suspicion, procedure.SuspectKerma, notes, at.Of("Dose (RP) Total"))
	against(t.FluoroKerma, k.kerma[fluoroscopy], nil, 0, notes, at.Of("Fluoro Dose (RP) Total"))
	against(t.AcquisitionKerma, k.kerma[acquisition], nil, 0, notes, at.Of("Acquisition Dose (RP) Total"))
	against(t.KAP, k.area[all], &t.Suspicion, procedure.SuspectKAP, notes, at.Of("Dose Area Product Total"))
	against(t.FluoroKAP, k.area[fluoroscopy], nil, 0, notes, at.Of("Fluoro Dose Area Product Total"))
	against(t.AcquisitionKAP, k.area[acquisition], nil, 0, notes, at.Of("Acquisition Dose Area Product Total"))
	against(t.FluoroTime, k.time[fluoroscopy], nil, 0, notes, at.Of("Total Fluoro Time"))
	against(t.AcquisitionTime, k.time[acquisition], nil, 0, notes, at.Of("Total Acquisition Time"))
}

// against compares one total with the sum of its events.
func against[T ~float64](total quantity.Opt[T], s tally, suspicion *procedure.Suspicion, bit procedure.Suspicion, notes *notebook.Notebook, at notebook.Place) {
	v, ok := total.Get()
	if !ok || (s.sum == 0 && !s.complete) {
		return
	}
	difference := float64(v) - s.sum
	if math.Abs(difference) <= totalTolerance*math.Max(float64(v), s.sum)+s.rounding+resolution(float64(v))/2 {
		return
	}
	switch {
	case suspicion != nil && v > 0 && s.sum > 0 && (s.sum > totalFactor*float64(v) || (s.complete && unitApart(float64(v)/s.sum))):
		*suspicion |= bit
		notes.Add("total-sum", procedure.Suspect, at, "the total does not go with the sum of the events; a unit may be wrong, the total is not believed")
	case difference < 0:
		notes.Add("total-sum", procedure.Reduced, at, "the sum of the events is above the total; the larger counts for levels")
	case !s.complete:
		notes.Add("total-sum", procedure.Reduced, at, "the total is above the sum of the events, some of which have no value")
	default:
		notes.Add("total-sum", procedure.Reduced, at, "the total is above the sum of the events; some radiation is not listed as an event")
	}
}

// unitApart tells whether a ratio is within 5 % of a hundred or more, or of its inverse: no missing event does that.
func unitApart(ratio float64) bool {
	decades := math.Abs(math.Log10(ratio))
	return math.Round(decades) >= 2 && math.Abs(decades-math.Round(decades)) < math.Log10(1.05)
}
