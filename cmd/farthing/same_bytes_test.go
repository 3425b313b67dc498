package main

import (
	"encoding/csv"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// process calls the program in an environment and wants one of the exit codes.
func process(t *testing.T, env []string, codes []int, args ...string) {
	t.Helper()
	cmd, _, errOut := program(t, env, append(args, "--quiet")...)
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	if code := exitOf(t, cmd); !slices.Contains(codes, code) {
		t.Fatalf("%v %v: exit %d, want one of %v\n%s", env, args, code, codes, errOut)
	}
}

// moved takes the files out of a workspace's inbox.
func moved(t *testing.T, dir string) (paths []string) {
	t.Helper()
	from, to := filepath.Join(dir, "inbox"), t.TempDir()
	entries, err := os.ReadDir(from)
	if err != nil || len(entries) == 0 {
		t.Fatalf("got %d files in the inbox, %v", len(entries), err)
	}
	for _, e := range entries {
		path := filepath.Join(to, e.Name())
		if err := os.Rename(filepath.Join(from, e.Name()), path); err != nil {
			t.Fatal(err)
		}
		paths = append(paths, path)
	}
	return paths
}

// TestSameBytes: the same prices and tables give the same bytes, wherever and
// whenever they are worked on.
func TestSameBytes(t *testing.T) {
	ok := []int{exitDone, exitQuarantined}
	one := demoTown(t, false)
	repeat(t, one)
	east := []string{"TZ=Asia/Tokyo", "LANG=ja_JP.UTF-8", "LC_ALL=ja_JP.UTF-8", "GOMAXPROCS=1"}
	process(t, east, ok, "run", "--workspace", one)
	want := siteOf(t, one)
	west := []string{"TZ=America/St_Johns", "LANG=tr_TR.UTF-8", "LC_ALL=tr_TR.ISO-8859-9", "GOMAXPROCS=2"}

	t.Run("backwards, in several calls", func(t *testing.T) {
		dir := demoTown(t, false)
		repeat(t, dir)
		files := moved(t, dir)
		slices.Reverse(files)
		for len(files) > 0 {
			n := min(len(files), 4)
			process(t, west, ok, append([]string{"import", "--workspace", dir}, files[:n]...)...)
			files = files[n:]
		}
		process(t, west, ok, "run", "--workspace", dir)
		if got := siteOf(t, dir); !maps.Equal(got, want) {
			t.Error(firstDifference(got, want))
		}
	})
	t.Run("published in between", func(t *testing.T) {
		dir := demoTown(t, true)
		repeat(t, dir)
		process(t, west, ok, "run", "--workspace", dir)
		if got := siteOf(t, dir); !maps.Equal(got, want) {
			t.Error(firstDifference(got, want))
		}
	})
	t.Run("the same rows in other files", func(t *testing.T) {
		dir := demoTown(t, false)
		repeat(t, dir)
		for i, path := range moved(t, dir) {
			b, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			lines := strings.Split(strings.TrimSuffix(string(b), "\n"), "\n")
			parts := map[string][]string{}
			for j, l := range lines[1:] { // row by row to three files
				name := fmt.Sprintf("part-%02d-%d.csv", i, j%3)
				parts[name] = append(parts[name], l)
			}
			for name, rows := range parts {
				slices.Reverse(rows)
				text := strings.Join(append([]string{lines[0]}, rows...), "\n")
				if err := os.WriteFile(filepath.Join(dir, "inbox", name), []byte(text), 0o644); err != nil {
					t.Fatal(err)
				}
			}
		}
		process(t, west, ok, "run", "--workspace", dir)
		got := siteOf(t, dir)
		for _, name := range []string{"reach", "basket", "basket_lines", "item", "allowances"} {
			name = "data/" + name + ".csv"
			if want[name] == "" || got[name] != want[name] {
				t.Error(firstDifference(map[string]string{name: got[name]}, map[string]string{name: want[name]}))
			}
		}
		const observations = "data/observations.csv"
		if g, w := withoutPlace(t, got[observations]), withoutPlace(t, want[observations]); !slices.Equal(g, w) {
			t.Error("but for file and line, ", firstDifference(map[string]string{observations: strings.Join(g, "\n")}, map[string]string{observations: strings.Join(w, "\n")}))
		}
	})
}

// repeat puts into the inbox a file that repeats rows of two others, some of
// them in other words.
func repeat(t *testing.T, dir string) {
	t.Helper()
	const header = "observed_on,region,outlet,item,price,pack,variety,grade,gtin,packs,price_type,note\n"
	rows := header
	for _, name := range []string{"mirrow-bay-2023-1.csv", "oddel-skerries-2024-2.csv"} {
		b, err := os.ReadFile(filepath.Join(dir, "inbox", name))
		for _, d := range globbed(t, filepath.Join(dir, "archive", "*")) {
			if err != nil { // taken in before
				b, err = os.ReadFile(filepath.Join(d, name))
			}
		}
		if err != nil {
			t.Fatal(err)
		}
		lines := strings.SplitAfter(string(b), "\n")
		if lines[0] != header {
			t.Fatalf("%s: got the header %q", name, lines[0])
		}
		for i, l := range lines[1:41] {
			if i%2 == 0 {
				l = strings.Replace(l, ",1 kg,", ",1000 g,", 1)
			}
			rows += l
		}
	}
	if err := os.WriteFile(filepath.Join(dir, "inbox", "again.csv"), []byte(rows), 0o644); err != nil {
		t.Fatal(err)
	}
}

// withoutPlace is the rows of observations.csv without the file and the line
// that they came from, and how the pack was written there.
func withoutPlace(t *testing.T, text string) (rows []string) {
	t.Helper()
	list, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	if err != nil || len(list) < 2 {
		t.Fatalf("got %d rows, %v", len(list), err)
	}
	places := []string{"pack_as_read", "archive_file", "line"}
	for _, r := range list {
		var kept []string
		for i, cell := range r {
			if !slices.Contains(places, list[0][i]) {
				kept = append(kept, cell)
			}
		}
		if len(kept) != len(list[0])-len(places) {
			t.Fatalf("got the columns %v, want %v among them", list[0], places)
		}
		rows = append(rows, strings.Join(kept, ","))
	}
	return rows
}

// TestRepeatsInAnyOrder: where files hold one observation in different words,
// what is published does not depend on which came first.
func TestRepeatsInAnyOrder(t *testing.T) {
	for _, c := range []struct{ name, column, a, b string }{
		{"in the same words", "price", "2.40", "2.40"},
		{"the pack in other words", "pack", "1 kg", "1000 g"},
		{"one weighed", "weighed", "", "950 g"},
		{"one wholesale", "market", "", "wholesale"},
		{"one a published mean", "kind", "", "average"},
		{"one label disagrees", "shelf_unit_price", "2.40/kg", "3.40/kg"},
	} {
		t.Run(c.name, func(t *testing.T) {
			given := t.TempDir()
			var paths []string
			for i, cell := range []string{c.a, c.b, c.a} {
				text := strings.ReplaceAll(noteFile(c.column, cell), "2024-01-02", "2024-02-01")
				text += fmt.Sprintf("2024-02-0%d,cove,hall,milk,1.20,1 L,,,,,,,,,,,,,\n", 2+i) // so that no two files are one
				paths = append(paths, filepath.Join(given, fmt.Sprintf("notes-%d.csv", i)))
				if err := os.WriteFile(paths[i], []byte(text), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			var sites []map[string]string
			for _, order := range [][]int{{0, 1, 2}, {1, 2, 0}} {
				dir := town(t, "")
				for _, i := range order {
					if code, f, _ := imported(t, dir, paths[i]); code != exitDone || f.Read != f.Accepted+f.Duplicate {
						t.Fatalf("import: exit %d, %+v", code, f)
					}
				}
				if code, _, errOut := called("run", "--workspace", dir, "--quiet"); code != exitDone {
					t.Fatalf("run: exit %d\n%s", code, errOut)
				}
				sites = append(sites, siteOf(t, dir))
			}
			for _, site := range sites[1:] {
				if !maps.Equal(site, sites[0]) {
					t.Error(firstDifference(site, sites[0]))
				}
			}
		})
	}
}
