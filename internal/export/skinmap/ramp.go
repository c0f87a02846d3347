package skinmap

import (
	"image/color"
	"math"
	"slices"

	"afterbeam/internal/quantity"
)

// series are the doses in Gy that contour lines may stand for.
var series = [...]quantity.Gray{
	0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.3, 0.5, 1, 2, 3, 5, 7, 10, 15, 20, 30, 50, 70, 100, 150, 200,
}

// mostLevels is how many contour lines one picture bears.
const mostLevels = 6

// Levels gives the doses of the contour lines for a peak: the largest of the series that lie below it, lowest first,
// down to a fiftieth of the peak. It is empty for a peak of zero.
func Levels(peak quantity.Gray) []quantity.Gray {
	end := 0
	for end < len(series) && series[end] < peak {
		end++
	}
	first := max(0, end-mostLevels)
	const faintest = 50
	for first < end-1 && series[first] < peak/faintest {
		first++
	}
	return slices.Clone(series[first:end])
}

// shade gives the colour of band i of n, light to dark in even steps of lightness and of one hue, so that the order
// stays readable in grey and with any colour vision.
func shade(i, n int) color.NRGBA {
	const lightest, darkest = 0.93, 0.34
	t := 0.0
	if n > 1 {
		t = float64(i) / float64(n-1)
	} else {
		t = 0.5
	}
	// Chroma is highest in the middle, where the display can show it.
	chroma := 0.035 + 0.11*math.Sin(math.Pi*(0.12+0.73*t))
	return oklch(lightest+(darkest-lightest)*t, chroma, 42)
}

// oklch turns lightness, chroma and hue in degrees into a display colour.
// Source: Ottosson B 2020, A perceptual color space for image processing, the Oklab matrices; known from memory.
func oklch(lightness, chroma, hue float64) color.NRGBA {
	sin, cos := math.Sincos(hue * math.Pi / 180)
	a, b := chroma*cos, chroma*sin
	l := cube(lightness + 0.3963377774*a + 0.2158037573*b)
	m := cube(lightness - 0.1055613458*a - 0.0638541728*b)
	s := cube(lightness - 0.0894841775*a - 1.2914855480*b)
	return color.NRGBA{
		R: display(4.0767416621*l - 3.3077115913*m + 0.2309699292*s),
		G: display(-1.2684380046*l + 2.6097574011*m - 0.3413193965*s),
		B: display(-0.0041960863*l - 0.7034186147*m + 1.7076147010*s),
		A: 0xff,
	}
}

func cube(x float64) float64 { return x * x * x }

// display is the sRGB transfer curve of IEC 61966-2-1.
func display(linear float64) uint8 {
	v := min(max(linear, 0), 1)
	if v <= 0.0031308 {
		v *= 12.92
	} else {
		v = 1.055*math.Pow(v, 1/2.4) - 0.055
	}
	return uint8(math.Round(255 * v))
}
