package paper

import (
	"regexp"
	"strings"

	"afterbeam/internal/physics/skindose"
)

// sided tells the side of a region's name from the region.
func sided(region string) (side, base string) {
	for _, side := range []string{"left", "right"} {
		if base, ok := strings.CutPrefix(region, side+" "); ok {
			return side, base
		}
	}
	return "", region
}

// key gives the key of the words of a region.
func key(base string) string {
	return "place." + strings.NewReplacer(",", "", "'", "", " ", "_").Replace(base)
}

// region says a region of the skin in words that a patient knows, with the side as it is said to the patient.
func (c *composer) region(region string) string { return c.placed(region, "place_on.") }

// placed says a region with its side in the form of a key.
func (c *composer) placed(region, form string) string {
	side, base := sided(region)
	words := c.text(key(base))
	if side == "" {
		return words
	}
	return c.text(form+side, "place", words)
}

// The forms in which a place says how far from a midline and how far along the body it is.
var (
	offMidline = regexp.MustCompile(`^(\d+) cm (left|right) of the (anterior midline|posterior midline along the skin|midline of the leg's back along the skin)$`)
	onMidline  = regexp.MustCompile(`^on the (anterior midline|posterior midline|midline of the leg's back)$`)
	along      = regexp.MustCompile(`^(\d+) cm (above the trunk base|below the trunk base|below the top of the head)$`)
)

// exact says a place with its distances, for doctors.
func (c *composer) exact(p skindose.Place) string {
	words := []string{c.placed(p.Region, "place_of.")}
	if m := offMidline.FindStringSubmatch(p.Side); m != nil {
		words = append(words, c.text("side."+m[2], "cm", m[1], "midline", c.text(key("of "+strings.TrimSuffix(m[3], " along the skin")))))
	} else if m := onMidline.FindStringSubmatch(p.Side); m != nil {
		words = append(words, c.text("side.on", "midline", c.text(key("of "+m[1]))))
	}
	if m := along.FindStringSubmatch(p.Level); m != nil {
		words = append(words, c.text(key("along "+m[2]), "cm", m[1]))
	} else if p.Level != "" {
		words = append(words, c.text("place.along_at_the_trunk_base"))
	}
	return strings.Join(words, ", ")
}
