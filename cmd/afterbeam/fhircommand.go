package main

import (
	"context"
	"encoding/json"
	"fmt"

	"afterbeam/internal/export/fhir"
	"afterbeam/internal/followup/level"
	"afterbeam/internal/httpapi/fhirrest"
	"afterbeam/internal/store"
)

type fhirCommand struct {
	Case string `arg:"" help:"Id of the case, as afterbeam asks lists it."`
	configOption
}

// Run writes all of a case as one transaction for a FHIR R4 server. What the profile of a dose summary demands and the report
// does not have is said, and nothing is written.
func (f *fhirCommand) Run(c console) error {
	s, err := f.settings()
	if err != nil {
		return fmt.Errorf("%w: %w", errUsage, err)
	}
	method, err := siteMethod(s)
	if err != nil {
		return fmt.Errorf("%w: %w", errUsage, err)
	}
	return withStore(s, func(ctx context.Context, db *store.DB) error {
		of, err := db.Case(ctx, f.Case)
		if err != nil {
			return err
		}
		if of.Quality {
			return fmt.Errorf("%w: the irradiation was of a test object: there is no patient", fhir.ErrUnmet)
		}
		levels := func(ctx context.Context) (level.Set, error) {
			set, found, err := db.LevelsInForce(ctx)
			if err != nil || found {
				return set, err
			}
			return method.Levels, nil
		}
		gathered, err := fhirrest.New(fhirrest.Config{Store: db, Levels: levels}).Gather(ctx, of)
		if err != nil {
			return err
		}
		bundle, err := fhir.Transaction(gathered)
		if err != nil {
			return err
		}
		if err := db.Viewed(ctx, atConsole, "fhir.transaction", fmt.Sprintf("%s/%d", of.ID, gathered.Version), of.PatientID); err != nil {
			return err
		}
		text, err := json.MarshalIndent(bundle, "", "  ")
		if err != nil {
			return err
		}
		_, err = fmt.Fprintf(c.out, "%s\n", escapeJSON(text))
		return err
	})
}
