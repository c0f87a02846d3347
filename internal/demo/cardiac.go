package demo

import "afterbeam/internal/procedure"

// Cardiac cases. Order of the doses: valves 1.9 Gy and 236 Gy cm2 (Daneault et al, EuroIntervention 2012;8(6)), total
// occlusions 2.0 Gy and 102 Gy cm2 (J Invasive Cardiol 2021;33:E146), diagnostic angiography 23 Gy cm2 (Brambilla 2017),
// ablation 49 Gy cm2 (Efstathopoulos); medians, read. Newer rooms lie below the first.

func valve() scene {
	return scene{
		file:  "hybrid1-transcatheter-valve.dcm",
		title: "Transcatheter aortic valve (synthetic)",
		room:  hybrid1(), patient: subject{
			id: "SYN-0003", name: "Synthetic^Saltmarsh Three", birth: "1943-12-02", sex: "F", height: 1620, weight: 74,
		},
		description: "Transcatheter aortic valve implantation (synthetic)",
		accession:   "SYN26-1006", start: local(10, 6, 10, 21), minutes: 74, kerma: 0.72,
		operators: []procedure.Person{cardiologist("C"), radiographer("R")}, intent: therapy(),
		steps: []step{
			{
				name: "access", region: abdomen(), along: 12, density: 1, height: 160, width: 200,
				views: []view{{0, 0, 1, nil}, {-15, 0, 1, nil}},
				runs:  []run{{fluoroscopy(), 18, 240}, {subtraction(), 2, 10}},
			},
			{
				name: "valve", region: heart(), along: 51, left: 15, density: 0.85, height: 170, width: 180,
				views: []view{{10, 12, 3, nil}, {-8, -14, 2, nil}},
				runs:  []run{{fluoroscopy(), 46, 900}, {cine(), 13, 52}},
			},
			{
				name: "closure", region: abdomen(), along: 12, density: 1, height: 160, width: 200,
				views: []view{{0, 0, 1, nil}, {15, 0, 1, nil}},
				runs:  []run{{fluoroscopy(), 9, 110}, {subtraction(), 2, 11}},
			},
		},
	}
}

func pump() scene {
	return scene{
		file:  "cath2-percutaneous-pump.dcm",
		title: "Percutaneous left ventricular pump (synthetic)",
		room:  cath2(), patient: subject{
			id: "SYN-0004", name: "Synthetic^Saltmarsh Four", birth: "1958-05-19", sex: "M", height: 1750, weight: 82,
		},
		description: "Percutaneous ventricular assist pump (synthetic)",
		accession:   "SYN26-1014", start: local(10, 14, 16, 40), minutes: 52, kerma: 0.23,
		operators: []procedure.Person{cardiologist("D"), radiographer("S")}, intent: therapy(),
		steps: []step{
			{
				name: "access", region: abdomen(), along: 10, density: 1, height: 160, width: 160,
				views: []view{{0, 0, 1, nil}},
				runs:  []run{{fluoroscopy(), 14, 150}, {cine(), 2, 7}},
			},
			{
				name: "pump", region: heart(), along: 51, left: 20, density: 0.85, height: 160, width: 160,
				views: []view{{0, 0, 2, nil}, {-30, 0, 1, nil}},
				runs:  []run{{fluoroscopy(), 30, 390}, {cine(), 4, 14}},
			},
		},
	}
}

func ablation() scene {
	biplane := func(primary, side, weight float64) view {
		return view{primary, 0, weight, &view{side, 0, 1, nil}}
	}
	return scene{
		file:  "rhythm3-ablation.dcm",
		title: "Rhythm ablation in a biplane room (synthetic)",
		room:  rhythm3(), patient: subject{
			id: "SYN-0005", name: "Synthetic^Saltmarsh Five", birth: "1969-10-07", sex: "M", height: 1830, weight: 92,
		},
		description: "Catheter ablation of atrial fibrillation (synthetic)",
		accession:   "SYN26-1103", start: local(11, 3, 9, 15), minutes: 148, kerma: 0.53,
		operators: []procedure.Person{cardiologist("E"), radiographer("T")}, intent: therapy(),
		steps: []step{
			{
				name: "access and septum", region: heart(), along: 50, left: 12, density: 0.85, height: 170, width: 170,
				views: []view{{0, 0, 1, nil}, biplane(-30, 60, 2)},
				runs:  []run{{fluoroscopy(), 22, 330}, {cine(), 2, 8}},
			},
			{
				name: "ablation", region: heart(), along: 51, left: 15, density: 0.85, height: 150, width: 150,
				views:  []view{biplane(-30, 60, 3), biplane(0, 90, 1), {-30, 0, 1, nil}},
				passes: 3,
				runs:   []run{{fluoroscopySlow(), 48, 720}, {cine(), 4, 14}},
			},
		},
	}
}

// leftViews and rightViews are usual coronary projections; common practice, no source.
func leftViews() []view {
	return []view{
		{-30, -20, 3, nil}, {-10, 35, 2, nil}, {45, 20, 1, nil}, {45, -30, 2, nil}, {5, -35, 1, nil},
	}
}

func rightViews() []view { return []view{{45, 0, 3, nil}, {-30, 0, 1, nil}, {0, 30, 2, nil}} }

func occlusion() scene {
	return scene{
		file:  "cath2-coronary-total-occlusion.dcm",
		title: "Coronary stents, chronic total occlusion (synthetic)",
		room:  cath2(), patient: subject{
			id: "SYN-0006", name: "Synthetic^Saltmarsh Six", birth: "1956-01-24", sex: "M", height: 1740, weight: 88,
		},
		description: "Coronary stent, chronic total occlusion (synthetic)",
		accession:   "SYN26-1110", start: local(11, 10, 8, 58), minutes: 176, kerma: 3.38,
		operators: []procedure.Person{cardiologist("D"), cardiologist("C"), radiographer("S")}, intent: therapy(),
		steps: []step{
			{
				name: "both coronaries", region: heart(), along: 51, left: 18, density: 0.85, height: 170, width: 170,
				views: append(leftViews(), rightViews()...),
				runs:  []run{{fluoroscopy(), 22, 240}, {cine(), 14, 62}},
			},
			{
				name: "crossing", region: heart(), along: 50, left: 10, density: 0.85, height: 130, width: 130,
				views:  []view{{45, 0, 5, nil}, {-30, 0, 2, nil}, {0, 30, 1, nil}, {40, -20, 1, nil}},
				passes: 3,
				runs:   []run{{fluoroscopy(), 128, 2760}, {fluoroscopyHigh(), 12, 150}, {cine(), 30, 124}},
			},
			{
				name: "stents", region: heart(), along: 50, left: 10, density: 0.85, height: 150, width: 150,
				views: rightViews(),
				runs:  []run{{fluoroscopy(), 30, 540}, {cine(), 12, 52}},
			},
		},
	}
}

func angiography() scene {
	return scene{
		file:  "cath2-coronary-angiography.dcm",
		title: "Diagnostic coronary angiography, low dose (synthetic)",
		room:  cath2(), patient: subject{
			id: "SYN-0007", name: "Synthetic^Saltmarsh Seven", birth: "1972-06-15", sex: "F", height: 1650, weight: 63,
		},
		description: "Diagnostic coronary angiography (synthetic)",
		accession:   "SYN26-1111", start: local(11, 11, 11, 34), minutes: 23, kerma: 0.16,
		operators: []procedure.Person{cardiologist("C"), radiographer("T")}, intent: diagnosis(),
		steps: []step{
			{
				name: "left", region: heart(), along: 51, left: 20, density: 0.85, height: 150, width: 150,
				views: leftViews(), runs: []run{{fluoroscopy(), 22, 130}, {cine(), 6, 24}},
			},
			{
				name: "right", region: heart(), along: 50, left: 10, density: 0.85, height: 150, width: 150,
				views: rightViews(), runs: []run{{fluoroscopy(), 11, 62}, {cine(), 3, 12}},
			},
		},
	}
}
