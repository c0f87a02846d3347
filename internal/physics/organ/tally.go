package organ

import "afterbeam/internal/physics/transport"

// reading knows how the tallies of a world's regions become organ doses.
type reading struct {
	organs []sum // in the order of Organs, without marrow and bone surface
	marrow []share
	bone   sum
}

// sum is the regions of one organ with their mass in g.
type sum struct {
	organ   Organ
	regions []int
	mass    float64
}

// share is the part of the marrow that lies in the regions of one bone.
type share struct {
	sum
	part float64
}

func newReading(regions []transport.Region) *reading {
	r := &reading{}
	byName := map[string]sum{}
	for i, region := range regions {
		s := byName[region.Organ]
		s.regions, s.mass = append(s.regions, i), s.mass+region.Volume*region.Medium.Density
		byName[region.Organ] = s
	}
	for _, o := range Organs() {
		whole := sum{organ: o}
		for _, part := range partsOf(o) {
			whole.regions, whole.mass = append(whole.regions, byName[part].regions...), whole.mass+byName[part].mass
		}
		if whole.mass > 0 {
			r.organs = append(r.organs, whole)
		}
	}
	present := 0.0
	for _, region := range regions {
		if s, ok := byName[region.Organ]; ok && isBone(region.Organ) {
			present += marrowPerMille(region.Organ)
			r.marrow = append(r.marrow, share{s, marrowPerMille(region.Organ)})
			r.bone.regions, r.bone.mass = append(r.bone.regions, s.regions...), r.bone.mass+s.mass
			delete(byName, region.Organ)
		}
	}
	for i := range r.marrow {
		r.marrow[i].part /= present // without the bones of the arms their marrow is in the others
	}
	return r
}

// perKAP are the organ doses of a tally in Gy per Gy cm2, eqs. (10.4) to (10.6): marrow by its own kerma in each bone, bone
// surface by the dose of the bones.
func (r *reading) perKAP(t transport.Tally) doses {
	var d doses
	kap := t.KAP()
	for _, o := range r.organs {
		energy := 0.0
		for _, i := range o.regions {
			energy += t.Energy(i)
		}
		d[o.organ] = energy / o.mass / kap
	}
	for _, bone := range r.marrow {
		energy := 0.0
		for _, i := range bone.regions {
			energy += t.Second(i)
		}
		d[Marrow] += bone.part * energy / bone.mass / kap
	}
	energy := 0.0
	for _, i := range r.bone.regions {
		energy += t.Energy(i)
	}
	d[BoneSurface] = energy / r.bone.mass / kap
	return d
}
