package release_test

import (
	"bytes"
	"encoding/base64"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"
	"unicode/utf16"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/export/release"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/report/rdsr"
)

// plant is a string that tells who somebody is, and what carries it: elements of the top, content items, or a change of the file.
type plant struct {
	where, text string
	top         []dicomio.Element
	item        dicomio.DataSet
}

func inTop(where, text string, elements ...dicomio.Element) plant {
	return plant{where: where, text: text, top: elements}
}

func inTree(where, text string, item dicomio.DataSet) plant {
	return plant{where: where, text: text, item: item}
}

func raw(tag dicomio.Tag, vr, text string) dicomio.Element {
	return dicomio.Element{Tag: tag, VR: vr, Bytes: []byte(text)}
}

// asNumbers spells a text as binary integers of so many bytes.
func asNumbers(tag dicomio.Tag, vr, text string, size int) dicomio.Element {
	e := dicomio.Element{Tag: tag, VR: vr}
	for b := []byte(text); len(b) >= size; b = b[size:] {
		var n uint64
		for i := size - 1; i >= 0; i-- {
			n = n<<8 | uint64(b[i])
		}
		e.Values = append(e.Values, strconv.FormatUint(n, 10))
	}
	return e
}

// asTags spells a text as attribute tags: group, then element.
func asTags(tag dicomio.Tag, text string) dicomio.Element {
	e := dicomio.Element{Tag: tag, VR: "AT"}
	for b := []byte(text); len(b) >= 4; b = b[4:] {
		e.Values = append(e.Values, fmt.Sprint(int(binary.LittleEndian.Uint16(b))<<16|int(binary.LittleEndian.Uint16(b[2:]))))
	}
	return e
}

func asFloat(text string) float64 {
	return math.Float64frombits(binary.LittleEndian.Uint64([]byte(text)))
}

// plants are 40 and some strings over every value representation and position of a dose report.
func plants() []plant {
	const doses = "113706"
	measured := func(number string, more ...dicomio.Element) dicomio.Element {
		return seq(0x0040A300, with(dicomio.DataSet{seq(0x004008EA, coded("Gy", "UCUM", "Gy")), text(0x0040A30A, "DS", number)}, more...))
	}
	private := func(n uint16) dicomio.Tag { return 0x00991000 | dicomio.Tag(n) }
	return []plant{
		// The header, one of each value representation.
		inTop("PN", "QUARLES", text(0x00100010, "PN", "QUARLES^BRIONY")),
		inTop("LO", "MRN-881273", text(0x00100020, "LO", "MRN-881273")),
		inTop("LO, issuer", "WESSEXTRUST", text(0x00100021, "LO", "WESSEXTRUST")),
		inTop("DA", "19310607", text(0x00100030, "DA", "19310607")),
		inTop("TM", "041907.77", text(0x00100032, "TM", "041907.77")),
		inTop("SH", "ACC-55120", text(0x00080050, "SH", "ACC-55120")),
		inTop("ST", "9 Heron Row", text(0x00080081, "ST", "9 Heron Row")),
		inTop("LT", "son is Ivo Quarles", text(0x00104000, "LT", "son is Ivo Quarles")),
		inTop("UT", "met at 17 Fen Lane", text(0x00404039, "UT", "met at 17 Fen Lane")),
		inTop("UC", "UCPLANTED0001", text(0x00120022, "UC", "UCPLANTED0001")),
		inTop("UR", "http://heron.example", text(0x00081190, "UR", "http://heron.example/quarles")),
		inTop("AE", "BRIONYAE", text(0x00080054, "AE", "BRIONYAE")),
		inTop("CS", "QUARLESCS", text(0x00180015, "CS", "QUARLESCS")),
		inTop("AS in characters beyond ASCII", "Zoë Quärles", text(0x00081048, "PN", "Zoë Quärles")),
		inTop("DT", "20260921085213.271", text(0x0008002A, "DT", "20260921085213.271")),
		inTop("IS", "7788991", text(0x00200011, "IS", "7788991")),
		inTop("DS", "66.7712345", text(0x00189306, "DS", "66.7712345")),
		inTop("UI", "1.2.826.0.1.3680043.9.55512.1", text(0x0020000D, "UI", "1.2.826.0.1.3680043.9.55512.1")),
		inTop("sequence", "OTHERID-3391", seq(0x00101002, dicomio.DataSet{text(0x00100020, "LO", "OTHERID-3391")})),
		inTop("sequence in a sequence", "REQ-77Z", seq(0x0040A370, dicomio.DataSet{
			seq(0x00081110, dicomio.DataSet{text(0x00081155, "UI", "1.2.3"), text(0x00321060, "LO", "REQ-77Z")}),
		})),
		inTop("station", "FENWING3", text(0x00081010, "SH", "QUARLES FENWING3"), text(0x00181000, "LO", "FENWING3 of QUARLES")),
		inTop("maker", "Made for Briony", text(0x00080070, "LO", "Made for Briony"), text(0x00181020, "LO", "1.0", "Made for Briony")),
		// Private attributes of the binary representations.
		inTop("OB", "OBPLANTED1", text(0x00990010, "LO", "OBPLANTED1"), raw(private(1), "OB", "OBPLANTED1")),
		inTop("OW", "OWPLANTED1", raw(private(2), "OW", "OWPLANTED1")),
		inTop("UN", "UNPLANTED1", raw(private(3), "UN", "UNPLANTED1")),
		inTop("OD", "ODPLANTED0000001", raw(private(4), "OD", "ODPLANTED0000001")),
		inTop("OF", "OFPLANTED001", raw(private(5), "OF", "OFPLANTED001")),
		inTop("OL", "OLPLANTED001", raw(private(6), "OL", "OLPLANTED001")),
		inTop("US", "USPLANTED1", asNumbers(private(7), "US", "USPLANTED1", 2)),
		inTop("UL", "ULPLANTED001", asNumbers(private(8), "UL", "ULPLANTED001", 4)),
		inTop("AT", "ATPLANTED001", asTags(private(9), "ATPLANTED001")),
		inTop("FD", "FDPLANT1", dicomio.Element{Tag: private(10), VR: "FD", Values: []string{"1"}, Floats: []float64{asFloat("FDPLANT1")}}),
		// The content tree: every value type, names, units and codes.
		inTree("TEXT", "COMMENTPLANT", content("TEXT", coded("121106", "DCM", "Comment"), text(0x0040A160, "UT", "COMMENTPLANT"))),
		inTree("TEXT that must be", "DrFenwickPlant", content("CONTAINER", coded("122505", "DCM", "Calibration"), text(0x0040A050, "CS", "SEPARATE"),
			content("TEXT", coded("113724", "DCM", "x"), text(0x0040A160, "UT", "DrFenwickPlant")))),
		inTree("PNAME", "NURSEPLANT", content("PNAME", coded("113870", "DCM", "Person Name"), text(0x0040A123, "PN", "NURSEPLANT^A"),
			content("TEXT", coded("113871", "DCM", "Person ID"), text(0x0040A160, "UT", "NURSEPLANT-4")))),
		inTree("UIDREF", "1.2.826.0.1.3680043.9.777.4", content("UIDREF", coded("113769", "DCM", "x"), text(0x0040A124, "UI", "1.2.826.0.1.3680043.9.777.4"))),
		inTree("DATETIME", "20260921091144", content("DATETIME", coded("111526", "DCM", "x"), text(0x0040A120, "DT", "20260921091144"))),
		inTree("a day of the device", "20260317", content("DATETIME", coded("113723", "DCM", "x"), text(0x0040A120, "DT", "20260317"))),
		inTree("IMAGE", "1.2.826.0.1.3680043.9.888.1", content("IMAGE", coded("113795", "DCM", "x"),
			seq(0x00081199, dicomio.DataSet{text(0x00081155, "UI", "1.2.826.0.1.3680043.9.888.1")}))),
		inTree("COMPOSITE", "1.2.826.0.1.3680043.9.888.2", content("COMPOSITE", coded("113795", "DCM", "x"),
			seq(0x00081199, dicomio.DataSet{text(0x00081155, "UI", "1.2.826.0.1.3680043.9.888.2")}))),
		inTree("DATE", "19310608", content("DATE", coded("111526", "DCM", "x"), text(0x0040A121, "DA", "19310608"))),
		inTree("TIME", "071533.1", content("TIME", coded("111526", "DCM", "x"), text(0x0040A122, "TM", "071533.1"))),
		inTree("meaning of a concept", "MEANINGPLANT", content("NUM", coded("113738", "DCM", "MEANINGPLANT"), measured("1.5"))),
		inTree("meaning of a value", "VALUEPLANT", content("CODE", coded("113721", "DCM", "x"), seq(0x0040A168, coded("113611", "DCM", "VALUEPLANT")))),
		inTree("value of a known scheme", "QRL77120", content("CODE", coded("113721", "DCM", "x"), seq(0x0040A168, coded("QRL77120", "DCM", "x")))),
		inTree("number as a code", "88127399", content("CODE", coded("123014", "DCM", "x"), seq(0x0040A168, coded("88127399", "SCT", "x")))),
		inTree("unit", "{QUARLESU}", content("NUM", coded("113738", "DCM", "x"),
			seq(0x0040A300, dicomio.DataSet{seq(0x004008EA, coded("{QUARLESU}", "UCUM", "x")), text(0x0040A30A, "DS", "1")}))),
		inTree("number that is none", "BRIONY 1", content("NUM", coded("113738", "DCM", "x"), measured("BRIONY 1"))),
		inTree("exact value", "FDTREEP1", content("NUM", coded("113738", "DCM", "x"),
			measured("1", dicomio.Element{Tag: 0x0040A161, VR: "FD", Values: []string{"1"}, Floats: []float64{asFloat("FDTREEP1")}}))),
		inTree("unknown concept", "LOCALPLANT", content("TEXT", coded("LOCAL1", "99QRL", "LOCALPLANT"), text(0x0040A160, "UT", "LOCALPLANT"))),
		inTree("private container", "DEEPPLANT", content("CONTAINER", coded("LOCAL2", "99QRL", "x"), text(0x0040A050, "CS", "SEPARATE"),
			content("CONTAINER", coded(doses, "DCM", "x"), text(0x0040A050, "CS", "SEPARATE"),
				content("TEXT", coded("121106", "DCM", "x"), text(0x0040A160, "UT", "DEEPPLANT"))))),
		inTree("below a number", "BELOWPLANT", content("NUM", coded("113738", "DCM", "x"), measured("2"),
			content("TEXT", coded("121106", "DCM", "x"), text(0x0040A160, "UT", "BELOWPLANT")))),
		inTree("attribute of an item", "ITEMPLANT", with(content("NUM", coded("113738", "DCM", "x"), measured("3")), text(0x0040A030, "DT", "2026"), text(0x0040A132, "DT", "2026"), text(0x00104000, "LT", "ITEMPLANT"))),
		inTree("label of an event", "LABELPLANT", content("TEXT", coded("113605", "DCM", "x"), text(0x0040A160, "UT", "LABELPLANT"))),
		inTree("room", "ROOMPLANT", content("TEXT", coded("121017", "DCM", "x"), text(0x0040A160, "UT", "ROOMPLANT"))),
	}
}

const (
	inPreamble = "PREAMBLEPLANT QUARLES"
	inMeta     = "METAPLANT"
)

// planted is a report of the scenario with every plant in it, as a file.
func planted(t *testing.T) []byte {
	set := rdsr.DataSet(staged(), rdsr.WriteOptions{})
	var items []dicomio.DataSet
	for _, p := range plants() {
		set = with(set, p.top...)
		if p.item != nil {
			items = append(items, p.item)
		}
	}
	tree := slices.Clone(set.Items(0x0040A730))
	set = with(set, seq(0x0040A730, append(tree, content("CONTAINER", coded("113706", "DCM", "x"), text(0x0040A050, "CS", "SEPARATE"), items...))...))
	raw := file(t, set)
	copy(raw, inPreamble)
	// One more element of the file meta, a source application's title, with the group's length told anew.
	extra := append([]byte{2, 0, 0x16, 0, 'A', 'E', 10, 0}, inMeta+" "...)
	length := binary.LittleEndian.Uint32(raw[140:])
	at := 144 + int(length)
	raw = slices.Insert(raw, at, extra...)
	binary.LittleEndian.PutUint32(raw[140:], length+uint32(len(extra)))
	return raw
}

// forms are the ways in which bytes can carry a text.
func forms(text string) map[string][]byte {
	all := map[string][]byte{"as it is": []byte(text), "hex": []byte(hex.EncodeToString([]byte(text)))}
	if latin := []byte(strings.Map(func(r rune) rune { return r }, text)); len(latin) > 0 {
		var one []byte
		for _, r := range text {
			one = append(one, byte(r))
		}
		all["ISO 8859-1"] = one
	}
	var little, big []byte
	for _, u := range utf16.Encode([]rune(text)) {
		little, big = binary.LittleEndian.AppendUint16(little, u), binary.BigEndian.AppendUint16(big, u)
	}
	all["UTF-16LE"], all["UTF-16BE"] = little, big
	for shift := range 3 {
		// The characters that do not depend on what stands before and after.
		coded := base64.StdEncoding.EncodeToString(append(bytes.Repeat([]byte{'x'}, shift), text...))
		if certain := coded[4*((shift+2)/3) : len(coded)-4]; len(certain) >= 8 {
			all[fmt.Sprintf("base64 at %d", shift)] = []byte(certain)
		}
	}
	return all
}

// assertAbsent searches bytes for texts in each form, in either case of letters. texts tells where each stood.
func assertAbsent(t *testing.T, texts map[string]string, in []byte) {
	t.Helper()
	lower := bytes.ToLower(in)
	for text, where := range texts {
		for form, b := range forms(text) {
			found := bytes.Contains(in, b)
			if !strings.HasPrefix(form, "base64") {
				found = bytes.Contains(lower, bytes.ToLower(b))
			}
			assert.False(t, found, "%s (%s) stands in the release, %s", text, where, form)
		}
	}
}

func TestNothingPlantedLeaves(t *testing.T) {
	raw := planted(t)
	require.GreaterOrEqual(t, len(plants()), 40)
	input := dataSet(t, raw)
	for name, o := range map[string]release.Options{"cautious": release.Cautious(), "most": most(), "make": {Device: release.DeviceMake, Persons: release.PersonsPseudonym}} {
		t.Run(name, func(t *testing.T) {
			got, err := release.Report(input, subject(staged()), pseudonyms(t, keyOfOne), o)
			require.NoError(t, err)
			texts := map[string]string{}
			for _, p := range append(plants(), inTop("preamble", inPreamble), inTop("file meta", inMeta)) {
				require.True(t, bytes.Contains(raw, []byte(p.text)), "%s (%s) is not in the input", p.text, p.where)
				texts[p.text] = p.where
			}
			assertAbsent(t, texts, got.Bytes)
			assert.Equal(t, make([]byte, 128), got.Bytes[:128], "the preamble")
			assert.Positive(t, got.Left.Numbers)
		})
	}
}

// What the scenario itself says of persons, places and days is nowhere either.
func TestNothingOfTheScenarioLeaves(t *testing.T) {
	for name, r := range scenario() {
		got := released(t, &r, keyOfOne, release.Cautious())
		telling := []string{
			r.Patient.ID, r.SOPInstanceUID, r.StudyUID, r.SeriesUID, r.Device.UID, r.Device.Serial, r.Device.Manufacturer, r.Device.Station,
			r.Study.AccessionNumber, r.Study.Description, r.Study.Institution, r.Study.Date.Time.Format("20060102"), r.Content.Time.Format("20060102"),
			strings.ReplaceAll(r.Patient.BirthDate, "-", ""), "Saltmarsh", "Synthetic",
		}
		for _, p := range r.Persons {
			telling = append(telling, p.Name, p.ID, p.Login)
		}
		for _, i := range []int{0, len(r.Events) - 1} {
			if i >= len(r.Events) || i < 0 {
				continue
			}
			telling = append(telling, r.Events[i].UID, r.Events[i].Comment, r.Events[i].Start.Time.Format("20060102"))
		}
		texts := map[string]string{}
		for _, one := range telling {
			if len(one) > 2 {
				texts[one] = name
			}
		}
		assertAbsent(t, texts, got.Bytes)
	}
}
