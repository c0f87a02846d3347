package organ

import (
	"strconv"
	"strings"

	"afterbeam/internal/physics/beam"
	"afterbeam/internal/physics/effective"
	"afterbeam/internal/physics/transport"
)

// Organ is a part of the stylised body whose dose is told.
type Organ uint8

// The organs, in the order in which they are printed: those with a weight of their own in effective dose, then the remainder,
// then those without a part in it.
// Marrow and bone surface lie in all bones.
const (
	Marrow Organ = iota
	Lungs
	Breasts
	Stomach
	Colon
	Ovaries
	Testes
	Bladder
	Oesophagus
	Liver
	Thyroid
	BoneSurface
	Brain
	Salivary
	Skin
	Adrenals
	Airways
	GallBladder
	Heart
	Kidneys
	LymphNodes
	Muscle
	Pancreas
	Prostate
	SmallIntestine
	Spleen
	Thymus
	Uterus
	LensRight
	LensLeft
	organCount
)

// Organs lists all organs in the order of printing.
func Organs() []Organ {
	list := make([]Organ, organCount)
	for i := range list {
		list[i] = Organ(i)
	}
	return list
}

// String names the organ for people.
func (o Organ) String() string {
	if o >= organCount {
		return "organ " + strconv.Itoa(int(o))
	}
	return [organCount]string{
		Marrow:         "red bone marrow",
		Lungs:          "lungs",
		Breasts:        "breasts",
		Stomach:        "stomach",
		Colon:          "colon",
		Ovaries:        "ovaries",
		Testes:         "testes",
		Bladder:        "bladder",
		Oesophagus:     "oesophagus",
		Liver:          "liver",
		Thyroid:        "thyroid",
		BoneSurface:    "bone surface",
		Brain:          "brain",
		Salivary:       "salivary glands",
		Skin:           "skin, mean of the whole",
		Adrenals:       "adrenals",
		Airways:        "extrathoracic airways and mouth",
		GallBladder:    "gall bladder",
		Heart:          "heart",
		Kidneys:        "kidneys",
		LymphNodes:     "lymph nodes",
		Muscle:         "muscle",
		Pancreas:       "pancreas",
		Prostate:       "prostate",
		SmallIntestine: "small intestine",
		Spleen:         "spleen",
		Thymus:         "thymus",
		Uterus:         "uterus",
		LensRight:      "lens of the right eye",
		LensLeft:       "lens of the left eye",
	}[o]
}

// partsOf are the regions of the phantom that make an organ, none for marrow and bone surface. Lymph nodes stand for the rest
// of the trunk, which holds them; muscle for the rest of everything.
// Source: ICRP Publication 103 (2007), tissues of table B.2, known from memory; which region stands for which is judgement.
func partsOf(o Organ) []string {
	return [organCount][]string{
		Lungs: {"lungs"}, Breasts: {"breasts"}, Stomach: {"stomach"}, Colon: {"colon"}, Ovaries: {"ovaries"}, Testes: {"testes"},
		Bladder: {"bladder"}, Oesophagus: {"oesophagus"}, Liver: {"liver"}, Thyroid: {"thyroid"}, Brain: {"brain"},
		Salivary: {"salivary_glands"}, Skin: {"skin"}, Adrenals: {"adrenals"}, Airways: {"oral_et"}, GallBladder: {"gall_bladder"},
		Heart: {"heart"}, Kidneys: {"kidneys"}, LymphNodes: {"rest_trunk"}, Muscle: {"rest_trunk", "rest_head", "rest_legs"},
		Pancreas: {"pancreas"}, Prostate: {"prostate"}, SmallIntestine: {"small_intestine"}, Spleen: {"spleen"}, Thymus: {"thymus"},
		Uterus: {"uterus"}, LensRight: {"lens_right"}, LensLeft: {"lens_left"},
	}[o]
}

// marrowPerMille gives the share of the red marrow of an adult that lies in each bone, in thousandths.
// Source: Cristy M 1981, Phys Med Biol 26:389, adult distribution, in the parts of the phantom; known from memory.
func marrowPerMille(bone string) float64 {
	return map[string]float64{
		"bone_cranium": 76, "bone_facial": 8, "bone_scapulae": 28, "bone_clavicles": 8, "bone_ribs": 192, "bone_spine_upper": 39,
		"bone_spine_middle": 161, "bone_spine_lower": 123, "bone_pelvis": 274, "bone_legs": 67, "bone_arms": 24,
	}[bone]
}

// isBone tells the regions of the skeleton.
func isBone(organ string) bool { return strings.HasPrefix(organ, "bone_") }

// skeleton gives the bones in which the kerma of marrow is scored.
func skeleton(regions []transport.Region) map[string]beam.Material {
	second := map[string]beam.Material{}
	for _, r := range regions {
		if isBone(r.Organ) {
			second[r.Organ] = transport.RedMarrow
		}
	}
	return second
}

// doses are one number for each organ.
type doses [organCount]float64

// weight is one organ's share in effective dose.
type weight struct {
	organ Organ
	share float64
}

// weightsOf resolves the tissue weights of a set into shares of organs, eq. (10.7): both sexes count half, so the gonads are
// the mean of ovaries and testes.
func weightsOf(set effective.WeightSet) []weight {
	single := map[effective.Tissue]Organ{
		effective.RedBoneMarrow: Marrow, effective.Colon: Colon, effective.Lung: Lungs, effective.Stomach: Stomach, effective.Bladder: Bladder,
		effective.Breast: Breasts, effective.Liver: Liver, effective.Oesophagus: Oesophagus, effective.Thyroid: Thyroid, effective.Skin: Skin,
		effective.BoneSurface: BoneSurface, effective.Brain: Brain, effective.SalivaryGlands: Salivary,
	}
	var list []weight
	for _, w := range effective.Weights(set) {
		share := float64(w.Percent) / 100
		switch w.Tissue {
		case effective.Gonads:
			list = append(list, weight{Ovaries, share / 2}, weight{Testes, share / 2})
		case effective.Remainder:
			list = append(list, remainderOf(set, share)...)
		default:
			list = append(list, weight{single[w.Tissue], share})
		}
	}
	return list
}

// remainderOf shares the weight of the remainder out.
// Source: ICRP Publication 103 (2007), 14 named tissues, the arithmetic mean over the 13 of each sex: prostate in the male and
// uterus in the female make one here, as the mean of both, and the mouth's mucosa is one region with the airways; ICRP
// Publication 60 (1991), without its upper large intestine, which is no region of its own, and without its rule for a remainder
// tissue of the highest dose; known from memory.
func remainderOf(set effective.WeightSet, share float64) []weight {
	remainder103 := []Organ{Adrenals, Airways, GallBladder, Heart, Kidneys, LymphNodes, Muscle, Airways, Pancreas, SmallIntestine, Spleen, Thymus}
	remainder60 := []Organ{Adrenals, Brain, SmallIntestine, Kidneys, Muscle, Pancreas, Spleen, Thymus, Uterus}
	var list []weight
	if set == effective.ICRP60 {
		for _, o := range remainder60 {
			list = append(list, weight{o, share / float64(len(remainder60))})
		}
		return list
	}
	each := share / float64(len(remainder103)+1)
	for _, o := range remainder103 {
		list = append(list, weight{o, each})
	}
	return append(list, weight{Prostate, each / 2}, weight{Uterus, each / 2})
}

// effectiveOf is the weighted sum of organ doses.
func (d *doses) effectiveOf(weights []weight) float64 {
	sum := 0.0
	for _, w := range weights {
		sum += w.share * d[w.organ]
	}
	return sum
}
