package release

import (
	"errors"
	"fmt"
)

// ErrOptions are options that are none.
var ErrOptions = errors.New("no such option of a release")

// Device says how much of a device's identity stays.
type Device string

// What stays of a device. Its UIDs never stay.
const (
	// DevicePseudonym keeps a pseudonym alone.
	DevicePseudonym Device = "pseudonym"
	// DeviceMake keeps manufacturer, model and software, with a pseudonym.
	DeviceMake Device = "make"
	// DeviceIdentity keeps its number, station and name too.
	DeviceIdentity Device = "identity"
)

// Persons says what becomes of those who took part.
type Persons string

// What becomes of persons.
const (
	PersonsDropped   Persons = "dropped"
	PersonsPseudonym Persons = "pseudonym"
)

// Options are what whoever asks for a release chooses.
type Options struct {
	Device  Device
	Persons Persons
	// Characteristics keeps sex, age, height, weight and pregnancy; ages of 90 and more are 90.
	Characteristics bool
	// BoundSizes gives heights and weights far from most people's the bound, see boundHeight and boundWeight.
	BoundSizes bool
}

// Cautious are the options that keep least.
func Cautious() Options { return Options{Device: DevicePseudonym, Persons: PersonsDropped} }

// Validate tells whether every option is one.
func (o Options) Validate() error {
	switch o.Device {
	case DevicePseudonym, DeviceMake, DeviceIdentity:
	default:
		return fmt.Errorf("%w: device wants pseudonym, make or identity", ErrOptions)
	}
	if o.Persons != PersonsDropped && o.Persons != PersonsPseudonym {
		return fmt.Errorf("%w: persons wants dropped or pseudonym", ErrOptions)
	}
	return nil
}

// Method names the way of de-identification and its version, as each object says it.
const Method = "afterbeam release 1"

// Code is a code of the de-identification methods that were used (PS3.16 CID 7050).
type Code struct {
	Value   string `json:"code"`
	Meaning string `json:"meaning"`
}

// Codes gives the profile and options that hold for a report released with these options.
func (o Options) Codes() []Code {
	codes := []Code{
		{"113100", "Basic Application Confidentiality Profile"},
		{"113104", "Clean Structured Content Option"},
		{"113105", "Clean Descriptors Option"},
		{"113107", "Retain Longitudinal Temporal Information Modified Dates Option"},
	}
	if o.Characteristics {
		codes = append(codes, Code{"113108", "Retain Patient Characteristics Option"})
	}
	if o.Device == DeviceIdentity {
		codes = append(codes, Code{"113109", "Retain Device Identity Option"})
	}
	return codes
}
