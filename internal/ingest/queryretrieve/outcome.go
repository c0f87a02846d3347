package queryretrieve

import (
	"fmt"

	"afterbeam/internal/ingest/dimse"
	"afterbeam/internal/ingest/dimse/upper"
	"afterbeam/internal/store"
)

const (
	statusNoMatches     upper.Status = 0xA701
	statusNoOperations  upper.Status = 0xA702
	statusNoDestination upper.Status = 0xA801
	statusIncomplete    upper.Status = 0xB000
)

// meanings is the one table of what final statuses of C-FIND, C-GET and C-MOVE mean (PS3.4 C.4.1 to C.4.3). An archive's
// own comments are not kept: they may hold anything.
func meanings() []dimse.Outcome {
	return []dimse.Outcome{
		{Status: upper.StatusNoResources, Meaning: "archive is out of resources"},
		{Status: statusNoMatches, Meaning: "archive is out of resources for counting matches"},
		{Status: statusNoOperations, Meaning: "archive could not perform the sub-operation"},
		{Status: statusNoDestination, Meaning: "archive does not know the AE title to send to"},
		{Status: upper.StatusMismatch, Meaning: "archive finds that the question does not fit its service"},
		{Status: statusIncomplete, Meaning: "archive could not send it"},
		{Status: upper.StatusNotUnderstood, Meaning: "archive cannot process the question"}, // all of Cxxx
		{Status: upper.StatusClassUnknown, Meaning: "archive does not offer the service"},
		{Status: upper.StatusNotAuthorised, Meaning: "archive does not allow it"},
		{Status: upper.StatusUnrecognised, Meaning: "archive does not offer the operation"},
		{Status: upper.StatusCancelled, Meaning: "archive ended the operation"},
	}
}

// meaning gives the words of a status.
func meaning(s upper.Status) string {
	if s>>12 == 0xC {
		s = upper.StatusNotUnderstood
	}
	for _, row := range meanings() {
		if row.Status == s {
			return row.Meaning
		}
	}
	return "archive gives a status that is not known here"
}

// refused tells of a final status that is no success.
type refused struct{ upper.Status }

func (r refused) Error() string { return r.String() + ": " + meaning(r.Status) }

const noCounters = "archive gives no counters"

// miscounted compares the counters of a final answer with the one sub-operation that was asked for (PS3.4 C.4.2.1.6 and
// C.4.3.1.4); "" is right.
func miscounted(c upper.Command) string {
	completed, has1 := c.Completed.Get()
	failed, has2 := c.Failed.Get()
	warned, has3 := c.Warnings.Get()
	sum := int(completed) + int(failed) + int(warned)
	switch {
	case !has1 && !has2 && !has3:
		return noCounters
	case sum == 0:
		return "archive has nothing to send"
	case sum != 1:
		return fmt.Sprintf("archive counts %d completed, %d failed, %d with warnings where one object was asked for", completed, failed, warned)
	case failed == 1:
		return "archive counts it as not sent"
	}
	return ""
}

// judge says what became of an object: it is there when the store has it. ours is why the door of C-GET did not take it,
// "" where it was not asked or took it.
func judge(o store.Archived, final upper.Command, here bool, ours string) store.Archived {
	counted := miscounted(final)
	o.State, o.Status, o.Reason = store.ArchivedFailed, final.Status.String(), counted
	switch {
	case here:
		o.State = store.ArchivedGot
	case ours != "":
		o.Reason = ours
	case final.Status != upper.Success:
		o.Reason = meaning(final.Status)
	case counted == "" || counted == noCounters:
		o.Reason = "archive counts it as sent, it did not arrive"
	}
	return o
}
