package transport

import (
	"errors"
	"fmt"

	"gonum.org/v1/gonum/spatial/r3"

	"afterbeam/internal/embedded"
	"afterbeam/internal/physics/beam"
)

// ErrArms marks arms that the body does not know.
var ErrArms = errors.New("arms not known")

// Arms says where the arms of the stylised body are.
type Arms string

const (
	// ArmsAlongside is the body of the sources: a trunk of 40 by 20 cm that contains the arms and their bones.
	ArmsAlongside Arms = "arms"
	// ArmsAway is a construction of the project for lateral and oblique beams: a narrower trunk without arms.
	ArmsAway Arms = "noarms"
	// ArmsRaised is the trunk of 40 by 20 cm without the bones of the arms: the outline of package body.
	ArmsRaised Arms = "raised"
)

// Phantom gives the regions of the adult stylised body in body axes, 73 kg and 178.6 cm: its parts, sources and limits are
// in THEORY.md part 9. The head stands on the trunk without a narrower neck. It returns ErrArms for arms it does not know.
func Phantom(arms Arms) ([]Region, error) {
	variant := arms
	switch arms {
	case ArmsRaised:
		variant = ArmsAlongside
	case ArmsAlongside, ArmsAway:
	default:
		return nil, fmt.Errorf("%w: %q", ErrArms, string(arms))
	}
	media, err := phantomMedia()
	if err != nil {
		return nil, err
	}
	quadrics := phantomQuadrics()
	var regions []Region
	for _, row := range embedded.Records(regionsCSV) {
		if row[0] != "both" && row[0] != string(variant) || arms == ArmsRaised && row[2] == "bone_arms" {
			continue
		}
		v := embedded.Numbers(row[5:])
		regions = append(regions, Region{
			Name: row[1], Organ: row[2], Medium: media[beam.Material(row[3])], Quadrics: quadrics[row[1]], Volume: v[0],
			Low: r3.Vec{X: mm * v[1], Y: mm * v[3], Z: mm * v[5]}, High: r3.Vec{X: mm * v[2], Y: mm * v[4], Z: mm * v[6]},
		})
	}
	return regions, nil
}

// mm in a cm: the phantom's tables are in cm.
const mm = 10

// phantomMedia are the three tissues of the stylised body, densities in g/cm3.
// Source: Cristy M, Eckerman K F 1987, ORNL/TM-8381 vol 1, from memory.
func phantomMedia() (map[beam.Material]*Medium, error) {
	media := map[beam.Material]*Medium{}
	for _, tissue := range []struct {
		material beam.Material
		density  float64
	}{{PhantomSoft, 1.04}, {PhantomBone, 1.40}, {PhantomLung, 0.296}} {
		m, err := NewMedium(tissue.material, tissue.density)
		if err != nil {
			return nil, err
		}
		media[tissue.material] = m
	}
	return media, nil
}

// phantomQuadrics are those of each region, for points in mm.
func phantomQuadrics() map[string][]Quadric {
	list := map[string][]Quadric{}
	for _, row := range embedded.Records(quadricsCSV) {
		v := embedded.Numbers(row[2:])
		list[row[1]] = append(list[row[1]], Quadric{
			XX: v[0] / mm / mm, YY: v[1] / mm / mm, ZZ: v[2] / mm / mm, XY: v[3] / mm / mm, YZ: v[4] / mm / mm, XZ: v[5] / mm / mm,
			X: v[6] / mm, Y: v[7] / mm, Z: v[8] / mm, C: v[9],
		})
	}
	return list
}
