package rdsr_test

import (
	"bufio"
	"bytes"
	"encoding/json"
	"encoding/xml"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/peer"
	"afterbeam/internal/procedure"
	"afterbeam/internal/report/rdsr"
)

// onDisk writes a file that outside programs can read.
func onDisk(t *testing.T, data []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "report.dcm")
	require.NoError(t, os.WriteFile(path, data, 0o600))
	return path
}

// said runs a program and gives all it says, and whether it ended well.
func said(t *testing.T, program string, args ...string) (string, bool) {
	t.Helper()
	out, err := exec.Command(program, args...).CombinedOutput()
	return string(out), err == nil
}

func TestWrittenObjectsPassTheModuleCheck(t *testing.T) {
	check := peer.Need(t, "dciodvfy")
	for name, report := range shapes() {
		t.Run(name, func(t *testing.T) {
			// Its exit status also tells of warnings; errors are lines that say so.
			out, _ := said(t, check, onDisk(t, written(t, report, rdsr.WriteOptions{})))
			assert.Contains(t, out, "XRayRadiationDoseSR")
			assert.NotContains(t, out, "Error")
		})
	}
}

func TestWrittenObjectsPassTheTreeCheck(t *testing.T) {
	check := peer.Need(t, "dsrdump")
	for name, report := range shapes() {
		for generation, opt := range map[string]rdsr.WriteOptions{"current": {}, "old": {CodeGeneration: rdsr.CodesSRT}} {
			t.Run(name+" "+generation, func(t *testing.T) {
				out, ok := said(t, check, "-q", onDisk(t, written(t, report, opt)))
				assert.True(t, ok, out)
			})
		}
	}
}

// The template validator knows the code lists of about 2020, so the metals go in the codes of 2017.
func TestWrittenObjectsPassTheTemplateCheck(t *testing.T) {
	ci := os.Getenv("CI")
	if os.Getenv("AFTERBEAM_TEMPLATE_VALIDATOR") != "1" && ci != "1" && ci != "true" {
		t.Skip("the template validator takes a minute: set AFTERBEAM_TEMPLATE_VALIDATOR=1 to run it")
	}
	java := peer.Need(t, "java")
	const jar = "/usr/share/java/pixelmed.jar"
	require.FileExists(t, jar, "the package pixelmed-apps has it")
	for name, report := range shapes() {
		t.Run(name, func(t *testing.T) {
			out, ok := said(t, java, "-Xss64m", "-Djdk.xml.xpathExprGrpLimit=0", "-Djdk.xml.xpathExprOpLimit=0",
				"-Djdk.xml.xpathTotalOpLimit=0", "-cp", jar, "com.pixelmed.validate.DicomSRValidator",
				onDisk(t, written(t, report, rdsr.WriteOptions{CodeGeneration: rdsr.Codes2017})))
			require.True(t, ok, out)
			assert.Contains(t, out, "Found Root Template TID_10001")
			for line := range strings.Lines(out) {
				assert.False(t, strings.HasPrefix(line, "Error"), line)
			}
		})
	}
}

// figure is one number of a report as an outside reader gives it.
type figure struct {
	Container string   `json:"container"`
	Index     int      `json:"index"`
	Concept   string   `json:"concept"`
	Value     *float64 `json:"value"`
	Unit      string   `json:"unit"`
}

func figuresOfPydicom(t *testing.T, path string) []figure {
	t.Helper()
	python := "/usr/bin/python3"
	if _, ok := said(t, python, "-c", "import pydicom"); !ok {
		peer.Need(t, "python3-pydicom")
	}
	out, err := exec.Command(python, "../../../scripts/compare_pydicom.py", path).Output()
	require.NoError(t, err)
	var figures []figure
	for lines := bufio.NewScanner(bytes.NewReader(out)); lines.Scan(); {
		var f figure
		require.NoError(t, json.Unmarshal(lines.Bytes(), &f))
		figures = append(figures, f)
	}
	return figures
}

// xmlItem is any element of DCMTK's XML form.
type xmlItem struct {
	XMLName xml.Name
	Concept struct {
		Value string `xml:"value"`
	} `xml:"concept"`
	Value string `xml:"value"`
	Unit  struct {
		Value string `xml:"value"`
	} `xml:"unit"`
	Items []xmlItem `xml:",any"`
}

func figuresOfDCMTK(t *testing.T, path string) []figure {
	t.Helper()
	out, err := exec.Command(peer.Need(t, "dsr2xml"), "-q", path).Output()
	require.NoError(t, err)
	var document struct {
		Root xmlItem `xml:"document>content>container"`
	}
	require.NoError(t, xml.Unmarshal(out, &document))
	var figures []figure
	seen := map[string]int{}
	for _, container := range document.Root.Items {
		kind := container.Concept.Value
		if container.XMLName.Local != "container" || (kind != "113702" && kind != "113706") {
			continue
		}
		for _, it := range container.Items {
			if it.XMLName.Local != "num" {
				continue
			}
			f := figure{Container: kind, Index: seen[kind], Concept: it.Concept.Value, Unit: it.Unit.Value}
			if it.Value != "" {
				v, err := strconv.ParseFloat(it.Value, 64)
				require.NoError(t, err)
				f.Value = &v
			}
			figures = append(figures, f)
		}
		seen[kind]++
	}
	return figures
}

// ours gives a report's number in the unit in which the standard wants it written, next to that unit. It is written out
// anew here, so that it doesn't follow a slip in the reader's own tables.
func ours(r *procedure.Report, f figure) (values []float64, unit string, known bool) {
	if f.Container == "113702" {
		return ourTotal(&r.Planes[f.Index], f.Concept)
	}
	e := &r.Events[f.Index]
	if values, unit, known = ourTechnique(e, f.Concept); known {
		return values, unit, true
	}
	return ourMechanics(&e.Mechanics, f.Concept)
}

func ourTotal(t *procedure.PlaneTotal, concept string) ([]float64, string, bool) {
	switch concept {
	case "113722":
		return []float64{float64(t.KAP.Or(-1))}, "Gy.m2", true
	case "113725":
		return []float64{float64(t.RefKerma.Or(-1))}, "Gy", true
	case "113726":
		return []float64{float64(t.FluoroKAP.Or(-1))}, "Gy.m2", true
	case "113727":
		return []float64{float64(t.AcquisitionKAP.Or(-1))}, "Gy.m2", true
	case "113728":
		return []float64{float64(t.FluoroKerma.Or(-1))}, "Gy", true
	case "113729":
		return []float64{float64(t.AcquisitionKerma.Or(-1))}, "Gy", true
	case "113730":
		return []float64{float64(t.FluoroTime.Or(-1))}, "s", true
	case "113855":
		return []float64{float64(t.AcquisitionTime.Or(-1))}, "s", true
	case "113731":
		return []float64{t.Frames.Or(-1)}, "1", true
	}
	return nil, "", false
}

func ourTechnique(e *procedure.Event, concept string) ([]float64, string, bool) {
	t := &e.Technique
	switch concept {
	case "122130":
		return []float64{float64(e.KAP.Or(-1))}, "Gy.m2", true
	case "113738":
		return []float64{float64(e.RefKerma.Or(-1))}, "Gy", true
	case "113791":
		return []float64{float64(t.PulseRate.Or(-1))}, "{pulse}/s", true
	case "113768":
		return []float64{t.Pulses.Or(-1)}, "1", true
	case "113793":
		return many(t.PulseWidths, 1000), "ms", true
	case "113742":
		return []float64{float64(t.Duration.Or(-1))}, "s", true
	case "113733":
		return many(t.Voltages, 1), "kV", true
	case "113734":
		return many(t.Currents, 1), "mA", true
	case "113767":
		return []float64{float64(t.MeanCurrent.Or(-1))}, "mA", true
	case "113824":
		return []float64{float64(t.ExposureTime.Or(-1)) * 1000}, "ms", true
	case "113736":
		return many(t.Exposures, 1000), "uA.s", true
	case "113766":
		return []float64{float64(t.FocalSpot.Or(-1))}, "mm", true
	case "113845":
		return []float64{t.ExposureIndex.Or(-1)}, "1", true
	case "113846":
		return []float64{t.TargetIndex.Or(-1)}, "1", true
	case "113847":
		return []float64{t.Deviation.Or(-1)}, "1", true
	case "113790":
		return []float64{float64(e.Field.Area.Or(-1))}, "m2", true
	case "113788":
		return []float64{float64(e.Field.Height.Or(-1))}, "mm", true
	case "113789":
		return []float64{float64(e.Field.Width.Or(-1))}, "mm", true
	}
	return nil, "", false
}

func ourMechanics(m *procedure.Mechanics, concept string) ([]float64, string, bool) {
	switch concept {
	case "112011":
		return []float64{float64(m.Primary.Or(-999))}, "deg", true
	case "112012":
		return []float64{float64(m.Secondary.Or(-999))}, "deg", true
	case "113739":
		return []float64{float64(m.PrimaryEnd.Or(-999))}, "deg", true
	case "113740":
		return []float64{float64(m.SecondaryEnd.Or(-999))}, "deg", true
	case "113770":
		return []float64{float64(m.Column.Or(-999))}, "deg", true
	case "128759":
		return []float64{float64(m.DetectorRotation.Or(-999))}, "deg", true
	case "113754":
		return []float64{float64(m.TableHeadTilt.Or(-999))}, "deg", true
	case "113755":
		return []float64{float64(m.TableRotation.Or(-999))}, "deg", true
	case "113756":
		return []float64{float64(m.TableCradleTilt.Or(-999))}, "deg", true
	case "113748":
		return []float64{float64(m.SourceToIsocentre.Or(-1))}, "mm", true
	case "113737":
		return []float64{float64(m.SourceToReference.Or(-1))}, "mm", true
	case "113750":
		return []float64{float64(m.SourceToDetector.Or(-1))}, "mm", true
	case "113792":
		return []float64{float64(m.SourceToTable.Or(-1))}, "mm", true
	case "113751":
		return []float64{float64(m.TableLongitudinal.Or(-9999))}, "mm", true
	case "113752":
		return []float64{float64(m.TableLateral.Or(-9999))}, "mm", true
	case "113753":
		return []float64{float64(m.TableHeight.Or(-9999))}, "mm", true
	}
	return nil, "", false
}

func many[T ~float64](values []T, scale float64) []float64 {
	out := make([]float64, 0, len(values))
	for _, v := range values {
		out = append(out, float64(v)*scale)
	}
	return out
}

// compare wants each number of an outside reader among ours, and none of ours left over.
func compare(t *testing.T, figures []figure, r *procedure.Report) {
	t.Helper()
	require.NotEmpty(t, figures)
	occurrence := map[figure]int{}
	for _, f := range figures {
		values, unit, known := ours(r, f)
		if !assert.True(t, known, "concept %s is not compared", f.Concept) {
			continue
		}
		assert.Equal(t, f.Unit, unit, "concept %s", f.Concept)
		key := figure{Container: f.Container, Index: f.Index, Concept: f.Concept}
		n := occurrence[key]
		occurrence[key]++
		if assert.Less(t, n, len(values), "concept %s occurs more often outside", f.Concept) && assert.NotNil(t, f.Value) {
			// The decimal string has 16 characters, at least 9 digits of each number here.
			assert.InDelta(t, *f.Value, values[n], 1e-9*math.Abs(*f.Value), "concept %s of %s %d", f.Concept, f.Container, f.Index)
		}
	}
	for key, n := range occurrence {
		values, _, _ := ours(r, key)
		assert.Len(t, values, n, "concept %s", key.Concept)
	}
}

func TestNumbersAgreeWithOutsideReaders(t *testing.T) {
	for name, report := range shapes() {
		t.Run(name, func(t *testing.T) {
			data := written(t, report, rdsr.WriteOptions{})
			got, err := rdsr.Read(data, rdsr.Options{})
			require.NoError(t, err)
			path := onDisk(t, data)
			compare(t, figuresOfPydicom(t, path), got)
			compare(t, figuresOfDCMTK(t, path), got)
		})
	}
}

// A file that DCMTK has rewritten in another transfer syntax, or with other length forms, says the same.
func TestRewrittenFilesReadTheSame(t *testing.T) {
	convert := peer.Need(t, "dcmconv")
	for name, report := range shapes() {
		data := written(t, report, rdsr.WriteOptions{})
		want, err := rdsr.Read(data, rdsr.Options{})
		require.NoError(t, err)
		from := onDisk(t, data)
		for form, options := range map[string][]string{
			"implicit little endian":     {"+ti"},
			"explicit little endian":     {"+te"},
			"explicit big endian":        {"+tb"},
			"deflated":                   {"+td"},
			"undefined lengths":          {"+te", "-e"},
			"explicit lengths":           {"+te", "+e"},
			"implicit undefined lengths": {"+ti", "-e"},
			"without file meta":          {"-F", "+ti"},
		} {
			t.Run(name+" "+form, func(t *testing.T) {
				to := filepath.Join(t.TempDir(), "rewritten.dcm")
				out, ok := said(t, convert, append(options, from, to)...)
				require.True(t, ok, out)
				rewritten, err := os.ReadFile(to)
				require.NoError(t, err)
				got, err := rdsr.Read(rewritten, rdsr.Options{})
				require.NoError(t, err)
				assert.Equal(t, want.DataSetDigest, got.DataSetDigest)
				assert.Equal(t, want.ContentDigest, got.ContentDigest)
				assert.Equal(t, carried(want), carried(got))
				if form != "without file meta" {
					compare(t, figuresOfDCMTK(t, to), got)
				}
			})
		}
	}
}
