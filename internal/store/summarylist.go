package store

import (
	"context"
	"database/sql"
	"iter"
	"time"

	"afterbeam/internal/quantity"
)

// rowsAtOnce and bodiesAtOnce are how much of a long list is read at a time, so that memory stays the same for a list of any
// length and a slow reader holds no connection.
const (
	rowsAtOnce   = 2000
	bodiesAtOnce = 50
)

// SummaryRow is a case as long lists tell it. Patient and Operators stand under their pseudonyms.
type SummaryRow struct {
	ID, Day     string
	Start       time.Time
	Version     int
	Patient     string
	Room        string
	Device      string
	DeviceName  string
	Class       string
	Description string
	State       string
	Basis       Basis
	FlagState   string
	Gaps        Gaps
	Pregnant    bool
	Quality     bool
	Traits

	Kerma                                  quantity.Opt[quantity.Gray]
	KermaFactor                            quantity.Opt[float64]
	KAP                                    quantity.Opt[quantity.GraySquareMetre]
	FluoroTime                             quantity.Opt[quantity.Second]
	PSD, PSDLow, PSDHigh                   quantity.Opt[quantity.Gray]
	PSDMethod                              string
	Effective, EffectiveLow, EffectiveHigh quantity.Opt[quantity.Sievert]
	EffectiveMethod                        string
	Operators                              []string
	// Identified is whose case it is, nil unless that was asked for.
	Identified *Identified
}

// Identified is whose case it is, by the identifiers that its reports name.
type Identified struct {
	Identity
	StudyUID, Accession string
}

// SummaryList walks the cases of a filter in the order of day and id, page by page, each page as it stood at one moment. What a
// filter says of asks is not looked at.
func (db *DB) SummaryList(ctx context.Context, f SummaryFilter, identified bool) iter.Seq2[SummaryRow, error] {
	return func(yield func(SummaryRow, error) bool) {
		after := key{}
		for {
			page, err := db.summaryPage(ctx, f, identified, after)
			if err != nil {
				yield(SummaryRow{}, err)
				return
			}
			for _, one := range page {
				if !yield(one, nil) {
					return
				}
			}
			if len(page) < rowsAtOnce {
				return
			}
			last := page[len(page)-1]
			after = key{last.Day, last.ID}
		}
	}
}

// key is where a page begins.
type key struct{ day, id string }

// behind gives the condition of a filter on the rows behind a key. The days begin with that of the key, so that a page is found
// without those before it.
func (f SummaryFilter) behind(k key) (string, []any) {
	f.From, f.OpenAsks = max(f.From, k.day), false
	where, args := f.where()
	return where + " AND (s.local_date, s.procedure_id) > (" + placeholder(&args, k.day) + ", " + placeholder(&args, k.id) + ")", args
}

const summaryListColumns = `s.procedure_id, s.local_date, s.start_at, s.start_offset, s.version, s.patient, s.room, s.device_key, s.class, s.complexity, s.description,
	s.state, s.basis, s.flag_state, s.gaps, s.pregnant, s.quality, s.kerma_gy, s.kerma_factor, s.kap_gym2, s.fluoro_s, s.images, s.psd_gy, s.psd_low_gy, s.psd_high_gy,
	s.psd_method, s.no_peak, s.effective_sv, s.effective_low_sv, s.effective_high_sv, s.effective_method, s.no_effective, s.age_years, s.sex, s.height_mm, s.weight_kg, s.persons`

func (db *DB) summaryPage(ctx context.Context, f SummaryFilter, identified bool, after key) (page []SummaryRow, err error) {
	where, args := f.behind(after)
	query := `SELECT ` + summaryListColumns + ` FROM summary_case s WHERE ` + where
	if identified {
		query = `SELECT ` + summaryListColumns + `, k.study_uid, k.accession, COALESCE(i.number, ''), COALESCE(i.issuer, ''), COALESCE(i.name, ''), COALESCE(i.birth_date, ''), COALESCE(i.sex, '')
			FROM summary_case s JOIN procedure_case k ON k.id = s.procedure_id LEFT JOIN patient_identity i ON i.patient_id = k.patient_id WHERE ` + where
	}
	query += ` ORDER BY s.local_date, s.procedure_id LIMIT ` + placeholder(&args, rowsAtOnce)
	err = db.snapshot(ctx, func(q querier) error {
		secret, err := pseudonyms(ctx, q)
		if err != nil {
			return err
		}
		people, err := operatorWords(ctx, q, false)
		if err != nil {
			return err
		}
		devices, err := deviceNames(ctx, q)
		if err != nil {
			return err
		}
		page, err = rows(ctx, q, func(r *sql.Rows) (SummaryRow, error) {
			one, patient, persons, err := scanSummaryRow(r, identified)
			one.Patient, one.DeviceName = secret.Of("patient", patient), devices[one.Device]
			one.Operators = operatorsAmong(persons, people)
			return one, err
		}, query, args...)
		return err
	})
	return page, err
}

func scanSummaryRow(r *sql.Rows, identified bool) (one SummaryRow, patient, persons string, err error) {
	var start dbTime
	var offset int
	to := []any{
		&one.ID, &one.Day, &start, &offset, &one.Version, &patient, &one.Room, &one.Device, &one.Class, &one.Complexity, &one.Description,
		&one.State, &one.Basis, &one.FlagState, &one.Gaps, &one.Pregnant, &one.Quality,
		opt[quantity.Gray]{&one.Kerma},
		opt[float64]{&one.KermaFactor},
		opt[quantity.GraySquareMetre]{&one.KAP},
		opt[quantity.Second]{&one.FluoroTime},
		opt[float64]{&one.Images},
		opt[quantity.Gray]{&one.PSD},
		opt[quantity.Gray]{&one.PSDLow},
		opt[quantity.Gray]{&one.PSDHigh},
		&one.PSDMethod, &one.NoPeak,
		opt[quantity.Sievert]{&one.Effective},
		opt[quantity.Sievert]{&one.EffectiveLow},
		opt[quantity.Sievert]{&one.EffectiveHigh},
		&one.EffectiveMethod, &one.NoEffective,
		opt[float64]{&one.AgeYears},
		&one.Sex,
		opt[quantity.Millimetre]{&one.Height},
		opt[quantity.Kilogram]{&one.Weight},
		&persons,
	}
	if identified {
		whose := &Identified{}
		one.Identified = whose
		to = append(to, &whose.StudyUID, &whose.Accession, &whose.Number, &whose.Issuer, &whose.Name, &whose.BirthDate, &whose.Sex)
	}
	err = r.Scan(to...)
	one.Start = start.In(time.FixedZone("", offset))
	return one, patient, persons, kind(err)
}

// SummaryVersion is the newest estimate of a case with what it holds of irradiation events: Version.Body.
type SummaryVersion struct {
	CaseID, Day, Room, StudyUID string
	Version                     Version
}

// SummaryVersions walks the newest versions of the cases of a filter in the order of day and id, a few at a time.
func (db *DB) SummaryVersions(ctx context.Context, f SummaryFilter) iter.Seq2[SummaryVersion, error] {
	return func(yield func(SummaryVersion, error) bool) {
		after := key{}
		for {
			where, args := f.behind(after)
			page, err := rows(ctx, db.read, func(r *sql.Rows) (SummaryVersion, error) {
				var one SummaryVersion
				return one, r.Scan(&one.CaseID, &one.Day, &one.Room, &one.StudyUID, &one.Version.Number, &one.Version.Body)
			}, `SELECT s.procedure_id, s.local_date, s.room, k.study_uid, s.version, v.body FROM summary_case s JOIN procedure_case k ON k.id = s.procedure_id
				JOIN procedure_version v ON v.procedure_id = s.procedure_id AND v.version = s.version
				WHERE `+where+` ORDER BY s.local_date, s.procedure_id LIMIT `+placeholder(&args, bodiesAtOnce), args...)
			if err != nil {
				yield(SummaryVersion{}, err)
				return
			}
			for _, one := range page {
				if !yield(one, nil) {
					return
				}
			}
			if len(page) < bodiesAtOnce {
				return
			}
			last := page[len(page)-1]
			after = key{last.Day, last.CaseID}
		}
	}
}
