package casejson

import (
	"encoding/json"

	"afterbeam/internal/quantity"
)

// The forms of one case and of a run over files; a name changes when a field changes its meaning or goes.
const (
	Schema         = "afterbeam.assessment/1"
	DocumentSchema = "afterbeam.estimate/1"
)

// Caution is printed with every result.
const Caution = "Estimates with a range, not measurements. Levels prompt people to look and decide nothing: they are no threshold for injury and " +
	"no sign of error, and below a level injury is possible. The medical physicist, licensed practice and local rules decide."

type number = quantity.Opt[float64]

// Document is what one run over files gives. Notes tell what the sums may lack.
type Document struct {
	Schema  string    `json:"schema"`
	Program string    `json:"program"`
	Caution string    `json:"caution"`
	Cases   []Case    `json:"cases"`
	Sums    []Sum     `json:"sums"`
	Notes   []string  `json:"notes"`
	Refused []Refused `json:"refused"`
}

// Refused is a file that could not be used.
type Refused struct {
	File   string `json:"file"`
	Reason string `json:"reason"`
}

// Case is one assessed procedure.
type Case struct {
	Schema string `json:"schema"`
	// Files, Patient and Map are there in a Document: where the case came from, which of its patients it is (none for a
	// test object), and the picture that was drawn.
	Files     []string  `json:"files,omitempty"`
	Patient   string    `json:"patient,omitempty"`
	Map       string    `json:"map,omitempty"`
	Procedure Procedure `json:"procedure"`
	Dose      Dose      `json:"dose"`
	SkinDose  SkinDose  `json:"peak_skin_dose"`
	Effective Effective `json:"effective_dose"`
	// Organs are there in a Document when they were asked for: the organ doses, or an object with the reason why there are none.
	Organs   json.RawMessage `json:"organ_doses,omitempty"`
	Levels   Levels          `json:"levels"`
	Findings []Finding       `json:"findings"`
	Caution  string          `json:"caution"`
}

// Procedure says what was done, without the patient's name and number.
type Procedure struct {
	StudyUID    string   `json:"study_uid"`
	Device      string   `json:"device"`
	Room        string   `json:"room"`
	Description string   `json:"description"`
	Start       string   `json:"start"`
	State       string   `json:"state"`
	Purpose     string   `json:"purpose"`
	Class       string   `json:"class"`
	ClassTitle  string   `json:"class_title"`
	ClassFrom   string   `json:"class_from"`
	Complexity  string   `json:"complexity"`
	Region      string   `json:"region"`
	Patient     Patient  `json:"patient"`
	Given       []string `json:"given"`
	Profile     string   `json:"device_profile"`
	Events      int      `json:"events"`
	Superseded  int      `json:"superseded_events"`
	Reports     []string `json:"reports"`
	Linked      []string `json:"linked_devices"`
}

// Patient is what estimates need of a patient.
type Patient struct {
	AgeYears number `json:"age_years"`
	Sex      string `json:"sex"`
	HeightCm number `json:"height_cm"`
	WeightKg number `json:"weight_kg"`
}

// Dose is what the equipment reports, as the sum of the planes and for each plane. Where a plane lacks a quantity its sum
// is absent, the plane is named and the least value is what is known.
type Dose struct {
	KermaGy             number   `json:"kerma_gy"`
	KermaLeastGy        number   `json:"kerma_at_least_gy"`
	KermaMissing        []string `json:"kerma_missing"`
	KAPGycm2            number   `json:"kap_gy_cm2"`
	KAPLeastGycm2       number   `json:"kap_at_least_gy_cm2"`
	KAPMissing          []string `json:"kap_missing"`
	FluoroscopyMin      number   `json:"fluoroscopy_min"`
	FluoroscopyLeastMin number   `json:"fluoroscopy_at_least_min"`
	FluoroscopyMissing  []string `json:"fluoroscopy_missing"`
	NotBelieved         []string `json:"not_believed"`
	Planes              []Plane  `json:"planes"`
}

// Plane is what one plane delivered.
type Plane struct {
	Plane          string `json:"plane"`
	TotalKermaGy   number `json:"total_kerma_gy"`
	EventsKermaGy  number `json:"events_kerma_gy"`
	TotalKAPGycm2  number `json:"total_kap_gy_cm2"`
	EventsKAPGycm2 number `json:"events_kap_gy_cm2"`
	FluoroscopyMin number `json:"fluoroscopy_min"`
}

// SkinDose is the estimate of the peak skin dose.
type SkinDose struct {
	Method               string         `json:"method"`
	Version              string         `json:"version"`
	ValueGy              number         `json:"value_gy"`
	LowGy                number         `json:"low_gy"`
	HighGy               number         `json:"high_gy"`
	LowerBound           bool           `json:"lower_bound"`
	Knowledge            string         `json:"knowledge"`
	Parts                []Part         `json:"range_parts"`
	Range                Range          `json:"range_samples"`
	Place                string         `json:"place"`
	FinePeakGy           number         `json:"peak_on_quarter_cm2_gy"`
	AreaAbove            []Area         `json:"area_above"`
	Contributions        []Contribution `json:"contributions"`
	KermaWithoutGeometry number         `json:"kerma_without_geometry"`
	FieldAtSkinCm2       number         `json:"field_at_skin_cm2"`
	Reason               string         `json:"reason"`
	Assumptions          []string       `json:"assumptions"`
	Inputs               []string       `json:"inputs"`
	Sources              []string       `json:"sources"`
	Published            []Published    `json:"published_relations"`
}

// Published is what one published relation gives alone, beside the value from totals and in neither value nor range.
type Published struct {
	ValueGy number `json:"value_gy"`
	LowGy   number `json:"low_gy"`
	HighGy  number `json:"high_gy"`
	Text    string `json:"text"`
	Source  string `json:"source"`
	Known   string `json:"known"`
}

// Part is one component of the range, one standard deviation.
type Part struct {
	Name    string  `json:"name"`
	Percent float64 `json:"percent"`
	Words   string  `json:"words"`
}

// Range tells how the range of a map was sampled: from the inputs' standard deviations, by points that the seed makes
// again. Low and high are those of the samples, before what kerma without geometry adds. There are no points without a map.
type Range struct {
	Points       int         `json:"points"`
	Missed       int         `json:"points_beside_the_skin"`
	Seed         uint64      `json:"seed"`
	MedianGy     number      `json:"median_gy"`
	LowGy        number      `json:"low_gy"`
	HighGy       number      `json:"high_gy"`
	ForMissingGy number      `json:"high_for_missing_geometry_gy"`
	Inputs       []Influence `json:"inputs"`
	Together     float64     `json:"share_together"`
	Convergence  []Step      `json:"convergence"`
}

// Influence is what one input adds to the range: its standard deviation in words, what that changes in the peak, and its
// share of the variance, 0 to 1.
type Influence struct {
	Name    string  `json:"name"`
	Varied  string  `json:"varied"`
	Percent float64 `json:"percent"`
	Share   float64 `json:"share"`
}

// Step is the range from the first of the points.
type Step struct {
	Points int    `json:"points"`
	LowGy  number `json:"low_gy"`
	HighGy number `json:"high_gy"`
}

// Area is the skin that received at least a dose.
type Area struct {
	Gy  float64 `json:"gy"`
	Cm2 float64 `json:"cm2"`
}

// Contribution is what one event gave to the peak.
type Contribution struct {
	Event  string  `json:"event"`
	UID    string  `json:"uid"`
	DoseGy number  `json:"dose_gy"`
	Share  float64 `json:"share"`
}

// Effective is the estimate of the effective dose.
type Effective struct {
	Method      string   `json:"method"`
	Version     string   `json:"version"`
	ValueMSv    number   `json:"value_msv"`
	LowMSv      number   `json:"low_msv"`
	HighMSv     number   `json:"high_msv"`
	CoveredPct  number   `json:"covered_percent"`
	Reason      string   `json:"reason"`
	Parts       []Share  `json:"parts"`
	Assumptions []string `json:"assumptions"`
	Sources     []string `json:"sources"`
	Caution     string   `json:"caution"`
}

// Share is the kerma-area product that one coefficient was applied to.
type Share struct {
	Region            string  `json:"region"`
	Filter            string  `json:"filter"`
	KAPGycm2          number  `json:"kap_gy_cm2"`
	MSvPerGycm2       float64 `json:"msv_per_gy_cm2"`
	LowMSvPerGycm2    float64 `json:"low_msv_per_gy_cm2"`
	HighMSvPerGycm2   float64 `json:"high_msv_per_gy_cm2"`
	Weights           string  `json:"weights"`
	CoefficientKnown  string  `json:"known"`
	CoefficientSource string  `json:"source"`
	FromTotals        bool    `json:"from_totals"`
}

// Levels is the comparison with the follow-up levels.
type Levels struct {
	State    string   `json:"state"`
	Reasons  []string `json:"reasons"`
	Notes    []string `json:"notes"`
	Band     string   `json:"tissue_reaction_band"`
	HighBand string   `json:"tissue_reaction_band_high"`
	BandText string   `json:"tissue_reaction_text"`
	Results  []Result `json:"results"`
}

// Result is one level compared. Value, level and margin are in the unit beside them.
type Result struct {
	Scheme   string    `json:"scheme"`
	ID       string    `json:"id"`
	Title    string    `json:"title"`
	Meaning  string    `json:"meaning"`
	Quantity string    `json:"quantity"`
	Unit     string    `json:"unit"`
	State    string    `json:"state"`
	Value    number    `json:"value"`
	Level    float64   `json:"level"`
	Margin   number    `json:"margin"`
	Passed   []float64 `json:"passed"`
	Basis    string    `json:"basis"`
	Text     string    `json:"text"`
	Source   string    `json:"source"`
	Known    string    `json:"known"`
}

// Finding is something odd, missing or repaired.
type Finding struct {
	Rule     string `json:"rule"`
	Severity string `json:"severity"`
	Place    string `json:"place"`
	Text     string `json:"text"`
}

// Sum is what the procedures of one patient gave in a window. The From counts tell how many of the procedures are in a
// sum; where they are fewer than the procedures the sum is what is known at least. Kerma and kerma-area product are the
// higher of the value as displayed and times a signed factor.
type Sum struct {
	Patient          string   `json:"patient"`
	Days             int      `json:"days"`
	From             string   `json:"from"`
	To               string   `json:"to"`
	Procedures       int      `json:"procedures"`
	Dates            []string `json:"dates,omitempty"`
	KermaGy          number   `json:"kerma_gy"`
	KermaFrom        int      `json:"kerma_from"`
	KAPGycm2         number   `json:"kap_gy_cm2"`
	KAPFrom          int      `json:"kap_from"`
	FluoroscopyMin   number   `json:"fluoroscopy_min"`
	FluoroscopyFrom  int      `json:"fluoroscopy_from"`
	EffectiveMSv     number   `json:"effective_msv"`
	EffectiveLowMSv  number   `json:"effective_low_msv"`
	EffectiveHighMSv number   `json:"effective_high_msv"`
	EffectiveFrom    int      `json:"effective_from"`
	PeakSkinMethod   string   `json:"peak_skin_method"`
	PeakSkinGy       number   `json:"peak_skin_gy"`
	PeakSkinLowGy    number   `json:"peak_skin_low_gy"`
	PeakSkinHighGy   number   `json:"peak_skin_high_gy"`
	UpperBound       bool     `json:"peak_skin_upper_bound"`
	LowerBound       bool     `json:"peak_skin_lower_bound"`
	Reason           string   `json:"peak_skin_reason"`
	Place            string   `json:"peak_skin_place"`
	Levels           Levels   `json:"levels"`
}
