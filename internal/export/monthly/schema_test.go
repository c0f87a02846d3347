package monthly_test

import (
	"bytes"
	"encoding/json"
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/golden"
	"afterbeam/internal/quantity"
	"afterbeam/internal/summary"
)

// described is the schema of a summary, made of its types: what the program writes and what the contract names cannot differ.
type described struct {
	defs map[string]any
}

func (d *described) of(t reflect.Type) any {
	switch {
	case t == reflect.TypeFor[quantity.Opt[float64]]():
		return map[string]any{"type": []string{"number", "null"}}
	case t == reflect.TypeFor[quantity.Opt[int]]():
		return map[string]any{"type": []string{"integer", "null"}}
	}
	switch t.Kind() {
	case reflect.String:
		return map[string]any{"type": "string"}
	case reflect.Bool:
		return map[string]any{"type": "boolean"}
	case reflect.Int, reflect.Int64:
		return map[string]any{"type": "integer"}
	case reflect.Uint8:
		if t.Implements(reflect.TypeFor[interface{ MarshalText() ([]byte, error) }]()) {
			return map[string]any{"type": "string"}
		}
		return map[string]any{"type": "integer"}
	case reflect.Float64:
		return map[string]any{"type": "number"}
	case reflect.Slice:
		return map[string]any{"type": []string{"array", "null"}, "items": d.of(t.Elem())}
	case reflect.Pointer:
		return map[string]any{"anyOf": []any{d.of(t.Elem()), map[string]any{"type": "null"}}}
	case reflect.Struct:
		name := t.String()[strings.LastIndex(t.String(), "/")+1:]
		if _, known := d.defs[name]; !known {
			d.defs[name] = nil // it may hold itself
			d.defs[name] = d.object(t)
		}
		return map[string]any{"$ref": "#/$defs/" + name}
	default:
		panic("no schema for " + t.String())
	}
}

func (d *described) object(t reflect.Type) any {
	properties := map[string]any{}
	var required []string
	var add func(t reflect.Type)
	add = func(t reflect.Type) {
		for i := range t.NumField() {
			f := t.Field(i)
			name, options, _ := strings.Cut(f.Tag.Get("json"), ",")
			switch {
			case f.Anonymous && name == "":
				add(f.Type)
			case name == "-" || !f.IsExported():
			default:
				properties[name] = d.of(f.Type)
				if !strings.Contains(options, "omitempty") {
					required = append(required, name)
				}
			}
		}
	}
	add(t)
	slices.Sort(required)
	return map[string]any{"type": "object", "additionalProperties": false, "properties": properties, "required": required}
}

// schema gives the whole schema as text.
func schema(t *testing.T) []byte {
	t.Helper()
	d := described{defs: map[string]any{}}
	whole := d.of(reflect.TypeFor[summary.Summary]())
	text, err := json.MarshalIndent(map[string]any{
		"$schema": "https://json-schema.org/draft/2020-12/schema", "$id": "summary.schema.json", "title": "Summary of a month, a quarter or a year",
		"description": "Units stand in the names of fields or beside the numbers. What is null is not known, or withheld with a reason beside it.",
		"$defs":       d.defs, "allOf": []any{whole},
	}, "", "  ")
	require.NoError(t, err)
	return append(text, '\n')
}

func TestTheContractNamesEveryField(t *testing.T) {
	golden.Check(t, "../../../api/summary.schema.json", schema(t))
}

func TestASummaryFitsTheSchema(t *testing.T) {
	file, err := os.Open("../../../api/summary.schema.json")
	require.NoError(t, err)
	doc, err := jsonschema.UnmarshalJSON(file)
	require.NoError(t, err)
	require.NoError(t, file.Close())
	compiler := jsonschema.NewCompiler()
	require.NoError(t, compiler.AddResource("summary.schema.json", doc))
	compiled, err := compiler.Compile("summary.schema.json")
	require.NoError(t, err)
	for name, in := range inputs(t) {
		t.Run(name, func(t *testing.T) {
			for form, made := range forms(t, in) {
				text, err := json.Marshal(made)
				require.NoError(t, err)
				value, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
				require.NoError(t, err)
				assert.NoError(t, compiled.Validate(value), form)
			}
		})
	}
}

// forms are the summary as it is and as it leaves the department.
func forms(t *testing.T, in summary.Input) map[string]summary.Summary {
	t.Helper()
	made, err := summary.Summarise(in, summary.DefaultSettings())
	require.NoError(t, err)
	return map[string]summary.Summary{"whole": made, "leaving": summary.Leaving(made)}
}
