package skindose

import (
	"fmt"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// calibration is the factor that multiplies the displayed air kerma, and how well the display then is known.
type calibration struct {
	factor float64
	// behindTable tells that the factor was measured behind the table: table transmission and scatter are then left out.
	behindTable bool
	// percent is the k=1 part of the display, and why says what it rests on.
	percent quantity.Percent
	why     string
	// words say what was done, for the list of assumptions.
	words string
}

// calibrationOn gives the profile's factor for the air kerma display when it is signed and in date on the local day of
// the procedure; else the factor 1 with the reason. The factor that a report may carry is never applied.
func calibrationOn(day string, profile procedure.DeviceProfile) calibration {
	f, known := profile.KermaFactor.Get()
	refused := refusal(f, known, day, profile.SignedBy)
	if refused == "" {
		c := calibration{
			factor: f.Value, behindTable: f.IncludesTable, percent: max(meterFactor, f.Uncertainty), why: "signed calibration factor in date",
			words: "displayed air kerma times the signed calibration factor " + quantity.Significant(f.Value, 3),
		}
		if f.IncludesTable {
			c.words += ", measured behind the table: table attenuation and scatter are not applied again"
		}
		return c
	}
	c := calibration{factor: 1, words: "displayed air kerma as it is: " + refused}
	if profile.Meter == procedure.MeterChecked {
		c.percent, c.why = meterChecked, "a display check is on file"
	} else {
		c.percent, c.why = meterUnchecked, "display tolerance of 35 % as a rectangular distribution"
	}
	return c
}

// refusal tells why a factor is not applied, or "" when it is.
func refusal(f procedure.Factor, known bool, day, signedBy string) string {
	switch {
	case !known:
		return "no calibration factor on file"
	case signedBy == "":
		return "the calibration factor on file is not signed"
	case !f.Believable():
		return "the calibration factor on file is not a positive number from 0.1 to 10 with an uncertainty of 0 to 100 %"
	case day == "" && (f.From != "" || f.Until != ""):
		return "the day of the procedure is not known, so the calibration factor may be out of date"
	case day != "" && f.From != "" && day < f.From:
		return fmt.Sprintf("the calibration factor on file holds from %s only", f.From)
	case day != "" && f.Until != "" && day > f.Until:
		return fmt.Sprintf("the calibration factor on file ended on %s", f.Until)
	}
	return ""
}
