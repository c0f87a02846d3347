package httpapi

import (
	"context"

	"github.com/labstack/echo/v4"

	"afterbeam/internal/access"
	"afterbeam/internal/followup/level"
	"afterbeam/internal/httpapi/dicomweb"
	"afterbeam/internal/httpapi/fhirrest"
)

// dicomweb gives the operations of the DICOMweb origin server. They are described in the contract under a tag that is left
// out of what is generated: their bodies are streams that no generated code may read first.
func (s *Server) dicomweb() []dicomweb.Operation {
	h := &handlers{s}
	return dicomweb.New(dicomweb.Config{
		Store: s.store, Keeper: s.keeper, Hold: h.hold, Counted: func(outcome string) { s.metrics.report(outcome) },
		ObjectLimit: s.cfg.BodyLimit, BehindProxy: s.cfg.BehindProxy,
	}).Operations()
}

// resources gives the interface of FHIR, whose operations are described in the contract under a tag of their own in the same way.
func (s *Server) resources() *fhirrest.Server {
	return fhirrest.New(fhirrest.Config{Store: s.store, Levels: s.levelsInForce, Version: s.cfg.Version, BehindProxy: s.cfg.BehindProxy})
}

// levelsInForce gives the levels by which cases are compared.
func (s *Server) levelsInForce(ctx context.Context) (level.Set, error) {
	set, found, err := s.store.LevelsInForce(ctx)
	if err != nil || found {
		return set, err
	}
	return s.cfg.Levels, nil
}

// named gives the operations of the contract with those that are not generated.
func named(schemas map[access.Operation]*schema, web []dicomweb.Operation, resources []fhirrest.Operation) map[access.Operation]bool {
	all := map[access.Operation]bool{}
	for op := range schemas {
		all[op] = true
	}
	for _, op := range web {
		all[op.Name] = true
	}
	for _, op := range resources {
		all[op.Name] = true
	}
	return all
}

// mountResources puts the operations of FHIR behind the same checks as every other, but for that of the schema.
func (s *Server) mountResources(all []fhirrest.Operation) {
	for _, op := range all {
		s.byRoute[op.Method+" "+op.Path] = op.Name
		s.echo.Add(op.Method, op.Path, func(c echo.Context) error {
			cl := callOf(c.Request().Context())
			return op.Serve(c.Response(), c.Request(), fhirrest.Call{Grant: cl.grant, Source: cl.source, ID: c.Param("id")})
		}, s.authenticate(op.Name), s.authorise(op.Name))
	}
}

// mount puts the operations behind the same checks as every other, but for that of the schema.
func (s *Server) mount(web []dicomweb.Operation) {
	for _, op := range web {
		s.byRoute[op.Method+" "+op.Path] = op.Name
		if op.Receives {
			s.receives[op.Name] = s.cfg.StoreLimit
		}
		s.echo.Add(op.Method, op.Path, func(c echo.Context) error {
			cl := callOf(c.Request().Context())
			return op.Serve(c.Response(), c.Request(), dicomweb.Call{
				Grant: cl.grant, Source: cl.source, Study: c.Param("study"), Series: c.Param("series"), Instance: c.Param("instance"),
			})
		}, s.authenticate(op.Name), s.authorise(op.Name))
	}
}
