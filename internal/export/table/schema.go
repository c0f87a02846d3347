package table

import (
	"encoding/json"
	"fmt"
)

// Schema gives the JSON Schema (2020-12) of one row of the machine's CSV, read as an object of its cells by the names in the
// first line, empty cells left out and numbers as numbers. Units and decimals stand beside each column.
func Schema(t Table) ([]byte, error) {
	if err := t.Validate(); err != nil {
		return nil, err
	}
	type property struct {
		Type        string `json:"type"`
		Format      string `json:"format,omitempty"`
		Title       string `json:"title"`
		Description string `json:"description,omitempty"`
		Unit        string `json:"x-ucum-unit,omitempty"`
		Decimals    *int   `json:"x-decimals,omitempty"`
		Source      string `json:"x-source,omitempty"`
	}
	properties := map[string]property{}
	var order []string
	for _, c := range t.cells() {
		p := property{Type: "string", Title: c.Title, Description: c.Meaning, Unit: c.Unit, Source: c.Source}
		switch c.Kind {
		case Number:
			p.Type, p.Decimals = "number", &c.Decimals
		case Date:
			p.Format = "date"
		case Time:
			p.Format = "date-time"
		case Text, ID:
		}
		properties[c.Name] = p
		order = append(order, c.Name)
	}
	out, err := json.MarshalIndent(map[string]any{
		"$schema": "https://json-schema.org/draft/2020-12/schema",
		"$id":     fmt.Sprintf("urn:afterbeam:table:%s:%d", t.Name, t.Version),
		"title":   t.Title, "type": "object", "additionalProperties": false,
		"properties": properties, "x-version": t.Version, "x-columns": order,
	}, "", "  ")
	if err != nil {
		return nil, err
	}
	return append(out, '\n'), nil
}
