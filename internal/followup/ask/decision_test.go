package ask_test

import (
	"cmp"
	"encoding/csv"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/followup/ask"
	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/followup/level"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// procedureDay is a Monday, so that working days can be counted on the fingers.
const procedureDay = "2026-09-14"

func dayAfter(days int) string {
	at, err := time.Parse(time.DateOnly, procedureDay)
	if err != nil {
		panic(err)
	}
	return at.AddDate(0, 0, days).Format(time.DateOnly)
}

// decision is a row of the table.
type decision map[string]string

func decisions(t *testing.T) []decision {
	t.Helper()
	file, err := os.Open("testdata/decisions.csv")
	require.NoError(t, err)
	defer func() { assert.NoError(t, file.Close()) }()
	reader := csv.NewReader(file)
	reader.Comment = '#'
	lines, err := reader.ReadAll()
	require.NoError(t, err)
	var all []decision
	for _, line := range lines[1:] {
		d := decision{}
		for i, column := range lines[0] {
			d[column] = line[i]
		}
		all = append(all, d)
	}
	return all
}

func (d decision) number(t *testing.T, column string) quantity.Opt[float64] {
	t.Helper()
	if d[column] == "" {
		return quantity.None[float64]()
	}
	v, err := strconv.ParseFloat(d[column], 64)
	require.NoError(t, err)
	return quantity.Some(v)
}

func as[T ~float64](o quantity.Opt[float64], unit T) quantity.Opt[T] {
	v, ok := o.Get()
	if !ok {
		return quantity.None[T]()
	}
	return quantity.Some(T(v) * unit)
}

// delivered gives what the row's case gave, as a window of the patient takes it.
func (d decision) delivered(t *testing.T) assessment.Delivered {
	t.Helper()
	kerma := as[quantity.Gray](d.number(t, "kar"), 1)
	if b, ok := d.number(t, "kar_b").Get(); ok {
		kerma = quantity.Some(kerma.Or(0) + quantity.Gray(b))
	}
	dose := procedure.CaseDose{
		Kerma: kerma, LeastKerma: kerma, KAP: as(d.number(t, "kap"), quantity.GraySquareCentimetre), FluoroTime: as(d.number(t, "ft_min"), quantity.Minute),
	}
	dose.LeastKAP, dose.LeastTime = dose.KAP, dose.FluoroTime
	switch d["plane_missing"] {
	case "kar":
		dose.Kerma, dose.KermaMissing = quantity.None[quantity.Gray](), []string{"plane B"}
	case "kap":
		dose.KAP, dose.KAPMissing = quantity.None[quantity.GraySquareMetre](), []string{"plane B"}
	}
	if strings.Contains(d["suspect"], "kar") {
		dose.Suspicion |= procedure.SuspectKerma
	}
	if strings.Contains(d["suspect"], "kap") {
		dose.Suspicion |= procedure.SuspectKAP
	}
	psd := as[quantity.Gray](d.number(t, "psd"), 1)
	return assessment.Delivered{
		Key: "own", LocalDate: procedureDay, QualityControl: d["quality"] != "", Dose: dose, KermaFactor: d.number(t, "kar_factor"),
		PSD: skindose.Estimate{
			Method: skindose.MethodMap, Value: psd, Low: psd, High: as[quantity.Gray](d.number(t, "psd_high"), 1),
			FieldAtSkin: as(d.number(t, "field_cm2"), quantity.SquareCentimetre),
		},
	}
}

// earlier gives the patient's other cases of the row.
func (d decision) earlier(t *testing.T) []assessment.Delivered {
	t.Helper()
	var all []assessment.Delivered
	for _, one := range strings.Fields(d["earlier"]) {
		parts := strings.Split(one, ":")
		days, err := strconv.Atoi(parts[0])
		require.NoError(t, err)
		e := decision{"kar": parts[1], "psd": parts[2], "psd_high": parts[2]}
		if len(parts) > 3 {
			e["quality"] = "yes"
		}
		other := e.delivered(t)
		other.Key, other.LocalDate = one, dayAfter(days)
		all = append(all, other)
	}
	return all
}

// judged gives the row's case as the schedule sees it, by the levels of a new site, alone and with the others of its window.
func (d decision) judged(t *testing.T) (ask.Case, level.Evaluation) {
	t.Helper()
	return d.judgedBy(t, level.Default())
}

func (d decision) judgedBy(t *testing.T, set level.Set) (ask.Case, level.Evaluation) {
	t.Helper()
	own := d.delivered(t)
	in := level.Input{
		Dose: own.Dose, KermaFactor: own.KermaFactor, FieldAtSkin: own.PSD.FieldAtSkin, QualityControl: own.QualityControl, PSDReason: "not estimated",
	}
	if v, ok := own.PSD.Value.Get(); ok {
		in.PSD = quantity.Some(level.Estimated{Value: v, High: own.PSD.High.Or(v), Method: "map"})
	}
	alone := level.Evaluate(set, in)
	after, err := strconv.Atoi(cmp.Or(d["raised_after"], "0"))
	require.NoError(t, err)
	c := ask.Case{
		Day: procedureDay, Today: dayAfter(after), Quality: own.QualityControl, State: alone.State, Kerma: own.Dose.LeastKerma, PSD: own.PSD.Value,
		Own: as[quantity.Gray](d.number(t, "own"), 1), Pregnant: d["pregnant"] != "",
	}
	add := func(scope string, e level.Evaluation) {
		for _, r := range e.Results {
			c.Flags = append(c.Flags, ask.Flag{
				Key: ask.Key{Scope: ask.ScopeOf(scope), Scheme: r.Row.Scheme, Level: r.Row.ID}, Meaning: r.Row.Meaning, Quantity: r.Row.Quantity, State: r.State,
				Value: r.Value, Level: quantity.Some(r.Level),
			})
		}
	}
	add("this procedure", alone)
	if !own.QualityControl {
		sum := assessment.Method{Levels: set}.Sum(append(d.earlier(t), own), 60, procedureDay)
		if sum.Procedures > 1 {
			add("2 procedures in 60 days", sum.Levels)
			c.State = min(c.State, sum.Levels.State)
		}
	}
	return c, alone
}

func TestDecisions(t *testing.T) {
	all := decisions(t)
	require.GreaterOrEqual(t, len(all), 60)
	seen := map[string]bool{}
	for _, d := range all {
		require.False(t, seen[d["name"]], d["name"])
		seen[d["name"]] = true
		t.Run(d["name"], func(t *testing.T) {
			c, alone := d.judged(t)
			assert.Equal(t, d["state"], c.State.String(), "state")
			assert.ElementsMatch(t, strings.Fields(d["flags"]), reached(c), "flags")
			assert.Equal(t, cmp.Or(d["notices"], "0"), strconv.Itoa(notices(alone)), "notifications")
			s := ask.Default()
			wanted := s.Wanted(c)
			got, due := slotsOf(wanted, c)
			want, wantDue := d.wantedSlots()
			assert.ElementsMatch(t, want, got, "asks")
			for slot, day := range wantDue {
				assert.Equal(t, day, due[slot], "days to %s", slot)
			}
			if d["second"] != "" {
				d.again(t, s, wanted)
			}
		})
	}
}

// reached names the flags that hold.
func reached(c ask.Case) []string {
	var names []string
	for _, f := range c.Holding() {
		name := f.Key.Scheme + "/" + f.Key.Level
		if f.Key.Scope == "60 days" {
			name = "60:" + name
		}
		names = append(names, name)
	}
	return names
}

func notices(e level.Evaluation) int {
	for _, r := range e.Results {
		if r.Row.Meaning == ask.Notification {
			return len(r.Passed)
		}
	}
	return 0
}

// slotsOf gives the slots that are asked, and how many days after the raising they are due.
func slotsOf(wanted []ask.Wanted, c ask.Case) (slots []string, due map[string]int) {
	due = map[string]int{}
	for _, w := range wanted {
		if w.Missed || w.Held {
			continue
		}
		slots = append(slots, w.Slot)
		due[w.Slot] = ask.DaysBetween(c.Today, w.Due)
	}
	return slots, due
}

func (d decision) wantedSlots() (slots []string, due map[string]int) {
	due = map[string]int{}
	for _, word := range strings.Fields(d["asks"]) {
		name, days, dated := strings.Cut(word, ":")
		if dated {
			n, err := strconv.Atoi(days)
			if err != nil {
				panic(err)
			}
			due[name] = n
		}
		switch name {
		case "follow-up":
			slots = append(slots, "record", "inform", "review", "early", "month")
		case "late":
			slots = append(slots, "late-3", "late-6", "late-12")
		default:
			slots = append(slots, name)
		}
	}
	slices.Sort(slots)
	return slices.Compact(slots), due
}

// again applies what the second version changes, and looks how the asks stand.
func (d decision) again(t *testing.T, s ask.Schedule, wanted []ask.Wanted) {
	t.Helper()
	have := applied(nil, s.Reconcile(nil, wanted))
	second := decision{}
	for column, value := range d {
		second[column] = value
	}
	for _, change := range strings.Fields(d["second"]) {
		column, value, _ := strings.Cut(change, "=")
		_, known := d[column]
		require.True(t, known, column)
		second[column] = value
	}
	c, _ := second.judged(t)
	have = applied(have, s.Reconcile(have, s.Wanted(c)))
	got := map[string]string{}
	for _, h := range have {
		got[h.Slot] = string(h.State)
	}
	want := map[string]string{}
	for _, one := range strings.Fields(d["after"]) {
		slot, state, _ := strings.Cut(one, "=")
		want[slot] = state
	}
	assert.Equal(t, want, got)
	assert.Empty(t, s.Reconcile(have, s.Wanted(c)), "doing it again changes nothing")
}

// applied gives the asks after changes, as a store would.
func applied(have []ask.Held, changes []ask.Change) []ask.Held {
	have = slices.Clone(have)
	for _, c := range changes {
		at := slices.IndexFunc(have, func(h ask.Held) bool { return h.Slot == c.Ask.Slot })
		if at < 0 {
			at = len(have)
			have = append(have, ask.Held{})
		}
		have[at] = ask.Held{Ask: c.Ask, Holds: c.Holds}
	}
	return have
}
