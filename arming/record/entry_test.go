package record

import (
	"bytes"
	"errors"
	"strings"
	"testing"
	"time"
)

const goodLine = `{"body":{"ohm":1.5},"kind":"answer","mono_us":7,"prev":"` +
	`00000000000000000000000000000000000000000000000000000000000000ff","seq":2,"time":"2026-05-09T13:04:05.120000Z"}`

func TestEntryHasOneLine(t *testing.T) {
	e, err := decodeEntry([]byte(goodLine))
	if err != nil {
		t.Fatal(err)
	}
	again, err := e.Encode()
	if err != nil || string(again) != goodLine {
		t.Errorf("got %s, %v", again, err)
	}
	for name, change := range map[string][2]string{
		"a blank":                  {`"kind":`, `"kind": `},
		"a blank at the end":       {`Z"}`, `Z"} `},
		"members in another order": {`"mono_us":7,`, ``},
		"a member more":            {`"kind"`, `"extra":1,"kind"`},
		"a member in capitals":     {`"kind"`, `"Kind"`},
		"a member twice":           {`"seq":2`, `"seq":2,"seq":2`},
		"a number written long":    {`1.5`, `1.50`},
		"an escape not needed":     {`"answer"`, `"\u0061nswer"`},
		"milliseconds":             {`05.120000Z`, `05.120Z`},
		"nanoseconds":              {`05.120000Z`, `05.120000000Z`},
		"a comma in the time":      {`05.120000Z`, `05,120000Z`},
		"another zone":             {`05.120000Z`, `05.120000+00:00`},
		"a leap second":            {`05.120000Z`, `60.120000Z`},
		"no such day":              {`05-09T`, `02-30T`},
		"seq as text":              {`"seq":2`, `"seq":"2"`},
		"seq zero":                 {`"seq":2`, `"seq":0`},
		"seq with a fraction":      {`"seq":2`, `"seq":2.5`},
		"seq beyond 2^53":          {`"seq":2`, `"seq":9007199254740992`},
		"mono below zero":          {`"mono_us":7`, `"mono_us":-7`},
		"kind in capitals":         {`"answer"`, `"Answer"`},
		"kind empty":               {`"answer"`, `""`},
		"kind too long":            {`"answer"`, `"` + strings.Repeat("a", 65) + `"`},
		"hash in capitals":         {`00ff"`, `00FF"`},
		"hash too short":           {`00ff"`, `ff"`},
		"body null":                {`{"ohm":1.5}`, `null`},
		"body missing":             {`"body":{"ohm":1.5},`, ``},
		"body a list":              {`{"ohm":1.5}`, `[1.5]`},
	} {
		line := strings.Replace(goodLine, change[0], change[1], 1)
		if name == "members in another order" {
			line = strings.Replace(line, `"body"`, `"mono_us":7,"body"`, 1)
		}
		if line == goodLine {
			t.Fatalf("%s: nothing was changed", name)
		}
		if got, err := decodeEntry([]byte(line)); err == nil || got.Seq != 0 || got.Body != nil {
			t.Errorf("%s: got %+v, %v, want an error and a zero entry", name, got, err)
		}
	}
}

func TestEntryThatCannotBeWritten(t *testing.T) {
	good := Entry{Seq: 1, Time: testTime, Kind: "answer", Body: []byte(`{}`)}
	if _, err := good.Encode(); err != nil {
		t.Fatal(err)
	}
	for name, change := range map[string]func(*Entry){
		"no sequence number": func(e *Entry) { e.Seq = 0 },
		"seq beyond 2^53":    func(e *Entry) { e.Seq = 1 << 53 },
		"mono below zero":    func(e *Entry) { e.MonoUS = -1 },
		"year 10000":         func(e *Entry) { e.Time = time.Date(10000, 1, 1, 0, 0, 0, 0, time.UTC) },
		"year 0":             func(e *Entry) { e.Time = time.Date(0, 1, 1, 0, 0, 0, 0, time.UTC) },
		"no kind":            func(e *Entry) { e.Kind = "" },
		"kind with a blank":  func(e *Entry) { e.Kind = "an answer" },
		"no body":            func(e *Entry) { e.Body = nil },
		"too long a line":    func(e *Entry) { e.Body = []byte(`{"a":"` + strings.Repeat("a", MaxLine) + `"}`) },
	} {
		e := good
		change(&e)
		if line, err := e.Encode(); err == nil || line != nil {
			t.Errorf("%s: got %q, %v, want an error and nothing else", name, line, err)
		}
	}
}

// FuzzEntryHasOneLine demands that whatever decodes gives the same bytes
// again, and that nothing comes back with an error.
func FuzzEntryHasOneLine(f *testing.F) {
	seeds := []string{goodLine, `{}`, ``, `{"body":{}}`, strings.Replace(goodLine, "1.5", "1e3", 1),
		strings.Replace(goodLine, "ohm", `\u00e9`, 1), strings.Replace(goodLine, `{"ohm":1.5}`, `{"a":{"b":[1,"x",null]}}`, 1)}
	decoded := 0
	for _, s := range seeds {
		if _, err := decodeEntry([]byte(s)); err == nil {
			decoded++
		}
		f.Add([]byte(s))
	}
	if decoded < 2 {
		f.Fatalf("only %d of the seeds are good lines: the fuzzing would start from nothing", decoded)
	}
	f.Fuzz(func(t *testing.T, line []byte) {
		e, err := decodeEntry(line)
		if err != nil {
			if e.Seq != 0 || e.Body != nil || e.Kind != "" {
				t.Fatalf("an error and an entry: %+v, %v", e, err)
			}
			return
		}
		again, err := e.Encode()
		if err != nil || !bytes.Equal(again, line) {
			t.Fatalf("decoded %q, encoded %q, %v", line, again, err)
		}
	})
}

// FuzzParse demands that a whole record that parses is the one that its
// entries give, and that Parse never panics.
func FuzzParse(f *testing.F) {
	path, _ := writeExample(f, f.TempDir())
	data := readFile(f, path)
	f.Add(data)
	f.Add(data[:len(data)-1])
	f.Add(data[:len(data)/2])
	f.Add([]byte("\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		log, err := Parse(data)
		if log == nil {
			t.Fatal("no log")
		}
		var again []byte
		for _, e := range log.Entries {
			line, err := e.Encode()
			if err != nil {
				t.Fatal(err)
			}
			again = append(append(again, line...), '\n')
		}
		if int64(len(again)) != log.GoodBytes || !bytes.HasPrefix(data, again) {
			t.Fatalf("entries do not give the %d good bytes back", log.GoodBytes)
		}
		if err == nil && len(again) != len(data) {
			t.Fatalf("no error, and only %d of %d bytes are read", len(again), len(data))
		}
		if errors.Is(err, ErrTorn) && len(again)+len(log.Torn) != len(data) {
			t.Fatalf("torn, and bytes are neither good nor torn")
		}
	})
}
