package groundbox

import (
	"context"
	"crypto/rand"
	"fmt"
	"io"
	"sync"
	"time"

	"holdline/arming/groundbox/wire"
)

// Figures of the protocol and of this link.
const (
	PollSlow = 100 * time.Millisecond
	PollFast = 50 * time.Millisecond

	// KeepEvery is the time between ON, KEEP and KEEP.
	KeepEvery = 100 * time.Millisecond
	// OpenWithin is how soon after OFF the permit must have been read open.
	OpenWithin = 200 * time.Millisecond
	// MostGrant is the longest that one call of Permit counts for.
	MostGrant = 500 * time.Millisecond
	// LeaseLasts is how long one call of Lease counts for.
	LeaseLasts = 2 * time.Second
	// MostStall is the longest that the driver may stand still while the permit
	// is granted.
	MostStall = 250 * time.Millisecond

	badInRow  = 3
	badRecent = 5
	badSpan   = 2 * time.Second
)

// Config describes a link. Dial is needed.
type Config struct {
	// Dial opens the port. It is called again after each loss.
	Dial func(ctx context.Context) (io.ReadWriteCloser, error)
	// Port is the port's name in sentences.
	Port string
	// WantChannels is the highest channel that the sheet uses; 0 takes any box.
	WantChannels int
	// RequirePractice refuses a real box, by the device's own word.
	RequirePractice bool
	// PollEvery is the time between polls, PollSlow when 0.
	PollEvery time.Duration
}

// Grant is the wish for a closed permit. The zero Grant permits nothing.
type Grant struct {
	// Number is raised for each decision to close the permit. A number that has
	// ended is never taken up again, nor is a lower one.
	Number uint64
	// Until is when the wish ends unless renewed; at most MostGrant from the
	// call on.
	Until time.Time
}

// Link is the owner of a ground box's port. Its methods may be called from any
// goroutine, and only Close blocks.
type Link struct {
	cfg     Config
	token   string // this session's, random
	reports chan Report
	wake    chan struct{}
	quit    chan struct{}
	done    chan struct{}
	once    sync.Once

	mu         sync.Mutex
	grant      Grant
	ended      uint64    // grants up to this number are over
	offAsked   time.Time // when OFF was, zero once the driver has seen it
	lapse      bool      // asked for, not yet seen by the driver
	writer     *writer   // of the port that is open
	fast       bool
	leaseUntil time.Time
	askFire    int   // how often the last pulse may still be asked for
	clear      Event // to be cleared in the box
}

// Open starts a link. It returns at once; what happens comes by Reports.
func Open(cfg Config) *Link {
	if cfg.PollEvery <= 0 {
		cfg.PollEvery = PollSlow
	}
	l := &Link{
		cfg:     cfg,
		token:   newToken(),
		reports: make(chan Report),
		wake:    make(chan struct{}, 1),
		quit:    make(chan struct{}),
		done:    make(chan struct{}),
	}
	go newDriver(l).run()
	return l
}

// newToken returns a random session token, 8 hex digits.
func newToken() string {
	var b [4]byte
	_, _ = rand.Read(b[:]) // it never fails: it ends the program instead
	return fmt.Sprintf("%X", b)
}

// Reports returns the channel of reports. It is closed after Close.
func (l *Link) Reports() <-chan Report { return l.reports }

// Permit wants the permit closed until the grant's time. Call it again and
// again while that stands.
func (l *Link) Permit(g Grant) {
	now := time.Now()
	if most := now.Add(MostGrant); g.Until.After(most) {
		g.Until = most
	}
	l.mu.Lock()
	if g.Number > l.ended && g.Number >= l.grant.Number {
		l.grant, l.lapse = g, false
	}
	l.mu.Unlock()
	l.kick()
}

// PermitOff opens the permit: OFF goes out before anything that is queued, and
// no grant made so far closes it again. It never blocks.
func (l *Link) PermitOff() {
	now := time.Now()
	l.mu.Lock()
	l.endGrants()
	l.lapse = false
	if l.offAsked.IsZero() {
		l.offAsked = now
	}
	w := l.writer
	l.mu.Unlock()
	if w != nil {
		w.off()
	}
	l.kick()
}

// Lapse stops keeping the permit and sends nothing, so that the box's own
// watchdog has to open it. It is for the contact proof alone, with no igniter
// connected. A box that keeps the permit closed all the same is sent OFF 0.8 s
// later, and PermitOff acts as ever.
func (l *Link) Lapse() {
	l.mu.Lock()
	l.lapse = !l.grant.Until.IsZero() && l.grant.Number > l.ended
	l.endGrants()
	l.mu.Unlock()
	l.kick()
}

// endGrants ends every grant made so far. mu must be held.
func (l *Link) endGrants() {
	l.ended = max(l.ended, l.grant.Number)
	l.grant = Grant{}
}

// granted returns the grant that stands at now. mu must not be held.
func (l *Link) granted(now time.Time) (Grant, bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	g := l.grant
	return g, g.Number > l.ended && now.Before(g.Until)
}

// Lease wants the measuring lease for LeaseLasts from now on, or no longer at
// all. Call it again and again while measuring is wanted.
func (l *Link) Lease(want bool) {
	l.mu.Lock()
	l.leaseUntil = time.Time{}
	if want {
		l.leaseUntil = time.Now().Add(LeaseLasts)
	}
	l.mu.Unlock()
	l.kick()
}

// Fast polls at 20 Hz instead of the configured rate.
func (l *Link) Fast(on bool) {
	l.mu.Lock()
	l.fast = on
	l.mu.Unlock()
	l.kick()
}

// fireTries is how often the last pulse is asked for: it is asked once in a
// firing, and one spoiled answer would leave the record without its length.
const fireTries = 3

// AskFire asks for the last pulse; FireRead comes back.
func (l *Link) AskFire() {
	l.mu.Lock()
	l.askFire = fireTries
	l.mu.Unlock()
	l.kick()
}

// ClearEvents clears events in the box, once they have been recorded. The error
// queue is read and so emptied by the link itself.
func (l *Link) ClearEvents(bits Event) {
	l.mu.Lock()
	l.clear |= bits & wire.EventsKnown &^ wire.EventErrors
	l.mu.Unlock()
	l.kick()
}

func (l *Link) kick() {
	select {
	case l.wake <- struct{}{}:
	default:
	}
}

// Close opens the permit and ends the lease, closes the port and the channel
// of reports. It takes at most about half a second, and may be called again.
func (l *Link) Close() {
	l.once.Do(func() {
		l.PermitOff()
		close(l.quit)
	})
	<-l.done
}
