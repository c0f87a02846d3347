package metric

// Row is one measurement.
type Row struct {
	// Name is the name; one that ends in * stands for all that begin so, which the runtime's own collectors expose.
	Name string
	Kind string // gauge, counter, histogram
	// Unit of the value, "" for a plain count.
	Unit   string
	Labels []string
	// Help is what it means; it goes along with every answer.
	Help string
}

// Rows is the table, by what the measurements are about.
func Rows() []Row {
	return []Row{
		{"afterbeam_build_info", "gauge", "", []string{"version", "go"}, "Version of the program; always 1."},
		{"afterbeam_schema_version", "gauge", "", nil, "Number of the newest migration of the database."},
		{"afterbeam_http_requests_total", "counter", "", []string{"operation", "status"}, "Requests answered, by operation of the contract and status."},
		{"afterbeam_http_request_seconds", "histogram", "s", []string{"operation"}, "Time to answer, by operation of the contract."},
		{"afterbeam_http_reports_total", "counter", "", []string{"answer"}, "Reports handed in over HTTP: stored, again, quarantined, refused."},
		{"afterbeam_dicom_associations_total", "counter", "", []string{"connection"}, "Associations that were made, by how the connection is protected."},
		{"afterbeam_dicom_refusals_total", "counter", "", []string{"reason"}, "Connections and associations that were refused or broke off before there was one, by reason."},
		{"afterbeam_dicom_stores_total", "counter", "", []string{"status"}, "Objects sent by C-STORE, by the status answered."},
		{"afterbeam_dicom_certificate_days", "gauge", "days", nil, "Days until the certificate of the DICOM door ends, below 0 when it has."},
		{"afterbeam_certificate_days", "gauge", "days", []string{"certificate"}, "Days until a certificate ends, below 0 when it has: http of the interface and the pages, dicom of the DICOM door."},
		{"afterbeam_jobs_waiting", "gauge", "", nil, "Jobs that wait or are under way."},
		{"afterbeam_jobs_failed", "gauge", "", nil, "Jobs that failed for good."},
		{"afterbeam_jobs_oldest_seconds", "gauge", "s", nil, "Age of the oldest waiting job, 0 when none waits."},
		{"afterbeam_devices_silent", "gauge", "", nil, "Devices that have sent nothing for longer than is their habit."},
		{"afterbeam_device_last_report_seconds", "gauge", "s", []string{"device"}, "Time since the newest report of a device came."},
		{"afterbeam_notices_waiting", "gauge", "", []string{"channel"}, "Messages that are due or to be tried again; of the channel nobody, notices that have nobody to go to."},
		{"afterbeam_notices_failed", "gauge", "", []string{"channel"}, "Messages that the channel will not take."},
		{"afterbeam_notice_channel_failing_seconds", "gauge", "s", []string{"channel"}, "How long a channel has been taking nothing, 0 when it is well."},
		{"afterbeam_notices_oldest_seconds", "gauge", "s", []string{"channel"}, "Age of the oldest waiting message, 0 when none waits."},
		{"afterbeam_backup_configured", "gauge", "", nil, "1 when the service makes backups by itself, else 0."},
		{"afterbeam_backup_age_seconds", "gauge", "s", nil, "Age of the newest backup; absent when there is none."},
		{"afterbeam_backup_late_seconds", "gauge", "s", nil, "How long the next backup has been due, 0 when it is not; absent without backups."},
		{"afterbeam_backup_failed", "gauge", "", nil, "1 when the last backup failed or was broken off, else 0."},
		{"afterbeam_backups_kept", "gauge", "", nil, "Backups that are there."},
		{"afterbeam_drill_age_seconds", "gauge", "s", nil, "Time since a restore drill succeeded, infinite when none did; absent without backups."},
		{"afterbeam_disk_free_bytes", "gauge", "bytes", []string{"disk"}, "Room that is left on the disk of the store and of the backups."},
		{"afterbeam_disk_free_ratio", "gauge", "1", []string{"disk"}, "Free share of that disk, 0 to 1."},
		{"afterbeam_audit_chain_sound", "gauge", "", nil, "1 when the last check of the audit chain found it whole, 0 when it did not; absent before the first."},
		{"afterbeam_audit_checked_seconds", "gauge", "s", nil, "Time since the audit chain was last found whole; absent before the first."},
		{"afterbeam_audit_records", "gauge", "", nil, "Records of the audit chain."},
		{"afterbeam_holds", "gauge", "", nil, "Holds in force, which keep retention from removing."},
		{"go_*", "", "", nil, "The Go runtime's own: goroutines, memory, garbage collection."},
		{"process_*", "", "", nil, "The process's own: processor time, memory, open files, start time, network bytes."},
	}
}

// Severity says how soon somebody has to look.
type Severity string

// The severities.
const (
	Urgent  Severity = "urgent"  // today
	Warning Severity = "warning" // this week
)

// Alarm is a condition on a measurement, any series of it.
type Alarm struct {
	ID       string
	Severity Severity
	Metric   string
	Below    bool // the value is below the limit, else above it
	Limit    float64
	// For is how long it has to hold, in minutes, before somebody is told.
	For int
	// Means and Do are for the person who is told.
	Means, Do string
}

// Alarms is the table of alarms. Limits are judgement: early enough to act by day.
func Alarms() []Alarm {
	const day = 86400
	return []Alarm{
		{
			"device-silent", Warning, "afterbeam_devices_silent", false, 0, 60, "A device has sent nothing for longer than is its habit.",
			"See afterbeam device silent or the page of devices; ask the room whether it works and sends; afterbeam missing lists procedures without a report.",
		},
		{
			"backlog", Urgent, "afterbeam_jobs_oldest_seconds", false, 900, 5, "A job has waited for more than 15 minutes: reports are kept but not read or estimated.",
			"Look into the log for errors of the pipeline and at the machine's load; more pipeline.workers help when both cores are idle. A large back-fill is no fault.",
		},
		{
			"jobs-failed", Urgent, "afterbeam_jobs_failed", false, 0, 0, "Jobs were given up: a report could not be read or a case not estimated.",
			"The log names the job and the error. Mend the cause, then afterbeam redo failed --reason ...; what still fails is for the developers, with the error and no patient data.",
		},
		{
			"channel-failing", Urgent, "afterbeam_notice_channel_failing_seconds", false, 300, 0, "A channel of notices takes nothing.",
			"Check the channel's server, its certificate and the password file; messages are kept and tried again by themselves.",
		},
		{
			"notices-refused", Warning, "afterbeam_notices_failed", false, 0, 0, "A message was refused for good, such as for a wrong address.",
			"afterbeam notice show CASE names the address; correct it, then afterbeam notice resend.",
		},
		{
			"no-backup", Warning, "afterbeam_backup_configured", true, 1, 60, "No backups are set up.",
			"Set backup.dir to a folder on another disk or machine, or make backups by afterbeam backup and watch those yourself.",
		},
		{
			"backup-late", Urgent, "afterbeam_backup_late_seconds", false, 3 * 3600, 0, "The newest backup is too old.",
			"See the last run at /v1/operations or on the page of operations: disk full, folder not mounted, damage. afterbeam backup FOLDER makes one now.",
		},
		{
			"backup-failed", Urgent, "afterbeam_backup_failed", false, 0, 0, "The last backup failed.",
			"The run's text says why. Damage that verification found is in the store as well: run afterbeam verify and keep the older backups apart.",
		},
		{
			"drill-old", Warning, "afterbeam_drill_age_seconds", false, 100 * day, 0, "No restore was tried for 100 days.",
			"Run afterbeam drill and have its report signed.",
		},
		{
			"disk-low", Warning, "afterbeam_disk_free_ratio", true, 0.10, 10, "Less than a tenth of a disk is free.",
			"Make room or a larger disk; fewer backups by backup.keep. Nothing of the store is removed by itself to make room.",
		},
		{
			"disk-full", Urgent, "afterbeam_disk_free_bytes", true, 1 << 30, 0, "Less than 1 GiB of a disk is free: soon no report can be kept.",
			"Make room now. Senders are told to send again later, and nothing that was acknowledged is lost.",
		},
		{"certificate-30", Warning, "afterbeam_certificate_days", true, 30, 0, "A certificate ends within 30 days.", "Order a new one and put it in place of http.certificate and http.key, or dicom.certificate and dicom.key; restart. Equipment may have to be told of a new one."},
		{"certificate-7", Urgent, "afterbeam_certificate_days", true, 7, 0, "A certificate ends within 7 days.", "Put the new one in place and restart."},
		{"certificate-1", Urgent, "afterbeam_certificate_days", true, 1, 0, "A certificate ends within a day or has ended.", "Put a new one in place now: browsers, senders and equipment refuse the service."},
		{
			"audit-broken", Urgent, "afterbeam_audit_chain_sound", true, 1, 0, "The audit chain is broken: a record was changed, removed or added outside of the program, or the check failed.",
			"Change nothing. Copy the store's folder, run afterbeam audit verify with an anchor from elsewhere (the log has one every five minutes), and tell the privacy officer.",
		},
		{"audit-unchecked", Warning, "afterbeam_audit_checked_seconds", false, 8 * day, 0, "The audit chain was not found whole for 8 days.", "See audit.verify_hours and the last run at /v1/operations; afterbeam audit verify checks now."},
	}
}
