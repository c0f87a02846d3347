package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/followup/level"
	"afterbeam/internal/procedure"
	"afterbeam/internal/procedure/devicefile"
	"afterbeam/internal/procedure/lexicon"
	"afterbeam/internal/quantity"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/report/rdsr"
)

// zoneOption places times that a report gives without an offset.
type zoneOption struct {
	Zone string `default:"Local" placeholder:"NAME" help:"Time zone of the site, such as Europe/London, for times without an offset (default: that of this computer)."`
}

func (o zoneOption) reading() (rdsr.Options, error) {
	zone, err := time.LoadLocation(o.Zone)
	if err != nil {
		return rdsr.Options{}, fmt.Errorf("--zone wants a name such as Europe/London, got %q", o.Zone)
	}
	return rdsr.Options{Limits: dicomio.DefaultLimits(), Site: zone}, nil
}

// methodOptions choose the tables of an assessment.
type methodOptions struct {
	Profile string  `placeholder:"FILE" help:"What a physicist has signed for about the equipment: device profiles (TOML)."`
	Lexicon string  `placeholder:"FILE" help:"The site's own lexicon (CSV) in place of the embedded one."`
	Levels  string  `placeholder:"FILE" help:"The site's own follow-up levels (CSV) in place of the embedded ones."`
	Patch   float64 `default:"1" placeholder:"CM2" help:"Largest patch of skin of the map in cm2, 0.05 to 10 (default 1)."`
	Points  int     `default:"128" placeholder:"N" help:"Samples that the range of a map is made from, 16 to 4096, best a power of two (default 128)."`
	Skull   bool    `help:"Lower the backscatter of the head as bone under thin skin does; without it the head scatters like water, the cautious choice."`
	zoneOption
}

func (o methodOptions) method() (assessment.Method, error) {
	m := assessment.Default()
	if !within(o.Patch, 0.05, 10) {
		return m, fmt.Errorf("--patch wants 0.05 to 10 cm2, got %v", o.Patch)
	}
	if o.Points < assessment.LeastPoints || o.Points > assessment.MostPoints {
		return m, fmt.Errorf("--points wants %d to %d samples, got %d", assessment.LeastPoints, assessment.MostPoints, o.Points)
	}
	m.MaxPatch, m.RangePoints, m.Skull = o.Patch, o.Points, o.Skull
	err := load("--profile", o.Profile, func(r io.Reader) (err error) { m.Profiles, err = devicefile.Read(r); return err })
	if err == nil {
		err = load("--lexicon", o.Lexicon, func(r io.Reader) (err error) { m.Lexicon, err = lexicon.Parse(r); return err })
	}
	if err == nil {
		err = load("--levels", o.Levels, func(r io.Reader) (err error) { m.Levels, err = level.Parse(r); return err })
	}
	return m, err
}

// load opens the file of an option and hands it to read; no name is nothing to do.
func load(option, name string, read func(io.Reader) error) (err error) {
	if name == "" {
		return nil
	}
	file, err := os.Open(name)
	if err != nil {
		return fmt.Errorf("%s %s: %w", option, name, cannotRead(err))
	}
	defer func() { err = errors.Join(err, file.Close()) }()
	if err := read(file); err != nil {
		return fmt.Errorf("%s %s: %w", option, name, err)
	}
	return nil
}

// within tells whether v lies in a range; what is not a number does not.
func within(v, low, high float64) bool { return v >= low && v <= high }

// factOptions are what the user knows of the one patient of a run; nil and "" are not given.
type factOptions struct {
	Height      *float64 `placeholder:"CM" help:"Height of the patient in cm, in place of the report's."`
	Weight      *float64 `placeholder:"KG" help:"Weight of the patient in kg, in place of the report's."`
	Age         *float64 `placeholder:"YEARS" help:"Age of the patient in years, in place of the report's."`
	Sex         string   `enum:"M,F," default:"" placeholder:"M|F" help:"Sex of the patient, M or F, in place of the report's."`
	Class       string   `placeholder:"CLASS" help:"Procedure class, in place of the lexicon's; afterbeam version --classes lists them."`
	Orientation string   `enum:"HFS,HFP,HFDL,HFDR,FFS,FFP,FFDL,FFDR," default:"" placeholder:"CODE" help:"How the patient lay: head or feet first (HF, FF) and supine, prone or decubitus left or right (S, P, DL, DR), such as HFS."`
	Arms        string   `enum:"raised,alongside," default:"" placeholder:"raised|alongside" help:"Where the arms were: raised out of the beams, which is taken when it is not given, or alongside the trunk."`
}

func (o factOptions) given() bool {
	return o.Height != nil || o.Weight != nil || o.Age != nil || o.Sex != "" || o.Class != "" || o.Orientation != "" || o.Arms != ""
}

// facts checks what was given. The bounds are those within which a report's values are believed.
func (o factOptions) facts() (procedure.Facts, error) {
	f := procedure.Facts{Sex: o.Sex, Class: o.Class}
	if o.Height != nil {
		if !within(*o.Height, 30, 220) {
			return f, fmt.Errorf("--height wants 30 to 220 cm, got %v", *o.Height)
		}
		f.Height = quantity.Some(quantity.Millimetre(*o.Height) * quantity.Centimetre)
	}
	if o.Weight != nil {
		if !within(*o.Weight, 0.5, 350) {
			return f, fmt.Errorf("--weight wants 0.5 to 350 kg, got %v", *o.Weight)
		}
		f.Weight = quantity.Some(quantity.Kilogram(*o.Weight))
	}
	if o.Age != nil {
		if !within(*o.Age, 0, 120) {
			return f, fmt.Errorf("--age wants 0 to 120 years, got %v", *o.Age)
		}
		f.AgeYears = quantity.Some(*o.Age)
	}
	if o.Class != "" && !lexicon.Known(o.Class) {
		return f, fmt.Errorf("--class %q is not a procedure class; afterbeam version --classes lists them", o.Class)
	}
	f.Direction, f.Posture = orientation(o.Orientation)
	f.Arms = map[string]procedure.Arms{"raised": procedure.ArmsRaised, "alongside": procedure.ArmsAlongside}[o.Arms]
	return f, nil
}

// orientation reads the usual short names of patient orientation, such as HFS.
func orientation(short string) (procedure.Direction, procedure.Posture) {
	if len(short) < 3 {
		return procedure.DirectionUnknown, procedure.PostureUnknown
	}
	direction := procedure.HeadFirst
	if short[:2] == "FF" {
		direction = procedure.FeetFirst
	}
	return direction, map[string]procedure.Posture{
		"S": procedure.Supine, "P": procedure.Prone, "DL": procedure.DecubitusLeft, "DR": procedure.DecubitusRight,
	}[short[2:]]
}
