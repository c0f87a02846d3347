package ingest

import (
	"fmt"
	"reflect"
	"slices"
	"strings"

	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/ingest/archive"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/store"
)

// changes says in words what differs from the version before, the causes first and then what they did.
func changes(before, now store.Version, a assessment.Assessment) string {
	if before.Case.ID == "" {
		return "first estimate"
	}
	if before.Digest == now.Digest {
		return ""
	}
	var words []string
	say := func(is bool, format string, args ...any) {
		if is {
			words = append(words, fmt.Sprintf(format, args...))
		}
	}
	oldMethods, oldWords, oldProfile := methodsOf(before.Methods)
	newMethods, newWords, newProfile := methodsOf(now.Methods)
	say(oldMethods != newMethods, "methods, tables or levels are new")
	say(oldWords != newWords, "lexicon version %s instead of %s", newWords, oldWords)
	say(oldProfile != newProfile, "another device profile")
	if old, err := archive.ReadProcedure(before.Body); err == nil {
		words = append(words, inputs(old, a)...)
	} else {
		say(true, "the inputs of the version before cannot be read any more")
	}
	was, is := before.Case, now.Case
	say(was.State != is.State, "%s instead of %s", is.State, was.State)
	say(was.Class != is.Class, "class %s instead of %s", is.Class, was.Class)
	for _, dose := range []struct {
		name    string
		was, is string
	}{
		{"Ka,r", shown(was.Kerma, 1, "Gy"), shown(is.Kerma, 1, "Gy")},
		{"KAP", shown(was.KAP, quantity.GraySquareCentimetre, "Gy cm2"), shown(is.KAP, quantity.GraySquareCentimetre, "Gy cm2")},
		{"peak skin dose", shown(was.PSD, 1, "Gy"), shown(is.PSD, 1, "Gy")},
		{"effective dose", shown(was.Effective, quantity.MilliSievert, "mSv"), shown(is.Effective, quantity.MilliSievert, "mSv")},
	} {
		say(dose.was != dose.is, "%s %s instead of %s", dose.name, dose.is, dose.was)
	}
	say(!reflect.DeepEqual(overWindows(before.Flags), overWindows(now.Flags)), "the sum with the patient's other procedures is another")
	say(was.FlagState != is.FlagState, "flag %s instead of %s", is.FlagState, was.FlagState)
	say(len(words) == 0, "details of the result")
	return strings.Join(words, "; ")
}

// inputs says what an assessment was made from that the one before was not.
func inputs(old archive.Case, a assessment.Assessment) []string {
	var words []string
	count := func(n int, one, many string) {
		switch {
		case n == 1:
			words = append(words, "1 "+one)
		case n > 1:
			words = append(words, fmt.Sprintf("%d %s", n, many))
		}
	}
	fresh := 0
	for _, uid := range a.Procedure.ReportUIDs {
		if !slices.Contains(old.Procedure.ReportUIDs, uid) {
			fresh++
		}
	}
	count(fresh, "new report", "new reports")
	added, changed, gone := procedure.CompareEvents(old.Procedure.Events, a.Procedure.Events)
	count(added, "event added", "events added")
	count(changed, "event changed", "events changed")
	count(gone, "event no longer counted", "events no longer counted")
	if names := factsChanged(old.Facts, a.Facts); len(names) > 0 {
		words = append(words, "given by a person: "+strings.Join(names, ", "))
	}
	return words
}

// factsChanged names the facts that differ.
func factsChanged(was, is procedure.Facts) []string {
	var names []string
	for _, f := range []struct {
		name    string
		differs bool
	}{
		{"height", was.Height != is.Height},
		{"weight", was.Weight != is.Weight},
		{"age", was.AgeYears != is.AgeYears},
		{"sex", was.Sex != is.Sex},
		{"procedure class", was.Class != is.Class},
		{"direction on the table", was.Direction != is.Direction},
		{"posture", was.Posture != is.Posture},
		{"position of the arms", was.Arms != is.Arms},
		{"table offset", was.TableOffset != is.TableOffset},
		{"thickness", was.PatientThickness != is.PatientThickness},
	} {
		if f.differs {
			names = append(names, f.name)
		}
	}
	return names
}

// overWindows gives the flags of sums over several procedures.
func overWindows(flags []store.Flag) []store.Flag {
	return slices.DeleteFunc(slices.Clone(flags), func(f store.Flag) bool { return f.Scope == thisProcedure })
}

// shown prints a value in the unit of the given size, with three digits.
func shown[T ~float64](v quantity.Opt[T], size T, unit string) string {
	x, ok := v.Get()
	if !ok {
		return "unknown"
	}
	return quantity.Significant(float64(x/size), 3) + " " + unit
}
