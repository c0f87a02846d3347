package fhir

// CapabilityStatement says what a server does.
type CapabilityStatement struct {
	Header
	Status         string         `json:"status"`
	Date           string         `json:"date"`
	KindOf         string         `json:"kind"`
	Software       *Software      `json:"software,omitempty"`
	Implementation Implementation `json:"implementation"`
	FHIRVersion    string         `json:"fhirVersion"`
	Format         []string       `json:"format"`
	Rest           []Rest         `json:"rest"`
}

// Software names the program.
type Software struct {
	Name    string `json:"name"`
	Version string `json:"version,omitempty"`
}

// Implementation describes the installation.
type Implementation struct {
	Description string `json:"description"`
	URL         string `json:"url,omitempty"`
}

// Rest is what a RESTful server does.
type Rest struct {
	Mode          string         `json:"mode"`
	Documentation string         `json:"documentation,omitempty"`
	Security      *Security      `json:"security,omitempty"`
	Resource      []RestResource `json:"resource,omitempty"`
}

// Security says how callers are told apart.
type Security struct {
	Description string `json:"description"`
}

// RestResource is what a server does with a type of resources.
type RestResource struct {
	Type             string        `json:"type"`
	SupportedProfile []string      `json:"supportedProfile,omitempty"`
	Documentation    string        `json:"documentation,omitempty"`
	Interaction      []Interaction `json:"interaction"`
	Versioning       string        `json:"versioning,omitempty"`
	ConditionalRead  string        `json:"conditionalRead,omitempty"`
	SearchParam      []SearchParam `json:"searchParam,omitempty"`
}

// Interaction is one of them.
type Interaction struct {
	Code          string `json:"code"`
	Documentation string `json:"documentation,omitempty"`
}

// SearchParam is a parameter that a search takes.
type SearchParam struct {
	Name          string `json:"name"`
	Type          string `json:"type"`
	Documentation string `json:"documentation,omitempty"`
}
