package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"io/fs"
	"maps"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
)

// asProgram, in the environment, holds the arguments with which the test's own
// binary is the program: a process to kill, without building another.
const asProgram = "FARTHING_AS_PROGRAM"

// TestAsProgram is no test but the program, where a test calls it as a process.
// Note: not from init, in which the database's calls back into Go would wait for ever.
func TestAsProgram(t *testing.T) {
	if s := os.Getenv(asProgram); s != "" {
		os.Args = append(os.Args[:1], strings.Split(s, "\n")...)
		main()
	}
}

// program is a call of the program as a process of its own.
func program(t testing.TB, env []string, args ...string) (cmd *exec.Cmd, out, errOut *bytes.Buffer) {
	t.Helper()
	exe, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd, out, errOut = exec.Command(exe, "-test.run=^TestAsProgram$"), new(bytes.Buffer), new(bytes.Buffer)
	cmd.Env = append(append(os.Environ(), asProgram+"="+strings.Join(args, "\n")), env...)
	cmd.Stdout, cmd.Stderr = out, errOut
	return cmd, out, errOut
}

// exitOf waits for a started process and gives its exit code, -1 if a signal ended it.
func exitOf(t testing.TB, cmd *exec.Cmd) int {
	t.Helper()
	var exit *exec.ExitError
	if err := cmd.Wait(); err != nil && !errors.As(err, &exit) {
		t.Fatal(err)
	}
	return cmd.ProcessState.ExitCode()
}

// demoTown is a fresh copy of the demo workspace. With half, it has taken in
// and published every other file before.
func demoTown(t testing.TB, half bool) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "demo")
	if code, _, errOut := called("init", dir, "--with", "demo"); code != exitDone {
		t.Fatalf("init: exit %d\n%s", code, errOut)
	}
	if half {
		// The demo's corrections name rows of files that would be missing.
		corrections, err := os.ReadFile(filepath.Join(dir, "tables", "corrections.csv"))
		if err != nil {
			t.Fatal(err)
		}
		header, _, _ := bytes.Cut(corrections, []byte("\n"))
		write := func(b []byte) {
			if err := os.WriteFile(filepath.Join(dir, "tables", "corrections.csv"), b, 0o644); err != nil {
				t.Fatal(err)
			}
		}
		write(append(header, '\n'))
		inbox, later := filepath.Join(dir, "inbox"), t.TempDir()
		move := func(from, to string, every int) {
			entries, err := os.ReadDir(from)
			if err != nil {
				t.Fatal(err)
			}
			for i, e := range entries {
				if i%every == 0 {
					if err := os.Rename(filepath.Join(from, e.Name()), filepath.Join(to, e.Name())); err != nil {
						t.Fatal(err)
					}
				}
			}
		}
		move(inbox, later, 2)
		if code, _, errOut := called("run", "--workspace", dir, "--quiet"); code != exitDone && code != exitQuarantined {
			t.Fatalf("run of half: exit %d\n%s", code, errOut)
		}
		move(later, inbox, 1)
		write(corrections)
	}
	return dir
}

// state is all of a workspace that a disturbance must leave as if it had never been.
type state struct {
	edition, status string
	site, archive   map[string]string
}

func stateOf(t testing.TB, dir string) (s state) {
	t.Helper()
	current, err := os.ReadFile(filepath.Join(dir, "editions", "current"))
	if err != nil {
		t.Fatal(err)
	}
	s.edition = strings.TrimSpace(string(current))
	code := 0
	if code, s.status, _ = called("status", "--workspace", dir, "--json"); code != exitDone {
		t.Errorf("status: exit %d", code)
	}
	s.site, s.archive = siteOf(t, dir), contentOf(t, filepath.Join(dir, "archive"))
	for name, text := range s.archive {
		if filepath.Base(name) == "descriptor.json" { // it names the day on which the file was kept
			var d map[string]any
			if err := json.Unmarshal([]byte(text), &d); err != nil {
				t.Errorf("%s: %v", name, err)
			}
			delete(d, "kept_on")
			b, _ := json.Marshal(d)
			s.archive[name] = string(b)
		}
	}
	for _, pattern := range []string{"*/.new-*", "editions/*/site-new-*"} {
		if half, err := fs.Glob(os.DirFS(dir), pattern); err != nil || len(half) > 0 {
			t.Errorf("got %v left half made, %v", half, err)
		}
	}
	inbox, err := os.ReadDir(filepath.Join(dir, "inbox"))
	if err != nil || len(inbox) > 0 {
		t.Errorf("got %d files left in the inbox, %v", len(inbox), err)
	}
	return s
}

// siteOf is every file of the site, by path.
func siteOf(t testing.TB, dir string) map[string]string {
	t.Helper()
	site, err := filepath.EvalSymlinks(filepath.Join(dir, "site"))
	if err != nil {
		t.Fatal(err)
	}
	return contentOf(t, site)
}

// same names what differs between two states, "" for nothing.
func (s state) same(o state) string {
	switch {
	case s.edition != o.edition:
		return "edition " + s.edition + ", not " + o.edition
	case !maps.Equal(s.site, o.site):
		return "site: " + firstDifference(s.site, o.site)
	case !maps.Equal(s.archive, o.archive):
		return "archive: " + firstDifference(s.archive, o.archive)
	case s.status != o.status:
		return "status " + s.status + ", not " + o.status
	}
	return ""
}

// firstDifference names the first file, and the first line of it, that differs.
func firstDifference(a, b map[string]string) string {
	names := slices.Sorted(maps.Keys(a))
	for name := range b {
		if _, ok := a[name]; !ok {
			return name + " is in the second only"
		}
	}
	for _, name := range names {
		other, ok := b[name]
		if !ok {
			return name + " is in the first only"
		}
		if a[name] == other {
			continue
		}
		x, y := strings.Split(a[name], "\n"), strings.Split(other, "\n")
		for i := range min(len(x), len(y)) {
			if x[i] != y[i] {
				return name + ":" + strconv.Itoa(i+1) + ": " + x[i] + "\n and not " + y[i]
			}
		}
		return name + ": one is longer"
	}
	return "nothing"
}

// kills is how often TestKill kills: 10 times, or what FARTHING_KILLS says.
func kills() int {
	if n, err := strconv.Atoi(os.Getenv("FARTHING_KILLS")); err == nil {
		return n
	}
	return 10
}

// TestKill: a run killed at any moment leaves the old site or the new one, and
// the next run ends where an undisturbed one does.
func TestKill(t *testing.T) {
	var want [2]state
	var took [2]time.Duration
	for i := range want {
		dir := demoTown(t, i == 1)
		began := time.Now()
		cmd, _, errOut := program(t, nil, "run", "--workspace", dir, "--quiet")
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		if code := exitOf(t, cmd); code != exitQuarantined {
			t.Fatalf("undisturbed: exit %d, want 3\n%s", code, errOut)
		}
		took[i], want[i] = time.Since(began), stateOf(t, dir)
	}
	if d := want[0].same(want[1]); d != "" {
		t.Fatalf("taken in at once or in two runs: %s", d)
	}
	rng := rand.New(rand.NewPCG(9, 9))
	before, during := 0, 0
	for i := range kills() {
		half := i % 2
		dir := demoTown(t, half == 1)
		var old map[string]string
		if half == 1 {
			old = siteOf(t, dir)
		}
		delay := time.Duration(rng.Float64() * float64(took[half]))
		cmd, _, _ := program(t, nil, "run", "--workspace", dir, "--quiet")
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		time.Sleep(delay)
		cmd.Process.Kill()
		if exitOf(t, cmd) == -1 {
			during++
		}
		if _, err := os.Stat(filepath.Join(dir, "site")); err == nil {
			if site := siteOf(t, dir); !maps.Equal(site, want[0].site) {
				if half == 0 || !maps.Equal(site, old) {
					t.Errorf("kill %d after %v: the site is neither the old one nor the new one", i, delay)
				} else {
					before++
				}
			}
		} else if half == 1 {
			t.Errorf("kill %d after %v: the old site is gone", i, delay)
		}
		cmd, _, errOut := program(t, nil, "run", "--workspace", dir, "--quiet")
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		if code := exitOf(t, cmd); code != exitDone && code != exitQuarantined {
			t.Errorf("kill %d after %v: run again: exit %d\n%s", i, delay, code, errOut)
			continue
		}
		if d := stateOf(t, dir).same(want[0]); d != "" {
			t.Errorf("kill %d after %v: %s", i, delay, d)
		}
	}
	t.Logf("undisturbed %v and %v; of %d killed %d were at work, %d still showed the old site", took[0], took[1], kills(), during, before)
	if kills() > 0 && during == 0 {
		t.Error("no run was killed at work")
	}
}
