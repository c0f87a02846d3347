package release

import (
	"cmp"
	"slices"
	"strings"

	"afterbeam/internal/procedure"
	"afterbeam/internal/report/dicomio"
)

// Attributes of the header and of content items (PS3.6).
const (
	tagCharacterSet       dicomio.Tag = 0x00080005
	tagSOPClass           dicomio.Tag = 0x00080016
	tagSOPInstance        dicomio.Tag = 0x00080018
	tagStudyDate          dicomio.Tag = 0x00080020
	tagSeriesDate         dicomio.Tag = 0x00080021
	tagContentDate        dicomio.Tag = 0x00080023
	tagStudyTime          dicomio.Tag = 0x00080030
	tagSeriesTime         dicomio.Tag = 0x00080031
	tagContentTime        dicomio.Tag = 0x00080033
	tagAccession          dicomio.Tag = 0x00080050
	tagModality           dicomio.Tag = 0x00080060
	tagManufacturer       dicomio.Tag = 0x00080070
	tagReferringPhysician dicomio.Tag = 0x00080090
	tagCodeValue          dicomio.Tag = 0x00080100
	tagCodeScheme         dicomio.Tag = 0x00080102
	tagCodeMeaning        dicomio.Tag = 0x00080104
	tagMappingResource    dicomio.Tag = 0x00080105
	tagLongCodeValue      dicomio.Tag = 0x00080119
	tagZoneOffset         dicomio.Tag = 0x00080201
	tagStation            dicomio.Tag = 0x00081010
	tagModel              dicomio.Tag = 0x00081090
	tagReferencedStep     dicomio.Tag = 0x00081111
	tagPatientName        dicomio.Tag = 0x00100010
	tagPatientID          dicomio.Tag = 0x00100020
	tagBirthDate          dicomio.Tag = 0x00100030
	tagSex                dicomio.Tag = 0x00100040
	tagAge                dicomio.Tag = 0x00101010
	tagHeight             dicomio.Tag = 0x00101020
	tagWeight             dicomio.Tag = 0x00101030
	tagPregnancy          dicomio.Tag = 0x001021C0
	tagIdentityRemoved    dicomio.Tag = 0x00120062
	tagMethod             dicomio.Tag = 0x00120063
	tagMethodCodes        dicomio.Tag = 0x00120064
	tagSerial             dicomio.Tag = 0x00181000
	tagSoftware           dicomio.Tag = 0x00181020
	tagStudy              dicomio.Tag = 0x0020000D
	tagSeries             dicomio.Tag = 0x0020000E
	tagStudyID            dicomio.Tag = 0x00200010
	tagSeriesNumber       dicomio.Tag = 0x00200011
	tagInstanceNumber     dicomio.Tag = 0x00200013
	tagTimeModified       dicomio.Tag = 0x00280303
	tagUnits              dicomio.Tag = 0x004008EA
	tagRelationship       dicomio.Tag = 0x0040A010
	tagValueType          dicomio.Tag = 0x0040A040
	tagConceptName        dicomio.Tag = 0x0040A043
	tagContinuity         dicomio.Tag = 0x0040A050
	tagDateTime           dicomio.Tag = 0x0040A120
	tagPersonName         dicomio.Tag = 0x0040A123
	tagUID                dicomio.Tag = 0x0040A124
	tagText               dicomio.Tag = 0x0040A160
	tagFloat              dicomio.Tag = 0x0040A161
	tagConceptCode        dicomio.Tag = 0x0040A168
	tagMeasured           dicomio.Tag = 0x0040A300
	tagQualifier          dicomio.Tag = 0x0040A301
	tagNumber             dicomio.Tag = 0x0040A30A
	tagPerformedCodes     dicomio.Tag = 0x0040A372
	tagCompletion         dicomio.Tag = 0x0040A491
	tagVerification       dicomio.Tag = 0x0040A493
	tagTemplate           dicomio.Tag = 0x0040A504
	tagContent            dicomio.Tag = 0x0040A730
	tagTemplateID         dicomio.Tag = 0x0040DB00
)

// element makes an element; the value "" makes an empty one.
func element(tag dicomio.Tag, vr, value string) dicomio.Element {
	e := dicomio.Element{Tag: tag, VR: vr}
	if value != "" {
		e.Values = []string{value}
	}
	return e
}

func sequence(tag dicomio.Tag, items ...dicomio.DataSet) dicomio.Element {
	return dicomio.Element{Tag: tag, VR: "SQ", Items: items}
}

func sorted(set dicomio.DataSet) dicomio.DataSet {
	slices.SortStableFunc(set, func(a, b dicomio.Element) int { return cmp.Compare(a.Tag, b.Tag) })
	return set
}

func trimmed(set dicomio.DataSet, tag dicomio.Tag) string { return strings.TrimSpace(set.Text(tag)) }

// code makes a code sequence item. Code Value holds 16 characters, longer ones go to Long Code Value, and a meaning holds 64
// (PS3.3 8.1).
func code(value, scheme, meaning string) dicomio.DataSet {
	const longestValue, longestMeaning = 16, 64
	v := element(tagCodeValue, "SH", value)
	if len(value) > longestValue {
		v = element(tagLongCodeValue, "UC", value)
	}
	return sorted(dicomio.DataSet{v, element(tagCodeScheme, "SH", scheme), element(tagCodeMeaning, "LO", meaning[:min(len(meaning), longestMeaning)])})
}

// codeAt reads the first item of a code sequence, without its meaning.
func codeAt(set dicomio.DataSet, tag dicomio.Tag) procedure.Code {
	items := set.Items(tag)
	if len(items) == 0 {
		return procedure.Code{}
	}
	c := procedure.Code{Value: trimmed(items[0], tagCodeValue), Scheme: trimmed(items[0], tagCodeScheme)}
	if c.Value == "" {
		c.Value = trimmed(items[0], tagLongCodeValue)
	}
	return c
}
