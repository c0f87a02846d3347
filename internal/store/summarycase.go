package store

import (
	"cmp"
	"context"
	"database/sql"
	"slices"
	"strings"
	"time"

	"afterbeam/internal/quantity"
	"afterbeam/internal/summary"
)

// SummaryFilter says which cases a summary is made of. From and To are local dates, both included; empty fields do not narrow.
type SummaryFilter struct {
	From, To string
	// Rooms are those that the reader sees, nil every room.
	Rooms               []string
	Room, Class, Device string
	// OpenAsks has the cases of any day come as well of which something is still asked.
	OpenAsks bool
	// OperatorNames asks for the names of operators in place of their pseudonyms.
	OperatorNames bool
}

// where gives the condition on summary_case s.
func (f SummaryFilter) where() (string, []any) {
	days, rest, args := f.terms()
	if f.OpenAsks {
		days = "(" + days + " OR " + openAsks + ")"
	}
	return days + rest, args
}

// openAsks holds for the cases of which something is still asked.
const openAsks = "s.procedure_id IN (SELECT procedure_id FROM ask WHERE state = 'open')"

// terms gives what the filter says of days, and the rest of it.
func (f SummaryFilter) terms() (days, rest string, args []any) {
	days = "(s.local_date >= " + placeholder(&args, f.From) + " AND s.local_date <= " + placeholder(&args, f.To) + ")"
	for _, equal := range []struct{ column, value string }{{"s.room", f.Room}, {"s.class", f.Class}, {"s.device_key", f.Device}} {
		if equal.value != "" {
			rest += " AND " + equal.column + " = " + placeholder(&args, equal.value)
		}
	}
	if f.Rooms != nil {
		marks := []string{"NULL"}
		for _, room := range f.Rooms {
			marks = append(marks, placeholder(&args, room))
		}
		rest += " AND s.room IN (" + strings.Join(marks, ", ") + ")"
	}
	return days, rest, args
}

// SummaryCases gives the cases of a filter as summaries need them, in the order of day and id: as they stood at one moment.
func (db *DB) SummaryCases(ctx context.Context, f SummaryFilter) (cases []summary.Case, err error) {
	where, args := f.where()
	err = db.snapshot(ctx, func(q querier) error {
		people, err := operatorWords(ctx, q, f.OperatorNames)
		if err != nil {
			return err
		}
		devices, err := deviceNames(ctx, q)
		if err != nil {
			return err
		}
		scan := summaryScan{people: people, devices: devices, words: map[string]string{}, zones: zones{}, teams: map[string][]string{}}
		if cases, err = f.cases(ctx, q, scan); err != nil {
			return err
		}
		byID := make(map[string]*summary.Case, len(cases))
		for i := range cases {
			byID[cases[i].ID] = &cases[i]
		}
		for _, add := range []func(context.Context, querier, string, []any, map[string]*summary.Case) error{addFlags, addAsks, addReactions, addReviews} {
			if err := add(ctx, q, where, args, byID); err != nil {
				return err
			}
		}
		return nil
	})
	return cases, err
}

// cases reads the cases of the days, which lie one behind the other, and then those of other days of which something is still
// asked: one question for both would sort them all.
func (f SummaryFilter) cases(ctx context.Context, q querier, scan summaryScan) ([]summary.Case, error) {
	days, rest, args := f.terms()
	list := `SELECT ` + summaryCaseColumns + ` FROM summary_case s WHERE `
	cases, err := rows(ctx, q, scan.one, list+days+rest+` ORDER BY s.local_date, s.procedure_id`, args...)
	if err != nil || !f.OpenAsks {
		return cases, err
	}
	others, err := rows(ctx, q, scan.one, list+openAsks+` AND NOT `+days+rest, args...)
	cases = append(cases, others...)
	slices.SortFunc(cases, func(a, b summary.Case) int { return cmp.Or(cmp.Compare(a.Day, b.Day), cmp.Compare(a.ID, b.ID)) })
	return cases, err
}

const summaryCaseColumns = `s.procedure_id, s.local_date, s.start_at, s.start_offset, s.patient, s.room, s.device_key, s.class, s.complexity, s.basis, s.flag_state,
	s.gaps, s.pregnant, s.quality, s.kerma_gy, s.kerma_factor, s.kap_gym2, s.fluoro_s, s.images, s.psd_gy, s.psd_low_gy, s.psd_high_gy, s.psd_method, s.no_peak,
	s.effective_sv, s.effective_method, s.no_effective, s.age_years, s.height_mm, s.weight_kg, s.persons`

// summaryScan scans rows; words keeps one copy of each text that many cases share.
type summaryScan struct {
	people  map[string]string
	devices map[string]string
	words   map[string]string
	zones   zones
	teams   map[string][]string // the operators of each list of persons
}

// zones keeps one location of each offset.
type zones map[int]*time.Location

func (z zones) of(offset int) *time.Location {
	if z[offset] == nil {
		z[offset] = time.FixedZone("", offset)
	}
	return z[offset]
}

func (s summaryScan) one(r *sql.Rows) (summary.Case, error) {
	var c summary.Case
	var start dbTime
	var offset int
	var gaps Gaps
	var basis Basis
	var persons string
	err := r.Scan(&c.ID, &c.Day, &start, &offset, &c.Patient, &c.Room, &c.Device, &c.Class, &c.Complexity, &basis, &c.State,
		&gaps, &c.Pregnant, &c.Quality, opt[quantity.Gray]{&c.Kerma}, opt[float64]{&c.KermaFactor}, opt[quantity.GraySquareMetre]{&c.KAP}, opt[quantity.Second]{&c.FluoroTime},
		opt[float64]{&c.Images}, opt[quantity.Gray]{&c.PSD}, opt[quantity.Gray]{&c.PSDLow}, opt[quantity.Gray]{&c.PSDHigh}, &c.PSDMethod, &c.PSDNone,
		opt[quantity.Sievert]{&c.Effective}, &c.EffectiveMethod, &c.EffectiveNone, opt[float64]{&c.Age}, opt[quantity.Millimetre]{&c.Height}, opt[quantity.Kilogram]{&c.Weight}, &persons)
	if err != nil {
		return c, kind(err)
	}
	c.Start = start.In(s.zones.of(offset))
	c.Totals = basis == BasisTotals
	c.KermaDoubt, c.KAPDoubt = doubt(gaps, GapKerma, SuspectKerma), doubt(gaps, GapKAP, SuspectKAP)
	c.TimeDoubt, c.PSDLowerBound = doubt(gaps, GapTime, 0), gaps.Has(LowerBound)
	for _, text := range []*string{&c.Day, &c.Patient, &c.Room, &c.Device, &c.Class, &c.Complexity, &c.State, &c.PSDMethod, &c.PSDNone, &c.EffectiveMethod, &c.EffectiveNone} {
		*text = s.word(*text)
	}
	c.DeviceName = s.devices[c.Device]
	c.Operators = s.team(persons)
	return c, nil
}

// team gives what the operators among the persons of a case are called.
func (s summaryScan) team(persons string) []string {
	if persons == "" {
		return nil
	}
	team, known := s.teams[persons]
	if !known {
		team = operatorsAmong(persons, s.people)
		s.teams[persons] = team
	}
	return slices.Clip(team)
}

// operatorsAmong gives the words for the operators among the persons of a case, each once.
func operatorsAmong(persons string, words map[string]string) []string {
	var all []string
	for _, id := range performers(persons) {
		if word := words[id]; word != "" && !slices.Contains(all, word) {
			all = append(all, word)
		}
	}
	slices.Sort(all)
	return all
}

func (s summaryScan) word(text string) string {
	if kept, known := s.words[text]; known {
		return kept
	}
	s.words[text] = text
	return text
}

// doubt says why a number is not the value of its case. What is not believed is told before what lacks a part.
func doubt(gaps, part, suspect Gaps) summary.Doubt {
	switch {
	case gaps.Has(suspect):
		return summary.DoubtSuspect
	case gaps.Has(part):
		return summary.DoubtPart
	}
	return summary.DoubtNone
}

// performers gives the ids of those who did the procedure: who is said to have performed it, else who administered the
// radiation. Others who were there, and who asked for it, are no operators.
func performers(persons string) []string {
	byRole := map[string][]string{}
	for _, line := range strings.Split(persons, "\n") {
		if role, id, ok := cutLast(line, ":"); ok {
			byRole[role] = append(byRole[role], id)
		}
	}
	if did := byRole["performing"]; len(did) > 0 {
		return did
	}
	return byRole["administering"]
}

// cutLast cuts around the last separator: a role is free text, an id has none.
func cutLast(text, separator string) (before, after string, found bool) {
	at := strings.LastIndex(text, separator)
	if at < 0 {
		return text, "", false
	}
	return text[:at], text[at+len(separator):], true
}

// operatorWords gives what each person is called: the pseudonym, or the name, of the account whose person it is, else of the
// person.
func operatorWords(ctx context.Context, q querier, names bool) (map[string]string, error) {
	secret, err := pseudonyms(ctx, q)
	if err != nil {
		return nil, err
	}
	type person struct{ id, name, account, accountName string }
	all, err := rows(ctx, q, func(r *sql.Rows) (person, error) {
		var p person
		return p, r.Scan(&p.id, &p.name, &p.account, &p.accountName)
	}, `SELECT p.id, CASE WHEN p.name <> '' THEN p.name WHEN p.login <> '' THEN p.login ELSE p.number END, COALESCE(a.account_id, ''), COALESCE(k.name, '')
		FROM person p LEFT JOIN person_account a ON a.person_id = p.id AND a.ended_at = '' LEFT JOIN account k ON k.id = a.account_id`)
	if err != nil {
		return nil, err
	}
	words := make(map[string]string, len(all))
	for _, p := range all {
		switch {
		case names && p.accountName != "":
			words[p.id] = p.accountName
		case names:
			words[p.id] = p.name
		case p.account != "":
			words[p.id] = secret.Of("operator", "account "+p.account)
		default:
			words[p.id] = secret.Of("operator", "person "+p.id)
		}
	}
	return words, nil
}

func deviceNames(ctx context.Context, q querier) (map[string]string, error) {
	names := map[string]string{}
	_, err := rows(ctx, q, func(r *sql.Rows) (struct{}, error) {
		var key, name string
		err := r.Scan(&key, &name)
		names[key] = name
		return struct{}{}, err
	}, `SELECT device_key, CASE WHEN name <> '' THEN name WHEN station <> '' THEN station ELSE model END FROM device`)
	return names, err
}
