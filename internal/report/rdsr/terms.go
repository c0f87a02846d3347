package rdsr

import "afterbeam/internal/procedure"

// Members of the code lists, in current codes. Source: PS3.16 (2025e), the lists named, read.

// planes is CID 10003.
func planes() []term[procedure.Plane] {
	return []term[procedure.Plane]{
		{procedure.PlaneSingle, dcm("113622", "Single Plane")},
		{procedure.PlaneA, dcm("113620", "Plane A")},
		{procedure.PlaneB, dcm("113621", "Plane B")},
		{procedure.PlaneAll, dcm("113890", "All Planes")},
	}
}

// eventTypes is CID 10002.
func eventTypes() []term[procedure.EventType] {
	return []term[procedure.EventType]{
		{procedure.Fluoroscopy, sct("44491008", "Fluoroscopy")},
		{procedure.Stationary, dcm("113611", "Stationary Acquisition")},
		{procedure.Stepping, dcm("113612", "Stepping Acquisition")},
		{procedure.Rotational, dcm("113613", "Rotational Acquisition")},
	}
}

// scopes is CID 10000.
func scopes() []term[procedure.Scope] {
	return []term[procedure.Scope]{
		{procedure.ScopeStudy, dcm("113014", "Study")},
		{procedure.ScopeSeries, dcm("113015", "Series")},
		{procedure.ScopeStep, dcm("113016", "Performed Procedure Step")},
		{procedure.ScopeToThisPoint, dcm("113970", "Procedure Step To This Point")},
		{procedure.ScopeEvent, dcm("113852", "Irradiation Event")},
	}
}

// scopeUIDs is CID 10001: the name of the UID that says what the totals were accumulated over.
func scopeUIDs() []term[procedure.Scope] {
	return []term[procedure.Scope]{
		{procedure.ScopeStudy, dcm("110180", "Study Instance UID")},
		{procedure.ScopeSeries, dcm("112002", "Series Instance UID")},
		{procedure.ScopeStep, dcm("121126", "Performed Procedure Step SOP Instance UID")},
		{procedure.ScopeToThisPoint, dcm("121126", "Performed Procedure Step SOP Instance UID")},
		{procedure.ScopeEvent, dcm("113769", "Irradiation Event UID")},
	}
}

// directions is CID 21 as far as geometry has a rule.
func directions() []term[procedure.Direction] {
	return []term[procedure.Direction]{
		{procedure.HeadFirst, sct("102540008", "headfirst")},
		{procedure.FeetFirst, sct("102541007", "feet-first")},
	}
}

// postures is CID 20 as far as geometry has a rule.
func postures() []term[procedure.Posture] {
	return []term[procedure.Posture]{
		{procedure.Supine, sct("40199007", "supine")},
		{procedure.Prone, sct("1240000", "prone")},
		{procedure.DecubitusLeft, sct("102536004", "left lateral decubitus")},
		{procedure.DecubitusRight, sct("102535000", "right lateral decubitus")},
	}
}

// availabilities is CID 230; undetermined reads as unsaid.
func availabilities() []term[procedure.Availability] {
	return []term[procedure.Availability]{
		{procedure.AvailabilityYes, sct("373066001", "Yes")},
		{procedure.AvailabilityNo, sct("373067005", "No")},
		{procedure.AvailabilityUnsaid, sct("373068000", "Undetermined")},
	}
}

// filterTypes is CID 10007.
func filterTypes() []term[procedure.FilterType] {
	return []term[procedure.FilterType]{
		{procedure.FilterStrip, dcm("113650", "Strip filter")},
		{procedure.FilterWedge, dcm("113651", "Wedge filter")},
		{procedure.FilterButterfly, dcm("113652", "Butterfly filter")},
		{procedure.FilterFlat, dcm("113653", "Flat filter")},
		{procedure.FilterNone, dcm("111609", "No Filter")},
	}
}

// metals is CID 10006 and CID 10016.
func metals() []term[procedure.Metal] {
	return []term[procedure.Metal]{
		{procedure.Aluminium, sct("12503006", "Aluminum")},
		{procedure.Copper, sct("66925006", "Copper")},
		{procedure.Molybdenum, sct("71128006", "Molybdenum")},
		{procedure.Rhodium, sct("59801003", "Rhodium")},
		{procedure.Niobium, sct("767776000", "Niobium")},
		{procedure.Europium, sct("767775001", "Europium")},
		{procedure.Lead, sct("88488004", "Lead")},
		{procedure.Tantalum, sct("45215009", "Tantalum")},
		{procedure.Silver, sct("41967008", "Silver")},
		{procedure.Tin, sct("12597001", "Tin")},
		{procedure.Tungsten, sct("26194003", "Tungsten")},
	}
}
