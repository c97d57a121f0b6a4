package session

import (
	"errors"
	"io"
	"os"
	"reflect"
	"sync"
	"time"
	"unsafe"

	"golang.org/x/crypto/ssh"
)

// disk is the file under the record. It may hang, fail once and for good, or
// take half an entry.
type disk struct {
	file interface {
		io.Writer
		Sync() error
		Stat() (os.FileInfo, error)
		Close() error
	}
	p       *plant
	mu      sync.Mutex
	hang    time.Time
	fail    bool
	path    string
	written int64
	marks   []mark // what was safe when
}

type mark struct {
	at    time.Duration
	bytes int64
}

// diskUnder puts a disk that can fail under the record's writer. The writer has
// no opening for one, and needs none in the program.
func diskUnder(p *plant, r *recorder) *disk {
	writer := reflect.ValueOf(r.w).Elem().FieldByName("w").Elem()
	field := writer.FieldByName("file")
	field = reflect.NewAt(field.Type(), unsafe.Pointer(field.UnsafeAddr())).Elem()
	d := &disk{p: p, path: r.w.Path()}
	lock := writer.FieldByName("mu")
	mu := (*sync.Mutex)(unsafe.Pointer(lock.UnsafeAddr()))
	mu.Lock()
	defer mu.Unlock()
	d.file = field.Interface().(interface {
		io.Writer
		Sync() error
		Stat() (os.FileInfo, error)
		Close() error
	})
	if info, err := os.Stat(d.path); err == nil {
		d.written = info.Size()
	}
	d.marks = []mark{{0, d.written}}
	field.Set(reflect.ValueOf(d))
	return d
}

var errDisk = errors.New("the disk fails, by order")

func (d *disk) Write(data []byte) (int, error) {
	d.mu.Lock()
	fail := d.fail
	d.mu.Unlock()
	if fail {
		n, _ := d.file.Write(data[:len(data)/2])
		return n, errDisk
	}
	n, err := d.file.Write(data)
	d.mu.Lock()
	d.written += int64(n)
	d.mu.Unlock()
	return n, err
}

func (d *disk) Sync() error {
	d.mu.Lock()
	wait, upTo := time.Until(d.hang), d.written
	d.mu.Unlock()
	if wait > 0 {
		time.Sleep(wait)
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.fail {
		return errDisk
	}
	d.marks = append(d.marks, mark{d.p.now(), upTo})
	return nil // a file system in memory: there is nothing to wait for
}

func (d *disk) Stat() (os.FileInfo, error) { return d.file.Stat() }

func (d *disk) Close() error { return d.file.Close() }

// safeAt is how much of the record was on the disk at an instant.
func (d *disk) safeAt(at time.Duration) (bytes int64) {
	for _, m := range d.marks {
		if m.at <= at {
			bytes = m.bytes
		}
	}
	return bytes
}

func (d *disk) order(hang time.Duration, fail bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.hang, d.fail = time.Now().Add(hang), d.fail || fail
}

// faultySigner is a key that may be slow or gone.
type faultySigner struct {
	ssh.Signer
	mu   sync.Mutex
	wait time.Duration
	gone bool
}

func (f *faultySigner) order(wait time.Duration, gone bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.wait, f.gone = max(f.wait, wait), f.gone || gone
}

func (f *faultySigner) Sign(random io.Reader, data []byte) (*ssh.Signature, error) {
	return f.SignWithAlgorithm(random, data, "")
}

func (f *faultySigner) SignWithAlgorithm(random io.Reader, data []byte, algorithm string) (*ssh.Signature, error) {
	f.mu.Lock()
	wait, gone := f.wait, f.gone
	f.mu.Unlock()
	time.Sleep(wait)
	if gone {
		return nil, errors.New("the key is gone, by order")
	}
	return slowSigner{f.Signer, 0}.SignWithAlgorithm(random, data, algorithm)
}
