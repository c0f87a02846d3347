package commission

import (
	_ "embed" // the protocol
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"time"

	"github.com/BurntSushi/toml"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

//go:embed protocol.toml
var protocol string

// Protocol gives the protocol of the exposures with the form to fill in, as Read takes it.
func Protocol() string { return protocol }

// form is a record as people write it; lengths in mm, angles in degrees.
type form struct {
	Device    string         `toml:"device"`
	Plane     string         `toml:"plane"`
	Day       string         `toml:"day"`
	By        string         `toml:"by"`
	Exposures []exposureForm `toml:"exposure"`
	Heights   heightsForm    `toml:"heights"`
	Dosimeter dosimeterForm  `toml:"dosimeter"`
	Readings  []readingForm  `toml:"reading"`
}

type exposureForm struct {
	Event      int       `toml:"event"`
	Registered string    `toml:"registered"`
	Detector   []float64 `toml:"detector"`
	Table      []float64 `toml:"table"`
}

type heightsForm struct {
	Event         int      `toml:"event"`
	Isocentre     *float64 `toml:"isocentre_height_mm"`
	TableTop      *float64 `toml:"table_top_height_mm"`
	SourceToTable *float64 `toml:"source_to_table_mm"`
	Midline       *float64 `toml:"midline_left_mm"`
	Reference     *float64 `toml:"reference_head_mm"`
}

type dosimeterForm struct {
	Name        string   `toml:"name"`
	Certificate string   `toml:"certificate"`
	Calibration *float64 `toml:"calibration_percent"`
	Energy      *float64 `toml:"energy_percent"`
	Distance    *float64 `toml:"distance_mm"`
	Side        *float64 `toml:"field_side_mm"`
	Uniformity  *float64 `toml:"uniformity_percent"`
}

type readingForm struct {
	Event       int      `toml:"event"`
	Kerma       *float64 `toml:"kerma_mgy"`
	Distance    *float64 `toml:"distance_mm"`
	BehindTable *bool    `toml:"behind_table"`
	Width       *float64 `toml:"field_width_mm"`
	Height      *float64 `toml:"field_height_mm"`
}

// What is taken for a slip of the pen in a record; judgement.
const (
	mostMotion   quantity.Millimetre = 3000
	mostDistance quantity.Millimetre = 3000
	mostKerma    quantity.Gray       = 10
	mostRows                         = 500
	mostText                         = 200
)

// Read reads a filled form. It returns ErrRecord naming the place and key for anything it cannot use; a key that it does
// not know is an error too, so that nothing misspelt is left out unseen.
func Read(r io.Reader) (Record, error) {
	var f form
	meta, err := toml.NewDecoder(r).Decode(&f)
	var syntax toml.ParseError
	if errors.As(err, &syntax) {
		// Its own text repeats what stands there.
		err = fmt.Errorf("line %d is no TOML", syntax.Position.Line)
	}
	if err != nil {
		return Record{}, fmt.Errorf("%w: %w", ErrRecord, err)
	}
	if unknown := meta.Undecoded(); len(unknown) > 0 {
		return Record{}, fmt.Errorf("%w: unknown key %q", ErrRecord, unknown[0].String())
	}
	out, err := f.read()
	if err != nil {
		return Record{}, fmt.Errorf("%w: %w", ErrRecord, err)
	}
	return out, nil
}

func (f form) read() (Record, error) {
	out := Record{Device: f.Device, Day: f.Day, By: f.By}
	if err := f.head(&out); err != nil {
		return out, err
	}
	used := map[int]bool{}
	for i, x := range f.Exposures {
		e, err := x.read()
		if err == nil && used[e.Event] {
			err = fmt.Errorf("event %d stands in two exposures", e.Event)
		}
		if err != nil {
			return out, fmt.Errorf("exposure %d: %w", i+1, err)
		}
		used[e.Event] = true
		out.Exposures = append(out.Exposures, e)
	}
	var err error
	if out.Heights, err = f.Heights.read(); err != nil {
		return out, fmt.Errorf("heights: %w", err)
	}
	if out.Dosimeter, err = f.Dosimeter.read(); err != nil {
		return out, fmt.Errorf("dosimeter: %w", err)
	}
	for i, x := range f.Readings {
		reading, err := x.read()
		if err != nil {
			return out, fmt.Errorf("reading %d: %w", i+1, err)
		}
		out.Readings = append(out.Readings, reading)
	}
	return out, nil
}

// head checks what stands above the exposures.
func (f form) head(out *Record) error {
	planes := map[string]procedure.Plane{"single": procedure.PlaneSingle, "A": procedure.PlaneA, "B": procedure.PlaneB}
	plane, ok := planes[f.Plane]
	if !ok {
		return fmt.Errorf("plane wants single, A or B, got %q", f.Plane)
	}
	out.Plane = plane
	if _, err := time.Parse(time.DateOnly, f.Day); err != nil {
		return fmt.Errorf("day wants a date such as 2026-01-31, got %q", f.Day)
	}
	if f.By == "" {
		return fmt.Errorf("by is empty: who made the exposures and answers for the record")
	}
	for key, text := range map[string]string{"device": f.Device, "by": f.By, "dosimeter.name": f.Dosimeter.Name, "dosimeter.certificate": f.Dosimeter.Certificate} {
		if len(text) > mostText {
			return fmt.Errorf("%s is longer than %d bytes", key, mostText)
		}
	}
	if len(f.Exposures)+len(f.Readings) == 0 {
		return fmt.Errorf("no [[exposure]] and no [[reading]]")
	}
	if len(f.Exposures) > mostRows || len(f.Readings) > mostRows {
		return fmt.Errorf("more than %d exposures or readings", mostRows)
	}
	return nil
}

func (x exposureForm) read() (Exposure, error) {
	out := Exposure{Event: x.Event}
	if err := eventNumber(x.Event); err != nil {
		return out, err
	}
	var ok bool
	if out.Direction, out.Posture, ok = registered(x.Registered); !ok {
		return out, fmt.Errorf("registered wants HFS, HFP, FFS, FFP, HFDL, HFDR, FFDL or FFDR, got %q", x.Registered)
	}
	if len(x.Detector) != 2 || !within(x.Detector[0], -180, 180) || !within(x.Detector[1], -90, 90) {
		return out, fmt.Errorf("detector wants [left, head], degrees of -180 to 180 and -90 to 90, got %v", x.Detector)
	}
	out.Left, out.Head = quantity.Degree(x.Detector[0]), quantity.Degree(x.Detector[1])
	m := float64(mostMotion)
	if len(x.Table) != 3 || slices.ContainsFunc(x.Table, func(v float64) bool { return !within(v, -m, m) }) {
		return out, fmt.Errorf("table wants [head, left, down], mm of -%v to %v, got %v", m, m, x.Table)
	}
	out.Moved = Motion{Head: quantity.Millimetre(x.Table[0]), Left: quantity.Millimetre(x.Table[1]), Down: quantity.Millimetre(x.Table[2])}
	return out, nil
}

func eventNumber(n int) error {
	if n < 1 {
		return fmt.Errorf("event wants the number of the irradiation event in the report, from 1, got %d", n)
	}
	return nil
}

// registered reads a patient position by its term of DICOM (PS3.3 C.7.3.1.1.2).
func registered(term string) (procedure.Direction, procedure.Posture, bool) {
	if len(term) < 3 {
		return 0, 0, false
	}
	direction, ok := map[string]procedure.Direction{"HF": procedure.HeadFirst, "FF": procedure.FeetFirst}[term[:2]]
	posture, also := map[string]procedure.Posture{
		"S": procedure.Supine, "P": procedure.Prone, "DL": procedure.DecubitusLeft, "DR": procedure.DecubitusRight,
	}[term[2:]]
	return direction, posture, ok && also
}

func (x heightsForm) read() (out Heights, err error) {
	lengths := []struct {
		key string
		v   *float64
		lo  quantity.Millimetre
		to  *quantity.Opt[quantity.Millimetre]
	}{
		{"isocentre_height_mm", x.Isocentre, 1, &out.Isocentre},
		{"table_top_height_mm", x.TableTop, 1, &out.TableTop},
		{"source_to_table_mm", x.SourceToTable, 1, &out.SourceToTable},
		{"midline_left_mm", x.Midline, -mostMotion, &out.Midline},
		{"reference_head_mm", x.Reference, -mostMotion, &out.Reference},
	}
	measured := false
	for _, l := range lengths {
		measured = measured || l.v != nil
		if *l.to, err = optional(l.key, l.v, l.lo, mostDistance); err != nil {
			return out, err
		}
	}
	if !measured {
		return out, nil
	}
	out.Event = x.Event
	return out, eventNumber(x.Event)
}

func (x dosimeterForm) read() (Dosimeter, error) {
	out := Dosimeter{Name: x.Name, Certificate: x.Certificate}
	var err [5]error
	out.Calibration, err[0] = optional[quantity.Percent]("calibration_percent", x.Calibration, 0.1, 30)
	out.Energy, err[1] = optional[quantity.Percent]("energy_percent", x.Energy, 0, 30)
	out.Distance, err[2] = optional[quantity.Millimetre]("distance_mm", x.Distance, 0, 100)
	out.Side, err[3] = optional[quantity.Millimetre]("field_side_mm", x.Side, 0, 50)
	out.Uniformity, err[4] = optional[quantity.Percent]("uniformity_percent", x.Uniformity, 0, 30)
	for _, e := range err {
		if e != nil {
			return out, e
		}
	}
	return out, nil
}

func (x readingForm) read() (Reading, error) {
	out := Reading{Event: x.Event}
	if err := eventNumber(x.Event); err != nil {
		return out, err
	}
	if x.Kerma == nil || !within(*x.Kerma/1000, 1e-9, float64(mostKerma)) {
		return out, fmt.Errorf("kerma_mgy wants a reading above 0, at most %v", float64(mostKerma/quantity.MilliGray))
	}
	if x.Distance == nil || !within(*x.Distance, 100, float64(mostDistance)) {
		return out, fmt.Errorf("distance_mm wants the distance from focus to chamber, 100 to %v", float64(mostDistance))
	}
	if x.BehindTable == nil {
		return out, fmt.Errorf("behind_table is missing: true or false")
	}
	if (x.Width == nil) != (x.Height == nil) {
		return out, fmt.Errorf("field_width_mm and field_height_mm come together")
	}
	out.Kerma, out.Distance, out.BehindTable = quantity.Gray(*x.Kerma)*quantity.MilliGray, quantity.Millimetre(*x.Distance), *x.BehindTable
	var err error
	if out.Width, err = optional[quantity.Millimetre]("field_width_mm", x.Width, 1, 1000); err != nil {
		return out, err
	}
	out.Height, err = optional[quantity.Millimetre]("field_height_mm", x.Height, 1, 1000)
	return out, err
}

func within(v, lo, hi float64) bool { return v >= lo && v <= hi && !math.IsNaN(v) }

func optional[T ~float64](key string, v *float64, lo, hi T) (quantity.Opt[T], error) {
	if v == nil {
		return quantity.None[T](), nil
	}
	if !within(*v, float64(lo), float64(hi)) {
		return quantity.None[T](), fmt.Errorf("%s wants a number of %v to %v, got %v", key, float64(lo), float64(hi), *v)
	}
	return quantity.Some(T(*v)), nil
}
