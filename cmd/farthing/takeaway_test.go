package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"net/url"
	"path"
	"regexp"
	"slices"
	"strings"
	"testing"

	"farthing/pipeline/result"
)

// TestTakeAway: what the demo publishes to carry away is there, named by the
// pages, and keeps the keys and types that it declares.
func TestTakeAway(t *testing.T) {
	dir := demoTown(t, false)
	if code, _, errOut := called("run", "--workspace", dir, "--quiet"); code != exitQuarantined {
		t.Fatalf("run: exit %d\n%s", code, errOut)
	}
	site := siteOf(t, dir)
	var p struct {
		Edition   string
		Resources []struct {
			Path   string
			Schema struct {
				PrimaryKey []string
				Fields     []struct{ Name, Type string }
			}
		}
	}
	if err := json.Unmarshal([]byte(site["data/datapackage.json"]), &p); err != nil {
		t.Fatal(err)
	}
	forms := map[string]*regexp.Regexp{"number": regexp.MustCompile(`^-?[0-9]+(\.[0-9]+)?$`), "integer": regexp.MustCompile(`^-?[0-9]+$`),
		"date": regexp.MustCompile(`^[0-9]{4}-[01][0-9]-[0-3][0-9]$`), "yearmonth": regexp.MustCompile(`^[0-9]{4}-[01][0-9]$`)}
	tables := 0
	for _, r := range p.Resources {
		text, ok := site["data/"+r.Path]
		if !ok {
			t.Errorf("%s is declared and not there", r.Path)
		}
		if r.Schema.Fields == nil {
			continue
		}
		tables++
		rows, err := csv.NewReader(bytes.NewReader([]byte(text))).ReadAll()
		if err != nil || len(rows) < 2 {
			t.Fatalf("%s: got %d rows, %v", r.Path, len(rows), err)
		}
		keys := map[string]bool{}
		for _, row := range rows[1:] {
			var key []string
			for i, f := range r.Schema.Fields {
				if form := forms[f.Type]; form != nil && row[i] != "" && !form.MatchString(row[i]) {
					t.Fatalf("%s: %s is %q, no %s", r.Path, f.Name, row[i], f.Type)
				}
				if slices.Contains(r.Schema.PrimaryKey, f.Name) {
					key = append(key, row[i])
				}
			}
			if k := strings.Join(key, "\x00"); keys[k] {
				t.Errorf("%s: the key %q stands twice", r.Path, key)
			} else {
				keys[k] = true
			}
		}
	}
	if tables != len(result.Tables()) {
		t.Errorf("got %d tables, want %d", tables, len(result.Tables()))
	}
	for _, name := range []string{"datapackage.json", "dataset.jsonld", "CITATION.cff", "reproduce.txt", "reach.parquet"} {
		if !strings.Contains(site["data/"+name], p.Edition) || len(p.Edition) != 16 {
			t.Errorf("%s: no hash %q of the edition", name, p.Edition)
		}
	}
	link := regexp.MustCompile(`href="(data/[^"]+)"`)
	links := map[string]bool{}
	for name, text := range site {
		if path.Ext(name) != ".html" {
			continue
		}
		for _, m := range link.FindAllStringSubmatch(text, -1) {
			to, err := url.PathUnescape(m[1])
			if _, ok := site[to]; err != nil || !ok {
				t.Errorf("%s leads to %s, which is not there", name, m[1])
			}
			links[to] = true
		}
	}
	for _, name := range []string{"workbook.xlsx", "datapackage.json", "dataset.jsonld", "CITATION.cff", "reproduce.txt"} {
		if !links["data/"+name] {
			t.Errorf("no page leads to %s", name)
		}
	}
}
