package session

import (
	"os"
	"path/filepath"
	"testing"
	"testing/synctest"
	"time"

	"holdline/arming"
	"holdline/arming/record"
	"holdline/checklist/sheet"
	"holdline/checklist/sheet/scenario"
)

// TestAWholeFiring goes from the first start to a signed record, over the link
// and the practice box's electrical model.
func TestAWholeFiring(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		dir := quietDir(t)
		c := newCrew(t, dir, func(o *Options) { o.SheetPath, o.Practice = quickSheet(t), true })
		c.toReady()
		c.toArmed()
		c.toWindow()
		c.s.trainer.Hands().Button(true)
		c.phase(arming.Run, 2*time.Second)
		time.Sleep(time.Second) // until every motor has lit
		c.s.trainer.Hands().Button(false)
		c.phase(arming.Wait, 2*time.Second)
		lit := 0
		for _, m := range c.s.trainer.Lit() {
			if m.Lit {
				lit++
			}
		}
		if lit != c.s.plan.Motors {
			t.Errorf("%d motors lit, want %d", lit, c.s.plan.Motors)
		}
		c.toClosed()
		v := c.frame().Record
		if v.Signed == "" || v.Fault != "" {
			t.Fatalf("record %+v", v)
		}
		c.stop()
		r := verify(t, v.Path)
		if r.Status != record.OK {
			t.Fatalf("%v: %+v", r.Status, r.Findings)
		}
		checkPage(t, r)
		data, err := os.ReadFile(v.Path)
		if err != nil {
			t.Fatal(err)
		}
		for _, at := range []int{40, len(data) / 2, len(data) - 30} {
			bad := append([]byte(nil), data...)
			bad[at] ^= 1
			path := filepath.Join(t.TempDir(), filepath.Base(v.Path))
			copyFile(t, path, bad)
			sig, err := os.ReadFile(v.Path + ".sig")
			if err != nil {
				t.Fatal(err)
			}
			copyFile(t, path+".sig", sig)
			if got := verify(t, path); got.Status == record.OK {
				t.Errorf("byte %d changed and the record is still valid", at)
			}
		}
	})
}

// quickSheet is the practice scenario with the shortest count.
func quickSheet(t testing.TB) string {
	t.Helper()
	dir := t.TempDir()
	if err := os.CopyFS(dir, scenario.Files()); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(dir, scenario.SheetName)
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if data, err = sheet.Set(data, "times.count", "5 s"); err != nil {
		t.Fatal(err)
	}
	copyFile(t, path, data)
	return path
}

func copyFile(t testing.TB, path string, data []byte) {
	t.Helper()
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
}

func verify(t testing.TB, path string) record.Result {
	t.Helper()
	return record.VerifyFile(path, record.Options{AnySigner: true, At: time.Now(), Replay: Replay, Program: "test"})
}
