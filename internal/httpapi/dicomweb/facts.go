package dicomweb

import (
	"net/http"
	"strings"

	"afterbeam/internal/access"
)

// Facts is what a conformance statement says of this interface.
type Facts struct {
	Services []ServiceFact
	Reasons  []ReasonFact
	Keys     []KeyFact
	Results  []string // attributes of results of a search, as tags
	Refused  []string // keywords that are never searched by
	Limits   []LimitFact
	Notes    []string
}

// ServiceFact is one operation.
type ServiceFact struct {
	Operation    access.Operation
	Transaction  string // Store, Search or Retrieve
	Method, Path string
	Takes, Gives []string // media types, the default first
	Statuses     []StatusFact
}

// StatusFact says when a status is answered.
type StatusFact struct {
	Status  int
	Meaning string
}

// ReasonFact says what a reason of the Store Instances Response Module means.
type ReasonFact struct {
	Reason  Reason
	Kind    string // warning or failure
	Meaning string
}

// KeyFact is a matching key.
type KeyFact struct{ Tag, Keyword, Level, Form string }

// LimitFact is a limit that holds unless the site changed it.
type LimitFact struct {
	What string
	Most int64
}

// Facts gives the facts, from the tables that the code works by.
func (o *Origin) Facts() Facts {
	f := Facts{
		Reasons: reasons(), Refused: identifiers(),
		Limits: []LimitFact{
			{"bytes of one object", o.cfg.ObjectLimit},
			{"objects in one Store request", int64(o.cfg.MostParts)},
			{"results of one Search", mostResults},
			{"results of one Search without limit", defaultResults},
			{"instances of one Retrieve", mostRetrieved},
		},
		Notes: []string{
			"An object is kept unchanged; nothing is coerced, so that no Original Attributes Sequence is ever added.",
			"An object goes out in the transfer syntax it came in; a preamble that is not zero is zeroed, all other bytes are as they came.",
			"An object that was sent before is answered as the first time and changes nothing.",
			"Of different objects with one SOP Instance UID all are kept; the one that came first is found and retrieved, and a person is asked to look.",
			"Objects in quarantine are neither found nor retrieved; a Retrieve URL is empty for them.",
			"Callers whose rooms are limited find and retrieve what was read as a report of one of their rooms, and nothing before it was read.",
			"Metadata holds whole data sets with values in place; there are no bulk data links. Group 0002 is left out.",
			"Not offered: Store of metadata and bulk data, rendered resources, Retrieve of frames and bulk data, Delete, the query parameter accept, worklists.",
		},
	}
	for _, op := range o.Operations() {
		f.Services = append(f.Services, serviceFact(op))
	}
	names := map[level]string{studyLevel: "study", seriesLevel: "series", instanceLevel: "instance"}
	for _, k := range keys() {
		f.Keys = append(f.Keys, KeyFact{k.tag.String(), k.name, names[k.level], k.form})
	}
	for _, c := range columns() {
		f.Results = append(f.Results, c.tag.String())
	}
	return f
}

func serviceFact(op Operation) ServiceFact {
	s := ServiceFact{Operation: op.Name, Method: op.Method, Path: op.Path}
	offers := modelOffers()
	switch {
	case op.Receives:
		s.Transaction, s.Takes, s.Statuses = "Store", []string{offer{mediaDICOM, true}.String()}, storeStatuses()
		offers = storeOffers()
	case strings.HasPrefix(string(op.Name), "search"):
		s.Transaction, s.Statuses = "Search", searchStatuses()
	default:
		s.Transaction, s.Statuses = "Retrieve", retrieveStatuses()
		if !strings.HasSuffix(op.Path, "/metadata") {
			offers = objectOffers(strings.HasSuffix(op.Path, "/:instance"))
		}
	}
	for _, one := range offers {
		s.Gives = append(s.Gives, one.String())
	}
	s.Statuses = append(s.Statuses, generalStatuses()...)
	return s
}

func storeStatuses() []StatusFact {
	return []StatusFact{
		{http.StatusOK, "Every object is on stable storage."},
		{http.StatusAccepted, "Some objects are on stable storage; others were not kept, or are kept in quarantine with a warning."},
		{http.StatusBadRequest, "Nothing is kept: no boundary, no part, a body that ended early, or no part was understood."},
		{http.StatusConflict, "Nothing is kept: objects of another study, file meta of another object, or a mixture of reasons."},
		{http.StatusRequestEntityTooLarge, "Nothing is kept: the request, its number of parts or every object is over a limit."},
		{http.StatusUnsupportedMediaType, "Nothing is kept: the body or every part is of another media type, or compressed."},
	}
}

func searchStatuses() []StatusFact {
	return []StatusFact{
		{http.StatusOK, "There are results; the header Warning says when there are more."},
		{http.StatusNoContent, "Nothing matches."},
		{http.StatusBadRequest, "A key is not known, has another form, or is an identifier of a patient."},
	}
}

func retrieveStatuses() []StatusFact {
	return []StatusFact{
		{http.StatusOK, "The objects or their metadata."},
		{http.StatusBadRequest, "The path holds no UIDs, or there are too many instances."},
		{http.StatusNotFound, "No such instances among those the caller may see."},
	}
}

func generalStatuses() []StatusFact {
	return []StatusFact{
		{http.StatusUnauthorized, "No valid token."},
		{http.StatusForbidden, "The account's role may not do this."},
		{http.StatusNotAcceptable, "No media type of the header Accept is offered."},
		{http.StatusTooManyRequests, "Too many requests; Retry-After says when to come back."},
		{http.StatusServiceUnavailable, "Disk, database or memory take nothing now; Retry-After says when to come back."},
	}
}
