package fhir

// Coding is a code of a system.
type Coding struct {
	System  string `json:"system,omitempty"`
	Code    string `json:"code,omitempty"`
	Display string `json:"display,omitempty"`
}

// Concept is a CodeableConcept: codes of one meaning, and a text for people.
type Concept struct {
	Coding []Coding `json:"coding,omitempty"`
	Text   string   `json:"text,omitempty"`
}

// Identifier names something in the outside world.
type Identifier struct {
	Use      string     `json:"use,omitempty"`
	Type     *Concept   `json:"type,omitempty"`
	System   string     `json:"system,omitempty"`
	Value    string     `json:"value,omitempty"`
	Assigner *Reference `json:"assigner,omitempty"`
}

// Reference points to a resource by its place, or to what an identifier names.
type Reference struct {
	Reference  string      `json:"reference,omitempty"`
	Type       string      `json:"type,omitempty"`
	Identifier *Identifier `json:"identifier,omitempty"`
	Display    string      `json:"display,omitempty"`
}

// Quantity is a number with its UCUM unit.
type Quantity struct {
	Value      Decimal `json:"value"`
	Comparator string  `json:"comparator,omitempty"`
	Unit       string  `json:"unit,omitempty"`
	System     string  `json:"system,omitempty"`
	Code       string  `json:"code,omitempty"`
}

// Range goes from a low to a high quantity of one unit.
type Range struct {
	Low  *Quantity `json:"low,omitempty"`
	High *Quantity `json:"high,omitempty"`
}

// Annotation is a remark.
type Annotation struct {
	Text string `json:"text"`
}

// Meta says which version of a resource it is, and which profiles it claims to meet.
type Meta struct {
	VersionID   string   `json:"versionId,omitempty"`
	LastUpdated string   `json:"lastUpdated,omitempty"`
	Profile     []string `json:"profile,omitempty"`
}

// Narrative is a text in XHTML.
type Narrative struct {
	Status string `json:"status"`
	Div    string `json:"div"`
}

// Period is a span of time.
type Period struct {
	Start string `json:"start,omitempty"`
	End   string `json:"end,omitempty"`
}
