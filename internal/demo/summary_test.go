package demo_test

import (
	"bytes"
	"fmt"
	"testing"

	"afterbeam/internal/demo"
	"afterbeam/internal/golden"
	"afterbeam/internal/quantity"
)

// TestSummary keeps the scenario's figures in a file, so that no change of the tables goes unseen.
func TestSummary(t *testing.T) {
	var b bytes.Buffer
	fmt.Fprintf(&b, "%s\n\n", demo.Notice)
	fmt.Fprintf(&b, "%-40s %-10s %-10s %6s %-13s %9s %11s %9s %7s\n",
		"file", "date", "room", "events", "plane", "Ka,r Gy", "KAP Gy cm2", "fluoro min", "frames")
	for _, c := range demo.Cases() {
		r := c.Report
		for _, p := range r.Planes {
			n := 0
			for _, e := range r.Events {
				if e.Plane == p.Plane {
					n++
				}
			}
			fmt.Fprintf(&b, "%-40s %-10s %-10s %6d %-13s %9s %11s %10s %7s\n", c.File, r.Study.Date.LocalDate(), r.Device.Room, n,
				p.Plane, quantity.Fixed(float64(p.RefKerma.Or(0)), 4), quantity.Fixed(p.KAP.Or(0).Gycm2(), 2),
				quantity.Fixed(p.FluoroTime.Or(0).Minutes(), 1), quantity.Fixed(p.Frames.Or(0), 0))
		}
	}
	golden.Check(t, "testdata/scenario.txt", b.Bytes())
}
