package dicomio

import (
	"cmp"
	"fmt"
	"slices"
)

// Tag is a data element tag, group<<16 | element.
type Tag uint32

// Group gives the group number.
func (t Tag) Group() uint16 { return uint16(t >> 16) }

// Number gives the element number inside the group.
func (t Tag) Number() uint16 { return uint16(t) }

// Private tells whether the tag belongs to a private (odd) group.
func (t Tag) Private() bool { return t.Group()&1 == 1 }

// String writes the tag the way the standard does: (0008,0018).
func (t Tag) String() string { return fmt.Sprintf("(%04X,%04X)", t.Group(), t.Number()) }

// The tags this package itself must know.
const (
	tagFileMetaLength      Tag = 0x00020000
	tagFileMetaVersion     Tag = 0x00020001
	tagMediaSOPClassUID    Tag = 0x00020002
	tagMediaSOPInstanceUID Tag = 0x00020003
	tagTransferSyntaxUID   Tag = 0x00020010
	tagImplementationUID   Tag = 0x00020012
	tagImplementationName  Tag = 0x00020013
	tagCharacterSet        Tag = 0x00080005
	tagSOPClassUID         Tag = 0x00080016
	tagSOPInstanceUID      Tag = 0x00080018
	tagStudyDate           Tag = 0x00080020
	tagCodeValue           Tag = 0x00080100
	tagCodingScheme        Tag = 0x00080102
	tagStudyUID            Tag = 0x0020000D
	tagSeriesUID           Tag = 0x0020000E
	tagConceptName         Tag = 0x0040A043
	tagConceptCode         Tag = 0x0040A168
	tagContent             Tag = 0x0040A730
	tagPixelData           Tag = 0x7FE00010
	tagTrailingPadding     Tag = 0xFFFCFFFC
	tagItem                Tag = 0xFFFEE000
	tagItemEnd             Tag = 0xFFFEE00D
	tagSequenceEnd         Tag = 0xFFFEE0DD
)

// Element is one data element.
type Element struct {
	Tag Tag
	VR  string
	// Values holds text and numeric strings, and binary integers, floats and attribute tags as decimal text; padding
	// is trimmed, the text is valid UTF-8. An element without a value has none.
	Values []string
	// Floats holds the exact values of FL and FD.
	Floats []float64
	// Items holds the items of a sequence.
	Items []DataSet
	// Bytes holds values that are not decoded (OB, OW, UN and the like) as little endian bytes; pixel data is dropped.
	// Elements that no dictionary knows keep their bytes here besides Values.
	Bytes []byte
}

// DataSet is a list of elements in ascending order of tags.
type DataSet []Element

// Find gives the element with a tag.
func (d DataSet) Find(t Tag) (Element, bool) {
	i, ok := slices.BinarySearchFunc(d, t, func(e Element, t Tag) int { return cmp.Compare(e.Tag, t) })
	if !ok {
		return Element{}, false
	}
	return d[i], true
}

// Text gives the first value of an element, or "" when it is absent or empty.
func (d DataSet) Text(t Tag) string {
	e, ok := d.Find(t)
	if !ok || len(e.Values) == 0 {
		return ""
	}
	return e.Values[0]
}

// Items gives the items of a sequence, none when it is absent.
func (d DataSet) Items(t Tag) []DataSet {
	e, _ := d.Find(t)
	return e.Items
}
