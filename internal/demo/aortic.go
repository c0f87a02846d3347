package demo

import "afterbeam/internal/procedure"

// Aortic cases in Hybrid 1. Order of the doses: median reference air kerma 1.75 Gy (2019-2022) and 3.64 Gy (2012-2015) for
// fenestrated and branched repair, Mesnard et al, Ann Surg 2025; read. The staged case is invented far up that tail.

// allScenes lists the cases by date.
func allScenes() []scene {
	return []scene{
		archRepair(), branchedStageOne(), valve(), pump(), branchedStageTwo(), ablation(), occlusion(), angiography(),
		rhythmDevice(), qualityCheck(),
	}
}

// StagedPatient is the number of the patient of the two-stage repair.
const StagedPatient = "SYN-0001"

// StagedFirst is the file of its first stage.
const StagedFirst = "hybrid1-branched-repair-stage1.dcm"

// staged is the large patient of the two-stage repair.
func staged() subject {
	return subject{id: StagedPatient, name: "Synthetic^Saltmarsh One", birth: "1954-03-11", sex: "M", height: 1780, weight: 104}
}

func branchedStageOne() scene {
	return scene{
		file:  StagedFirst,
		title: "Branched thoraco-abdominal repair, stage 1 of 2, large patient (synthetic)",
		room:  hybrid1(), patient: staged(),
		description: "Branched thoraco-abdominal aortic repair, stage 1 (synthetic)",
		accession:   "SYN26-0921", start: local(9, 21, 8, 52), minutes: 292, kerma: 4.23,
		operators: []procedure.Person{surgeon("A"), radiographer("R")}, intent: therapy(),
		steps: []step{
			{
				name: "thoracic landing", region: chest(), along: 54, density: 0.85, height: 180, width: 220,
				views: []view{{45, 0, 2, nil}, {30, 0, 1, nil}},
				runs:  []run{{fluoroscopy(), 34, 960}, {subtraction(), 5, 52}},
			},
			{name: "rotation", region: chestAndAbdomen(), along: 38, density: 1, views: []view{{0, 0, 1, nil}}, runs: []run{{coneBeam(), 1, 5}}},
			{
				name: "coeliac and mesenteric branches", region: abdomen(), along: 36, density: 1, height: 140, width: 176,
				views:  []view{{55, 15, 3, nil}, {80, 0, 1, nil}, {55, 15, 2, nil}, {0, 0, 1, nil}},
				passes: 3,
				runs:   []run{{fluoroscopy(), 98, 3360}, {fluoroscopyHigh(), 8, 120}, {subtraction(), 12, 84}},
			},
			{
				name: "closure", region: abdomen(), along: 22, density: 1, height: 180, width: 220,
				views: []view{{0, 0, 2, nil}, {-25, 0, 1, nil}},
				runs:  []run{{fluoroscopy(), 26, 840}, {subtraction(), 3, 30}},
			},
		},
	}
}

func branchedStageTwo() scene {
	return scene{
		file:  "hybrid1-branched-repair-stage2.dcm",
		title: "Branched thoraco-abdominal repair, stage 2 of 2, same patient five weeks later (synthetic)",
		room:  hybrid1(), patient: staged(),
		description: "Branched thoraco-abdominal aortic repair, stage 2 (synthetic)",
		accession:   "SYN26-1027", start: local(10, 27, 8, 47), minutes: 348, kerma: 5.61,
		operators: []procedure.Person{surgeon("A"), surgeon("B"), radiographer("R")}, intent: therapy(),
		steps: []step{
			{
				name: "access", region: chestAndAbdomen(), along: 40, density: 0.95, height: 180, width: 220,
				views: []view{{0, 0, 2, nil}, {35, 0, 1, nil}},
				runs:  []run{{fluoroscopy(), 30, 780}, {subtraction(), 3, 27}},
			},
			{
				name: "renal branches", region: abdomen(), along: 34, density: 1, height: 150, width: 190,
				views:  []view{{55, 15, 4, nil}, {25, 10, 1, nil}, {-30, 10, 1, nil}},
				passes: 4,
				runs:   []run{{fluoroscopy(), 132, 4500}, {fluoroscopyHigh(), 12, 190}, {subtraction(), 15, 105}},
			},
			{name: "rotation", region: abdomen(), along: 34, density: 1, views: []view{{0, 0, 1, nil}}, runs: []run{{coneBeam(), 2, 10}}},
			{
				name: "iliac limbs", region: abdomen(), along: 20, density: 1, height: 180, width: 220,
				views: []view{{-25, 0, 1, nil}, {25, 0, 1, nil}, {0, 0, 1, nil}},
				runs:  []run{{fluoroscopy(), 38, 1250}, {subtraction(), 6, 57}},
			},
		},
	}
}

func archRepair() scene {
	return scene{
		file:  "hybrid1-arch-repair.dcm",
		title: "Arch repair with a branch (synthetic)",
		room:  hybrid1(), patient: subject{
			id: "SYN-0002", name: "Synthetic^Saltmarsh Two", birth: "1961-08-30", sex: "F", height: 1660, weight: 71,
		},
		description: "Endovascular aortic arch repair (synthetic)",
		accession:   "SYN26-0914", start: local(9, 14, 9, 8), minutes: 161, kerma: 1.72,
		operators: []procedure.Person{surgeon("B"), radiographer("S")}, intent: therapy(),
		steps: []step{
			{
				name: "access", region: abdomen(), along: 22, density: 1, height: 180, width: 220,
				views: []view{{0, 0, 1, nil}},
				runs:  []run{{fluoroscopy(), 16, 330}, {subtraction(), 1, 9}},
			},
			{
				name: "arch", region: chest(), along: 60, density: 0.85, height: 150, width: 190,
				views:  []view{{50, 0, 4, nil}, {62, 0, 1, nil}, {35, 5, 1, nil}},
				passes: 2,
				runs:   []run{{fluoroscopy(), 74, 1740}, {subtraction(), 12, 118}},
			},
			{name: "rotation", region: chest(), along: 58, density: 0.85, views: []view{{0, 0, 1, nil}}, runs: []run{{coneBeam(), 1, 5}}},
			{
				name: "closure", region: abdomen(), along: 14, density: 1, height: 160, width: 200,
				views: []view{{0, 0, 1, nil}, {-20, 0, 1, nil}},
				runs:  []run{{fluoroscopy(), 10, 210}, {subtraction(), 2, 14}},
			},
		},
	}
}
