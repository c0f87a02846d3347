// Package crashpoint names the steps at which the crash tests kill the process. In an ordinary build Reached does
// nothing; with the build tag "crash" it kills the process at the step that the environment names.
package crashpoint

// Step is a place on a report's way.
type Step string

// The steps, in order of the way.
const (
	Connected       Step = "connected"
	Associated      Step = "associated"
	CommandRead     Step = "command-read"
	DataArrived     Step = "data-arrived" // subject: the number of the fragment within its data set
	TempWritten     Step = "temporary-written"
	TempSynced      Step = "temporary-synced"
	Linked          Step = "linked"
	FolderSynced    Step = "folder-synced"
	BeforeCommit    Step = "before-commit"
	AfterCommit     Step = "after-commit"
	BeforeAnswer    Step = "before-answer"
	JobLeased       Step = "job-leased"
	ReportRead      Step = "report-read"
	ReportSaved     Step = "report-saved"
	Assessed        Step = "assessed"
	AssessmentSaved Step = "assessment-saved"
	CommitmentAsked Step = "commitment-asked" // the question is kept, and not answered yet
	CommitmentMade  Step = "commitment-made"  // the question was taken, and its answer not sent yet
	CommitmentTold  Step = "commitment-told"  // the peer has the answer, and the store does not know that
	NoticeQueued    Step = "notice-queued"    // the notice is in the transaction of its flags, and that not committed
	NoticeBegun     Step = "notice-begun"     // a message is about to be sent
	NoticeSent      Step = "notice-sent"      // the receiver has the message, and the store does not know that
)

// NetworkSteps lists the steps that only the door to the DICOM network leads to.
func NetworkSteps() []Step { return []Step{Connected, Associated, CommandRead, DataArrived} }

// CommitmentSteps lists the steps of a storage commitment.
func CommitmentSteps() []Step { return []Step{CommitmentAsked, CommitmentMade, CommitmentTold} }

// NoticeSteps lists the steps of a notice.
func NoticeSteps() []Step { return []Step{NoticeQueued, NoticeBegun, NoticeSent} }

// Steps lists every step that each door leads to.
func Steps() []Step {
	return []Step{
		TempWritten, TempSynced, Linked, FolderSynced, BeforeCommit, AfterCommit, BeforeAnswer,
		JobLeased, ReportRead, ReportSaved, Assessed, AssessmentSaved,
	}
}
