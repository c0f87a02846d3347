package httpapi

import "afterbeam/internal/store"

// encodeUnassessed says what a patient's sums lack. To a caller who may not see it, it says no more than that.
func encodeUnassessed(u store.Unassessed, seen bool) UnassessedProcedure {
	one := UnassessedProcedure{ReportedAt: moment(u.ContentAt), Reports: u.Reports}
	if seen {
		one.StudyUid, one.Device, one.ProcedureId = text(u.StudyUID), text(u.DeviceKey), text(u.CaseID)
	}
	switch u.Lack {
	case store.LackFailed:
		one.State, one.Reason = "failed", "its assessment failed each time it was tried and is not tried again until somebody asks (afterbeam redo failed) or a new report comes"
	case store.LackWaiting:
		one.State, one.Reason = "waiting", "its reports are here and their assessment is under way"
	case store.LackNoCase:
		one.State, one.Reason = "no_case", "its reports were assessed and gave no procedure: they count for nothing beside others, or wait in review"
	}
	if u.CaseID != "" {
		one.Reason += "; the sums hold an earlier estimate of it, which may lack its newest reports"
	}
	return one
}
