package session

import (
	"context"
	"errors"
	"io"
	"strings"
	"sync"
	"time"
)

// cable is the line to the box: it may be cut, lose one direction, or be slow.
type cable struct {
	p                     *plant
	mu                    sync.Mutex
	cut, lostOut, lostIn  time.Time // until then
	slow                  time.Time
	delay                 time.Duration
	offs, leases          []time.Duration // when OFF, and when the test current, was asked for
	refusedNumber, number string
	conns                 map[*line]struct{}
}

type line struct {
	io.ReadWriteCloser
	c    *cable
	part string // of a message
}

func (c *cable) dial(ctx context.Context) (io.ReadWriteCloser, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if time.Now().Before(c.cut) {
		return nil, errors.New("no such port")
	}
	rw, err := c.p.box.Dial(ctx)
	if err != nil {
		return nil, err
	}
	l := &line{ReadWriteCloser: rw, c: c}
	if c.conns == nil {
		c.conns = map[*line]struct{}{}
	}
	c.conns[l] = struct{}{}
	return l, nil
}

// pull cuts the line for a time.
func (c *cable) pull(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.cut = time.Now().Add(d)
	for l := range c.conns {
		_ = l.ReadWriteCloser.Close() // it is gone either way
		delete(c.conns, l)
	}
}

func (c *cable) lose(out bool, d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if out {
		c.lostOut = time.Now().Add(d)
	} else {
		c.lostIn = time.Now().Add(d)
	}
}

func (c *cable) slowDown(by, d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.delay, c.slow = by, time.Now().Add(d)
}

func (l *line) Write(data []byte) (int, error) {
	c := l.c
	c.mu.Lock()
	lost := time.Now().Before(c.lostOut)
	l.part += string(data)
	for {
		text, rest, whole := strings.Cut(l.part, "\n")
		if !whole {
			break
		}
		l.part = rest
		switch {
		case text == "OUTP:PERM OFF":
			c.offs = append(c.offs, c.p.now())
		case strings.HasPrefix(text, "SENS:RES:STAT ON"):
			c.leases = append(c.leases, c.p.now())
		case strings.HasPrefix(text, "OUTP:PERM:KEEP"), strings.HasPrefix(text, "OUTP:PERM ON"):
			at := text[strings.LastIndexByte(text, ',')+1:]
			if at == c.number {
				c.refusedNumber = at
			}
			c.number = at
		}
	}
	c.mu.Unlock()
	if lost {
		return len(data), nil
	}
	return l.ReadWriteCloser.Write(data)
}

func (l *line) Read(data []byte) (int, error) {
	for {
		n, err := l.ReadWriteCloser.Read(data)
		l.c.mu.Lock()
		lost, slow := time.Now().Before(l.c.lostIn), time.Now().Before(l.c.slow)
		delay := l.c.delay
		l.c.mu.Unlock()
		if slow {
			time.Sleep(delay)
		}
		if lost && err == nil {
			continue
		}
		return n, err
	}
}
