package store

import "sync"

// mostTokens bounds the tokens that are remembered.
const mostTokens = 10_000

// tokenMemory remembers tokens that were found, since every request asks for one. Accounts and tokens are changed by the
// process that serves the store alone, and a change forgets all of them before it is answered: a token that was revoked
// is of no use from the next request on. What is not there is never remembered.
type tokenMemory struct {
	mu    sync.RWMutex
	age   uint64 // counts the changes
	known map[string]Token
}

// get gives a token, or the age that keep wants for one that is read now.
func (m *tokenMemory) get(hash string) (t Token, age uint64, found bool) {
	m.mu.RLock()
	defer m.mu.RUnlock()
	t, found = m.known[hash]
	return t, m.age, found
}

// keep remembers a token, unless something was changed since it was read.
func (m *tokenMemory) keep(hash string, t Token, age uint64) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.age != age {
		return
	}
	if m.known == nil || len(m.known) >= mostTokens {
		m.known = map[string]Token{}
	}
	m.known[hash] = t
}

// forget forgets every token.
func (m *tokenMemory) forget() {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.age++
	m.known = nil
}
