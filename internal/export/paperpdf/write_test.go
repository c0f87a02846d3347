package paperpdf_test

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/demo"
	"afterbeam/internal/export/casejson"
	"afterbeam/internal/export/paperpdf"
	"afterbeam/internal/export/skinmap"
	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/followup/paper"
	"afterbeam/internal/peer"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// staged is the second stage of the demonstration's repair, with the sums over both.
func staged(t *testing.T) paper.Input {
	t.Helper()
	m := assessment.Default()
	m.Profiles, m.RangePoints = demo.Profiles(), 8
	var all []assessment.Delivered
	var kept []assessment.Kept
	var last assessment.Assessment
	for _, c := range demo.Cases() {
		if c.Report.Patient.ID != demo.StagedPatient {
			continue
		}
		p := procedure.Merge([]procedure.Report{c.Report})[0]
		last = m.Assess(p, procedure.Facts{})
		d := last.Delivered()
		d.Key = c.File
		all = append(all, d)
		kept = append(kept, assessment.Kept{Earlier: assessment.Earlier{Procedure: p}, Key: c.File, Value: d.PSD.Value, Low: d.PSD.Low, High: d.PSD.High})
	}
	require.Len(t, all, 2)
	laid := m.Lay(kept)
	var drawn bytes.Buffer
	require.NoError(t, skinmap.PNG(&drawn, skinmap.Figure{Map: last.SkinDose.Map}))
	at := time.Date(2026, 11, 2, 9, 30, 0, 0, time.UTC)
	in := paper.Input{
		Assessment: last, Map: drawn.Bytes(), Before: []string{all[0].LocalDate},
		Person:   paper.Person{Name: "Synthetic^Saltmarsh One", Number: demo.StagedPatient, BirthDate: "1954-03-11"},
		Estimate: paper.Estimate{Case: "case", Number: 3, MadeAt: at, Program: "v1", Methods: assessment.Versions(), Digest: "0123"},
		Site: paper.Site{
			Centre: demo.Centre, Department: "Vascular department", Phone: "000 555 0100", Hours: "8 to 16", Mail: "skin@example.org",
			Address: []string{"1 Tidemill Road (invented)", "Saltmarsh"},
		},
		Recipient: []string{"Dr Practice Synthetic", "2 Harbour Lane (invented)", "Saltmarsh"},
		Stamp:     paper.Stamp{ID: "paper-1", Made: at, Program: "v1", By: "a physicist"},
	}
	for _, days := range append(assessment.Windows(), 0) {
		in.Sums = append(in.Sums, m.SumLaid(all, days, last.Procedure.Start.LocalDate(), func([]string) (assessment.Laid, bool) { return laid, true }))
	}
	return in
}

func write(t *testing.T, kind paper.Kind, language string, size paperpdf.Size, in paper.Input) []byte {
	t.Helper()
	d, err := paper.Compose(kind, language, in)
	require.NoError(t, err)
	var out bytes.Buffer
	require.NoError(t, paperpdf.Write(&out, d, size))
	return out.Bytes()
}

// outside runs a program of poppler on a PDF. Spaces that do not break become plain ones.
func outside(t *testing.T, pdf []byte, program string, args ...string) string {
	t.Helper()
	program = peer.Need(t, program)
	name := filepath.Join(t.TempDir(), "paper.pdf")
	require.NoError(t, os.WriteFile(name, pdf, 0o600))
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	for i, a := range args {
		args[i] = strings.ReplaceAll(a, "PDF", name)
	}
	out, err := exec.CommandContext(ctx, program, args...).CombinedOutput()
	require.NoError(t, err, "%s", out)
	return strings.ReplaceAll(string(out), "\u00a0", " ")
}

// words gives the text of a PDF as one line.
func words(t *testing.T, pdf []byte) string {
	t.Helper()
	return strings.Join(strings.Fields(outside(t, pdf, "pdftotext", "-enc", "UTF-8", "PDF", "-")), " ")
}

// Papers hold the same numbers as the case that the interface answers, to the printed digit, in every language and size.
func TestNumbersAreThoseOfTheCase(t *testing.T) {
	in := staged(t)
	written, err := casejson.Marshal(in.Assessment)
	require.NoError(t, err)
	var c casejson.Case
	require.NoError(t, json.Unmarshal(written, &c))
	value, low, high, unit := quantity.ShowSkin(gray(c.SkinDose.ValueGy), gray(c.SkinDose.LowGy), gray(c.SkinDose.HighGy), 3, 5)
	laid, ok := in.Sums[0].Laid.Get()
	require.True(t, ok)
	sum, sumLow, sumHigh, _ := quantity.ShowSkin(laid.Value.Or(0), laid.Low.Or(0), laid.High.Or(0), 3, 5)
	common := []string{
		quantity.ShowKerma(gray(c.Dose.KermaGy), 3, 5),
		"estimated " + value + " " + unit + ", range " + low + " to " + high + " " + unit,
		"estimated " + sum + " Gy, range " + sumLow + " to " + sumHigh + " Gy",
	}
	kap := strings.Replace(quantity.ShowKAP(quantity.GraySquareMetre(c.Dose.KAPGycm2.Or(0)*1e-4), 500), "Gy cm2", "Gy·cm²", 1)
	effective := "estimated " + quantity.ShowEffective(quantity.Sievert(c.Effective.ValueMSv.Or(0)*1e-3)) + " mSv"
	for kind, more := range map[paper.Kind][]string{
		paper.PatientSheet: nil, paper.DoctorLetter: {kap, quantity.ShowMinutes(quantity.Second(c.Dose.FluoroscopyMin.Or(0) * 60))},
		paper.PhysicistReport: {kap, effective, "238", "Page 1 of"},
	} {
		for _, size := range paperpdf.Sizes() {
			english, german := words(t, write(t, kind, "en", size, in)), words(t, write(t, kind, "de", size, in))
			for _, want := range append(append([]string{}, common...), more...) {
				assert.Contains(t, english, want, "%s %s", kind, size)
				assert.Contains(t, german, inGerman(want), "%s %s", kind, size)
			}
			for _, text := range []string{english, german} {
				assert.Contains(t, text, "SYN-0001", "the patient is named")
				assert.NotContains(t, text, "[", "a text without words stands in brackets")
				assert.NotContains(t, text, "{")
			}
			if kind != paper.PhysicistReport {
				assert.NotContains(t, english, "mSv", "no effective dose for who would read it as a risk")
			}
		}
	}
}

func gray(v quantity.Opt[float64]) quantity.Gray { return quantity.Gray(v.Or(0)) }

func inGerman(text string) string {
	return strings.NewReplacer("estimated", "geschätzt", "range", "Bereich", " to ", " bis ", ".", ",", "Page", "Seite", " of", " von").Replace(text)
}

// The sheet says what the published leaflets want on it, and nothing of what does not belong there.
func TestSheet(t *testing.T) {
	english := words(t, write(t, paper.PatientSheet, "en", paperpdf.A4, staged(t)))
	for _, want := range []string{
		"Look here: the back, halfway up, on your right.", "from 6 November 2026 to 10 November 2026", "about 26 November 2026", "000 555 0100",
		"Call after each look", "also call when your skin looks normal", "No skin sample (biopsy)", "months later", "next treatment with X-rays", "Do not scratch",
		"You had another treatment with X-rays on 21 September 2026", "This is an estimate, not a measurement",
	} {
		assert.Contains(t, english, want)
	}
	before, _, _ := strings.Cut(english, "For doctors and nurses")
	for _, never := range []string{"Gy", "effective", "risk", "cancer", "level", "NCRP", "error"} {
		assert.NotContains(t, before, never, "the patient's part")
	}
}

func TestForm(t *testing.T) {
	in := staged(t)
	for size, points := range map[paperpdf.Size]string{paperpdf.A4: "595.28 x 841.89 pts (A4)", paperpdf.Letter: "612 x 792 pts (letter)"} {
		pdf := write(t, paper.DoctorLetter, "de", size, in)
		info := outside(t, pdf, "pdfinfo", "PDF")
		assert.Contains(t, info, points)
		assert.Contains(t, info, "Title:           Brief zur Nachsorge der Haut")
		assert.Regexp(t, `CreationDate:\s+Mon Nov +2 09:30:00 2026`, outside(t, pdf, "env", "TZ=UTC", "pdfinfo", "PDF"))
		assert.Contains(t, string(pdf), "/Lang (de)")
		fonts := strings.Split(strings.TrimSpace(outside(t, pdf, "pdffonts", "PDF")), "\n")[2:]
		assert.Len(t, fonts, 2)
		for _, line := range fonts {
			assert.Regexp(t, `Identity-H +yes \w+ +yes`, line, "embedded, with the letters of its glyphs")
		}
	}
}

// The address stands in the window of DIN 5008 form B: 20 to 105 mm from the left, 45 to 90 mm from the top.
func TestAddress(t *testing.T) {
	const point = 25.4 / 72
	in := staged(t)
	in.Recipient = []string{"Dr Practice Synthetic", "Second", "Third", "Fourth", "Fifth", strings.Repeat("WM", 30)}
	for _, size := range paperpdf.Sizes() {
		boxes := outside(t, write(t, paper.DoctorLetter, "en", size, in), "pdftotext", "-bbox", "-l", "1", "PDF", "-")
		for _, word := range []string{"Practice", "Fifth", strings.Repeat("WM", 30)} {
			at := strings.Index(boxes, ">"+word+"<")
			require.Positive(t, at, word)
			var xMin, yMin, xMax, yMax float64
			_, err := fmt.Sscanf(boxes[strings.LastIndex(boxes[:at], "<word"):], `<word xMin="%f" yMin="%f" xMax="%f" yMax="%f"`, &xMin, &yMin, &xMax, &yMax)
			require.NoError(t, err)
			assert.Greater(t, xMin*point, 20.0, word)
			assert.Less(t, xMax*point, 105.5, word) // 80 mm of text from 25 mm on, with the last letter's own edge
			assert.Greater(t, yMin*point, 45.0, word)
			assert.Less(t, yMax*point, 90.0, word)
		}
	}
}

func TestReprintsAreTheSameBytes(t *testing.T) {
	in := staged(t)
	for _, kind := range paper.Kinds() {
		first := write(t, kind, "de", paperpdf.A4, in)
		for range 3 {
			require.True(t, bytes.Equal(first, write(t, kind, "de", paperpdf.A4, in)), kind)
		}
	}
}

// Whatever is missing is a dash with the reason, and a long name is written whole on every page.
func TestMissingValuesAndLongNames(t *testing.T) {
	in := staged(t)
	bare := in.Assessment.Procedure
	bare.Events, bare.Totals = nil, nil
	in.Assessment = assessment.Default().Assess(bare, procedure.Facts{})
	in.Sums, in.Map = nil, nil
	family := strings.TrimSpace(strings.Repeat("Saltmarsh-Tidemill ", 9))
	in.Person = paper.Person{Name: family + "^Łucja Ζωή Юлия^^Dr", Number: ""}
	for _, kind := range paper.Kinds() {
		pdf := write(t, kind, "en", paperpdf.A4, in)
		text := words(t, pdf)
		assert.Contains(t, text, "Dr Łucja Ζωή Юлия "+family, kind)
		assert.Contains(t, text, "born – (not reported) · number – (not reported)")
		assert.Contains(t, text, "– (no estimate)", kind)
		assert.NotContains(t, text, "0.00 Gy", kind)
		assert.NotContains(t, text, "estimated 0", kind)
		var pages int
		for line := range strings.Lines(outside(t, pdf, "pdfinfo", "PDF")) {
			_, _ = fmt.Sscanf(line, "Pages: %d", &pages)
		}
		for page := 2; page <= pages; page++ {
			one := strings.Join(strings.Fields(outside(t, pdf, "pdftotext", "-f", fmt.Sprint(page), "-l", fmt.Sprint(page), "PDF", "-")), " ")
			assert.Contains(t, one, family, "page %d of %s", page, kind)
			assert.Contains(t, one, fmt.Sprintf("Page %d of %d", page, pages))
		}
	}
	assert.Contains(t, words(t, write(t, paper.PatientSheet, "en", paperpdf.A4, in)), "We do not know exactly how much X-ray")
}

func TestUndrawableIsRefused(t *testing.T) {
	in := staged(t)
	for name, tt := range map[string]struct{ give, want string }{
		"another writing":        {"王^Li", "U+738B"},
		"from right to left":     {"שלום^A", "U+05E9"},
		"a mark without letter":  {"q\u0307^A", "U+0307"},
		"beyond the basic plane": {"\U0001F600^A", "U+1F600"},
		"no text":                {"a\xff^A", "U+FFFD"},
		"a control character":    {"a\u0007^A", "U+0007"},
	} {
		t.Run(name, func(t *testing.T) {
			in.Person.Name = tt.give + "nna"
			d, err := paper.Compose(paper.PatientSheet, "en", in)
			require.NoError(t, err)
			var out bytes.Buffer
			err = paperpdf.Write(&out, d, paperpdf.A4)
			require.ErrorIs(t, err, paperpdf.ErrUndrawable)
			assert.ErrorContains(t, err, tt.want)
			assert.NotContains(t, err.Error(), "Anna", "of the name the one letter alone")
			assert.Zero(t, out.Len())
		})
	}
	assert.NoError(t, paperpdf.Drawable("Ko\u0308nig Żółć Ñandú Œuvre Ğüneş Þór Ελένη Щукин"), "a letter with its mark is one letter")
	require.ErrorIs(t, paperpdf.Write(&bytes.Buffer{}, paper.Document{}, "a5"), paperpdf.ErrSize)
}
