package web

import (
	"cmp"
	"slices"

	"afterbeam/internal/httpapi"
)

// caseAnswer is the answer before everything else: whether it was high, what is asked, where on the skin.
type caseAnswer struct {
	State string
	// Lead is one sentence, Flags the levels that it speaks of, and Where the place of the peak, in English.
	Lead, Where string
	Flags       []httpapi.Flag
	// Skin is the number of the peak skin dose.
	Skin caseNumber
	// Asks are open, the earliest first. NoAsks is said where there is none, "" for a role that sees no asks.
	Asks   []httpapi.Ask
	NoAsks string
}

func (v *view) caseAnswer(d *caseData) caseAnswer {
	a := caseAnswer{State: string(d.Procedure.Flag), Skin: d.Numbers[0], Where: d.Case.SkinDose.Place}
	a.Lead = v.lang.Text("case.lead." + a.State)
	for _, f := range d.Flags {
		if string(f.State) == a.State {
			a.Flags = append(a.Flags, f)
		}
	}
	if d.May["getFollowUp"] {
		a.NoAsks = v.lang.Text("case.no_asks")
	}
	for _, one := range d.Told.Asks {
		if one.State == "open" {
			a.Asks = append(a.Asks, one)
		}
	}
	slices.SortStableFunc(a.Asks, func(x, y httpapi.Ask) int { return cmp.Compare(x.Due, y.Due) })
	return a
}

// caseTold is who was told and what was asked.
type caseTold struct {
	Asks    []httpapi.Ask
	Notices []httpapi.Notice
	Seen    []httpapi.Acknowledgement
	// Mine tells that this person has acknowledged the version that is shown, Others how many other people have.
	Mine   *httpapi.Acknowledgement
	Others int
}

func (v *view) caseFollowUp(path string, d *caseData) error {
	if d.May["getFollowUp"] {
		f, err := ask[httpapi.FollowUp](v, "GET", path+"/follow-up", nil)
		if err != nil {
			return err
		}
		d.Told.Asks = f.Asks
	}
	if !d.May["listNotices"] {
		return nil
	}
	list, err := ask[httpapi.NoticeList](v, "GET", path+"/notices", nil)
	if err != nil {
		return err
	}
	d.Told.Notices, d.Told.Seen = list.Notices, list.Acknowledgements
	others := map[string]bool{}
	for _, a := range list.Acknowledgements {
		switch {
		case a.Version != d.Procedure.Version:
		case a.AccountId == v.grant.Account.ID:
			d.Told.Mine = &a
		default:
			others[a.AccountId] = true
		}
	}
	d.Told.Others = len(others)
	return nil
}
