package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// states is what a run says of each stage.
func states(t *testing.T, workspace string, code int) (string, string) {
	t.Helper()
	var rep struct {
		Edition string
		Stages  []struct{ Stage, State string }
	}
	if err := json.Unmarshal([]byte(farthing(t, code, "run", "--json", "--workspace", workspace)), &rep); err != nil {
		t.Fatal(err)
	}
	var list []string
	for _, s := range rep.Stages {
		list = append(list, s.State)
	}
	return strings.Join(list, " "), rep.Edition
}

// clean says that nothing is due and that everything comes out again.
func clean(t *testing.T, workspace string) {
	t.Helper()
	if got, _ := states(t, workspace, exitDone); got != "fresh fresh fresh" {
		t.Errorf("a second run: got %s, want everything fresh", got)
	}
	var s struct{ Changed []string }
	if err := json.Unmarshal([]byte(farthing(t, exitDone, "status", "--json", "--workspace", workspace)), &s); err != nil {
		t.Fatal(err)
	}
	if len(s.Changed) > 0 {
		t.Errorf("status: got %v changed, want nothing", s.Changed)
	}
	farthing(t, exitDone, "rebuild", "--compare", "--workspace", workspace)
}

// TestUpkeep does to a workspace what people do to folders. After each deed a
// run brings everything up to date, and a rebuild gives the same.
func TestUpkeep(t *testing.T) {
	w := filepath.Join(t.TempDir(), "w")
	farthing(t, exitDone, "init", w, "--with", "demo")
	_, first := states(t, w, exitQuarantined)
	edit := func(name, text string) {
		t.Helper()
		f, err := os.OpenFile(filepath.Join(w, name), os.O_APPEND|os.O_WRONLY, 0)
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		if _, err := f.WriteString(text); err != nil {
			t.Fatal(err)
		}
	}
	for _, c := range []struct {
		name string
		do   func()
		want string // states of the run
		same bool   // the edition
	}{
		{"a comment in the settings", func() { edit("farthing.toml", "\n# seen\n") }, "fresh done done", false},
		{"an alias that nothing uses", func() { edit("tables/aliases.csv", "notes,item,otes,oats,,,\n") }, "done done done", false},
		{"the editions are deleted", func() { os.RemoveAll(filepath.Join(w, "editions")) }, "fresh done done", true},
		{"the site is deleted", func() { os.Remove(filepath.Join(w, "site")) }, "fresh fresh done", true},
		{"a file is taken out of the archive", func() {
			for _, s := range readTable(t, filepath.Join(w, "editions"), "sources.csv") {
				if s["file"] == "oddel-skerries-2024-2.csv" {
					os.RemoveAll(filepath.Join(w, "archive", s["sha256"]))
				}
			}
		}, "done done done", false},
	} {
		t.Run(c.name, func(t *testing.T) {
			c.do()
			code := exitDone
			got, edition := states(t, w, code)
			if got != c.want || (edition == first) != c.same {
				t.Errorf("got %s, edition %s; want %s, the edition of before: %v (%s)", got, edition, c.want, c.same, first)
			}
			first = edition
			clean(t, w)
		})
	}
}

// TestDamagedArchive: a rebuild does not take other bytes for those that were kept.
func TestDamagedArchive(t *testing.T) {
	w := filepath.Join(t.TempDir(), "w")
	farthing(t, exitDone, "init", w, "--with", "demo")
	states(t, w, exitQuarantined)
	files, err := filepath.Glob(filepath.Join(w, "archive", "*", "open-averages.csv"))
	if err != nil || len(files) != 1 {
		t.Fatal(files, err)
	}
	if err := os.WriteFile(files[0], []byte("observed_on\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	farthing(t, exitFailed, "rebuild", "--workspace", w)
	if got, _ := states(t, w, exitDone); got != "fresh fresh fresh" {
		t.Errorf("after the refused rebuild: got %s, want the old database back", got)
	}
}

// TestWrongName: a file imported before its profile was there is read once it
// is given again under a name that the profile has.
func TestWrongName(t *testing.T) {
	w := filepath.Join(t.TempDir(), "w")
	farthing(t, exitDone, "init", w, "--with", "demo")
	text := "Date,OPEN1\n2023-01-01,1.20\n2023-02-01,1.25\n"
	given := filepath.Join(t.TempDir(), "download.csv")
	if err := os.WriteFile(given, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	farthing(t, exitQuarantined, "import", given, "--workspace", w)
	settings, err := os.ReadFile(filepath.Join(w, "farthing.toml"))
	if err != nil {
		t.Fatal(err)
	}
	profile := "\n[[source]]\nname = \"open\"\ngives = \"averages\"\nfiles = [\"OPEN*.csv\"]\ncurrency = \"XTS\"\n[[source.series]]\nid = \"OPEN1\"\nregion = \"tavrin\"\nitem = \"oats\"\npack = \"1 kg\"\n"
	if err := os.WriteFile(filepath.Join(w, "farthing.toml"), append(settings, profile...), 0o644); err != nil {
		t.Fatal(err)
	}
	named := filepath.Join(t.TempDir(), "OPEN1.csv")
	if err := os.WriteFile(named, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	farthing(t, exitDone, "import", named, "--workspace", w)
	states(t, w, exitQuarantined)
	n := 0
	for _, o := range readTable(t, filepath.Join(w, "editions"), "observations.csv") {
		if o["source_series"] == "OPEN1" {
			n++
		}
	}
	if n != 2 {
		t.Errorf("got %d observations of the series, want 2", n)
	}
}

// TestWrongYear: a note of a year to come is set aside, and an old one that is
// excluded no longer rules the months.
func TestWrongYear(t *testing.T) {
	w := filepath.Join(t.TempDir(), "w")
	farthing(t, exitDone, "init", w, "--with", "demo")
	settings, err := os.ReadFile(filepath.Join(w, "farthing.toml"))
	if err != nil {
		t.Fatal(err)
	}
	open := strings.NewReplacer(`from_month = "2023-01"`, "", `to_month = "2024-12"`, "").Replace(string(settings))
	if err := os.WriteFile(filepath.Join(w, "farthing.toml"), []byte(open), 0o644); err != nil {
		t.Fatal(err)
	}
	notes := "observed_on,region,outlet,item,price,pack\n2064-05-01,mirrow-bay,brask-market,oats,2.60,1 kg\n"
	if err := os.WriteFile(filepath.Join(w, "inbox", "late.csv"), []byte(notes), 0o644); err != nil {
		t.Fatal(err)
	}
	out := farthing(t, exitQuarantined, "run", "--workspace", w)
	if !strings.Contains(out, "check the year") || !strings.Contains(out, "as of 2024-12-31") {
		t.Errorf("got %s; want the note set aside and the edition as of 2024-12-31", out)
	}
}
