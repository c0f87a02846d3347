package casejson_test

import (
	"bytes"
	"encoding/json"
	"math"
	"os"
	"reflect"
	"strings"
	"sync"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/demo"
	"afterbeam/internal/export/casejson"
	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

const schemas = "../../../api/"

// compile compiles a schema under api together with the one it refers to. The compiler checks both against JSON Schema
// 2020-12 itself.
func compile(t *testing.T, name string) *jsonschema.Schema {
	t.Helper()
	compiler := jsonschema.NewCompiler()
	for _, one := range []string{"assessment.schema.json", "estimate.schema.json"} {
		file, err := os.Open(schemas + one)
		require.NoError(t, err)
		doc, err := jsonschema.UnmarshalJSON(file)
		require.NoError(t, err, one)
		require.NoError(t, file.Close())
		require.NoError(t, compiler.AddResource(one, doc))
	}
	schema, err := compiler.Compile(name)
	require.NoError(t, err)
	return schema
}

func valid(t *testing.T, schema *jsonschema.Schema, text []byte) error {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	require.NoError(t, err)
	return schema.Validate(doc)
}

// scenario assesses every case of the scenario once, with coarse patches: the form does not depend on them.
var scenario = sync.OnceValue(func() []assessment.Assessment {
	m := assessment.Default()
	m.Profiles, m.MaxPatch = demo.Profiles(), 10
	var all []assessment.Assessment
	for _, c := range demo.Cases() {
		for _, p := range procedure.Merge([]procedure.Report{c.Report}) {
			all = append(all, m.Assess(p, procedure.Facts{}))
		}
	}
	return all
})

func TestEveryCaseFitsTheSchema(t *testing.T) {
	schema := compile(t, "assessment.schema.json")
	for _, a := range scenario() {
		text, err := casejson.Marshal(a)
		require.NoError(t, err)
		assert.NoError(t, valid(t, schema, text), a.Procedure.Study.Description)
	}
}

func TestCasesOfOddReportsFitTheSchema(t *testing.T) {
	schema := compile(t, "assessment.schema.json")
	m := assessment.Default()
	m.MaxPatch = 10
	odd := demo.Odd()[0].Report
	odd.Events = odd.Events[:2]
	bare := odd
	bare.Planes, bare.Events, bare.Patient, bare.Device = nil, nil, procedure.Patient{}, procedure.Device{}
	bare.Content, bare.Study = procedure.Moment{}, procedure.Study{}
	endless := odd
	endless.Planes = []procedure.PlaneTotal{{Plane: procedure.PlaneSingle, KAP: quantity.Some(quantity.GraySquareMetre(math.MaxFloat64)), RefKerma: quantity.Some(quantity.Gray(math.Inf(1)))}}
	for name, r := range map[string]procedure.Report{"spoiled": odd, "with nothing": bare, "beyond numbers": endless} {
		t.Run(name, func(t *testing.T) {
			for _, p := range procedure.Merge([]procedure.Report{r}) {
				text, err := casejson.Marshal(m.Assess(p, procedure.Facts{Class: "neuro", Sex: "F", Posture: procedure.Prone}))
				require.NoError(t, err)
				assert.NoError(t, valid(t, schema, text))
			}
		})
	}
}

func TestTheSchemaRefuses(t *testing.T) {
	schema := compile(t, "assessment.schema.json")
	good, err := casejson.Marshal(scenario()[0])
	require.NoError(t, err)
	tests := map[string]func(doc map[string]any){
		"a field it does not know":          func(d map[string]any) { d["verdict"] = "safe" },
		"a field missing":                   func(d map[string]any) { delete(d, "caution") },
		"another version":                   func(d map[string]any) { d["schema"] = "afterbeam.assessment/2" },
		"a number as text":                  func(d map[string]any) { d["dose"].(map[string]any)["kerma_gy"] = "1.7" },
		"a state that there is not":         func(d map[string]any) { d["levels"].(map[string]any)["state"] = "safe" },
		"a patient named by more than that": func(d map[string]any) { d["patient"] = "SYN-0001" },
		"a field it does not know further inside": func(d map[string]any) {
			d["procedure"].(map[string]any)["patient"].(map[string]any)["name"] = "somebody"
		},
	}
	for name, spoil := range tests {
		t.Run(name, func(t *testing.T) {
			var doc map[string]any
			require.NoError(t, json.Unmarshal(good, &doc))
			spoil(doc)
			text, err := json.Marshal(doc)
			require.NoError(t, err)
			assert.Error(t, valid(t, schema, text))
		})
	}
}

// object is what a schema says of one JSON object.
type object struct {
	Properties map[string]struct {
		Description string `json:"description"`
		Const       string `json:"const"`
	} `json:"properties"`
	Required   []string          `json:"required"`
	Additional *bool             `json:"additionalProperties"`
	Defs       map[string]object `json:"$defs"`
}

func TestSchemaAndStructsHaveTheSameFields(t *testing.T) {
	read := func(name string) (o object) {
		text, err := os.ReadFile(schemas + name)
		require.NoError(t, err)
		require.NoError(t, json.Unmarshal(text, &o))
		return o
	}
	one, document := read("assessment.schema.json"), read("estimate.schema.json")
	assert.Equal(t, casejson.Schema, one.Properties["schema"].Const)
	assert.Equal(t, casejson.DocumentSchema, document.Properties["schema"].Const)
	pairs := map[string]struct {
		of any
		in object
	}{
		"case":               {casejson.Case{}, one},
		"procedure":          {casejson.Procedure{}, one.Defs["procedure"]},
		"patient":            {casejson.Patient{}, one.Defs["patient"]},
		"dose":               {casejson.Dose{}, one.Defs["dose"]},
		"plane":              {casejson.Plane{}, one.Defs["plane"]},
		"peak_skin_dose":     {casejson.SkinDose{}, one.Defs["peak_skin_dose"]},
		"published_relation": {casejson.Published{}, one.Defs["published_relation"]},
		"part":               {casejson.Part{}, one.Defs["part"]},
		"range":              {casejson.Range{}, one.Defs["range"]},
		"influence":          {casejson.Influence{}, one.Defs["influence"]},
		"step":               {casejson.Step{}, one.Defs["step"]},
		"area":               {casejson.Area{}, one.Defs["area"]},
		"contribution":       {casejson.Contribution{}, one.Defs["contribution"]},
		"effective_dose":     {casejson.Effective{}, one.Defs["effective_dose"]},
		"share":              {casejson.Share{}, one.Defs["share"]},
		"levels":             {casejson.Levels{}, one.Defs["levels"]},
		"result":             {casejson.Result{}, one.Defs["result"]},
		"finding":            {casejson.Finding{}, one.Defs["finding"]},
		"document":           {casejson.Document{}, document},
		"sum":                {casejson.Sum{}, document.Defs["sum"]},
		"refused":            {casejson.Refused{}, document.Defs["refused"]},
	}
	assert.Len(t, pairs, len(one.Defs)+len(document.Defs)+2, "each definition has its struct")
	for name, pair := range pairs {
		t.Run(name, func(t *testing.T) {
			var fields, always []string
			for _, f := range reflect.VisibleFields(reflect.TypeOf(pair.of)) {
				name, option, _ := strings.Cut(f.Tag.Get("json"), ",")
				fields = append(fields, name)
				if option == "" {
					always = append(always, name)
				}
			}
			var described []string
			for name, p := range pair.in.Properties {
				described = append(described, name)
				assert.NotEmpty(t, p.Description, name)
			}
			assert.ElementsMatch(t, fields, described)
			assert.ElementsMatch(t, always, pair.in.Required)
			require.NotNil(t, pair.in.Additional)
			assert.False(t, *pair.in.Additional)
		})
	}
}
