package rdsr_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/procedure"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/report/rdsr"
)

// Attributes that the changes below touch.
const (
	tagContent   dicomio.Tag = 0x0040A730
	tagName      dicomio.Tag = 0x0040A043
	tagCode      dicomio.Tag = 0x0040A168
	tagMeasured  dicomio.Tag = 0x0040A300
	tagQualifier dicomio.Tag = 0x0040A301
	tagNumber    dicomio.Tag = 0x0040A30A
	tagFloat     dicomio.Tag = 0x0040A161
	tagUnits     dicomio.Tag = 0x004008EA
	tagValue     dicomio.Tag = 0x00080100
	tagScheme    dicomio.Tag = 0x00080102
	tagMeaning   dicomio.Tag = 0x00080104
)

func text(tag dicomio.Tag, vr string, values ...string) dicomio.Element {
	return dicomio.Element{Tag: tag, VR: vr, Values: values}
}

func items(tag dicomio.Tag, sets ...dicomio.DataSet) dicomio.Element {
	return dicomio.Element{Tag: tag, VR: "SQ", Items: sets}
}

func codeItem(value, scheme, meaning string) dicomio.DataSet {
	return dicomio.DataSet{text(tagValue, "SH", value), text(tagScheme, "SH", scheme), text(tagMeaning, "LO", meaning)}
}

// put sets an element, in its place of the ascending order.
func put(set *dicomio.DataSet, e dicomio.Element) {
	drop(set, e.Tag)
	at, _ := slices.BinarySearchFunc(*set, e.Tag, func(have dicomio.Element, tag dicomio.Tag) int { return int(have.Tag) - int(tag) })
	*set = slices.Insert(*set, at, e)
}

func drop(set *dicomio.DataSet, tag dicomio.Tag) {
	*set = slices.DeleteFunc(*set, func(e dicomio.Element) bool { return e.Tag == tag })
}

func element(set *dicomio.DataSet, tag dicomio.Tag) *dicomio.Element {
	for i := range *set {
		if (*set)[i].Tag == tag {
			return &(*set)[i]
		}
	}
	panic("the data set to change has no element " + tag.String())
}

func nameOf(set dicomio.DataSet) string { return set.Items(tagName)[0].Text(tagValue) }

// all finds the content items at a path of concept code values.
func all(set *dicomio.DataSet, path ...string) []*dicomio.DataSet {
	found := []*dicomio.DataSet{set}
	for _, concept := range path {
		var next []*dicomio.DataSet
		for _, in := range found {
			if _, ok := in.Find(tagContent); !ok {
				continue
			}
			e := element(in, tagContent)
			for i := range e.Items {
				if nameOf(e.Items[i]) == concept {
					next = append(next, &e.Items[i])
				}
			}
		}
		found = next
	}
	return found
}

func first(set *dicomio.DataSet, path ...string) *dicomio.DataSet {
	found := all(set, path...)
	if len(found) == 0 {
		panic("the report to change has no item " + path[len(path)-1])
	}
	return found[0]
}

// without removes the content items at a path.
func without(set *dicomio.DataSet, path ...string) {
	last := len(path) - 1
	for _, parent := range all(set, path[:last]...) {
		if _, ok := parent.Find(tagContent); !ok {
			continue
		}
		e := element(parent, tagContent)
		e.Items = slices.DeleteFunc(e.Items, func(item dicomio.DataSet) bool { return nameOf(item) == path[last] })
	}
}

// add puts a content item into all containers at a path.
func add(set *dicomio.DataSet, item dicomio.DataSet, path ...string) {
	for _, parent := range all(set, path...) {
		e := element(parent, tagContent)
		e.Items = append(e.Items, item)
	}
}

// number writes the numeric value of all items at a path, and its unit unless that is "".
func number(set *dicomio.DataSet, value, unit string, path ...string) {
	for _, it := range all(set, path...) {
		measured := &element(it, tagMeasured).Items[0]
		drop(measured, tagFloat)
		put(measured, text(tagNumber, "DS", value))
		if unit != "" {
			put(measured, items(tagUnits, codeItem(unit, "UCUM", unit)))
		}
	}
}

// coded writes the code of all items at a path.
func coded(set *dicomio.DataSet, code dicomio.DataSet, path ...string) {
	for _, it := range all(set, path...) {
		put(it, items(tagCode, code))
	}
}

func numItem(concept, value, unit string) dicomio.DataSet {
	return dicomio.DataSet{
		text(0x0040A010, "CS", "CONTAINS"), text(0x0040A040, "CS", "NUM"), items(tagName, codeItem(concept, "DCM", concept)),
		items(tagMeasured, dicomio.DataSet{items(tagUnits, codeItem(unit, "UCUM", unit)), text(tagNumber, "DS", value)}),
	}
}

// quirk is one row of what equipment does: a report changed in that way, and what must come of it.
type quirk struct {
	report func() *procedure.Report // singlePlane when nil
	opt    rdsr.WriteOptions
	change func(*dicomio.DataSet)
	read   rdsr.Options
	// findings are "severity rule" of Findings that must be there.
	findings []string
	check    func(*testing.T, *procedure.Report)
	err      error
}

func run(t *testing.T, rows map[string]quirk) {
	t.Helper()
	for name, row := range rows {
		t.Run(name, func(t *testing.T) {
			if row.report == nil {
				row.report = singlePlane
			}
			set := rdsr.DataSet(row.report(), row.opt)
			if row.change != nil {
				row.change(&set)
			}
			got, err := rdsr.Read(encoded(t, set), row.read)
			if row.err != nil {
				require.ErrorIs(t, err, row.err)
				assert.Nil(t, got)
				return
			}
			require.NoError(t, err)
			rules := rulesOf(got)
			for _, want := range row.findings {
				assert.Contains(t, rules, want)
			}
			require.True(t, row.check != nil || len(row.findings) > 0, "a row must expect something")
			if row.check != nil {
				row.check(t, got)
			}
		})
	}
}

func rulesOf(r *procedure.Report) []string {
	var out []string
	for _, f := range r.Findings {
		out = append(out, f.Severity.String()+" "+f.Rule)
	}
	return out
}

// event, totals and so on are the paths most changed.
const (
	event  = "113706"
	totals = "113702"
	kerma  = "113738"
	area   = "122130"
)
