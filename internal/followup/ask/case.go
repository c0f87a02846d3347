package ask

import (
	"strings"

	"afterbeam/internal/followup/level"
	"afterbeam/internal/quantity"
)

// Key names a flag through all versions of a case: the same level compared over the same scope.
type Key struct{ Scope, Scheme, Level string }

// caseScope is the scope of the flags of one procedure alone.
const caseScope = "case"

// ScopeOf gives the scope that stays the same when a window comes to hold more procedures: "case", or the window's length
// such as "60 days".
func ScopeOf(told string) string {
	if at := strings.LastIndex(told, " in "); at >= 0 {
		return told[at+len(" in "):]
	}
	return caseScope
}

// Flag is one level's result for a case, as far as asks depend on it.
type Flag struct {
	Key      Key
	Meaning  string
	Quantity level.Quantity
	State    level.State
	// Value and Level are in canonical units.
	Value, Level quantity.Opt[float64]
	// Settled tells that a physicist settled it, and for which value.
	Settled bool
}

// Case is what a case's newest version gave, and what people added since.
type Case struct {
	// Day is the local date of the procedure, "" when not known; it then counts as done on Today.
	Day string
	// Today is the local date on which asks are made.
	Today string
	// Quality is an exposure of a test object: nobody is asked anything. Void is a case that counts no longer.
	Quality, Void bool
	State         level.State
	Flags         []Flag
	Kerma, PSD    quantity.Opt[quantity.Gray]
	// Own is the newest estimate of the peak skin dose that a physicist made.
	Own      quantity.Opt[quantity.Gray]
	Pregnant bool // possibly or certainly, as the report says
	// Grade is the worst reaction that anybody saw, on the local date GradeDay.
	Grade    quantity.Opt[float64]
	GradeDay string
}

// Holding gives the flags that are reached now. A physicist's own estimate at or above a level of the peak skin dose reaches
// it as well; one below it takes nothing away.
func (c Case) Holding() []Flag {
	var all []Flag
	if c.Quality || c.Void {
		return nil
	}
	own, estimated := c.Own.Get()
	for _, f := range c.Flags {
		at, known := f.Level.Get()
		if f.State != level.Reached && f.Quantity == level.PSD && estimated && known && float64(own) >= at {
			f.State = level.Reached
			f.Value = quantity.Some(float64(own))
		}
		if f.State == level.Reached {
			all = append(all, f)
		}
	}
	return all
}

// most gives the highest known value of a quantity: of the case alone, over its windows, by a physicist.
func (c Case) most(q level.Quantity) (quantity.Gray, bool) {
	var highest quantity.Gray
	known := false
	take := func(v float64) { highest, known = max(highest, quantity.Gray(v)), true }
	of, own := c.Kerma, quantity.None[quantity.Gray]()
	if q == level.PSD {
		of, own = c.PSD, c.Own
	}
	for _, one := range []quantity.Opt[quantity.Gray]{of, own} {
		if v, ok := one.Get(); ok {
			take(float64(v))
		}
	}
	for _, f := range c.Flags {
		if v, ok := f.Value.Get(); ok && f.Quantity == q {
			take(v)
		}
	}
	return highest, known
}
