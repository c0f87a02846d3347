package web

import "time"

// NewSlowdown gives the two sides of the slowing down of sign-ins.
func NewSlowdown(now func() time.Time) (take func(name, address string) time.Duration, succeeded func(name, address string)) {
	s := newSlowdown(now)
	return s.take, s.succeeded
}

// NewSlowness gives the taking side alone.
func NewSlowness(now func() time.Time) func(name, address string) time.Duration {
	return newSlowdown(now).take
}

// Routes lists method and path of every page, and whether it wants nobody signed in.
func (s *Site) Routes() map[string]bool {
	all := map[string]bool{}
	for _, p := range s.pages {
		all[p.method+" "+p.path] = p.open
	}
	return all
}
