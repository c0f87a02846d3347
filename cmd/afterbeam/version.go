package main

import (
	"fmt"
	"runtime/debug"

	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/followup/level"
	"afterbeam/internal/procedure/lexicon"
)

// version is set at link time by make build.
var version = ""

// programVersion names the build: the linked version, else the version control state that the go command stamped.
func programVersion() string {
	if version != "" {
		return version
	}
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "unknown build"
	}
	revision, dirty := "", ""
	for _, s := range info.Settings {
		switch {
		case s.Key == "vcs.revision":
			revision = s.Value
		case s.Key == "vcs.modified" && s.Value == "true":
			dirty = " with changes"
		}
	}
	if revision == "" {
		return "unreleased build"
	}
	return "build " + revision[:min(12, len(revision))] + dirty
}

type versionCommand struct {
	Classes bool `help:"List the procedure classes."`
	Levels  bool `help:"List every follow-up level with its source and how it is known."`
}

// Run prints the versions and, when asked, the tables.
func (v *versionCommand) Run(c console) error {
	p := printer{w: c.out}
	p.say("afterbeam %s", programVersion())
	p.say("methods %s", assessment.Versions())
	p.say("tables %s", assessment.Tables())
	if v.Classes {
		for _, class := range lexicon.Classes() {
			p.say("  %-24s%s", class.ID, class.Title)
		}
	}
	if v.Levels {
		for _, r := range level.Default().Rows {
			p.say("  %s", levelLine(r))
		}
	}
	return p.err
}

func levelLine(r level.Row) string {
	number, on := "no number", "off"
	if r.Quantity != level.QuantityNone {
		number = r.Quantity.String() + " " + r.Quantity.Print(r.Value, r.Value)
		if r.Step > 0 {
			number += ", then each " + r.Quantity.Print(r.Step, 0)
		}
	}
	if r.On {
		on = "on"
	}
	return fmt.Sprintf("%s/%s (%s): %s; %s; %s [%s]", r.Scheme, r.ID, on, number, r.Text, r.Source, r.Known)
}
