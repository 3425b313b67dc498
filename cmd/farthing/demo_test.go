package main

import (
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"io/fs"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// stage is one of a run's answer.
type stage struct{ Stage, State, Why string }

func runStages(t *testing.T, code int, dir string) (stages []stage) {
	t.Helper()
	var answer struct{ Stages []stage }
	if err := json.Unmarshal(call(t, []int{code}, "run", "--json", "--quiet", "--workspace", dir), &answer); err != nil {
		t.Fatal(err)
	}
	return answer.Stages
}

// bytesOf hashes every file of a workspace, the database and what links point to included.
func bytesOf(t *testing.T, dir string) map[string]string {
	t.Helper()
	sums := map[string]string{}
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		if d.Type()&fs.ModeSymlink != 0 {
			sums[path], err = os.Readlink(path)
			return err
		}
		b, err := os.ReadFile(path)
		sums[path] = fmt.Sprintf("%x", sha256.Sum256(b))
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return sums
}

func different(a, b map[string]string) (paths []string) {
	all := maps.Clone(a)
	maps.Copy(all, b)
	for _, path := range slices.Sorted(maps.Keys(all)) {
		if a[path] != b[path] {
			paths = append(paths, path)
		}
	}
	return paths
}

// TestDemo runs the invented workspace as a user would: first everything, then nothing, then what one changed cell makes due.
func TestDemo(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "demo")
	call(t, []int{exitDone}, "init", dir, "--with", "demo")
	for _, s := range runStages(t, exitQuarantined, dir) {
		if s.State != "done" {
			t.Errorf("first run: got %s %s, want done", s.Stage, s.State)
		}
	}
	wantGolden(t, dir)

	before := bytesOf(t, dir)
	stages := runStages(t, exitDone, dir)
	if len(stages) != 3 {
		t.Errorf("got %d stages, want intake, compute, publish", len(stages))
	}
	for _, s := range stages {
		if s.State != "fresh" {
			t.Errorf("second run: got %s %s (%s), want fresh", s.Stage, s.State, s.Why)
		}
	}
	if d := different(before, bytesOf(t, dir)); d != nil {
		t.Errorf("second run: got changed %q, want no file", d)
	}

	replaceText(t, filepath.Join(dir, "tables", "allowances.csv"), "2024-03-31,156.00", "2024-03-31,157.00")
	want := map[string][2]string{"intake": {"fresh", ""}, "compute": {"done", "tables/allowances"}, "publish": {"done", "edition"}}
	for _, s := range runStages(t, exitDone, dir) {
		if w := want[s.Stage]; s.State != w[0] || !strings.Contains(s.Why, w[1]) {
			t.Errorf("another allowance: got %s %s (%s), want %s because of %q", s.Stage, s.State, s.Why, w[0], w[1])
		}
	}
	after := bytesOf(t, dir)
	for path := range before {
		if strings.HasPrefix(path, filepath.Join(dir, "editions")) && filepath.Base(path) != "current" && after[path] != before[path] {
			t.Errorf("another allowance: the old edition's %s changed", path)
		}
	}
	for _, row := range readCells(t, filepath.Join(dir, "site", "data", "reach.csv")) {
		if rowKey(row, keyColumns["reach"]) == "food-support/maximum/tavrin/single/staples/2023-01" && row["allowance_lcu"] != "157.0000" {
			t.Errorf("another allowance: got %s, want 157.0000", row["allowance_lcu"])
		}
	}
}

// wantGolden holds the published files to the figures that the demo was made for, at the decimals that these are given with.
func wantGolden(t *testing.T, dir string) {
	t.Helper()
	published := map[string]cells{}
	keys := maps.Clone(keyColumns)
	keys["item"] = []string{"region", "item", "grade", "month"}
	for name, key := range keys {
		for _, row := range readCells(t, filepath.Join(dir, "site", "data", name+".csv")) {
			published[name+"/"+rowKey(row, key)] = row
		}
	}
	golden := readCells(t, "../../testdata/golden/demo_expected.csv")
	if len(golden) == 0 {
		t.Error("no golden figures")
	}
	for _, g := range golden {
		last := strings.LastIndex(g["key"], "/")
		row, column := published[g["key"][:last]], g["key"][last+1:]
		got, ok := row[column]
		_, digits, _ := strings.Cut(g["value"], ".")
		same := got == g["value"]
		if digits != "" && got != "" { // published with more decimals than the figure is given with
			same = math.Abs(number(t, got)-number(t, g["value"])) <= 0.5*math.Pow10(-len(digits))+1e-12
		}
		if !ok || !same {
			t.Errorf("%s: got %q, want %q (%s)", g["key"], got, g["value"], g["source"])
		}
	}
}
