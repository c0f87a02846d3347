package exposure_test

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// mutant is one sign of the geometry turned round in the source.
type mutant struct{ file, old, turned string }

// mutants are the signs of angles, table axes, orientations, planes and arms, by name. The tests of a mutant are those of
// this package, of skindose and of body.
func mutants() map[string]mutant {
	const orientation, placement, trace, sweep, field, site = "orientation.go", "placement.go", "trace.go", "sweep.go", "field.go", "../body/site.go"
	const arm, armed = "../body/arm.go", "../skindose/arms.go"
	return map[string]mutant{
		"primary angle, detector across":     {orientation, "toward: r3.Vec{X: sinA * cosB,", "toward: r3.Vec{X: -sinA * cosB,"},
		"primary angle, detector up":         {orientation, "Y: -cosA * cosB, Z: sinB}", "Y: cosA * cosB, Z: sinB}"},
		"secondary angle":                    {orientation, "Y: -cosA * cosB, Z: sinB}", "Y: -cosA * cosB, Z: -sinB}"},
		"field width":                        {orientation, "across: r3.Vec{X: cosA, Y: sinA}", "across: r3.Vec{X: cosA, Y: -sinA}"},
		"field height across":                {orientation, "along:  r3.Vec{X: -sinA * sinB,", "along:  r3.Vec{X: sinA * sinB,"},
		"field height down":                  {orientation, "Y: cosA * sinB, Z: cosB}", "Y: -cosA * sinB, Z: cosB}"},
		"head first supine":                  {orientation, "return rows{vec(1, 0, 0), vec(0, 1, 0), vec(0, 0, 1)}", "return rows{vec(-1, 0, 0), vec(0, 1, 0), vec(0, 0, 1)}"},
		"head first prone":                   {orientation, "return rows{vec(-1, 0, 0), vec(0, -1, 0), vec(0, 0, 1)}", "return rows{vec(1, 0, 0), vec(0, -1, 0), vec(0, 0, 1)}"},
		"feet first supine":                  {orientation, "return rows{vec(-1, 0, 0), vec(0, 1, 0), vec(0, 0, -1)}", "return rows{vec(1, 0, 0), vec(0, 1, 0), vec(0, 0, -1)}"},
		"feet first prone":                   {orientation, "return rows{vec(1, 0, 0), vec(0, -1, 0), vec(0, 0, -1)}", "return rows{vec(1, 0, 0), vec(0, 1, 0), vec(0, 0, -1)}"},
		"head first on the left side":        {orientation, "return rows{vec(0, 1, 0), vec(-1, 0, 0), vec(0, 0, 1)}", "return rows{vec(0, -1, 0), vec(-1, 0, 0), vec(0, 0, 1)}"},
		"head first on the right side":       {orientation, "return rows{vec(0, -1, 0), vec(1, 0, 0), vec(0, 0, 1)}", "return rows{vec(0, 1, 0), vec(1, 0, 0), vec(0, 0, 1)}"},
		"feet first on the left side":        {orientation, "return rows{vec(0, 1, 0), vec(1, 0, 0), vec(0, 0, -1)}", "return rows{vec(0, -1, 0), vec(1, 0, 0), vec(0, 0, -1)}"},
		"feet first on the right side":       {orientation, "return rows{vec(0, -1, 0), vec(-1, 0, 0), vec(0, 0, -1)}", "return rows{vec(0, -1, 0), vec(1, 0, 0), vec(0, 0, -1)}"},
		"table rotation":                     {orientation, "float64(m.TableRotation.Or(0)), float64(m.TableHeadTilt", "-float64(m.TableRotation.Or(0)), float64(m.TableHeadTilt"},
		"table head tilt":                    {orientation, "float64(m.TableHeadTilt.Or(0)), float64", "-float64(m.TableHeadTilt.Or(0)), float64"},
		"table cradle tilt":                  {orientation, "float64(m.TableCradleTilt.Or(0))", "-float64(m.TableCradleTilt.Or(0))"},
		"field turned, width":                {orientation, "across: r3.Sub(r3.Scale(cos, a.across), r3.Scale(sin, a.along))", "across: r3.Add(r3.Scale(cos, a.across), r3.Scale(sin, a.along))"},
		"field turned, height":               {orientation, "along:  r3.Add(r3.Scale(cos, a.along), r3.Scale(sin, a.across))", "along:  r3.Sub(r3.Scale(cos, a.along), r3.Scale(sin, a.across))"},
		"focus against the detector":         {trace, "Focus: r3.Sub(isocentre,", "Focus: r3.Add(isocentre,"},
		"way of a stepping table":            {trace, "r3.Scale(st.motion, where.step)", "r3.Scale(-st.motion, where.step)"},
		"way of the isocentre":               {placement, "out.step = r3.Sub(out.step,", "out.step = r3.Add(out.step,"},
		"table across, zero known":           {placement, "r3.Scale(-p.start-r3.Dot(centre, unit), unit)", "r3.Scale(p.start-r3.Dot(centre, unit), unit)"},
		"table motion":                       {placement, "centre = r3.Sub(centre, r3.Scale(p.start-mean[a], unit))", "centre = r3.Add(centre, r3.Scale(p.start-mean[a], unit))"},
		"table height, zero known":           {placement, "+ rest - top - now", "+ rest + top - now"},
		"mattress":                           {placement, "float64(t.mattress()) + rest - top", "-float64(t.mattress()) + rest - top"},
		"table height, relative":             {placement, "return t.plan.height - height.start", "return height.start - t.plan.height"},
		"sign of the profile's axes":         {placement, "sign := float64(x.axis.Sign)", "sign := -float64(x.axis.Sign)"},
		"zero of the profile's axes":         {placement, "sign * (start - zero), sign * (end", "sign * (start + zero), sign * (end"},
		"end of the profile's axes":          {placement, "sign * (end - zero), true", "sign * (end + zero), true"},
		"offset given by a person":           {placement, "return float64(offset)\n", "return -float64(offset)\n"},
		"source to table against isocentre":  {placement, "return float64(isocentre-d) * up, true", "return float64(d-isocentre) * up, true"},
		"side of the leg":                    {placement, "			point.X = half\n", "			point.X = -half\n"},
		"arc, primary":                       {sweep, "f * (s.primaryEnd - s.primary)", "f * (s.primary - s.primaryEnd)"},
		"arc, secondary":                     {sweep, "f * (s.secondaryEnd - s.secondary)", "f * (s.secondary - s.secondaryEnd)"},
		"place on an arc":                    {sweep, "out[k].onArc = 2*f - 1", "out[k].onArc = 1 - 2*f"},
		"plane of the field, reference":      {field, "case procedure.FieldAtReference:\n\t\treturn reference", "case procedure.FieldAtReference:\n\t\treturn isocentre"},
		"plane of the field, isocentre":      {field, "case procedure.FieldAtIsocentre:\n\t\treturn isocentre", "case procedure.FieldAtIsocentre:\n\t\treturn reference"},
		"plane of the field, detector":       {field, "	return t.sourceToDetector(e, isocentre)\n}", "	return isocentre\n}"},
		"left arm to the left":               {arm, "{UpperArmLeft, axis,", "{UpperArmLeft, -axis,"},
		"right forearm to the right":         {arm, "{ForearmRight, -axis,", "{ForearmRight, axis,"},
		"skin of the arms beside the trunk":  {arm, "Centre.X += a.x", "Centre.X -= a.x"},
		"hand below the trunk base":          {arm, "-11.0 / 70", "11.0 / 70"},
		"side of an arm on the map":          {arm, "math.Copysign(midline, a.x)", "math.Copysign(midline, -a.x)"},
		"outer side of an arm":               {arm, "case t*sign > 0:", "case t*sign < 0:"},
		"right arm's name":                   {arm, `side, sign = "right", -1`, `side, sign = "right", 1`},
		"beams that may meet an arm":         {armed, "math.Abs(s.Toward.X) < slantOfArms", "math.Abs(s.Toward.X) > slantOfArms"},
		"liver to the right":                 {site, "v.X = -8.0 / 20", "v.X = 8.0 / 20"},
		"tube side by the reference point":   {sweep, "code == refTableOver && downward < -0.5", "code == refTableOver && downward > 0.5"},
		"angles of the room, room to table":  {trace, "turn = m.then(table)", "turn = table.then(m)"},
		"angle frame":                        {trace, "if t.frame == procedure.FrameGantry || s.ofRoom {", "if t.frame != procedure.FrameGantry || s.ofRoom {"},
		"tube under or over for table depth": {placement, "up := -r3.Dot(toward, table.P)", "up := r3.Dot(toward, table.P)"},
		"part of the body on the table":      {"table.go", "Centre:     r3.Add(r3.Scale(depth, down)", "Centre:     r3.Add(r3.Scale(-depth, down)"},
	}
}

// Each mutant is to be found in the source; with AFTERBEAM_MUTANTS=1 the tests of this package, of skindose or of the body are run on
// each and have to fail: no sign is untested. That takes some minutes.
func TestNoSignIsUntested(t *testing.T) {
	deep := os.Getenv("AFTERBEAM_MUTANTS") == "1"
	for name, m := range mutants() {
		t.Run(name, func(t *testing.T) {
			text, err := os.ReadFile(m.file)
			require.NoError(t, err)
			require.Equal(t, 1, strings.Count(string(text), m.old), "%q in %s", m.old, m.file)
			if !deep {
				return
			}
			source, err := filepath.Abs(m.file)
			require.NoError(t, err)
			turned := filepath.Join(t.TempDir(), filepath.Base(m.file))
			require.NoError(t, os.WriteFile(turned, []byte(strings.Replace(string(text), m.old, m.turned, 1)), 0o600))
			overlay, err := json.Marshal(map[string]any{"Replace": map[string]string{source: turned}})
			require.NoError(t, err)
			list := filepath.Join(t.TempDir(), "overlay.json")
			require.NoError(t, os.WriteFile(list, overlay, 0o600))
			here := fails(t, list, ".")
			t.Logf("noticed by the tests of this package: %v", here)
			assert.True(t, here || fails(t, list, "../skindose") || fails(t, list, "../body"), "the tests pass although the sign is turned round")
		})
	}
}

// fails tells whether a test of a package fails with the files of an overlay.
func fails(t *testing.T, overlay, pkg string) bool {
	t.Helper()
	run := exec.Command("go", "test", "-count=1", "-failfast", "-overlay", overlay, "-skip", "TestNoSignIsUntested|TestRange|Sampled", pkg)
	run.Env = append(os.Environ(), "AFTERBEAM_MUTANTS=")
	out, err := run.CombinedOutput()
	if err != nil {
		require.Contains(t, string(out), "--- FAIL", "a test fails, not the build")
	}
	return err != nil
}
