//go:build unix

package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"farthing/pipeline/workspace"
)

// errorsIn are the errors printed as JSON, one a line.
func errorsIn(t *testing.T, errOut string) (list []workspace.InputError) {
	t.Helper()
	for line := range strings.Lines(errOut) {
		var said struct{ Error *workspace.InputError }
		dec := json.NewDecoder(strings.NewReader(line))
		dec.DisallowUnknownFields()
		if err := dec.Decode(&said); err != nil || said.Error == nil {
			t.Fatalf("got %q, %v; want an error as JSON", line, err)
		}
		list = append(list, *said.Error)
	}
	return list
}

// refusedInUse holds the writing commands to: exit 5, within a second, the holder named.
func refusedInUse(t *testing.T, dir, holder string) {
	t.Helper()
	note := filepath.Join(t.TempDir(), "late.csv")
	if err := os.WriteFile(note, []byte(shortHeader), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, args := range [][]string{{"run"}, {"import", note}, {"rebuild"}} {
		for _, form := range []string{"", "--json"} {
			began := time.Now()
			code, out, errOut := called(append(args, "--workspace", dir, "--quiet", "--json="+fmt.Sprint(form != ""))...)
			if took := time.Since(began); code != exitInUse || took > time.Second || !strings.Contains(errOut, holder) {
				t.Errorf("%v %s: got exit %d after %v, %q%q; want 5 within a second, naming %q", args, form, code, took, out, errOut, holder)
			}
			if form == "" {
				continue
			}
			if e := errorsIn(t, errOut); len(e) != 1 || e[0].Code != "in_use" || !strings.Contains(e[0].Read, holder) || e[0].Instead == "" {
				t.Errorf("%v: got %+v; want in_use, the holder, and what to do", args, e)
			}
		}
	}
}

// readable holds the reading commands to: they wait for no job.
func readable(t *testing.T, dir string) {
	t.Helper()
	for _, args := range [][]string{{"status"}, {"show", "reach"}, {"show", "basket"}, {"show", "item"},
		{"trace", "reach/food-support/maximum/tavrin/single/staples/2023-01/reach_days"}} {
		began := time.Now()
		if code, out, errOut := called(append(args, "--workspace", dir, "--json")...); code != exitDone || !json.Valid([]byte(out)) || time.Since(began) > 5*time.Second {
			t.Errorf("%v: got exit %d after %v, %.200q%s; want 0 and JSON", args, code, time.Since(began), out, errOut)
		}
	}
}

// TestInUse: what another process works on is not touched, and can be read.
func TestInUse(t *testing.T) {
	dir := demoTown(t, true)
	before := siteOf(t, dir)

	t.Run("held by a schedule", func(t *testing.T) {
		w, err := workspace.Open(dir)
		if err != nil {
			t.Fatal(err)
		}
		release, err := w.Lock("schedule")
		if err != nil {
			t.Fatal(err)
		}
		refusedInUse(t, dir, fmt.Sprintf("farthing schedule (process %d)", os.Getpid()))
		readable(t, dir)
		release()
	})
	t.Run("held by a run that stands still", func(t *testing.T) {
		cmd, _, errOut := program(t, nil, "run", "--workspace", dir, "--quiet")
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		holder := filepath.Join(dir, ".lock.holder")
		for deadline := time.Now().Add(10 * time.Second); ; time.Sleep(time.Millisecond) {
			if b, err := os.ReadFile(holder); err == nil && bytes.HasSuffix(b, []byte("}")) {
				break
			}
			if time.Now().After(deadline) {
				t.Fatal("the run has not begun")
			}
		}
		if err := cmd.Process.Signal(syscall.SIGSTOP); err != nil {
			t.Fatal(err)
		}
		refusedInUse(t, dir, fmt.Sprintf("farthing run (process %d)", cmd.Process.Pid))
		readable(t, dir)
		if site := siteOf(t, dir); !maps.Equal(site, before) {
			t.Error("the old site: ", firstDifference(site, before))
		}
		if err := cmd.Process.Signal(syscall.SIGCONT); err != nil {
			t.Fatal(err)
		}
		if code := exitOf(t, cmd); code != exitQuarantined {
			t.Errorf("the run itself: got exit %d, want 3\n%s", code, errOut)
		}
	})
	t.Run("free again", func(t *testing.T) {
		if code, _, errOut := called("run", "--workspace", dir, "--quiet"); code != exitDone {
			t.Errorf("got exit %d, want 0\n%s", code, errOut)
		}
	})
	t.Run("a lock file without a holder", func(t *testing.T) {
		if err := os.WriteFile(filepath.Join(dir, ".lock.holder"), []byte(`{"PID":1,"Command":"run"}`), 0o644); err != nil { // of one that was killed
			t.Fatal(err)
		}
		if code, _, errOut := called("run", "--workspace", dir, "--quiet"); code != exitDone {
			t.Errorf("got exit %d, want 0\n%s", code, errOut)
		}
	})
}

// TestInterrupted: Ctrl-C ends a run with 130, and leaves nothing that the next can not take up.
func TestInterrupted(t *testing.T) {
	whole := demoTown(t, false)
	began := time.Now()
	if code, _, errOut := called("run", "--workspace", whole, "--quiet"); code != exitQuarantined {
		t.Fatalf("exit %d\n%s", code, errOut)
	}
	took, want := time.Since(began), stateOf(t, whole)
	rng := rand.New(rand.NewPCG(130, 1))
	interrupted := 0
	for i := range 4 {
		dir := demoTown(t, false)
		ctx, cancel := context.WithTimeout(context.Background(), time.Duration(float64(i)/4*rng.Float64()*float64(took)))
		var out, errOut bytes.Buffer
		code := run(ctx, []string{"run", "--workspace", dir, "--quiet"}, nil, &out, &errOut, anyDay)
		cancel()
		switch code {
		case exitInterrupted:
			interrupted++
		case exitQuarantined: // it was done before
		default:
			t.Errorf("interruption %d: got exit %d, want 130\n%s", i, code, errOut.String())
		}
		if code, _, errOut := called("status", "--workspace", dir); code != exitDone {
			t.Errorf("interruption %d: status: exit %d\n%s", i, code, errOut)
		}
		if code, _, errOut := called("run", "--workspace", dir, "--quiet"); code != exitDone && code != exitQuarantined {
			t.Errorf("interruption %d: run again: exit %d\n%s", i, code, errOut)
			continue
		}
		if d := stateOf(t, dir).same(want); d != "" {
			t.Errorf("interruption %d: %s", i, d)
		}
	}
	if interrupted == 0 {
		t.Error("no run was interrupted")
	}

	dir := demoTown(t, false)
	cmd, _, errOut := program(t, nil, "run", "--workspace", dir, "--quiet")
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	for deadline := time.Now().Add(10 * time.Second); time.Now().Before(deadline); time.Sleep(time.Millisecond) {
		if _, err := os.Stat(filepath.Join(dir, ".lock.holder")); err == nil {
			break
		}
	}
	if err := cmd.Process.Signal(os.Interrupt); err != nil {
		t.Fatal(err)
	}
	if code := exitOf(t, cmd); code != exitInterrupted {
		t.Errorf("interrupted at work: got exit %d, want 130\n%s", code, errOut)
	}
}

// TestTableErrors: a mistake in a table is told with its file, line and column,
// what was read and what to type instead, to people and to programs.
func TestTableErrors(t *testing.T) {
	for _, c := range []struct {
		name, file, from, to, code, field, read, instead string
		line                                             int
	}{
		{"not a number", "tables/regions.csv", "cove,Cove,,district,,", "cove,Cove,,district,many,", "table", "population_weight", `"many"`, "12.5", 2},
		{"unknown column", "tables/items.csv", "item_name", "item_nam", "unknown_column", "item_nam", "unknown column", `did you mean "item_name"?`, 1},
		{"not among the words", "tables/outlets.csv", "barn,fell,market", "barn,fell,shop", "table", "outlet_type", `"shop"`, "large, discount", 3},
		{"blank", "tables/outlets.csv", "hall,cove", "hall,", "table", "region", "nothing", "fill the cell", 2},
		{"unknown region", "tables/outlets.csv", "hall,cove", "hall,cave", "table", "region", `"cave"`, `did you mean "cove"?`, 2},
		{"one key twice", "tables/items.csv", "milk,Milk", "oats,Milk", "table", "", "line 2", "keep one", 3},
		{"hidden mark", "tables/items.csv", "milk,Milk", "milk,Mi\u202elk", "table", "item_name", "Mi", "U+202E", 3},
		{"formula", "tables/items.csv", "milk,Milk", "=milk,Milk", "table", "item", "=milk", "letter or digit", 3},
		{"quote never closed", "tables/items.csv", "milk,Milk", "milk,\"Milk", "csv", "", "quote", "close each quoted cell", 4},
		{"not UTF-8", "tables/items.csv", "milk,Milk", "milk,M\xeflk", "encoding", "", "not UTF-8", "save it as CSV UTF-8", 0},
		{"settings", "farthing.toml", "invented = true", "invnted = true", "settings", "invnted", "unknown setting", `did you mean "invented"?`, 2},
		{"settings, no number", "farthing.toml", "[pages]", "[edit]\nown_ratio = nan\n[pages]", "settings", "edit.own_ratio", "NaN", "above 1", 0},
		{"settings, unknown language", "farthing.toml", "[pages]", "[pages]\nlanguage = \"xx\"", "settings", "pages.language", `"xx"`, "one of de, en", 0},
		{"settings, form of a date", "farthing.toml", "[pages]", "[pages]\nforms.date = \"yyyy-MM-dd\"", "settings", "pages.forms.date", `"yyyy-MM-dd"`, "use y, M, MM", 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := town(t, "")
			path := filepath.Join(dir, c.file)
			b, err := os.ReadFile(path)
			if err != nil || strings.Count(string(b), c.from) != 1 {
				t.Fatalf("%s holds %q %d times, %v", c.file, c.from, strings.Count(string(b), c.from), err)
			}
			if err := os.WriteFile(path, []byte(strings.Replace(string(b), c.from, c.to, 1)), 0o644); err != nil {
				t.Fatal(err)
			}
			code, out, errOut := called("run", "--workspace", dir, "--json")
			list := errorsIn(t, errOut)
			if code != exitFailed || len(list) != 1 {
				t.Fatalf("got exit %d, %s%s; want 1 and one error", code, out, errOut)
			}
			if e := list[0]; e.Code != c.code || e.File != c.file || e.Line != c.line || e.Field != c.field || !strings.Contains(e.Read, c.read) || !strings.Contains(e.Instead, c.instead) {
				t.Errorf("got %+v, want code %q, %s:%d, field %q, read %q, instead %q", e, c.code, c.file, c.line, c.field, c.read, c.instead)
			}
			code, _, errOut = called("run", "--workspace", dir)
			place := c.file
			if c.line > 0 {
				place = fmt.Sprintf("%s:%d", c.file, c.line)
			}
			if code != exitFailed || !strings.HasPrefix(errOut, "farthing: "+place+": ") || !strings.Contains(errOut, c.read) || !strings.Contains(errOut, c.instead) || strings.Count(errOut, "\n") != 1 {
				t.Errorf("got exit %d, %q; want one line that names %s, %q and %q", code, errOut, place, c.read, c.instead)
			}
		})
	}
}
