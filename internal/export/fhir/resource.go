package fhir

// Resource is any of the resources of this package.
type Resource interface {
	// Kind is the name of its type, ResourceID its id, "" where it has none.
	Kind() string
	ResourceID() string
}

// Header begins every resource.
type Header struct {
	Type string `json:"resourceType"`
	ID   string `json:"id,omitempty"`
	Meta *Meta  `json:"meta,omitempty"`
}

// Kind gives the name of the type.
func (h *Header) Kind() string { return h.Type }

// ResourceID gives the id.
func (h *Header) ResourceID() string { return h.ID }

// Observation is a set of totals or an estimate.
type Observation struct {
	Header
	Identifier        []Identifier `json:"identifier,omitempty"`
	BasedOn           []Reference  `json:"basedOn,omitempty"`
	PartOf            []Reference  `json:"partOf,omitempty"`
	Status            string       `json:"status"`
	Code              Concept      `json:"code"`
	Subject           *Reference   `json:"subject,omitempty"`
	Focus             []Reference  `json:"focus,omitempty"`
	EffectiveDateTime string       `json:"effectiveDateTime,omitempty"`
	Issued            string       `json:"issued,omitempty"`
	Performer         []Reference  `json:"performer,omitempty"`
	ValueQuantity     *Quantity    `json:"valueQuantity,omitempty"`
	ValueString       string       `json:"valueString,omitempty"`
	DataAbsentReason  *Concept     `json:"dataAbsentReason,omitempty"`
	Note              []Annotation `json:"note,omitempty"`
	Method            *Concept     `json:"method,omitempty"`
	Device            *Reference   `json:"device,omitempty"`
	DerivedFrom       []Reference  `json:"derivedFrom,omitempty"`
	Component         []Component  `json:"component,omitempty"`
}

// Component is one of the numbers of an Observation.
type Component struct {
	Code                 Concept   `json:"code"`
	ValueQuantity        *Quantity `json:"valueQuantity,omitempty"`
	ValueCodeableConcept *Concept  `json:"valueCodeableConcept,omitempty"`
	ValueRange           *Range    `json:"valueRange,omitempty"`
	DataAbsentReason     *Concept  `json:"dataAbsentReason,omitempty"`
}

// Device is a piece of equipment.
type Device struct {
	Header
	Identifier   []Identifier  `json:"identifier,omitempty"`
	Manufacturer string        `json:"manufacturer,omitempty"`
	SerialNumber string        `json:"serialNumber,omitempty"`
	DeviceName   []DeviceName  `json:"deviceName,omitempty"`
	ModelNumber  string        `json:"modelNumber,omitempty"`
	KindOf       *Concept      `json:"type,omitempty"`
	Version      []DeviceValue `json:"version,omitempty"`
	Location     *Reference    `json:"location,omitempty"`
}

// DeviceName is a name of a device and what kind of name that is.
type DeviceName struct {
	Name string `json:"name"`
	Type string `json:"type"`
}

// DeviceValue is a version of a device.
type DeviceValue struct {
	Type  *Concept `json:"type,omitempty"`
	Value string   `json:"value"`
}

// Patient is a patient record.
type Patient struct {
	Header
	Identifier []Identifier  `json:"identifier,omitempty"`
	Name       []HumanName   `json:"name,omitempty"`
	Gender     string        `json:"gender,omitempty"`
	BirthDate  string        `json:"birthDate,omitempty"`
	Link       []PatientLink `json:"link,omitempty"`
}

// HumanName is a person's name.
type HumanName struct {
	Text   string   `json:"text,omitempty"`
	Family string   `json:"family,omitempty"`
	Given  []string `json:"given,omitempty"`
}

// PatientLink says which record stands for the same person.
type PatientLink struct {
	Other Reference `json:"other"`
	Type  string    `json:"type"`
}

// Composition is the report that holds the others together.
type Composition struct {
	Header
	Identifier *Identifier `json:"identifier,omitempty"`
	Status     string      `json:"status"`
	TypeOf     Concept     `json:"type"`
	Subject    *Reference  `json:"subject,omitempty"`
	Date       string      `json:"date"`
	Author     []Reference `json:"author"`
	Title      string      `json:"title"`
	Section    []Section   `json:"section,omitempty"`
}

// Section is a part of a Composition.
type Section struct {
	Title       string      `json:"title,omitempty"`
	Code        *Concept    `json:"code,omitempty"`
	Text        *Narrative  `json:"text,omitempty"`
	Entry       []Reference `json:"entry,omitempty"`
	EmptyReason *Concept    `json:"emptyReason,omitempty"`
}

// Provenance says why resources are no longer what they were.
type Provenance struct {
	Header
	Target   []Reference `json:"target"`
	Recorded string      `json:"recorded"`
	Reason   []Concept   `json:"reason,omitempty"`
	Activity *Concept    `json:"activity,omitempty"`
	Agent    []Agent     `json:"agent"`
	Entity   []Entity    `json:"entity,omitempty"`
}

// Agent is who did something.
type Agent struct {
	Type *Concept  `json:"type,omitempty"`
	Who  Reference `json:"who"`
}

// Entity is what something was made from.
type Entity struct {
	Role string    `json:"role"`
	What Reference `json:"what"`
}

// Bundle is a set of resources.
type Bundle struct {
	Header
	Kindred string  `json:"type"`
	Total   *int    `json:"total,omitempty"`
	Link    []Link  `json:"link,omitempty"`
	Entry   []Entry `json:"entry,omitempty"`
}

// Link leads to this page and the next.
type Link struct {
	Relation string `json:"relation"`
	URL      string `json:"url"`
}

// Entry is one resource of a Bundle.
type Entry struct {
	FullURL  string   `json:"fullUrl,omitempty"`
	Resource Resource `json:"resource,omitempty"`
	Search   *Search  `json:"search,omitempty"`
	Request  *Request `json:"request,omitempty"`
}

// Search says why an entry is in the result of a search.
type Search struct {
	Mode string `json:"mode"`
}

// Request is what is asked of a server by an entry of a transaction.
type Request struct {
	Method      string `json:"method"`
	URL         string `json:"url"`
	IfNoneExist string `json:"ifNoneExist,omitempty"`
}

// OperationOutcome says what went wrong, or what is to be known beside a result.
type OperationOutcome struct {
	Header
	Issue []Issue `json:"issue"`
}

// Issue is one thing that it says.
type Issue struct {
	Severity    string   `json:"severity"`
	Code        string   `json:"code"`
	Details     *Concept `json:"details,omitempty"`
	Diagnostics string   `json:"diagnostics,omitempty"`
}
