package web_test

import (
	"encoding/json"
	"io"
	"net/http"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/access"
	"afterbeam/internal/export/outlook"
	"afterbeam/internal/httpapi"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/quantity"
	"afterbeam/internal/web"
)

// told is an interface that answers as it is told to, and notes what it was asked.
type told struct {
	answers map[string]any // by method and path
	status  map[string]int // in place of 200
	asked   []string
	bodies  []string
}

func (a *told) Inside(r *http.Request, _ httpapi.SignedIn) httpapi.Answer {
	name := r.Method + " " + r.URL.Path
	a.asked = append(a.asked, r.Method+" "+r.URL.String())
	if r.Body != nil {
		body, _ := io.ReadAll(r.Body)
		a.bodies = append(a.bodies, string(body))
	}
	if status := a.status[name]; status != 0 {
		return httpapi.Answer{Status: status, Header: http.Header{}, Body: []byte(`{"detail":"said by the interface","status":400,"title":"x","type":"y"}`)}
	}
	answer, found := a.answers[name]
	if !found {
		return httpapi.Answer{Status: http.StatusNotFound, Header: http.Header{}, Body: []byte(`{}`)}
	}
	body, _ := json.Marshal(answer)
	return httpapi.Answer{Status: http.StatusOK, Header: http.Header{}, Body: body}
}

const (
	patientID   = "aaaaaaaaaaaaaaaaaaaaaaaa"
	numberAsked = "NUMBER-4711"
)

func of[T any](v T) *T { return &v }

// plantedPatient has a name that would run if it were not text.
func plantedPatient() httpapi.Patient {
	return httpapi.Patient{Id: patientID, SurvivorId: patientID, Number: numberAsked, Issuer: "Planted issuer", Name: "<script>alert(1)</script>^Planted", BirthDate: "1954-03-11", Sex: "M", IdentityReviews: []string{}}
}

func plantedProcedure(id, day string, peak *float64) httpapi.Procedure {
	start := time.Date(2026, 9, 14, 8, 0, 0, 0, time.UTC)
	return httpapi.Procedure{
		Id: id, Basis: "report", Class: "complex_aortic", Description: "repair " + id, Room: "Hybrid 1", Flag: "reached", State: "complete", LocalDate: &day, Start: &start, PatientId: patientID,
		Dose: httpapi.Dose{Complete: true, KermaGy: of(2.999), FluoroscopyMin: of(50.0)}, PeakSkinDose: httpapi.Estimated{Value: peak, Low: peak, High: peak, Unit: "Gy", Method: "map"},
		EffectiveDose: httpapi.Estimated{Unit: "mSv", Method: "none"},
	}
}

func plantedDose() httpapi.CumulativeDose {
	window := httpapi.Window{
		Days: of(60), From: of("2026-07-17"), To: "2026-09-14", Procedures: 2, KermaGy: of(4.998), KermaFrom: 1, AtLeast: []httpapi.WindowAtLeast{"kerma_gy"},
		EffectiveMethod: "no estimate", PeakSkinMethod: "peaks added", PeakSkinUpperGy: of(6.2), PeakSkinUpperHighGy: of(9.1), PeakSkinFrom: 2, PeakSkinMappedMethod: "not worked out for the procedures of this window",
		PeakSkinShares: []httpapi.SkinShare{}, PeakSkinFlagged: "upper bound", State: "reached", Flags: []httpapi.Flag{},
	}
	all := window
	all.Days, all.From = nil, nil
	all.PeakSkinMappedGy, all.PeakSkinMappedLowGy, all.PeakSkinMappedHighGy, all.PeakSkinMappedFrom = of(4.96), of(3.3), of(7.4), 2
	all.PeakSkinMappedPlace = of(struct {
		Level  string `json:"level"`
		Region string `json:"region"`
		Side   string `json:"side"`
	}{"48 cm above the trunk base", "left posterior chest", "6 cm left of the posterior midline"})
	all.PeakSkinShares = []httpapi.SkinShare{{DoseGy: 3.1, Share: 0.63, ProcedureId: of("bbbbbbbbbbbbbbbbbbbbbbbb")}, {DoseGy: 1.86, Share: 0.37}}
	return httpapi.CumulativeDose{
		AsOf: "2026-09-14", PatientId: patientID, Elsewhere: 1, IdentityReviews: []string{"review"}, LatestMap: of("/v1/procedures/x/map"),
		WithoutAssessment: []httpapi.UnassessedProcedure{{Reason: "its reports could not be read", State: "failed"}},
		Procedures:        []httpapi.Procedure{plantedProcedure("bbbbbbbbbbbbbbbbbbbbbbbb", "2026-09-14", of(3.1)), plantedProcedure("cccccccccccccccccccccccc", "2024-01-02", nil)},
		Windows:           []httpapi.Window{window, all},
	}
}

// patientRig serves the pages of one patient to a physicist who is signed in.
func patientRig(t *testing.T) (*told, *visitor) {
	t.Helper()
	a := &told{status: map[string]int{}, answers: map[string]any{
		"POST /v1/patients/search": httpapi.PatientList{Patients: []httpapi.Patient{plantedPatient()}}, "GET /v1/patients/" + patientID: plantedPatient(),
		"GET /v1/patients/" + patientID + "/dose": plantedDose(), "GET /v1/patients/" + patientID + "/links": httpapi.LinkList{Links: []httpapi.Link{{
			Id: "dddddddddddddddddddddddd", FromPatient: "eeeeeeeeeeeeeeeeeeeeeeee", IntoPatient: patientID, Reason: "same person",
		}}},
		"GET /v1/levels": httpapi.LevelsInForce{Rows: []httpapi.LevelRow{{On: true, Quantity: httpapi.LevelRowQuantityKar, Value: of(3.0), Step: of(1.0)}}},
	}}
	r := newRig(t, func(c *web.Config) { c.API = a })
	r.person(access.Physicist, anyone, words)
	v := r.visitor()
	v.signIn(anyone, words)
	return a, v
}

func TestPatientIsFoundByTheBodyAlone(t *testing.T) {
	a, v := patientRig(t)
	p := v.post("/patients", "number", " "+numberAsked+" ", "issuer", "Planted issuer")
	require.Equal(t, http.StatusSeeOther, p.status)
	assert.Equal(t, "/patients/"+patientID, p.location)
	assert.JSONEq(t, `{"number":"NUMBER-4711","issuer":"Planted issuer"}`, a.bodies[0])
	for _, one := range a.asked {
		assert.NotContains(t, one, numberAsked)
	}
	assert.Equal(t, http.StatusUnprocessableEntity, v.post("/patients", "number", "  ").status)
	a.answers["POST /v1/patients/search"] = httpapi.PatientList{Patients: []httpapi.Patient{}}
	assert.Contains(t, v.post("/patients", "number", "x").body, "There is no patient with that number")
	two := plantedPatient()
	two.Issuer, two.Name, two.BirthDate, two.Sex = "", "", "", ""
	a.answers["POST /v1/patients/search"] = httpapi.PatientList{Patients: []httpapi.Patient{plantedPatient(), two}}
	p = v.post("/patients", "number", numberAsked)
	assert.Contains(t, p.body, "2 records have that number")
	assert.Contains(t, p.body, "name not reported")
}

func TestPatientShowsTheInterfacesNumbers(t *testing.T) {
	_, v := patientRig(t)
	p := v.get("/patients/" + patientID)
	require.Equal(t, http.StatusOK, p.status, p.body)
	text := strings.Join(strings.Fields(regexp.MustCompile(`<[^>]*>`).ReplaceAllString(p.body, " ")), " ")
	for _, want := range []string{
		"at least 4.99 Gy of 1 procedure",                          // below a level of 5 Gy, never printed as 5.00
		"≤ 6.2 Gy high end 9.1 Gy of 2 procedures",                 // the upper bound, said so
		"– not worked out for the procedures of this window",       // missing is a dash with its reason
		"4.96 Gy 3.3 – 7.4 of 2 procedures",                        // below a band of 5 Gy
		"left posterior chest, 6 cm left of the posterior midline", // where
		"3.1 Gy 63 %", "A procedure in a room that you do not see", "1.9 Gy 37 %",
		"1 open review asks who this patient is", "its reports could not be read", "1 procedure was done in a room that you do not see", "2.99 Gy", "same person",
	} {
		assert.Contains(t, text, want)
	}
	title := regexp.MustCompile(`<title>[^<]*</title>`).FindString(p.body)
	assert.Equal(t, "<title>Patient · afterbeam</title>", title, "no patient in a title")
	assert.NotContains(t, p.body, "<script>alert", "what reports hold is text")
	for _, link := range regexp.MustCompile(`(?:href|src|action)="([^"]*)"`).FindAllStringSubmatch(p.body, -1) {
		assert.NotContains(t, link[1], numberAsked)
	}
	german := v.get("/patients/"+patientID, "Accept-Language", "de").body
	assert.Contains(t, german, "4,99 Gy")
	assert.NotContains(t, german, "4.99 Gy")
	assert.Equal(t, http.StatusNotFound, v.get("/patients/ffffffffffffffffffffffff").status)
}

func TestLinkIsTakenBackWithAReason(t *testing.T) {
	a, v := patientRig(t)
	path := "/patients/" + patientID + "/links/dddddddddddddddddddddddd/undo"
	assert.Equal(t, http.StatusUnprocessableEntity, v.post(path, "reason", " ").status)
	assert.Equal(t, http.StatusNotFound, v.post("/patients/"+patientID+"/links/ffffffffffffffffffffffff/undo", "reason", "wrong").status, "of another record")
	a.answers["POST /v1/links/dddddddddddddddddddddddd/undo"] = struct{}{}
	p := v.post(path, "reason", "two persons")
	assert.Equal(t, "/patients/"+patientID+"?done=link-undone", p.location)
	assert.JSONEq(t, `{"reason":"two persons"}`, a.bodies[len(a.bodies)-1])
}

func TestARecordIsLinkedByItsNumber(t *testing.T) {
	a, v := patientRig(t)
	path := "/patients/" + patientID + "/links"
	p := v.post(path, "number", numberAsked, "reason", "the card was read twice")
	assert.Equal(t, http.StatusUnprocessableEntity, p.status, "the only record of the number is this one")
	assert.Contains(t, p.body, "no other record")
	one, two := plantedPatient(), plantedPatient()
	one.Id, two.Id, two.Name = "eeeeeeeeeeeeeeeeeeeeeeee", "ffffffffffffffffffffffff", ""
	a.answers["POST /v1/patients/search"] = httpapi.PatientList{Patients: []httpapi.Patient{plantedPatient(), one, two}}
	p = v.post(path, "number", numberAsked, "reason", "the card was read twice")
	assert.Equal(t, http.StatusUnprocessableEntity, p.status)
	assert.Contains(t, p.body, "Choose the one meant")
	assert.Contains(t, p.body, two.Id)
	a.answers["POST /v1/patients/"+patientID+"/links"] = httpapi.Link{Id: "dddddddddddddddddddddddd"}
	p = v.post(path, "number", numberAsked, "other", two.Id, "reason", "the card was read twice")
	assert.Equal(t, "/patients/"+patientID+"?done=link-made", p.location)
	assert.JSONEq(t, `{"other_patient":"ffffffffffffffffffffffff","reason":"the card was read twice"}`, a.bodies[len(a.bodies)-1])
	for _, asked := range a.asked {
		assert.NotContains(t, asked, numberAsked)
	}
}

func plantedPlan() outlook.Document {
	beam := func(after, adds quantity.Gray) *outlook.Beam {
		return &outlook.Beam{Direction: skindose.Direction{Primary: 30}, AfterGy: after, AddsGy: adds, KermaGy: 0.4}
	}
	return outlook.Document{
		Caution: outlook.Caution, Beams: []outlook.Beam{}, Notes: []string{"a note"}, Assumptions: []string{"an assumption"},
		Earlier: outlook.Earlier{Procedures: 3, Mapped: 2, Unmapped: 1, ElsewhereGy: 0.7, PeakGy: 4.999, Place: skindose.Place{Region: "left flank"}},
		Grid: &outlook.Grid{KermaGy: 0.4, Primary: []quantity.Degree{-15, 0, 15}, Secondary: []quantity.Degree{10, 0}, Outlooks: [][]*outlook.Beam{
			{nil, beam(0.4999, 0.31)}, {beam(1.999, 0.32), beam(4.999, 0.33)}, {beam(10.04, 0.34), beam(14.98, 0.35)},
		}},
	}
}

func TestPlanAsksAndShowsWhatTheInterfaceSays(t *testing.T) {
	a, v := patientRig(t)
	path := "/patients/" + patientID + "/plan"
	ask := "POST /v1/patients/" + patientID + "/beam-plans"
	a.answers[ask] = plantedPlan()
	empty := v.get(path)
	require.Equal(t, http.StatusOK, empty.status)
	assert.Contains(t, empty.body, `name="rate" inputmode="decimal" size="7" maxlength="12" value="60"`, "2.999 Gy in 50 minutes")
	p := v.get(path + "?asked=1&minutes=8&rate=50&place=heart&field=20,5&detector=110&table=12")
	require.Equal(t, http.StatusOK, p.status, p.body)
	assert.JSONEq(t, `{"grid":{"kerma_gy":0.4},"place":"heart","field_mm":205,"detector_mm":1100,"table_depth_mm":120}`, a.bodies[len(a.bodies)-1])
	drawn := regexp.MustCompile(`(?s)<svg width.*?</svg>`).FindString(p.body)
	require.NotEmpty(t, drawn)
	assert.NotRegexp(t, `\sstyle=`, p.body, "a page loads no style that stands in an attribute")
	table := regexp.MustCompile(`(?s)<table class="directions".*?</table>`).FindString(p.body)
	for _, number := range []string{"0.49", "1.99", "4.99", "10.0", "14.9"} {
		assert.Contains(t, drawn, ">"+number+"<", "in the picture")
		assert.Contains(t, table, ">"+number+"<", "and in the table")
	}
	assert.Contains(t, table, "the beam hits no skin")
	assert.Contains(t, p.body, "0.400 Gy more from each direction")
	assert.Contains(t, p.body, "4.99 Gy")
	assert.Contains(t, p.body, "0.70 Gy", "of those without a map")
	for _, word := range []string{"allowed", "allowance", "safe", "remaining", "may be given", "acceptable"} {
		assert.NotContains(t, strings.ToLower(p.body), word)
	}
}

func TestPlanThatCannotBeAnswered(t *testing.T) {
	a, v := patientRig(t)
	path := "/patients/" + patientID + "/plan?asked=1"
	for query, want := range map[string]string{
		"": "Write the kerma", "&kerma=much": "holds no number", "&kerma=NaN": "holds no number", "&kerma=1&minutes=2&rate=50": "either the kerma or minutes", "&minutes=2&rate=x": "holds no number",
	} {
		p := v.get(path + query)
		assert.Equal(t, http.StatusUnprocessableEntity, p.status, query)
		assert.Contains(t, p.body, want, query)
	}
	assert.False(t, slices.ContainsFunc(a.asked, func(one string) bool { return strings.HasPrefix(one, "POST") }), "nothing was asked")
	ask := "POST /v1/patients/" + patientID + "/beam-plans"
	for status, want := range map[int]string{
		400: "A number is out of range", 409: "has a map of skin dose", 422: "cannot be placed", 503: "Another look ahead",
	} {
		a.status[ask] = status
		p := v.get(path + "&kerma=1")
		assert.Equal(t, status, p.status)
		assert.Contains(t, p.body, want)
		assert.Contains(t, p.body, `value="1"`, "what was written stays")
	}
	a.status[ask] = http.StatusForbidden
	assert.Equal(t, http.StatusForbidden, v.get(path+"&kerma=1").status)
}
