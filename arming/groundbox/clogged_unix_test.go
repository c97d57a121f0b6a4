//go:build linux || darwin

package groundbox

import (
	"context"
	"io"
	"strings"
	"testing"
	"time"
)

// A real port whose output no one takes does not keep OFF back.
func TestOffOnARealPortThatTakesNothing(t *testing.T) {
	t.Parallel()
	box := newBox(t, 4)
	tty, master := rawTerminal(t)
	var relay relay
	relay.start(t, master, box)
	port := make(chan *serialPort, 1)
	b := linkTo(t, box, func(c *Config) {
		c.Dial = func(context.Context) (io.ReadWriteCloser, error) {
			p, err := openSerial(tty, 115200)
			if err == nil {
				port <- p
			}
			return p, err
		}
	})
	stop := b.firing()
	defer stop()
	p := <-port
	relay.pause()
	// Something else fills the system's buffer to the brim.
	filled := make(chan struct{})
	go func() {
		defer close(filled)
		junk := []byte(strings.Repeat("#", 4095) + "\n")
		for range 64 {
			if _, err := p.Write(junk); err != nil {
				return
			}
		}
	}()
	time.Sleep(150 * time.Millisecond)
	select {
	case <-filled:
		t.Fatal("the port took 256 kB: it does not clog")
	default:
	}
	before := box.State().At
	began := time.Now()
	b.link.PermitOff()
	if took := time.Since(began); took > 20*time.Millisecond {
		t.Errorf("PermitOff took %v", took)
	}
	await[PermitDidNotOpen](b, time.Second)
	time.Sleep(500*time.Millisecond - time.Since(began))
	if s := box.State(); s.PermitCommanded || s.PermitOpenedAt-before > 520*time.Millisecond {
		t.Errorf("commanded %v, opened %v after OFF", s.PermitCommanded, s.PermitOpenedAt-before)
	}
	relay.resume()
	<-filled
}
