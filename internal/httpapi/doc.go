// Package httpapi is the HTTP interface of the service. The contract is api/openapi.yaml; api.gen.go is generated from it
// and never edited.
//
// Every request passes the same checks in the same order: request id, limit of its address, size of its body, token,
// role and rooms, schema of the contract, handler. New refuses to start when an operation of the contract has no entry in
// access.Permissions, access.Open or access.Setup. Whatever shows a patient's or a procedure's data is written to the
// audit record before it is answered.
//
// A newcomer adds an operation to the contract, runs `make generate`, gives it a row in access.Permissions and a method
// of handlers. One table, in problem.go, turns kinds of errors into statuses. Patient identifiers travel in bodies alone:
// never in a path, a query, a log line, a metric or a problem.
package httpapi

//go:generate go tool -modfile=../../scripts/tools/go.mod oapi-codegen -config ../../scripts/tools/oapi-codegen.yaml ../../api/openapi.yaml
