package demo

import "afterbeam/internal/procedure"

// The modes of the invented equipment. Pulse rates and copper are of the order common in practice (no source); kerma per
// pulse is invented and scaled by each case anyway.

func fluoroscopy() mode {
	return mode{
		protocol: "Fluoroscopy standard", kind: procedure.Fluoroscopy, rate: 7.5, width: 9.6, kerma: 0.018,
		thin: 0.9, thick: 0.3, focus: 0.6,
	}
}

func fluoroscopyHigh() mode {
	return mode{
		protocol: "Fluoroscopy high detail", kind: procedure.Fluoroscopy, rate: 15, width: 8, kerma: 0.026,
		thin: 0.6, thick: 0.3, focus: 0.6,
	}
}

func fluoroscopySlow() mode {
	return mode{
		protocol: "Fluoroscopy low", kind: procedure.Fluoroscopy, rate: 4, width: 9.2, kerma: 0.014,
		thin: 0.9, thick: 0.3, focus: 0.6,
	}
}

func cine() mode {
	return mode{
		protocol: "Cine 15/s", kind: procedure.Stationary, rate: 15, width: 6.5, kerma: 0.13,
		thin: 0.1, thick: 0, focus: 1,
	}
}

func subtraction() mode {
	return mode{
		protocol: "Subtraction 2/s", kind: procedure.Stationary, rate: 2, width: 90, kerma: 1.4,
		thin: 0.1, thick: 0, focus: 1,
	}
}

// coneBeam turns from RAO to LAO under the table, 200 degrees in 5 s.
func coneBeam() mode {
	return mode{
		protocol: "Rotational cone-beam 200 deg", kind: procedure.Rotational, rate: 30, width: 10, kerma: 0.25,
		thin: 0.3, thick: 0.1, focus: 0.6, arc: 100, distance: 1190, wholeField: true, fixed: true,
	}
}

// testShot is a single exposure of a test object.
func testShot() mode {
	return mode{
		protocol: "Constancy test shot", kind: procedure.Stationary, rate: 2, width: 50, kerma: 0.6,
		thin: 0.1, thick: 0, focus: 1, distance: 1050, fixed: true,
	}
}
