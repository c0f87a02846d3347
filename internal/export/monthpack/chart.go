package monthpack

import (
	"cmp"
	"fmt"
	"image/color"
	"io"
	"math"
	"slices"
	"strconv"
	"time"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"

	"afterbeam/internal/quantity"
	"afterbeam/internal/summary/trend"
)

// The height of a chart in mm and its dots per inch on paper and on pages.
const (
	chartHigh = 52.0
	paperDots = 240
	pageDots  = 130
)

var (
	inkGrey   = color.Gray{0x10}
	quietGrey = color.Gray{0x60}
	bandGrey  = color.Gray{0xea}
)

// Chart draws one control chart of a summary as PNG for a page, in greys: the baseline on a grey ground, earlier points hollow, those of the
// period full, those with a signal in a ring. Language is that of its words.
// A chart with fewer than two points cannot be drawn; Drawn leaves it out.
func Chart(w io.Writer, language string, c trend.Chart, from, to string) error {
	p := &pack{w: book().In(language)}
	p.s.Period.From, p.s.Period.To = from, to
	return drawChart(w, p, c, pageDots)
}

// ChartTitle says in a language what a chart is about, ChartWords what it shows.
func ChartTitle(language string, c trend.Chart) string {
	return (&pack{w: book().In(language)}).chartTitle(c)
}

// ChartWords says in a language what a chart shows.
func ChartWords(language string, c trend.Chart) string {
	return (&pack{w: book().In(language)}).chartWords(c)
}

func drawChart(w io.Writer, p *pack, c trend.Chart, dots int) error {
	at := plot.New()
	at.BackgroundColor = color.White
	at.Title.Text = p.chartTitle(c)
	at.Y.Label.Text = p.axis(c)
	for _, style := range []*draw.TextStyle{&at.Title.TextStyle, &at.X.Label.TextStyle, &at.Y.Label.TextStyle, &at.X.Tick.Label, &at.Y.Tick.Label} {
		style.Font.Variant, style.Font.Size, style.Color = "Sans", vg.Points(7.5), inkGrey
	}
	at.Title.TextStyle.Font.Size, at.Title.Padding = vg.Points(9), vg.Points(3)
	if c.Kind == trend.ValueAndRange {
		at.Y.Scale = plot.LogScale{}
	}
	at.Y.Tick.Marker = ticksOf(p, c)
	at.X.Tick.Marker = months(p)
	if err := p.layers(at, c); err != nil {
		return fmt.Errorf("draw chart %s: %w", c.Key, err)
	}
	canvas := vgimg.NewWith(vgimg.UseWH(chartWidth*vg.Millimeter, chartHigh*vg.Millimeter), vgimg.UseDPI(dots), vgimg.UseBackgroundColor(color.White))
	whole := draw.New(canvas)
	at.Draw(draw.Crop(whole, vg.Points(2), -vg.Points(6), vg.Points(2), -vg.Points(2)))
	if _, err := (vgimg.PngCanvas{Canvas: canvas}).WriteTo(w); err != nil {
		return fmt.Errorf("write chart %s: %w", c.Key, err)
	}
	return nil
}

func (p *pack) axis(c trend.Chart) string {
	switch c.Kind {
	case trend.Share:
		return "%"
	case trend.CasesBetween:
		return p.t("charts.axis_cases")
	case trend.DaysBetween:
		return p.t("charts.axis_days")
	case trend.ValueAndRange:
	}
	return unitWord(c.Unit)
}

// layers lays the parts of a chart on each other: ground of the baseline, limits, points.
func (p *pack) layers(at *plot.Plot, c trend.Chart) error {
	points := placed(c)
	low, high := bounds(c, points)
	at.Y.Min, at.Y.Max = low, high
	at.X.Min, at.X.Max = ends(points)
	if b := c.Baseline; b != nil {
		if ground, err := plotter.NewPolygon(box(max(day(b.From), at.X.Min), min(day(b.To), at.X.Max), low, high)); err == nil && day(b.To) > at.X.Min {
			ground.Color, ground.Width = bandGrey, 0
			at.Add(ground)
		}
	}
	if err := limits(at, c, points); err != nil {
		return err
	}
	line, err := plotter.NewLine(points)
	if err != nil {
		return err
	}
	line.LineStyle = draw.LineStyle{Color: color.Gray{0xb0}, Width: vg.Points(0.5)}
	at.Add(line)
	return p.marks(at, c, points)
}

// marks sets the points: hollow before the period, full in it, ringed where a signal ends.
func (p *pack) marks(at *plot.Plot, c trend.Chart, points plotter.XYs) error {
	var before, now, ringed plotter.XYs
	for i, point := range c.Points {
		if p.inPeriod(point.Day) {
			now = append(now, points[i])
			if len(point.Rules) > 0 {
				ringed = append(ringed, points[i])
			}
		} else {
			before = append(before, points[i])
		}
	}
	for _, layer := range []struct {
		points plotter.XYs
		glyph  draw.GlyphDrawer
		radius vg.Length
		colour color.Color
	}{{before, draw.RingGlyph{}, vg.Points(1.6), quietGrey}, {now, draw.CircleGlyph{}, vg.Points(2), inkGrey}, {ringed, draw.RingGlyph{}, vg.Points(4.2), inkGrey}} {
		if len(layer.points) == 0 {
			continue
		}
		s, err := plotter.NewScatter(layer.points)
		if err != nil {
			return err
		}
		s.GlyphStyle = draw.GlyphStyle{Color: layer.colour, Radius: layer.radius, Shape: layer.glyph}
		at.Add(s)
	}
	return nil
}

// inPeriod tells whether a day, or a month, lies in the period.
func (p *pack) inPeriod(of string) bool {
	n := len(of)
	return n > 0 && n <= len(p.s.Period.From) && of >= p.s.Period.From[:n] && of <= p.s.Period.To[:n]
}

// limits draws centre and limits; those of shares go with each point.
func limits(at *plot.Plot, c trend.Chart, points plotter.XYs) error {
	dashed := []vg.Length{vg.Points(4), vg.Points(2)}
	flat := func(v quantity.Opt[float64], dashes []vg.Length) error {
		value, ok := v.Get()
		if !ok {
			return nil
		}
		y := scaled(c, value)
		if c.Kind == trend.ValueAndRange && y <= 0 {
			return nil
		}
		return stroke(at, plotter.XYs{{X: at.X.Min, Y: y}, {X: at.X.Max, Y: y}}, dashes)
	}
	if err := flat(c.Centre, nil); err != nil {
		return err
	}
	if c.Kind != trend.Share {
		if err := flat(c.Lower, dashed); err != nil {
			return err
		}
		return flat(c.Upper, dashed)
	}
	var low, high plotter.XYs
	for i, point := range c.Points {
		if v, ok := point.Lower.Get(); ok {
			low = append(low, plotter.XY{X: points[i].X, Y: scaled(c, v)})
		}
		if v, ok := point.Upper.Get(); ok {
			high = append(high, plotter.XY{X: points[i].X, Y: scaled(c, v)})
		}
	}
	for _, xys := range []plotter.XYs{low, high} {
		if len(xys) > 1 {
			if err := stroke(at, xys, dashed); err != nil {
				return err
			}
		}
	}
	return nil
}

func stroke(at *plot.Plot, xys plotter.XYs, dashes []vg.Length) error {
	line, err := plotter.NewLine(xys)
	if err != nil {
		return err
	}
	line.LineStyle = draw.LineStyle{Color: inkGrey, Width: vg.Points(0.8), Dashes: dashes}
	at.Add(line)
	return nil
}

// scaled gives a value as it is charted: shares in percent.
func scaled(c trend.Chart, v float64) float64 {
	if c.Kind == trend.Share {
		return 100 * v
	}
	return v
}

func placed(c trend.Chart) plotter.XYs {
	xys := make(plotter.XYs, len(c.Points))
	for i, point := range c.Points {
		xys[i] = plotter.XY{X: day(point.Day), Y: scaled(c, point.Value)}
	}
	return xys
}

// day gives the number of a local date, or of the first of a month.
func day(of string) float64 {
	const hours = 24
	for _, layout := range []string{time.DateOnly, "2006-01"} {
		if at, err := time.Parse(layout, of); err == nil {
			return math.Floor(at.Sub(time.Unix(0, 0)).Hours() / hours)
		}
	}
	return 0
}

func ends(points plotter.XYs) (low, high float64) {
	low, high = points[0].X, points[0].X
	for _, point := range points {
		low, high = min(low, point.X), max(high, point.X)
	}
	const edge = 0.02
	by := max(1, edge*(high-low))
	return low - by, high + by
}

// bounds leaves room round points and limits.
func bounds(c trend.Chart, points plotter.XYs) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	take := func(v float64) {
		if c.Kind != trend.ValueAndRange || v > 0 {
			low, high = min(low, v), max(high, v)
		}
	}
	for _, point := range points {
		take(point.Y)
	}
	for _, v := range []quantity.Opt[float64]{c.Lower, c.Upper, c.Centre} {
		if got, ok := v.Get(); ok {
			take(scaled(c, got))
		}
	}
	for _, point := range c.Points {
		if got, ok := point.Upper.Get(); ok {
			take(scaled(c, got))
		}
	}
	if c.Kind == trend.ValueAndRange {
		const room = 1.15
		return low / room, high * room
	}
	const room = 0.06
	by := max(1, room*(high-low))
	return min(0, low) - by/2, high + by
}

func box(left, right, low, high float64) plotter.XYs {
	return plotter.XYs{{X: left, Y: low}, {X: right, Y: low}, {X: right, Y: high}, {X: left, Y: high}}
}

// ticker makes marks of a function.
type ticker func(low, high float64) []plot.Tick

// Ticks gives the marks.
func (t ticker) Ticks(low, high float64) []plot.Tick { return t(low, high) }

// months marks the first days of months, so many that their names do not touch.
func months(p *pack) ticker {
	return func(low, high float64) []plot.Tick {
		const hours, most = 24, 13
		start := time.Unix(0, 0).UTC().Add(time.Duration(low) * hours * time.Hour)
		at := time.Date(start.Year(), start.Month(), 1, 0, 0, 0, 0, time.UTC)
		var all []plot.Tick
		for ; ; at = at.AddDate(0, 1, 0) {
			x := day(at.Format(time.DateOnly))
			if x > high {
				break
			}
			if x >= low {
				all = append(all, plot.Tick{Value: x, Label: at.Format("01/06")})
			}
		}
		step := len(all)/most + 1
		for i := range all {
			if i%step != 0 {
				all[i].Label = ""
			}
		}
		return all
	}
}

// ticksOf marks the values: 1, 2, 5 of each power of ten on a logarithmic axis.
func ticksOf(p *pack, c trend.Chart) ticker {
	if c.Kind != trend.ValueAndRange {
		return func(low, high float64) []plot.Tick {
			all := plot.DefaultTicks{}.Ticks(low, high)
			return slices.DeleteFunc(all, func(t plot.Tick) bool { return t.Value < 0 })
		}
	}
	return func(low, high float64) []plot.Tick {
		var all []plot.Tick
		for power := math.Floor(math.Log10(low)); power <= math.Ceil(math.Log10(high)); power++ {
			for _, step := range []float64{1, 2, 5} {
				v, err := strconv.ParseFloat(fmt.Sprintf("%ge%d", step, int(power)), 64)
				if err != nil {
					continue
				}
				if v >= low && v <= high {
					all = append(all, plot.Tick{Value: v, Label: p.w.Figure(strconv.FormatFloat(v, 'f', -1, 64))})
				}
			}
		}
		slices.SortFunc(all, func(a, b plot.Tick) int { return cmp.Compare(a.Value, b.Value) })
		return all
	}
}
