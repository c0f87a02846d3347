package demo

import (
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// rhythmDevice comes from a mobile C-arm whose report holds totals and nothing of the geometry.
func rhythmDevice() scene {
	return scene{
		file:  "mobile-rhythm-device.dcm",
		title: "Rhythm device with a mobile C-arm, totals only (synthetic)",
		room:  mobile(), patient: subject{
			id: "SYN-0008", name: "Synthetic^Saltmarsh Eight", birth: "1948-09-03", sex: "M", height: 1710, weight: 77,
		},
		description: "Pacemaker implantation, venous access (synthetic)",
		accession:   "SYN26-1112", start: local(11, 12, 14, 5), minutes: 48,
		operators: []procedure.Person{cardiologist("E"), radiographer("T")}, intent: therapy(),
		totalsOnly: []procedure.PlaneTotal{{
			Plane:            procedure.PlaneSingle,
			KAP:              quantity.Some(quantity.GraySquareMetre(4.31e-4)),
			RefKerma:         quantity.Some(quantity.Gray(0.0287)),
			FluoroKAP:        quantity.Some(quantity.GraySquareMetre(3.92e-4)),
			FluoroKerma:      quantity.Some(quantity.Gray(0.0261)),
			FluoroTime:       quantity.Some(quantity.Second(312)),
			AcquisitionKAP:   quantity.Some(quantity.GraySquareMetre(0.39e-4)),
			AcquisitionKerma: quantity.Some(quantity.Gray(0.0026)),
			AcquisitionTime:  quantity.Some(quantity.Second(6)),
			Frames:           quantity.Some(45.0),
			RefPoint:         referencePoint(),
		}},
	}
}

// qualityCheck exposes a test object of 20 cm of plastic in Neuro 4; nobody is irradiated.
func qualityCheck() scene {
	return scene{
		file:        "neuro4-quality-control.dcm",
		title:       "Quality control exposures of a test object (synthetic)",
		room:        neuro4(),
		patient:     subject{id: "SYN-QC01", name: "Synthetic^Test Object", sex: "O"},
		description: "Constancy test, test object (synthetic)",
		accession:   "SYN26-1116", start: local(11, 16, 7, 40), minutes: 18, kerma: 0.0124,
		operators: []procedure.Person{person("Physicist^P^Synthetic", "PH-P",
			dcm("113851", "Irradiation Administering"), procedure.Code{})},
		intent: qualityControl(), purpose: procedure.PurposeQualityControl,
		steps: []step{{
			name: "test object", region: phantom(), density: 1, thickness: 20, height: 200, width: 200,
			views: []view{{0, 0, 1, nil}},
			runs:  []run{{fluoroscopy(), 4, 40}, {testShot(), 6, 3}},
		}},
	}
}
