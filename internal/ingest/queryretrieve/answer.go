package queryretrieve

import (
	"bytes"
	"errors"
	"fmt"
	"strings"

	"afterbeam/internal/report/dicomio"
)

// Answer is what one C-FIND answer says; what is not of its level is "".
type Answer struct {
	Study, Series, Instance, Class string
	Modality                       string
	Modalities                     []string
}

// errAnswer marks an answer that cannot be used.
var errAnswer = errors.New("answer not understood")

// longestAnswer is far above any answer to what is asked here, bytes.
const longestAnswer = 64 << 10

// ReadAnswer reads the data set of a C-FIND answer. It refuses one that cannot be decoded or names something by what is
// no UID; its errors hold no value of it.
func ReadAnswer(raw []byte, transfer string) (Answer, error) {
	if len(raw) > longestAnswer {
		return Answer{}, fmt.Errorf("%w: longer than %d bytes", errAnswer, longestAnswer)
	}
	front, err := dicomio.Front(findClass, "1.2", transfer) // an identifier has no instance UID of its own
	if err != nil {
		return Answer{}, fmt.Errorf("%w: %w", errAnswer, err)
	}
	set, err := dicomio.ReadHeader(bytes.Join([][]byte{front, raw}, nil), dicomio.DefaultLimits())
	if err != nil {
		return Answer{}, fmt.Errorf("%w: %w", errAnswer, err)
	}
	a := Answer{Modality: strings.TrimSpace(set.Text(tagModality))}
	for _, one := range []struct {
		tag dicomio.Tag
		to  *string
	}{{tagStudy, &a.Study}, {tagSeries, &a.Series}, {tagSOPInstance, &a.Instance}, {tagSOPClass, &a.Class}} {
		uid := strings.TrimSpace(set.Text(one.tag))
		if _, err := dicomio.Front(uid, uid, transfer); uid != "" && err != nil {
			return Answer{}, fmt.Errorf("%w: %s is no UID", errAnswer, dicomio.Keyword(one.tag))
		}
		*one.to = uid
	}
	if e, ok := set.Find(tagModalities); ok {
		for _, m := range e.Values {
			if m = strings.TrimSpace(m); m != "" {
				a.Modalities = append(a.Modalities, m)
			}
		}
	}
	return a, nil
}
