package metric

import (
	"fmt"
	"io"
	"strings"
)

// Write writes the tables as Markdown.
func Write(w io.Writer) error {
	var b strings.Builder
	b.WriteString(`# Measurements and alarms

What the service exposes for Prometheus on the listener of the settings' ` + "`[metrics]`" + ` (with ` + "`token_file`" + `, as
` + "`Authorization: Bearer TOKEN`" + `), and what is an alarm. No label holds anything that a caller sent or anything of a patient; devices are named
by opaque ids. Printed by ` + "`afterbeam metrics`" + `; ` + "`afterbeam metrics --rules`" + ` prints the alarms as alerting rules for Prometheus. The alarms
that hold now also stand at ` + "`GET /v1/operations`" + `. Limits are judgement: early enough to act by day.

## Measurements

| name | kind | unit | labels | meaning |
| --- | --- | --- | --- | --- |
`)
	for _, r := range Rows() {
		fmt.Fprintf(&b, "| `%s` | %s | %s | %s | %s |\n", r.Name, r.Kind, r.Unit, strings.Join(r.Labels, ", "), r.Help)
	}
	b.WriteString("\n## Alarms\n\n| alarm | how soon | when | for | means | what to do |\n| --- | --- | --- | --- | --- | --- |\n")
	for _, a := range Alarms() {
		fmt.Fprintf(&b, "| %s | %s | `%s` | %s | %s | %s |\n", a.ID, a.Severity, a.Condition(), held(a.For), a.Means, a.Do)
	}
	_, err := io.WriteString(w, b.String())
	return err
}

func held(minutes int) string {
	if minutes == 0 {
		return "at once"
	}
	return fmt.Sprintf("%d min", minutes)
}

// WriteRules writes the alarms as alerting rules for Prometheus.
func WriteRules(w io.Writer) error {
	var b strings.Builder
	b.WriteString("groups:\n  - name: afterbeam\n    rules:\n")
	for _, a := range Alarms() {
		fmt.Fprintf(&b, "      - alert: afterbeam-%s\n        expr: %s\n", a.ID, a.Condition())
		if a.For > 0 {
			fmt.Fprintf(&b, "        for: %dm\n", a.For)
		}
		fmt.Fprintf(&b, "        labels:\n          severity: %s\n        annotations:\n          summary: %q\n          description: %q\n", a.Severity, a.Means, a.Do)
	}
	b.WriteString("      - alert: afterbeam-down\n        expr: absent(afterbeam_build_info)\n        for: 5m\n        labels:\n          severity: urgent\n        annotations:\n" +
		"          summary: \"The service does not answer.\"\n          description: \"Look at the service's state and log on its machine; senders keep what they could not send.\"\n")
	_, err := io.WriteString(w, b.String())
	return err
}
