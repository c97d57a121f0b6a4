package session

import (
	"crypto/subtle"
	"sync"
)

// secret is the range officer's code, in memory alone: it is in no event,
// no entry of the record and no log. It is wiped when the firing is closed and
// when the session ends. (The cockpit's own copies are strings of the language,
// which cannot be wiped; they are short-lived.)
type secret struct {
	mu   sync.Mutex
	code []byte
}

// set puts a new code in the place of the old one.
func (s *secret) set(code string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	clear(s.code)
	s.code = []byte(code)
}

// try compares in a time that does not tell where the two differ. A code that
// was never set matches nothing.
func (s *secret) try(code string) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return len(s.code) > 0 && subtle.ConstantTimeCompare(s.code, []byte(code)) == 1
}

// is reports whether there is a code.
func (s *secret) is() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return len(s.code) > 0
}

// wipe forgets the code.
func (s *secret) wipe() {
	s.mu.Lock()
	defer s.mu.Unlock()
	clear(s.code)
	s.code = nil
}
