package web_test

import (
	"strings"
	"testing"

	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/assert"

	"afterbeam/internal/demo"
	"afterbeam/internal/web/browsertest"
)

// TestPatientInABrowser finds the patient of the two-stage repair and looks ahead at a third stage: four clicks.
func TestPatientInABrowser(t *testing.T) {
	w := browsertest.SignInAs(t, "physicist")
	w.NoClicks()
	w.Go("/patients")
	assert.Less(t, w.Weight(), int64(150_000))
	w.AxeInBothThemes()
	w.Picture("patients")
	w.Fill("#number", demo.StagedPatient)
	w.Click("main button.main")
	w.WaitFor("#windows")
	patient := w.Path()
	assert.Equal(t, 1, w.Clicks(), "found")
	assert.NotContains(t, patient, demo.StagedPatient)
	assert.Contains(t, w.Text("#shares"), "stage 1")
	w.Go(patient)
	var drawn, tables int
	w.Value("[...document.images].filter(i => i.naturalWidth > 0).length", &drawn)
	assert.Equal(t, 2, drawn, "the mark and the skin")
	w.AxeInBothThemes()
	w.FitsWidth()
	w.Picture("patient")
	w.Theme("dark")
	w.Picture("patient-dark")
	w.Theme("light")
	w.Click("a[href$='/plan']")
	w.WaitFor("#kerma")
	w.Fill("#kerma", "1")
	w.Click("main button.main")
	w.WaitFor("#directions")
	assert.Equal(t, 3, w.Clicks(), "looked ahead")
	assert.NotContains(t, w.Path(), demo.StagedPatient)
	w.Value("document.querySelectorAll('#directions tbody td').length", &tables)
	assert.Equal(t, 13*5, tables, "a cell for every direction")
	w.AxeInBothThemes()
	w.FitsWidth()
	w.Picture("plan")
	plan := w.Path()
	w.Size(320, 800)
	for name, path := range map[string]string{"patients": "/patients", "patient": patient, "plan": plan} {
		w.Go(path)
		w.FitsWidth()
		w.Picture(name + "-320")
	}
	w.Zoom(200)
	for name, path := range map[string]string{"patient": patient, "plan": plan} {
		w.Go(path)
		w.FitsWidth()
		w.Picture(name + "-zoom-200")
	}
}

// TestPatientByKeyboard does the same without a mouse, in German.
func TestPatientByKeyboard(t *testing.T) {
	w := browsertest.SignInAs(t, "operator")
	w.Go("/patients")
	w.Click("button[value=de]")
	w.WaitForText("Patientennummer")
	w.NoClicks()
	w.Reach("#number")
	w.Press(demo.StagedPatient + kb.Enter)
	w.WaitFor("#windows")
	w.Reach("a[href$='/plan']")
	w.Press(kb.Enter)
	w.WaitFor("#minutes")
	w.Reach("#minutes")
	w.Press("20")
	w.Reach("#table")
	w.Press("12,5" + kb.Enter)
	w.WaitFor("#directions")
	assert.Contains(t, w.Text("#answer"), "1,")
	w.Reach(".scroll.always")
	w.Axe()
	w.Picture("plan-german")
	assert.True(t, strings.HasPrefix(string(w.Print()), "%PDF"))
	assert.Equal(t, 0, w.Clicks())
}
