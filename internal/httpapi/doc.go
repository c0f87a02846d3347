// Package httpapi is the HTTP interface of the service. The contract is api/openapi.yaml; api.gen.go is generated from it
// and never edited.
package httpapi

//go:generate go tool -modfile=../../scripts/tools/go.mod oapi-codegen -config ../../scripts/tools/oapi-codegen.yaml ../../api/openapi.yaml
