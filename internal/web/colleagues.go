package web

import (
	"net/http"
	"slices"

	"afterbeam/internal/access"
	"afterbeam/internal/httpapi"
)

// colleagues are the accounts of those who see cases.
type colleagues struct {
	all []httpapi.Colleague
	v   *view
}

func (v *view) colleagues() (colleagues, error) {
	list, err := ask[httpapi.ColleagueList](v, http.MethodGet, "/v1/colleagues", nil)
	return colleagues{list.Colleagues, v}, err
}

// lengthOfID is how many letters the store's ids have.
const lengthOfID = 24

// name gives who did something: a person, or the service itself.
func (c colleagues) name(account string) string {
	for _, one := range c.all {
		if one.Id == account {
			if !one.Active {
				return c.v.lang.Text("followup.former", "name", one.Name)
			}
			return one.Name
		}
	}
	if len(account) == lengthOfID {
		return c.v.lang.Text("followup.somebody")
	}
	return c.v.lang.Text("followup.service")
}

// both names who wrote something down and who decided about it, "" while nobody did.
func (c colleagues) both(author string, decider *string) (by, decided string) {
	if decider != nil {
		decided = c.name(*decider)
	}
	return c.name(author), decided
}

// mayDo lists who may be asked for what a role is asked: those of the role, and physicists.
func (c colleagues) mayDo(owner string) []httpapi.Colleague {
	return slices.DeleteFunc(slices.Clone(c.all), func(one httpapi.Colleague) bool {
		return !one.Active || (one.Role != owner && one.Role != string(access.Physicist))
	})
}
