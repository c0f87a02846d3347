package release

import (
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/report/dicomio"
)

// Case is one procedure as its owner knows it. ID, Patient and Device are hashed and stand nowhere.
type Case struct {
	ID, Patient, Device string
	Day                 string // local, 2006-01-02, or ""
	Class               string
	State               string // provisional, complete, amended
	Sex                 string // M, F, O or ""
	Age                 quantity.Opt[float64]
	Height              quantity.Opt[quantity.Millimetre]
	Weight              quantity.Opt[quantity.Kilogram]
	Operators           []procedure.Person

	Kerma, PSD, PSDLow, PSDHigh            quantity.Opt[quantity.Gray]
	KAP                                    quantity.Opt[quantity.GraySquareMetre]
	FluoroTime                             quantity.Opt[quantity.Second]
	Complete                               bool // Kerma and KAP hold every plane
	PSDMethod, EffectiveMethod             string
	Effective, EffectiveLow, EffectiveHigh quantity.Opt[quantity.Sievert]
	Flag                                   string
}

// Detail is what a case is made of: its irradiation events, and its dose reports when they are asked for.
type Detail struct {
	Events  []procedure.Event
	Reports []dicomio.DataSet
}
