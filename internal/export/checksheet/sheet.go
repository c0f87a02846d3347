package checksheet

import (
	"bytes"
	"fmt"
	"strconv"
	"strings"

	"afterbeam/internal/physics/commission"
	"afterbeam/internal/procedure"
	"afterbeam/internal/procedure/devicefile"
	"afterbeam/internal/quantity"
)

// Caution stands on every sheet.
const Caution = "A proposal from one record and one report, not a calibration certificate. It changes no estimate until two physicists have signed " +
	"the profile drafted here. What is unknown or contradicted was not guessed. The medical physicist, licensed practice and local rules come first."

// Sheet is a sheet ready to print.
type Sheet struct {
	Title    string
	Caution  string
	Facts    []Fact
	Answers  []Answer
	Tables   []Table
	Notes    []string
	Changes  []string
	Draft    string // the drafted profile, in the form of a device file
	Signing  string
	Signers  []string
	Unproven int // questions that are unknown or contradicted
}

// Fact is a named word of the head.
type Fact struct{ Name, Word string }

// Answer is one question with its answer and what proves it.
type Answer struct{ Question, State, Says, Proof string }

// Table is rows under a head; every cell is printed as it is.
type Table struct {
	Title string
	Head  []string
	Rows  [][]string
	Foot  string
}

// Of makes the sheet of a result.
func Of(r *commission.Result) (Sheet, error) {
	draft, err := Draft(r)
	if err != nil {
		return Sheet{}, err
	}
	s := Sheet{
		Title: "Check of a fluoroscopic device", Caution: Caution, Facts: facts(r), Notes: r.Notes, Changes: r.Changes, Draft: draft,
		Signing: "I have compared record and report with the equipment and agree with the draft above:",
		Signers: []string{"who made the exposures", "another physicist"},
	}
	for _, c := range r.Conclusions() {
		s.Answers = append(s.Answers, Answer{c.Question, c.State.String(), c.Says, proof(c)})
		if c.State != commission.Shown {
			s.Unproven++
		}
	}
	s.Tables = append(s.Tables, exposures(r))
	s.Tables = append(s.Tables, meter(r.Kerma, "Displayed air kerma", "mGy", float64(quantity.MilliGray))...)
	s.Tables = append(s.Tables, meter(r.KAP, "Displayed kerma-area product", "Gy cm2", float64(quantity.GraySquareCentimetre))...)
	return s, nil
}

// Draft gives the drafted profile in the form of a device file. It is unsigned.
func Draft(r *commission.Result) (string, error) {
	var b bytes.Buffer
	err := devicefile.Write(&b, []procedure.DeviceProfile{r.Profile})
	return b.String(), err
}

func facts(r *commission.Result) []Fact {
	instrument := "- (none named)"
	if d := r.Record.Dosimeter; d.Name != "" {
		instrument = d.Name
		if d.Certificate != "" {
			instrument += ", certificate " + d.Certificate
		}
	}
	return []Fact{
		{"device", printable(r.Device)},
		{"plane", r.Record.Plane.String()},
		{"exposures made on", r.Record.Day + " by " + printable(r.Record.By)},
		{"report", printable(r.ReportUID)},
		{"dosimeter", printable(instrument)},
	}
}

// proof says which events show an answer and how closely.
func proof(c commission.Conclusion) string {
	var said []string
	if len(c.Events) > 0 {
		word := "shown by event"
		if c.State == commission.Contradicted {
			word = "seen in event"
		}
		if len(c.Events) > 1 {
			word += "s"
		}
		said = append(said, word+" "+numbers(c.Events))
	}
	residual, has := c.Residual.Get()
	if limit, ok := c.Limit.Get(); ok && has {
		said = append(said, fmt.Sprintf("at most %s %s apart, %s tolerated", quantity.Fixed(residual, 1), c.Unit, quantity.Fixed(limit, 0)))
	}
	return strings.Join(said, "; ")
}

// numbers prints rising numbers, runs of three and more as from-to.
func numbers(all []int) string {
	var said []string
	for i := 0; i < len(all); {
		j := i
		for j+1 < len(all) && all[j+1] == all[j]+1 {
			j++
		}
		if j-i < 2 {
			j = i
			said = append(said, strconv.Itoa(all[i]))
		} else {
			said = append(said, fmt.Sprintf("%d-%d", all[i], all[j]))
		}
		i = j + 1
	}
	return strings.Join(said, ", ")
}

// exposures sets what was done beside what the report says.
func exposures(r *commission.Result) Table {
	t := Table{
		Title: "Exposures: what was done, and what the report says of it",
		Head:  []string{"event", "registered", "detector", "reported angles", "off", "table", "reported positions", "off"},
		Foot: "detector: degrees to the table's left / to its head; angles: primary / secondary, and degrees off; table: mm to its head / left / down; " +
			"positions: longitudinal / lateral / height, and mm off; off is from what the answers expect; - where the report says nothing or no answer is shown",
	}
	for _, c := range r.Compared {
		x := c.Exposure
		t.Rows = append(t.Rows, []string{
			strconv.Itoa(x.Event), x.Direction.String() + ", " + x.Posture.String(),
			fixed(x.Left, 0) + "/" + fixed(x.Head, 0), dash(c.Primary, 1) + "/" + dash(c.Secondary, 1), dash(c.Turned, 1),
			fixed(x.Moved.Head, 0) + "/" + fixed(x.Moved.Left, 0) + "/" + fixed(x.Moved.Down, 0),
			dash(c.Positions[0], 0) + "/" + dash(c.Positions[1], 0) + "/" + dash(c.Positions[2], 0),
			dash(c.Off[0], 1) + "/" + dash(c.Off[1], 1) + "/" + dash(c.Off[2], 1),
		})
	}
	return t
}

func fixed[T ~float64](v T, decimals int) string { return quantity.Fixed(float64(v), decimals) }

func dash[T ~float64](o quantity.Opt[T], decimals int) string {
	if v, ok := o.Get(); ok {
		return fixed(v, decimals)
	}
	return "-"
}

// meter gives the readings of one display and the budget of its factor; nothing without readings.
func meter(m commission.Meter, title, unit string, size float64) []Table {
	if len(m.Ratios) == 0 {
		return nil
	}
	readings := Table{Title: title + ": readings", Head: []string{"event", "measured " + unit, "displayed " + unit, "measured/displayed", "table between"}}
	for _, r := range m.Ratios {
		between := "no"
		if r.BehindTable {
			between = "yes"
		}
		readings.Rows = append(readings.Rows, []string{
			strconv.Itoa(r.Event), quantity.Significant(r.Measured/size, 4), quantity.Significant(r.Displayed/size, 4), fixed(r.Ratio, 3), between,
		})
	}
	if len(m.Budget) == 0 {
		return []Table{readings}
	}
	budget := Table{
		Title: title + ": uncertainty of the factor", Head: []string{"part", "% (one standard deviation)", "how known"},
		Foot: fmt.Sprintf("expanded uncertainty %s %% (k=2, about 95 %%); the parts are taken as independent", fixed(m.Expanded, 1)),
	}
	for _, c := range m.Budget {
		budget.Rows = append(budget.Rows, []string{c.Name, fixed(c.Percent, 2), c.Source})
	}
	return []Table{readings, budget}
}
