package dicomio

import "errors"

// Identity is what an object says it is.
type Identity struct {
	SOPClassUID, SOPInstanceUID, StudyUID string
	// SeriesUID and StudyDate are "" where the data set does not say them or was not reached.
	SeriesUID, StudyDate string
	// MetaSOPClassUID and MetaSOPInstanceUID are what the file meta says, "" without one.
	MetaSOPClassUID, MetaSOPInstanceUID string
	// ProcedureReported is the code value and the coding scheme of the content item (121058, DCM, "Procedure
	// reported"), which tells the kind of a dose report (PS3.16 TID 10001); empty in other objects.
	ProcedureReported [2]string
	TransferSyntax    string
	// InDataSet tells that SOP class and instance stand in the data set itself, and not in the file meta alone.
	InDataSet bool
}

// Identify tells what an object is by the guard's walk alone. When the guard refuses the object, the error is that of
// Read, and the identity holds what was seen before: the file meta stands in for a data set that was not reached.
func Identify(data []byte, lim Limits) (Identity, error) {
	env, err := openEnvelope(data, lim)
	id := Identity{TransferSyntax: env.syntax, MetaSOPClassUID: env.sopClass, MetaSOPInstanceUID: env.sopInstance}
	if err == nil || encapsulated(err, env) {
		seek := seeker{id: &id, w: newWalker(env.body, env.bodyFrom, env.dialect, lim)}
		if walkErr := seek.run(); err == nil {
			err = walkErr
		}
	}
	id.InDataSet = id.SOPClassUID != "" && id.SOPInstanceUID != ""
	if id.SOPClassUID == "" {
		id.SOPClassUID = env.sopClass
	}
	if id.SOPInstanceUID == "" {
		id.SOPInstanceUID = env.sopInstance
	}
	return id, err
}

// encapsulated tells whether an unsupported transfer syntax is one of compressed images, whose data set can be walked.
func encapsulated(err error, env envelope) bool {
	n := len(encapsulatedPrefix)
	return errors.Is(err, ErrTransferSyntax) && len(env.syntax) > n && env.syntax[:n] == encapsulatedPrefix
}

// procedureReported is the concept (121058, DCM, "Procedure reported").
const procedureReported = "121058"

// seeker picks the identifying values out of a walk.
type seeker struct {
	id      *Identity
	w       *walker
	concept bool // the current content item is "Procedure reported"
	done    bool
}

func (s *seeker) run() error {
	_, err := inspectWith(s.w, s.see)
	return err
}

func (s *seeker) see(tok token) {
	stack := s.w.stack
	switch {
	case tok.event == eventItem && len(stack) == 2 && tok.tag == tagContent:
		s.concept = false
	case tok.event != eventElement:
	case len(stack) == 0:
		s.top(tok)
	case len(stack) == 4 && stack[0].tag == tagContent && !s.done:
		s.code(tok, stack[2].tag)
	}
}

func (s *seeker) text(tok token) string {
	const longest = 256
	if tok.end-tok.value > longest || tok.fragments {
		return ""
	}
	return plainText(s.w.data[tok.value:tok.end])
}

func (s *seeker) top(tok token) {
	switch tok.tag {
	case tagSOPClassUID:
		s.id.SOPClassUID = s.text(tok)
	case tagSOPInstanceUID:
		s.id.SOPInstanceUID = s.text(tok)
	case tagStudyUID:
		s.id.StudyUID = s.text(tok)
	case tagSeriesUID:
		s.id.SeriesUID = s.text(tok)
	case tagStudyDate:
		s.id.StudyDate = s.text(tok)
	default: // does not identify
	}
}

// code sees a code value or scheme of a content item of the root: of its concept name, then of its value.
func (s *seeker) code(tok token, sequence Tag) {
	switch {
	case sequence == tagConceptName && tok.tag == tagCodeValue:
		s.concept = s.text(tok) == procedureReported
	case sequence != tagConceptCode || !s.concept:
	case tok.tag == tagCodeValue:
		s.id.ProcedureReported[0] = s.text(tok)
	case tok.tag == tagCodingScheme:
		s.id.ProcedureReported[1] = s.text(tok)
		s.done = true
	}
}
