package queryretrieve

import (
	"slices"

	"afterbeam/internal/ingest/dimse"
	"afterbeam/internal/ingest/dimse/upper"
	"afterbeam/internal/report/dicomio"
)

// The SOP classes of the service (PS3.4 table C.6.2-1, study root).
const (
	findClass = "1.2.840.10008.5.1.4.1.2.2.1"
	moveClass = "1.2.840.10008.5.1.4.1.2.2.2"
	getClass  = "1.2.840.10008.5.1.4.1.2.2.3"
)

// doseClasses are those of dose reports of their own; the other classes that the door takes hold dose reports only where
// an archive has converted them, and many other things.
func doseClasses() []string {
	return []string{"1.2.840.10008.5.1.4.1.1.88.67", "1.2.840.10008.5.1.4.1.1.88.76"}
}

// The attributes of identifiers.
const (
	tagSOPClass    dicomio.Tag = 0x00080016
	tagSOPInstance dicomio.Tag = 0x00080018
	tagStudyDate   dicomio.Tag = 0x00080020
	tagLevel       dicomio.Tag = 0x00080052
	tagModality    dicomio.Tag = 0x00080060
	tagModalities  dicomio.Tag = 0x00080061
	tagStudy       dicomio.Tag = 0x0020000D
	tagSeries      dicomio.Tag = 0x0020000E
)

// question is what is sent as an identifier: the level, what is matched, and what is asked for with an empty value.
type question struct {
	Message string
	Level   string
	Matched []dicomio.Tag
	Asked   []dicomio.Tag
}

func studies() question {
	return question{"C-FIND", "STUDY", []dicomio.Tag{tagStudyDate}, []dicomio.Tag{tagModalities, tagStudy}}
}

func series() question {
	return question{"C-FIND", "SERIES", []dicomio.Tag{tagModality, tagStudy}, []dicomio.Tag{tagSeries}}
}

func instances() question {
	return question{"C-FIND", "IMAGE", []dicomio.Tag{tagStudy, tagSeries}, []dicomio.Tag{tagSOPClass, tagSOPInstance}}
}

func object() question {
	return question{"C-GET or C-MOVE", "IMAGE", []dicomio.Tag{tagSOPInstance, tagStudy, tagSeries}, nil}
}

// identifier gives the data set of a question.
func (q question) identifier(values map[dicomio.Tag]string) dicomio.DataSet {
	set := dicomio.DataSet{{Tag: tagLevel, VR: dicomio.VROf(tagLevel), Values: []string{q.Level}}}
	for _, tag := range q.Matched {
		set = append(set, dicomio.Element{Tag: tag, VR: dicomio.VROf(tag), Values: []string{values[tag]}})
	}
	for _, tag := range q.Asked {
		set = append(set, dicomio.Element{Tag: tag, VR: dicomio.VROf(tag)})
	}
	slices.SortFunc(set, func(a, b dicomio.Element) int { return int(a.Tag) - int(b.Tag) })
	return set
}

// modalityOfReports is that of every structured report (PS3.3 C.17.1).
const modalityOfReports = "SR"

// elsewhere are the modalities whose studies hold no fluoroscopy, companions those of objects that accompany any images
// (PS3.3 C.7.3.1.1.1). Common practice, no source.
func elsewhere() []string { return []string{"CT", "MG", "MR", "NM", "PT", "US"} }

func companions() []string {
	return []string{modalityOfReports, "DOC", "KO", "PR", "REG", "RWV", "SEG"}
}

// passed tells whether a study is not looked into: it has a modality of elsewhere, and no other but companions. One whose
// modalities are not told, or which has reports alone, is looked into.
func passed(modalities []string) bool {
	other := false
	for _, m := range modalities {
		switch {
		case slices.Contains(elsewhere(), m):
			other = true
		case !slices.Contains(companions(), m):
			return false
		}
	}
	return other
}

// Facts is what a conformance statement says of the service's use of an archive.
type Facts struct {
	Proposed []Proposed
	Sent     []Sent
	// PassedOver lists the modalities of studies that are not looked into.
	PassedOver []string
	Answers    []dimse.Outcome
}

// Proposed is a SOP class with the role and the transfer syntaxes, each in a presentation context of its own.
type Proposed struct {
	Name, SOPClass, Role string
	Transfer             []string
}

// Sent is one identifier.
type Sent struct {
	Message, Level string
	Matched, Asked []string
}

// Describe gives the facts, from the tables that Run works by.
func Describe() Facts {
	f := Facts{PassedOver: elsewhere(), Answers: meanings()}
	for _, one := range []Proposed{
		{Name: "Study Root Query/Retrieve Information Model - FIND", SOPClass: findClass},
		{Name: "Study Root Query/Retrieve Information Model - GET", SOPClass: getClass},
		{Name: "Study Root Query/Retrieve Information Model - MOVE", SOPClass: moveClass},
	} {
		one.Role, one.Transfer = "SCU", syntaxes()
		f.Proposed = append(f.Proposed, one)
	}
	for _, s := range dimse.Storage(nil) {
		f.Proposed = append(f.Proposed, Proposed{s.Name, s.SOPClass, "SCP (for C-GET)", s.Transfer})
	}
	for _, q := range []question{studies(), series(), instances(), object()} {
		f.Sent = append(f.Sent, Sent{q.Message, q.Level, keywords(q.Matched), keywords(q.Asked)})
	}
	return f
}

func keywords(tags []dicomio.Tag) []string {
	var all []string
	for _, tag := range tags {
		all = append(all, dicomio.Keyword(tag))
	}
	return all
}

// syntaxes are those in which identifiers are sent.
func syntaxes() []string { return []string{upper.ExplicitLittle, upper.ImplicitLittle} }

// proposals asks for everything that a run may need, each transfer syntax separately.
func proposals(storage []dimse.Service) []upper.Proposal {
	var all []upper.Proposal
	for _, class := range []string{findClass, getClass, moveClass} {
		all = append(all, upper.Each(class, syntaxes()...)...)
	}
	for _, s := range storage {
		for _, one := range upper.Each(s.SOPClass, s.Transfer...) {
			one.SCP = true
			all = append(all, one)
		}
	}
	return all
}
