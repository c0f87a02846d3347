package web

import (
	"net/http"

	"afterbeam/internal/access"
)

func caseFollowUpPages() []page {
	needs := []access.Operation{"getFollowUp", "getPatient", "listColleagues", "getLevels"}
	return []page{{method: http.MethodGet, path: "/cases/:id/follow-up", title: "followup.of_case", template: "casefollowup.html", needs: needs, serve: showCaseFollowUp}}
}

// caseFollowUpData is everything that follows from a case: also what no longer holds, with why.
type caseFollowUpData struct {
	banner
	estimates
	Flags []flagRow
	Asks  []askRow
}

func showCaseFollowUp(v *view) (any, error) {
	c, of, banner, err := v.followedUp(v.param("id"))
	if err != nil {
		return nil, err
	}
	d := caseFollowUpData{banner: banner}
	for _, a := range of.Asks {
		d.Asks = append(d.Asks, v.askRow(a, of.Today, c))
	}
	d.Flags = flagRows(of.Flags)
	d.estimates, err = v.estimates(of, c)
	return d, err
}
