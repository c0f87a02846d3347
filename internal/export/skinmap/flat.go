package skinmap

import (
	"cmp"
	"fmt"
	"image/color"
	"math"
	"slices"
	"strings"

	"afterbeam/internal/physics/body"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/quantity"
)

// FlatSchema names the form of Flat.
const FlatSchema = "afterbeam.flat/1"

// Flat is the picture of the unrolled skin as shapes, for whoever draws it himself: the same projection, levels and colours
// as PNG and SVG have. Places are in mm of skin, x to the viewer's right and y downward.
type Flat struct {
	Schema string `json:"schema"`
	// Whole is the window of all skin, Close that around the peak, absent without one.
	Whole Window  `json:"whole"`
	Close *Window `json:"close"`
	// Skin is the colour of skin below the lowest level.
	Skin   string      `json:"skin"`
	Sheets []FlatSheet `json:"sheets"`
	// Bands are from the lowest level; each lies upon the one before. Lowest names what is below them.
	Bands  []FlatBand `json:"bands"`
	Lowest string     `json:"lowest"`
	// Words are where the names of places stand; each is a key.
	Words []FlatWord `json:"words"`
	Peak  *FlatPeak  `json:"peak"`
	// Regions are the regions of the body that a beam reached, the highest dose first.
	Regions []FlatRegion `json:"regions"`
	Unit    string       `json:"unit"`
	Caution string       `json:"caution"`
}

// Window is a rectangle of the flat skin.
type Window struct {
	Left   float64 `json:"left"`
	Top    float64 `json:"top"`
	Width  float64 `json:"width"`
	Height float64 `json:"height"`
}

// FlatSheet is one part of the skin: its outline as a path of SVG, and the line in the middle of its back.
type FlatSheet struct {
	Part    string  `json:"part"`
	Outline string  `json:"outline"`
	Middle  float64 `json:"middle"`
	Top     float64 `json:"top"`
	Bottom  float64 `json:"bottom"`
}

// FlatBand is the skin from one level on: the areas and the contour lines as paths of SVG, with colours of the display.
type FlatBand struct {
	FromGy float64 `json:"from_gy"`
	// Level is the printed number, Words the band from it to the next, with the unit.
	Level  string     `json:"level"`
	Words  string     `json:"words"`
	Colour string     `json:"colour"`
	Line   string     `json:"line"`
	Area   string     `json:"area"`
	Label  *FlatPlace `json:"label"`
}

// FlatPlace is a place on the flat skin.
type FlatPlace struct {
	X float64 `json:"x"`
	Y float64 `json:"y"`
}

// FlatWord is a word at a place: back, front, left, right, head, left leg and so on.
type FlatWord struct {
	Key string `json:"key"`
	FlatPlace
}

// FlatPeak is the place of the highest dose.
type FlatPeak struct {
	FlatPlace
	Dose   string  `json:"dose"`
	DoseGy float64 `json:"dose_gy"`
	Where  string  `json:"where"`
}

// FlatRegion is a region of the body with its highest dose and the area of its skin from the lowest level on.
type FlatRegion struct {
	Region  string  `json:"region"`
	DoseGy  float64 `json:"dose_gy"`
	Dose    string  `json:"dose"`
	AreaCm2 string  `json:"area_cm2"`
}

// FlatOf gives the shapes of a figure. It returns ErrNoMap without a map.
func FlatOf(f Figure) (Flat, error) {
	if f.Map == nil || f.Map.Body == nil {
		return Flat{}, ErrNoMap
	}
	s := scene{figure: f, sheets: sheetsOf(f.Map), levels: Levels(f.Map.PeakDose())}
	for i := range s.sheets {
		s.grids = append(s.grids, s.sheets[i].grid())
	}
	out := Flat{Schema: FlatSchema, Whole: flatWindow(s.bounds()), Skin: hex(skin), Unit: f.unit().name, Caution: f.caution() + " " + deference, Bands: []FlatBand{}, Regions: s.regions()}
	for i := range s.sheets {
		sh := &s.sheets[i]
		out.Sheets = append(out.Sheets, FlatSheet{Part: sh.Part.String(), Outline: flatPath(sh.outline()), Middle: mm(-sh.Midline), Top: mm(-sh.High), Bottom: mm(-sh.Low)})
		out.Words = append(out.Words, s.flatWords(sh)...)
	}
	bands := s.bands()
	out.Lowest = bands[0]
	for n, level := range s.levels {
		out.Bands = append(out.Bands, FlatBand{
			FromGy: float64(level), Level: f.unit().line(level), Words: bands[n+1], Colour: hex(shade(n, len(s.levels))), Line: hex(lineColour(n, len(s.levels))), Area: s.flatArea(level),
		})
	}
	if f.Map.Peak < 0 {
		return out, nil
	}
	zoom := s.surroundings()
	w := flatWindow(zoom)
	out.Close = &w
	patch := f.Map.Body.Patches[f.Map.Peak]
	at := spot(s.sheets, patch)
	out.Peak = &FlatPeak{FlatPlace{mm(at.x), mm(-at.y)}, f.unit().with(f.Map.PeakDose()), float64(f.Map.PeakDose()), skindose.PlaceOf(f.Map.Body, f.Map.Peak).String()}
	s.flatLabels(zoom, at, out.Bands)
	return out, nil
}

// mm rounds to a tenth, which no screen shows.
func mm(v float64) float64 { return math.Round(10*v) / 10 }

func flatWindow(w window) Window {
	return Window{mm(w.left), mm(-w.high), mm(w.width()), mm(w.height())}
}

func hex(c color.Color) string {
	r, g, b, _ := c.RGBA()
	return fmt.Sprintf("#%02x%02x%02x", r>>8, g>>8, b>>8)
}

// flatPath writes a closed line with whole millimetres, points that round to the same left out.
func flatPath(l loop) string {
	var b strings.Builder
	lastX, lastY := math.Inf(1), math.Inf(1)
	for _, p := range l {
		x, y := math.Round(p.x), math.Round(-p.y)
		switch {
		case x == lastX && y == lastY:
			continue
		case b.Len() == 0:
			_, _ = fmt.Fprintf(&b, "M%.0f %.0f", x, y) // a builder takes all
		default:
			_, _ = fmt.Fprintf(&b, "l%.0f %.0f", x-lastX, y-lastY)
		}
		lastX, lastY = x, y
	}
	if b.Len() > 0 {
		b.WriteByte('z')
	}
	return b.String()
}

func (s *scene) flatArea(level quantity.Gray) string {
	var b strings.Builder
	for i := range s.sheets {
		for _, l := range s.sheets[i].loops(&s.grids[i], float64(level)) {
			b.WriteString(flatPath(l))
		}
	}
	return b.String()
}

// flatWords says which side of a sheet is where.
func (s *scene) flatWords(sh *sheet) []FlatWord {
	at := func(key string, fraction, up float64) FlatWord {
		return FlatWord{key, FlatPlace{mm(sh.x(fraction, up)), mm(-up)}}
	}
	switch sh.Part {
	case body.Trunk:
		up := s.quietHeight(sh, s.surroundings())
		return []FlatWord{at("back", 0, up), at("left", 0.5, up), at("right", -0.5, up), at("front", 0.9, up), at("front", -0.9, up)}
	case body.Head:
		return []FlatWord{at("head", 0, sh.High)}
	case body.LegLeft:
		return []FlatWord{at("left_leg", 0, sh.Low)}
	case body.LegRight:
		return []FlatWord{at("right_leg", 0, sh.Low)}
	case body.UpperArmLeft:
		return []FlatWord{at("left_arm", 0, sh.High)}
	case body.UpperArmRight:
		return []FlatWord{at("right_arm", 0, sh.High)}
	case body.Neck, body.ForearmLeft, body.ForearmRight:
	}
	return nil
}

// flatLabels puts the dose of each level on one of its lines near the peak, as the close-up of a picture does.
func (s *scene) flatLabels(zoom window, peak point, bands []FlatBand) {
	const side, high, perLetter = closeRight - closeLeft, 4.0, 2.2 // mm of paper
	v := view{window: zoom, scale: side / zoom.width()}
	lines := make([][][]point, len(s.levels))
	for n, level := range s.levels {
		for i := range s.sheets {
			for _, l := range s.sheets[i].loops(&s.grids[i], float64(level)) {
				lines[n] = append(lines[n], v.lines(l)...)
			}
		}
	}
	taken := []rectangle{around(v.on(peak), 22, 6)}
	for n := range bands {
		best, place, room := rectangle{}, point{}, 1.2
		for _, l := range lines[n] {
			for _, p := range l {
				r := around(v.on(p), perLetter*float64(len(bands[n].Level)+1+len(s.figure.unit().name)), high)
				if !r.within(v.panel()) || meetsAny(r, taken) {
					continue
				}
				if d := min(clearance(v, v.on(p), lines, n), apart(v.on(p), taken)); d > room {
					best, place, room = r, p, d
				}
			}
		}
		if best == (rectangle{}) {
			continue
		}
		taken = append(taken, best)
		bands[n].Label = &FlatPlace{mm(place.x), mm(-place.y)}
	}
}

func (s *scene) regions() []FlatRegion {
	m := s.figure.Map
	lowest := series[0]
	if len(s.levels) > 0 {
		lowest = s.levels[0]
	}
	most, area := map[string]quantity.Gray{}, map[string]float64{}
	for i, d := range m.Dose {
		if d <= 0 {
			continue
		}
		p := &m.Body.Patches[i]
		most[p.Region] = max(most[p.Region], d)
		if d >= lowest {
			area[p.Region] += p.Area
		}
	}
	out := make([]FlatRegion, 0, len(most))
	for name, d := range most {
		out = append(out, FlatRegion{Region: name, DoseGy: float64(d), Dose: s.figure.unit().with(d), AreaCm2: quantity.Significant(area[name], 2)})
	}
	slices.SortFunc(out, func(a, b FlatRegion) int {
		return cmp.Or(cmp.Compare(b.DoseGy, a.DoseGy), cmp.Compare(a.Region, b.Region))
	})
	return out
}
