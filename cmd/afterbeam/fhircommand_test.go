package main

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/procedure"
)

func TestFHIRFromTheStore(t *testing.T) {
	config, db := paperSite(t, func(r *procedure.Report) {
		r.Persons = []procedure.Person{{ID: "OP-A", RoleInProcedure: procedure.Code{Value: "113850", Scheme: "DCM"}}}
	})
	v := latest(t, db)
	var b struct {
		ResourceType, Type string
		Entry              []struct {
			Resource struct{ ResourceType string }
			Request  struct{ Method, URL string }
		}
	}
	require.NoError(t, json.Unmarshal(ran(t, "fhir", "--config", config, v.Case.ID), &b))
	assert.Equal(t, []string{"Bundle", "transaction"}, []string{b.ResourceType, b.Type})
	kinds := ""
	for _, e := range b.Entry {
		kinds += e.Resource.ResourceType + " "
		assert.NotContains(t, e.Request.URL, "Patient")
	}
	assert.True(t, strings.HasPrefix(kinds, "Device Observation Observation Observation "), kinds)
	assert.Contains(t, kinds, "Composition")
}

func TestFHIRSaysWhatIsMissing(t *testing.T) {
	config, db := paperSite(t, func(r *procedure.Report) { r.Persons = nil })
	v := latest(t, db)
	var out, messages bytes.Buffer
	assert.Equal(t, exitPartial, run([]string{"fhir", "--config", config, v.Case.ID}, console{out: &out, err: &messages}))
	assert.Contains(t, messages.String(), "names no person who authorized the irradiation")
	assert.Empty(t, out.String())
}
