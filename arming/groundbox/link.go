package groundbox

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"io"
	"strings"
	"sync"
	"time"
)

// Figures of the protocol and of this link.
const (
	PollSlow = 100 * time.Millisecond
	PollFast = 50 * time.Millisecond

	// KeepEvery is the time between ON, KEEP and KEEP.
	KeepEvery = 100 * time.Millisecond
	// ConfirmWithin is how soon after OFF the permit must have been read open.
	ConfirmWithin = 200 * time.Millisecond
	// MostGrant is the longest that one call of Permit holds.
	MostGrant = 500 * time.Millisecond
	// LeaseHolds is how long one call of Lease holds.
	LeaseHolds = 2 * time.Second
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
	// WantChannels is the sheet's number of motors; 0 takes any.
	WantChannels int
	// RequirePractice and RequireReal refuse the other kind, by the device's own
	// word.
	RequirePractice, RequireReal bool
	// PollEvery is the time between polls, PollSlow when 0.
	PollEvery time.Duration
	// Beat is an instant that polls lie whole intervals from, so that they come
	// together with what else the program does by time: a processor at rest is
	// woken once. The moment of Open when zero.
	Beat time.Time
	// Token is this session's, 8 hex digits; a random one when empty.
	Token string
	// Clock must be monotonic; time.Now when nil.
	Clock func() time.Time
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
	reports chan Report
	wake    chan struct{}
	quit    chan struct{}
	done    chan struct{}
	once    sync.Once

	mu         sync.Mutex
	grant      Grant
	ended      uint64 // grants up to this number are over
	offAsked   time.Time
	offNew     bool // not yet seen by the driver
	lapse      bool // asked for, not yet seen by the driver
	writer     *writer
	fast       bool
	leaseUntil time.Time
	asks       asks
}

// asks are one-time wishes.
type asks struct {
	selfTest, measure bool
	fire              int // how often the last pulse may still be asked for
	clear             Event
}

// Open starts a link. It returns at once; what happens comes by Reports.
func Open(cfg Config) *Link {
	if cfg.PollEvery <= 0 {
		cfg.PollEvery = PollSlow
	}
	if cfg.Clock == nil {
		cfg.Clock = time.Now
	}
	if cfg.Beat.IsZero() {
		cfg.Beat = cfg.Clock()
	}
	if cfg.Token == "" {
		cfg.Token = NewToken()
	}
	if cfg.Port == "" {
		cfg.Port = "the port"
	}
	cfg.Token = strings.ToUpper(cfg.Token)
	l := &Link{
		cfg:     cfg,
		reports: make(chan Report),
		wake:    make(chan struct{}, 1),
		quit:    make(chan struct{}),
		done:    make(chan struct{}),
	}
	go newDriver(l).run()
	return l
}

// NewToken returns a random session token.
func NewToken() string {
	var b [4]byte
	_, _ = rand.Read(b[:]) // it never fails: it ends the program instead
	return strings.ToUpper(hex.EncodeToString(b[:]))
}

// Reports returns the channel of reports. It is closed after Close.
func (l *Link) Reports() <-chan Report { return l.reports }

// Permit wants the permit closed until the grant's time. Call it again and
// again while that stands.
func (l *Link) Permit(g Grant) {
	now := l.cfg.Clock()
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
	now := l.cfg.Clock()
	l.mu.Lock()
	l.endGrants()
	l.lapse = false
	if l.offAsked.IsZero() {
		l.offAsked = now
	}
	l.offNew = true
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

// Lease wants the measuring lease for LeaseHolds from now on, or no longer at
// all. Call it again and again while measuring is wanted.
func (l *Link) Lease(want bool) {
	l.mu.Lock()
	l.leaseUntil = time.Time{}
	if want {
		l.leaseUntil = l.cfg.Clock().Add(LeaseHolds)
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

// SelfTest asks the box to test itself; SelfTested or Refused comes back.
// Polling waits meanwhile, up to 2 s.
func (l *Link) SelfTest() { l.ask(func(a *asks) { a.selfTest = true }) }

// MeasureAll measures every channel once; Resistances or Refused comes back.
// Polling waits meanwhile, 0.1 s a channel: not from READY on.
func (l *Link) MeasureAll() { l.ask(func(a *asks) { a.measure = true }) }

// fireTries is how often the last pulse is asked for: it is asked once in a
// firing, and one spoiled answer would leave the record without its length.
const fireTries = 3

// AskFire asks for the last pulse; FireRead comes back.
func (l *Link) AskFire() { l.ask(func(a *asks) { a.fire = fireTries }) }

// ClearEvents clears events in the box, once they have been recorded. The error
// queue is read and so emptied by the link itself.
func (l *Link) ClearEvents(bits Event) { l.ask(func(a *asks) { a.clear |= bits }) }

func (l *Link) ask(set func(*asks)) {
	l.mu.Lock()
	set(&l.asks)
	l.mu.Unlock()
	l.kick()
}

// NextBeat is the first instant after now that lies whole intervals from beat.
func NextBeat(beat, now time.Time, every time.Duration) time.Time {
	since := now.Sub(beat)
	past := since % every
	if past < 0 {
		past += every
	}
	return now.Add(every - past)
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
