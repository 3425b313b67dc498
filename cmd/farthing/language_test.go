package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestLanguage: the setting changes the pages and no data file, and a run
// after it makes the pages anew.
func TestLanguage(t *testing.T) {
	dir := town(t, "")
	settings := filepath.Join(dir, "farthing.toml")
	replaceText(t, settings, "draw = false", "draw = true")
	if err := os.MkdirAll(filepath.Join(dir, "inbox"), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "inbox", "notes.csv"), []byte(noteFile()), 0o644); err != nil {
		t.Fatal(err)
	}
	made := func() (page, data string) {
		t.Helper()
		if code, _, errOut := called("run", "--workspace", dir); code != 0 {
			t.Fatalf("got exit %d and %q", code, errOut)
		}
		for _, f := range []struct {
			to   *string
			name string
		}{{&page, "grounds.html"}, {&data, "data/item.csv"}} {
			b, err := os.ReadFile(filepath.Join(dir, "site", f.name))
			if err != nil {
				t.Fatal(err)
			}
			*f.to = string(b)
		}
		return page, data
	}
	page, data := made()
	if !strings.Contains(page, `<html lang="en">`) || !strings.Contains(page, "Grounds: what the numbers rest on") {
		t.Errorf("got no English page, want one where no language is set")
	}
	replaceText(t, settings, "draw = true", "draw = true\nlanguage = \"de\"\nforms.date = \"y-MM-dd\"")
	german, same := made()
	for _, want := range []string{`<html lang="de">`, "Grundlagen: worauf die Zahlen beruhen", "<dt>Stand</dt><dd>20"} {
		if !strings.Contains(german, want) {
			t.Errorf("got no %q on the German page", want)
		}
	}
	if same != data {
		t.Errorf("got other data in another language, want the same")
	}
}
