package store

import (
	"context"
	"database/sql"
	"time"

	"afterbeam/internal/quantity"
)

// Case is one procedure as lists and sums need it: its newest numbers as columns, in canonical units.
type Case struct {
	ID           string
	StudyUID     string
	DeviceKey    string
	PatientID    string
	Room         string
	State        string // provisional, complete, amended
	Start        time.Time
	LocalDate    string // 2006-01-02 where it was done
	OffsetSource int
	Class        string
	Description  string
	Quality      bool // a quality-control exposure
	Version      int
	FlagState    string

	Kerma      quantity.Opt[quantity.Gray]
	KAP        quantity.Opt[quantity.GraySquareMetre]
	FluoroTime quantity.Opt[quantity.Second]
	// Complete tells that Kerma and KAP hold every plane. What a sum over cases must know besides is in Gaps.
	Complete                               bool
	PSD, PSDLow, PSDHigh                   quantity.Opt[quantity.Gray]
	PSDMethod                              string
	Effective, EffectiveLow, EffectiveHigh quantity.Opt[quantity.Sievert]
	EffectiveMethod                        string
	Gaps                                   Gaps
	// KermaFactor and KAPFactor are the signed calibration factors of the display on that day, measured over displayed.
	KermaFactor, KAPFactor quantity.Opt[float64]
	// FieldAtSkin is the mean field at the skin, by which levels of KAP scale.
	FieldAtSkin quantity.Opt[quantity.SquareMetre]
	UpdatedAt   time.Time
	// HasMap tells whether the newest version has a skin dose map; the store says so.
	HasMap bool
	// Accession is the number of the order, "" when the report names none.
	Accession string
	// Basis is what the case is made of.
	Basis Basis
	// Digest is that of the newest version; the store says so, for the cases of a patient alone.
	Digest string
	// Operators are the accounts whose persons took part; the store says so.
	Operators []string
	// Asked are the accounts of whom something is asked about the case; the store says so.
	Asked []string
}

// Basis is what a case is made of.
type Basis string

// The bases. A case of BasisReplaced was made from the totals of a performed step, and a dose report came afterwards: it
// counts nowhere and is in no list.
const (
	BasisReport   Basis = ""
	BasisTotals   Basis = "performed totals"
	BasisReplaced Basis = "replaced"
)

// Gaps says which numbers of a case are only known in part or not believed.
type Gaps uint8

// The gaps.
const (
	GapKerma     Gaps = 1 << iota // Kerma lacks a plane or is absent
	GapKAP                        // KAP lacks a plane or is absent
	GapTime                       // FluoroTime lacks a plane or is absent
	SuspectKerma                  // Kerma is not believed
	SuspectKAP                    // KAP is not believed
	LowerBound                    // PSD may lie above its range
)

// Has tells whether the gaps hold g.
func (g Gaps) Has(one Gaps) bool { return g&one != 0 }

const caseColumns = `id, study_uid, device_key, patient_id, room, state, start_at, local_date, start_offset, offset_source, class, description, quality, version,
	flag_state, kerma_gy, kap_gym2, fluoro_s, psd_gy, psd_low_gy, psd_high_gy, psd_method, effective_sv, effective_low_sv, effective_high_sv,
	effective_method, complete_doses, updated_at, gaps, kerma_factor, kap_factor, field_m2, has_map, accession, basis,
	(SELECT group_concat(account_id, ' ') FROM (SELECT pa.account_id FROM report r JOIN report_person rp ON rp.report_id = r.id
			JOIN person_account pa ON pa.person_id = rp.person_id AND pa.ended_at = ''
			WHERE r.study_uid = procedure_case.study_uid AND r.device_key = procedure_case.device_key AND r.patient_id = procedure_case.patient_id
			AND rp.role NOT IN ` + uninvolved + `
		UNION SELECT pa.account_id FROM performed_step s JOIN performed_person pp ON pp.step_id = s.id
			JOIN person_account pa ON pa.person_id = pp.person_id AND pa.ended_at = ''
			WHERE s.study_uid <> '' AND s.study_uid = procedure_case.study_uid AND pp.role NOT IN ` + uninvolved + `) AS own),
	(SELECT group_concat(person, ' ') FROM ask WHERE ask.procedure_id = procedure_case.id AND person <> '')`

func scanCase(row interface{ Scan(...any) error }) (Case, error) {
	var p Case
	var start, updated dbTime
	var offset int
	var operators, asked sql.NullString
	err := row.Scan(&p.ID, &p.StudyUID, &p.DeviceKey, &p.PatientID, &p.Room, &p.State, &start, &p.LocalDate, &offset, &p.OffsetSource, &p.Class,
		&p.Description, &p.Quality, &p.Version, &p.FlagState, opt[quantity.Gray]{&p.Kerma}, opt[quantity.GraySquareMetre]{&p.KAP},
		opt[quantity.Second]{&p.FluoroTime}, opt[quantity.Gray]{&p.PSD}, opt[quantity.Gray]{&p.PSDLow}, opt[quantity.Gray]{&p.PSDHigh}, &p.PSDMethod,
		opt[quantity.Sievert]{&p.Effective}, opt[quantity.Sievert]{&p.EffectiveLow}, opt[quantity.Sievert]{&p.EffectiveHigh}, &p.EffectiveMethod,
		&p.Complete, &updated, &p.Gaps, opt[float64]{&p.KermaFactor}, opt[float64]{&p.KAPFactor},
		opt[quantity.SquareMetre]{&p.FieldAtSkin}, &p.HasMap, &p.Accession, &p.Basis, &operators, &asked)
	if err != nil {
		return p, kind(err)
	}
	p.Start = start.In(time.FixedZone("", offset))
	p.UpdatedAt, p.Operators, p.Asked = updated.Time, sortedAccounts(operators), sortedAccounts(asked)
	return p, nil
}

// Case gives a procedure by its id.
func (db *DB) Case(ctx context.Context, id string) (Case, error) { return caseOf(ctx, db.read, id) }

func caseOf(ctx context.Context, q querier, id string) (Case, error) {
	return scanCase(q.QueryRowContext(ctx, `SELECT `+caseColumns+` FROM procedure_case WHERE id = $1`, id))
}
