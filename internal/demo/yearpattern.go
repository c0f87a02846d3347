package demo

import "afterbeam/internal/procedure"

// pattern is what a class of the year looks like in a report: few events, each of which stands for several presses of the
// pedal. All of it is invented; the views are usual ones (common practice, no source).
type pattern struct {
	room room
	// words are what the record calls it; the first is the usual name.
	words []string
	// team are the letters of those who do it, who are surgeons or physicians.
	team     string
	surgeons bool
	// again is the chance that a patient of the pool, who was there some weeks ago, comes again.
	pool   string
	again  float64
	ages   spreadOf
	women  float64 // their share
	weight float64 // of a child in kg, 0 for an adult
	intent procedure.Code
	// steps have seconds of fluoroscopy that count as shares of the case's.
	steps []step
}

// spreadOf is a normal distribution.
type spreadOf struct{ middle, sigma float64 }

// patterns gives the pattern of each class; a case of the year is never without one.
func patterns() map[string]pattern {
	all := map[string]pattern{}
	for _, some := range []map[string]pattern{aorticPatterns(), heartPatterns(), rhythmPatterns(), headPatterns(), childPatterns()} {
		for class, p := range some {
			all[class] = p
		}
	}
	return all
}

func aorticPatterns() map[string]pattern {
	older := spreadOf{73, 7}
	return map[string]pattern{
		"branched": {
			room: hybrid1(), words: []string{"Branched thoraco-abdominal aortic repair", "Fenestrated aortic repair", "FEVAR"}, team: "AAAB", surgeons: true,
			pool: "aorta", again: 0.5, ages: older, women: 0.25, intent: therapy(), steps: []step{
				{
					name: "landing", region: chest(), along: 52, density: 0.85, height: 170, width: 210, views: []view{{40, 0, 1, nil}},
					runs: []run{{fluoroscopy(), 2, 20}, {subtraction(), 1, 14}},
				},
				{
					name: "branches", region: abdomen(), along: 35, density: 1, height: 145, width: 180, views: []view{{55, 15, 2, nil}, {0, 0, 1, nil}, {-30, 10, 1, nil}},
					runs: []run{{fluoroscopy(), 4, 60}, {subtraction(), 2, 40}},
				},
				{
					name: "limbs", region: abdomen(), along: 20, density: 1, height: 180, width: 220, views: []view{{-25, 0, 1, nil}, {25, 0, 1, nil}},
					runs: []run{{fluoroscopy(), 2, 20}, {subtraction(), 1, 14}},
				},
			},
		},
		"infrarenal": {
			room: hybrid1(), words: []string{"Endovascular aortic aneurysm repair", "EVAR"}, team: "AB", surgeons: true, ages: older, women: 0.15, intent: therapy(),
			steps: []step{{
				name: "graft", region: abdomen(), along: 24, density: 1, height: 180, width: 220, views: []view{{0, 0, 2, nil}, {-30, 0, 1, nil}, {15, 10, 1, nil}},
				runs: []run{{fluoroscopy(), 4, 100}, {subtraction(), 3, 40}},
			}},
		},
		"arch": {
			room: hybrid1(), words: []string{"Endovascular aortic arch repair"}, team: "B", surgeons: true, ages: spreadOf{68, 8}, women: 0.35, intent: therapy(),
			steps: []step{{
				name: "arch", region: chest(), along: 60, density: 0.85, height: 150, width: 190, views: []view{{50, 0, 3, nil}, {62, 0, 1, nil}, {35, 5, 1, nil}},
				runs: []run{{fluoroscopy(), 5, 100}, {subtraction(), 3, 60}},
			}},
		},
		"thoracic": {
			room: hybrid1(), words: []string{"TEVAR", "Thoracic endovascular aortic repair"}, team: "AB", surgeons: true, ages: spreadOf{66, 9}, women: 0.3, intent: therapy(),
			steps: []step{{
				name: "graft", region: chest(), along: 54, density: 0.85, height: 180, width: 220, views: []view{{45, 0, 2, nil}, {20, 0, 1, nil}},
				runs: []run{{fluoroscopy(), 4, 100}, {subtraction(), 2, 30}},
			}},
		},
		"leg": {
			room: hybrid1(), words: []string{"Femoral angioplasty", "Popliteal angioplasty, leg"}, team: "BF", surgeons: true, ages: older, women: 0.35, intent: therapy(),
			steps: []step{{
				name: "leg", region: sct("61685007", "Lower limb"), along: -15, left: -60, density: 1, thickness: 13, height: 180, width: 220, views: []view{{0, 0, 2, nil}, {-25, 0, 1, nil}},
				runs: []run{{fluoroscopy(), 3, 100}, {subtraction(), 3, 40}},
			}},
		},
		"liver": {
			room: hybrid1(), words: []string{"Hepatic chemoembolisation"}, team: "F", ages: spreadOf{64, 8}, women: 0.3, pool: "liver", again: 0.6, intent: therapy(),
			steps: []step{{
				name: "liver", region: abdomen(), along: 38, left: -50, density: 1, height: 170, width: 210, views: []view{{0, 0, 3, nil}, {-20, 0, 1, nil}},
				runs: []run{{fluoroscopy(), 4, 100}, {subtraction(), 3, 50}},
			}},
		},
		"named elsewhere": {
			room: hybrid1(), words: []string{"Interventional case, other", "Laser lead removal", "Hybrid theatre booking 3"}, team: "BF", surgeons: true, ages: older, women: 0.4, intent: therapy(),
			steps: []step{{
				name: "field", region: chest(), along: 50, density: 0.9, height: 170, width: 210, views: []view{{0, 0, 2, nil}, {30, 0, 1, nil}},
				runs: []run{{fluoroscopy(), 4, 100}, {subtraction(), 2, 20}},
			}},
		},
	}
}

func heartPatterns() map[string]pattern {
	coronary := func(fluoro, cines int, seconds float64) []step {
		return []step{
			{
				name: "left", region: heart(), along: 51, left: 20, density: 0.85, height: 150, width: 150, views: leftViews(),
				runs: []run{{fluoroscopy(), fluoro, 60}, {cine(), cines, seconds}},
			},
			{
				name: "right", region: heart(), along: 50, left: 10, density: 0.85, height: 150, width: 150, views: rightViews(),
				runs: []run{{fluoroscopy(), fluoro, 40}, {cine(), cines, seconds / 2}},
			},
		}
	}
	patients := spreadOf{66, 11}
	return map[string]pattern{
		"angiography": {
			room: cath2(), words: []string{"Diagnostic coronary angiography", "Coronary angiography", "Left heart catheterisation"}, team: "CCDG",
			pool: "coronary", again: 0.05, ages: patients, women: 0.35, intent: diagnosis(), steps: coronary(2, 2, 24),
		},
		"coronary stent": {
			room: cath2(), words: []string{"Coronary stent", "PCI", "Coronary angiography and PCI"}, team: "CDDG",
			pool: "coronary", again: 0.25, ages: patients, women: 0.28, intent: therapy(), steps: coronary(3, 2, 50),
		},
		"occlusion": {
			room: cath2(), words: []string{"Coronary stent, chronic total occlusion"}, team: "D",
			pool: "coronary", again: 0.3, ages: patients, women: 0.2, intent: therapy(), steps: coronary(4, 2, 90),
		},
		"pump": {
			room: cath2(), words: []string{"Percutaneous ventricular assist pump"}, team: "DC", ages: patients, women: 0.25, intent: therapy(),
			steps: []step{{
				name: "pump", region: heart(), along: 51, left: 20, density: 0.85, height: 160, width: 160, views: []view{{0, 0, 2, nil}, {-30, 0, 1, nil}},
				runs: []run{{fluoroscopy(), 4, 100}, {cine(), 2, 14}},
			}},
		},
		"valve": {
			room: hybrid1(), words: []string{"Transcatheter aortic valve implantation", "TAVI", "TAVI transfemoral"}, team: "CCH", ages: spreadOf{81, 5}, women: 0.5, intent: therapy(),
			steps: []step{
				{
					name: "access", region: abdomen(), along: 12, density: 1, height: 160, width: 200, views: []view{{0, 0, 1, nil}, {-15, 0, 1, nil}},
					runs: []run{{fluoroscopy(), 2, 25}, {subtraction(), 1, 10}},
				},
				{
					name: "valve", region: heart(), along: 51, left: 15, density: 0.85, height: 170, width: 180, views: []view{{10, 12, 3, nil}, {-8, -14, 2, nil}},
					runs: []run{{fluoroscopy(), 3, 75}, {cine(), 2, 52}},
				},
			},
		},
	}
}

func rhythmPatterns() map[string]pattern {
	biplane := view{-30, 0, 2, &view{60, 0, 1, nil}}
	patients := spreadOf{62, 11}
	atrium := func(fluoro int) []step {
		return []step{{
			name: "atrium", region: heart(), along: 51, left: 15, density: 0.85, height: 155, width: 155, views: []view{{0, 0, 1, nil}, biplane},
			runs: []run{{fluoroscopySlow(), fluoro, 100}, {cine(), 1, 8}},
		}}
	}
	return map[string]pattern{
		"ablation": {
			room: rhythm3(), words: []string{"Catheter ablation of atrial fibrillation", "Pulmonary vein isolation", "Ventricular tachycardia ablation"}, team: "EEI",
			pool: "rhythm", again: 0.08, ages: patients, women: 0.35, intent: therapy(), steps: atrium(4),
		},
		"rhythm study": {
			room: rhythm3(), words: []string{"Electrophysiology study", "EP study"}, team: "EI", ages: spreadOf{52, 16}, women: 0.45, intent: diagnosis(), steps: atrium(3),
		},
		"device": {
			room: mobile(), words: []string{"Pacemaker implantation", "ICD implantation", "Cardiac resynchronisation device"}, team: "EI", ages: spreadOf{76, 9}, women: 0.4, intent: therapy(),
		},
	}
}

func headPatterns() map[string]pattern {
	head := sct("69536005", "Head")
	views := []view{{0, -15, 2, nil}, {90, 0, 2, nil}, {-35, 0, 1, nil}}
	return map[string]pattern{
		"head vessels": {
			room: neuro4(), words: []string{"Cerebral angiography", "Neuroangiography"}, team: "NNM", ages: spreadOf{56, 13}, women: 0.55, intent: diagnosis(),
			steps: []step{{
				name: "head", region: head, along: 87, density: 1, thickness: 16, height: 200, width: 230, views: views,
				runs: []run{{fluoroscopy(), 3, 100}, {subtraction(), 4, 50}},
			}},
		},
		"coiling": {
			room: neuro4(), words: []string{"Cerebral aneurysm coiling", "Mechanical thrombectomy, stroke"}, team: "NM", ages: spreadOf{58, 13}, women: 0.55,
			pool: "head", again: 0.1, intent: therapy(),
			steps: []step{{
				name: "head", region: head, along: 87, density: 1, thickness: 16, height: 160, width: 190, views: views,
				runs: []run{{fluoroscopy(), 5, 100}, {subtraction(), 4, 70}},
			}},
		},
	}
}

func childPatterns() map[string]pattern {
	child := func(age, kg, field float64, intent procedure.Code, word string) pattern {
		return pattern{
			room: cath2(), words: []string{word}, team: "K", ages: spreadOf{age, age / 6}, women: 0.5, weight: kg, intent: intent,
			steps: []step{{
				name: "heart", region: heart(), along: 51, left: 5, density: 0.85, height: field, width: field, views: []view{{0, 0, 2, nil}, {60, 20, 1, nil}},
				runs: []run{{fluoroscopySlow(), 4, 100}, {cine(), 2, 16}},
			}},
		}
	}
	return map[string]pattern{
		"infant study":        child(0.3, 4.6, 70, diagnosis(), "Heart catheterisation, infant"),
		"child study":         child(4.5, 17, 100, diagnosis(), "Heart catheterisation, child"),
		"infant intervention": child(0.9, 9, 80, therapy(), "Transcatheter valve, balloon dilatation, infant"),
		"youth intervention":  child(13.5, 52, 130, therapy(), "Transcatheter valve, pulmonary, adolescent"),
	}
}
