package organ

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"afterbeam/internal/physics/effective"
	"afterbeam/internal/quantity"
)

// Version names the method, the body and its data. It changes with any of them.
const Version = "organ/2"

// Method is how the doses were computed, for people.
const Method = "photon transport through the stylised body, for the beams of this procedure"

// Caution is to be printed beside organ doses.
const Caution = "Organ doses are those of a stylised body fitted to the patient's size, an estimate with a range, not this patient's own; " +
	"effective dose belongs to a reference person. Neither tells a personal risk. " +
	"The medical physicist, licensed practice and local rules decide."

// UterusCaution is to be printed beside the dose of the uterus.
const UterusCaution = "The dose of the uterus is that of a stylised adult who is not pregnant. In pregnancy it may enter the medical physicist's own " +
	"estimate for the embryo or fetus and is none itself."

// LensCaution is to be printed beside the doses of the lenses.
const LensCaution = "The lenses lie 3 mm under a stylised face at one height. Gaze, lids and a turned head are not followed: near the edge of a field " +
	"the dose of a lens can differ by a factor of two and more. It is no clearance for the eyes."

// Doses are the organ doses and effective doses of a procedure with all that they rest on.
type Doses struct {
	Version string `json:"version"`
	Method  string `json:"method"`
	// Effective is by ICRP 103 weights, Earlier by those of ICRP 60, for comparison with old records.
	Effective Effective `json:"effective"`
	Earlier   Effective `json:"effective_icrp60"`
	Organs    []Dose    `json:"organs"`
	// Parts are one standard deviation of what makes the range of Effective.
	Parts []Part `json:"parts"`
	// Histories, Beams and Shots say how much was computed; Key decides the random numbers.
	Histories int    `json:"histories"`
	Beams     int    `json:"beams"`
	Shots     int    `json:"shots"`
	Key       string `json:"key"`
	// Covered is the share of the displayed kerma-area product that has a beam.
	Covered     quantity.Percent `json:"covered_percent"`
	Body        string           `json:"body"`
	Assumptions []string         `json:"assumptions"`
	Sources     []string         `json:"sources"`
	Caution     string           `json:"caution"`
}

// Effective is an effective dose with its range and the standard error from statistics.
type Effective struct {
	Weights effective.WeightSet `json:"weights"`
	Value   quantity.Sievert    `json:"value_sv"`
	Low     quantity.Sievert    `json:"low_sv"`
	High    quantity.Sievert    `json:"high_sv"`
	Error   quantity.Percent    `json:"error_percent"`
}

// Dose is the mean absorbed dose of an organ. An organ far from all beams has Below instead of a value: its dose is less.
type Dose struct {
	Organ string                         `json:"organ"`
	Value quantity.Opt[quantity.Gray]    `json:"value_gy"`
	Low   quantity.Opt[quantity.Gray]    `json:"low_gy"`
	High  quantity.Opt[quantity.Gray]    `json:"high_gy"`
	Error quantity.Opt[quantity.Percent] `json:"error_percent"`
	Below quantity.Opt[quantity.Gray]    `json:"below_gy"`
}

// Part is one reason why the range is as wide as it is.
type Part struct {
	What    string           `json:"what"`
	Percent quantity.Percent `json:"percent"`
}

// How doses are told; judgement, but for cover, which is the usual one.
const (
	// far is the standard error above which a dose is told as an upper bound alone, relative.
	far = 0.2
	// floor is the share of the highest organ dose that no upper bound goes below.
	floor = 1e-4
	// surely is how many standard errors above its value an upper bound lies.
	surely = 3
	// cover is the number of standard deviations from the middle to an end of a range.
	cover = 2
)

// told puts a computed case in words and ranges.
func (c *Case) told(o outcome, s spread) Doses {
	d := Doses{
		Version: Version, Method: Method, Key: c.Key, Histories: o.histories, Beams: len(c.Beams), Body: c.Body.Name, Covered: c.Covered, Caution: Caution,
		Assumptions: c.assumptions(), Sources: sources(),
	}
	for _, b := range c.Beams {
		d.Shots += b.Shots
	}
	shared := c.shared(s)
	highest := 0.0
	for _, v := range o.organs {
		highest = max(highest, v)
	}
	for _, organ := range Organs() {
		own := s.organPlace[organ] + s.organSize[organ]
		if organ == LensRight || organ == LensLeft {
			own += square(logOf(face))
		}
		d.Organs = append(d.Organs, doseOf(organ, o.organs[organ], o.organErrors[organ], math.Sqrt(shared+own), highest))
	}
	for k, to := range []*Effective{&d.Effective, &d.Earlier} {
		relative := o.errors[k] / o.effective[k]
		width := math.Exp(cover * math.Sqrt(shared+s.place[k]+s.size[k]+relative*relative))
		*to = Effective{
			Weights: sets()[k], Value: quantity.Sievert(o.effective[k]), Low: quantity.Sievert(o.effective[k] / width),
			High: quantity.Sievert(o.effective[k] * width), Error: quantity.Percent(100 * relative),
		}
	}
	percent := func(log float64) quantity.Percent { return quantity.Percent(100 * math.Expm1(log)) }
	d.Parts = []Part{
		{"display of kerma-area product", c.Doubt.Display},
		{"table attenuation and scatter", percent(s.table * logOf(c.Doubt.Table))},
		{"place of the beams along the body, within 2 cm", percent(math.Sqrt(s.place[0]))},
		{"width and depth of the patient", percent(math.Sqrt(s.size[0]))},
		{"the stylised body for this patient's anatomy", anatomy},
		{"statistics", d.Effective.Error},
	}
	return d
}

func doseOf(organ Organ, value, err, width, highest float64) Dose {
	d := Dose{Organ: organ.String()}
	if value <= 0 || err > far*value {
		d.Below = quantity.Some(quantity.Gray(max(value+surely*err, floor*highest)))
		return d
	}
	relative := err / value
	factor := math.Exp(cover * math.Hypot(width, relative))
	d.Value, d.Low, d.High = quantity.Some(quantity.Gray(value)), quantity.Some(quantity.Gray(value/factor)), quantity.Some(quantity.Gray(value*factor))
	d.Error = quantity.Some(quantity.Percent(100 * relative))
	return d
}

// assumptions are what was taken for granted, in words.
func (c *Case) assumptions() []string {
	arms := map[string]int{}
	for _, b := range c.Beams {
		arms[string(b.Arms)]++
	}
	list := []string{
		"stylised hermaphrodite body, both sexes in one: effective dose is the mean of both, gonads the mean of ovaries and testes",
		"the head stands on the trunk without a narrower neck",
		"bone surface receives the mean dose of the bones, which is on the high side; red marrow its own kerma",
		"skin dose here is the mean over the whole skin, not the peak",
	}
	if n := arms["raised"]; n > 0 {
		list = append(list, fmt.Sprintf("%d of %d beams: arms raised out of the beam, trunk of full width", n, len(c.Beams)))
	}
	if n := arms["noarms"]; n > 0 {
		list = append(list, fmt.Sprintf("%d of %d beams are more than 20 degrees from front or back: arms raised, narrower trunk without the tissue of arms", n, len(c.Beams)))
	}
	if n := arms["arms"]; n > 0 {
		list = append(list, fmt.Sprintf("%d of %d beams: arms alongside, within the trunk", n, len(c.Beams)))
	}
	return append(list, c.Notes...)
}

func sources() []string {
	return []string{
		"stylised body: Cristy M, Eckerman K F 1987, ORNL/TM-8381, and Snyder W S et al 1978, MIRD Pamphlet 5 revised (from memory)",
		"tissue weights: ICRP Publication 103 (2007) and 60 (1991)",
		"red marrow in the bones: Cristy M 1981, Phys Med Biol 26:389 (from memory)",
	}
}

// Highest gives the organs with the highest doses, at most n, highest first.
func (d Doses) Highest(n int) []Dose {
	var told []Dose
	for _, o := range d.Organs {
		if o.Value.Present() {
			told = append(told, o)
		}
	}
	slices.SortStableFunc(told, func(a, b Dose) int { return cmp.Compare(b.Value.Or(0), a.Value.Or(0)) })
	return told[:min(n, len(told))]
}
