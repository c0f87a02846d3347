package httpapi

import (
	"net/http"
	"strconv"
	"sync"
)

const (
	// rememberedDoses is how many cumulative doses are remembered, and largestDose the longest in bytes: together 80 MB at
	// the very most, and a sixth of that for the usual answers.
	rememberedDoses = 4000
	largestDose     = 20 << 10
)

// doses remembers the cumulative doses that were asked for last. A change of any procedure or of who is one patient makes
// all of them stale, see store.DB.DosesAge: none is answered that the store would not give now.
type doses struct {
	mu   sync.Mutex
	seen *recent[agedDose]
}

type agedDose struct {
	age  uint64
	body []byte
}

func newDoses() *doses { return &doses{seen: newRecent[agedDose](rememberedDoses)} }

// get gives the answer that was kept for a patient at this age.
func (d *doses) get(patient string, age uint64) ([]byte, bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	one, found := d.seen.find(patient)
	if !found || one.age != age {
		return nil, false
	}
	return one.body, true
}

// keep remembers an answer. The age is the one from before anything of it was read.
func (d *doses) keep(patient string, age uint64, body []byte) {
	if len(body) > largestDose {
		return
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	*d.seen.get(patient, func() agedDose { return agedDose{} }) = agedDose{age, body}
}

// doseAnswer is a cumulative dose as it goes over the wire, with its length said.
type doseAnswer struct{ body []byte }

// VisitGetPatientDoseResponse writes the answer.
func (a doseAnswer) VisitGetPatientDoseResponse(w http.ResponseWriter) error {
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Content-Length", strconv.Itoa(len(a.body)))
	w.WriteHeader(http.StatusOK)
	_, err := w.Write(a.body)
	return err
}
