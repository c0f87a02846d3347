package skinmap_test

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"image/png"
	"io"
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"

	"afterbeam/internal/export/skinmap"
	"afterbeam/internal/golden"
	"afterbeam/internal/physics/beam"
	"afterbeam/internal/physics/body"
	"afterbeam/internal/physics/exposure"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/quantity"
)

// aimed is a C-arm beam: angles in degrees, height along the body and field at the isocentre in mm.
func aimed(kerma, primary, secondary, height, width, tall float64) exposure.Shot {
	const siso = 785.0
	sinA, cosA := math.Sincos(primary * math.Pi / 180)
	sinB, cosB := math.Sincos(secondary * math.Pi / 180)
	toward := r3.Vec{X: sinA * cosB, Y: -cosA * cosB, Z: sinB}
	return exposure.Shot{
		Kerma: quantity.Gray(kerma), RefDistance: siso - 150,
		Focus: r3.Add(r3.Vec{Z: height}, r3.Scale(-siso, toward)), Toward: toward,
		Across: r3.Vec{X: cosA, Y: sinA}, Along: r3.Vec{X: -sinA * sinB, Y: cosA * sinB, Z: cosB},
		HalfWidth: width / 2 / siso, HalfHeight: tall / 2 / siso,
		Quality: beam.Quality{Voltage: 80, Aluminium: 3, Copper: 0.3},
	}
}

func figure(t require.TestingT, patch float64, size body.Size, shots ...exposure.Shot) skinmap.Figure {
	b, err := body.New(size, patch)
	require.NoError(t, err)
	m, err := skindose.Irradiate(shots, b, beam.SoftTissue)
	require.NoError(t, err)
	return skinmap.Figure{
		Map: m, Title: "Branched aortic repair, stage 2", Caption: "map with assumed geometry; adult body (invented case)",
		Low: quantity.Some(m.PeakDose() * 0.7), High: quantity.Some(m.PeakDose() * 1.4),
	}
}

// aortic is an invented aortic repair: three main views of the visceral aorta and some lateral ones.
func aortic() []exposure.Shot {
	return []exposure.Shot{
		aimed(1.6, 0, 0, 350, 170, 150), aimed(1.1, 25, 5, 350, 150, 150), aimed(0.8, -30, 0, 330, 150, 140),
		aimed(0.9, 80, 0, 350, 150, 150), aimed(0.5, 0, 15, 270, 200, 200), aimed(0.15, 10, 0, 120, 220, 220),
	}
}

// hill is a map whose dose falls smoothly from a place on the left of the back, free of the physics.
func hill(t testing.TB) skinmap.Figure {
	t.Helper()
	b, err := body.New(body.Size{}, 9)
	require.NoError(t, err)
	m := &skindose.Map{Body: b, Dose: make([]quantity.Gray, len(b.Patches)), Peak: -1}
	for i, p := range b.Patches {
		if p.Part != body.Trunk {
			continue
		}
		away := math.Hypot(p.Across-80, p.Up-350) / 90
		m.Dose[i] = quantity.Gray(math.Round(1e6*3.4*math.Exp(-away*away)) / 1e6)
		if m.Peak < 0 || m.Dose[i] > m.Dose[m.Peak] {
			m.Peak = i
		}
	}
	return skinmap.Figure{
		Map: m, Title: "A hill of dose", Caption: "test figure", Low: quantity.Some[quantity.Gray](2.2), High: quantity.Some[quantity.Gray](5),
	}
}

func TestSVGIsUnchanged(t *testing.T) {
	var out bytes.Buffer
	require.NoError(t, skinmap.SVG(&out, hill(t)))
	golden.Check(t, "testdata/hill.svg", out.Bytes())
}

func TestSameFigureSameBytes(t *testing.T) {
	draw := map[string]func(io.Writer, skinmap.Figure) error{"png": skinmap.PNG, "svg": skinmap.SVG}
	for name, write := range draw {
		t.Run(name, func(t *testing.T) {
			var one, two bytes.Buffer
			require.NoError(t, write(&one, figure(t, 4, body.Size{}, aortic()...)))
			require.NoError(t, write(&two, figure(t, 4, body.Size{}, aortic()...)))
			assert.Equal(t, one.Bytes(), two.Bytes())
		})
	}
}

func TestPNGHasTheFormatOfThePage(t *testing.T) {
	var out bytes.Buffer
	require.NoError(t, skinmap.PNG(&out, hill(t)))
	img, err := png.Decode(&out)
	require.NoError(t, err)
	assert.InDelta(t, skinmap.Width/skinmap.Height, float64(img.Bounds().Dx())/float64(img.Bounds().Dy()), 0.002) // whole pixels
}

func TestAssumptionsStandUnderThePicture(t *testing.T) {
	f := hill(t)
	plain := bytes.Buffer{}
	require.NoError(t, skinmap.PNG(&plain, f))
	f.Assumed = []string{strings.Repeat("the patient lies on the table ", 12), "head first (common practice, no source)"}
	var svg, grown bytes.Buffer
	require.NoError(t, skinmap.SVG(&svg, f))
	require.NoError(t, skinmap.PNG(&grown, f))
	assert.Contains(t, svg.String(), "Assumed: the patient lies")
	assert.Equal(t, 2, strings.Count(svg.String(), "(common practice, no source)."), "in the description and under the picture")
	before, err := png.Decode(&plain)
	require.NoError(t, err)
	after, err := png.Decode(&grown)
	require.NoError(t, err)
	assert.Equal(t, before.Bounds().Dx(), after.Bounds().Dx())
	assert.Greater(t, after.Bounds().Dy(), before.Bounds().Dy())
}

func TestNoMap(t *testing.T) {
	require.ErrorIs(t, skinmap.PNG(io.Discard, skinmap.Figure{Title: "empty"}), skinmap.ErrNoMap)
	require.ErrorIs(t, skinmap.SVG(io.Discard, skinmap.Figure{Title: "empty"}), skinmap.ErrNoMap)
}

var errFull = errors.New("disk full")

type full struct{}

func (full) Write([]byte) (int, error) { return 0, errFull }

func TestWritersErrorComesThrough(t *testing.T) {
	require.ErrorIs(t, skinmap.SVG(full{}, hill(t)), errFull)
	require.ErrorIs(t, skinmap.PNG(full{}, hill(t)), errFull)
}

func TestLevels(t *testing.T) {
	gray := func(v ...quantity.Gray) []quantity.Gray { return append([]quantity.Gray{}, v...) }
	tests := map[string]struct {
		peak quantity.Gray
		want []quantity.Gray
	}{
		"no dose":            {0, gray()},
		"clinical":           {7, gray(0.3, 0.5, 1, 2, 3, 5)},
		"just at a level":    {3, gray(0.1, 0.2, 0.3, 0.5, 1, 2)},
		"just above a level": {3.01, gray(0.2, 0.3, 0.5, 1, 2, 3)},
		"small":              {0.03, gray(0.005, 0.01, 0.02)},
		"below the series":   {0.004, gray()},
		"high":               {18, gray(2, 3, 5, 7, 10, 15)},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) { assert.Equal(t, tt.want, skinmap.Levels(tt.peak)) })
	}
}

// words is one run of level text in an SVG with the box it takes, in points from the upper left corner.
type words struct {
	text                     string
	left, right, top, bottom float64
}

func texts(t require.TestingT, svg []byte) []words {
	type element struct {
		Length float64 `xml:"textLength,attr"`
		X      float64 `xml:"x,attr"`
		Y      float64 `xml:"y,attr"`
		Style  string  `xml:"style,attr"`
		Text   string  `xml:",chardata"`
	}
	decoder := xml.NewDecoder(bytes.NewReader(svg))
	var out []words
	var turned []bool
	for {
		token, err := decoder.Token()
		if errors.Is(err, io.EOF) {
			return out
		}
		require.NoError(t, err)
		switch tag := token.(type) {
		case xml.StartElement:
			if tag.Name.Local == "text" {
				var e element
				require.NoError(t, decoder.DecodeElement(&e, &tag))
				if turned[len(turned)-1] {
					continue
				}
				_, rest, _ := strings.Cut(e.Style, "font-size:")
				number, _, _ := strings.Cut(rest, "px")
				size, err := strconv.ParseFloat(number, 64)
				if err != nil {
					size = 12 // "medium", which is left out of the style
				}
				out = append(out, words{e.Text, e.X, e.X + e.Length, -e.Y - 0.72*size, -e.Y})
				continue
			}
			was := len(turned) > 0 && turned[len(turned)-1]
			for _, a := range tag.Attr {
				was = was || a.Name.Local == "transform" && strings.HasPrefix(a.Value, "rotate")
			}
			turned = append(turned, was)
		case xml.EndElement:
			turned = turned[:len(turned)-1]
		}
	}
}

func TestWordsNeitherOverlapNorLeaveThePage(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		draw := func(name string, low, high float64) float64 { return rapid.Float64Range(low, high).Draw(t, name) }
		size := body.Size{AgeYears: quantity.Some(rapid.SampledFrom([]float64{1, 10, 50}).Draw(t, "age"))}
		if rapid.Bool().Draw(t, "large") {
			size = body.Size{Height: quantity.Some[quantity.Millimetre](1750), Weight: quantity.Some[quantity.Kilogram](140)}
		}
		size.ArmsAlongside = rapid.Bool().Draw(t, "arms")
		shots := make([]exposure.Shot, rapid.IntRange(0, 4).Draw(t, "shots"))
		for i := range shots {
			shots[i] = aimed(math.Pow(10, draw("kerma", -2.5, 1)), draw("primary", -120, 120), draw("secondary", -40, 40),
				draw("height", -300, 900), draw("width", 30, 300), draw("tall", 30, 300))
		}
		var out bytes.Buffer
		require.NoError(t, skinmap.SVG(&out, figure(t, 4, size, shots...)))
		const page = skinmap.Width / 25.4 * 72
		list := texts(t, out.Bytes())
		require.NotEmpty(t, list)
		for i, a := range list {
			assert.GreaterOrEqual(t, a.left, 0.0, a.text)
			assert.LessOrEqual(t, a.right, page, a.text)
			for _, b := range list[i+1:] {
				meet := a.left < b.right && b.left < a.right && a.top < b.bottom && b.top < a.bottom
				assert.False(t, meet, fmt.Sprintf("%q overlaps %q", a.text, b.text))
			}
		}
	})
}

func TestDarkerIsMore(t *testing.T) {
	var out bytes.Buffer
	require.NoError(t, skinmap.SVG(&out, figure(t, 4, body.Size{}, aortic()...)))
	_, legend, ok := strings.Cut(out.String(), ">Skin dose<")
	require.True(t, ok)
	last := -1.0
	bands := 0
	for _, part := range strings.Split(legend, "fill:#")[1:] {
		colour, err := strconv.ParseUint(part[:6], 16, 32)
		require.NoError(t, err)
		if !strings.HasPrefix(part[6:], "\" />") || colour == 0xffffff {
			continue // words and the sign of the peak
		}
		lightness := 0.299*float64(colour>>16) + 0.587*float64(colour>>8&0xff) + 0.114*float64(colour&0xff)
		assert.Greater(t, lightness, last+12, "band %d is lighter than the one above it, to be seen in grey", bands)
		last = lightness
		bands++
	}
	assert.Equal(t, 7, bands)
}

func TestPictureSaysWhatItMust(t *testing.T) {
	var out bytes.Buffer
	f := figure(t, 4, body.Size{}, aortic()...)
	require.NoError(t, skinmap.SVG(&out, f))
	for _, want := range []string{
		"LEFT", "RIGHT", "head up", "back", "left flank", "right flank", "front", "left leg", "right leg", "peak",
		"Estimate, not a measurement; range of the peak", "(k=2)", "medical physicist", f.Title, f.Caption, "cm²",
		"Estimated peak skin dose 5.", "above the trunk base",
	} {
		assert.Contains(t, out.String(), want)
	}
}

func TestSmallDosesAreInMilligray(t *testing.T) {
	var out bytes.Buffer
	require.NoError(t, skinmap.SVG(&out, figure(t, 4, body.Size{AgeYears: quantity.Some(1.0)}, aimed(0.02, 0, 0, 220, 60, 60))))
	assert.Contains(t, out.String(), "mGy")
	assert.NotContains(t, out.String(), " Gy<")
}

func TestPeakJustBelowALevelNeverPrintsAsIt(t *testing.T) {
	f := hill(t)
	f.Map.Dose[f.Map.Peak] = 2.9999
	var out bytes.Buffer
	require.NoError(t, skinmap.SVG(&out, f))
	assert.Contains(t, out.String(), "Estimated peak skin dose 2.99 Gy")
}

func TestArmsAlongsideAreDrawn(t *testing.T) {
	var with, without bytes.Buffer
	require.NoError(t, skinmap.SVG(&with, figure(t, 4, body.Size{ArmsAlongside: true}, aimed(2, 90, 0, 200, 60, 60))))
	require.NoError(t, skinmap.SVG(&without, figure(t, 4, body.Size{}, aimed(2, 90, 0, 200, 60, 60))))
	for _, words := range []string{">left arm<", ">right arm<", "right forearm, outer side", "level with the trunk base at 0", "middle of the arm"} {
		assert.Contains(t, with.String(), words)
		assert.NotContains(t, without.String(), words)
	}
}
