package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
)

// This file holds what the program publishes to the second opinion of recompute_test.go, cell by cell.

// call runs the program and returns what it printed.
func call(t *testing.T, codes []int, args ...string) []byte {
	t.Helper()
	var out, errOut bytes.Buffer
	now := func() time.Time { return time.Date(2025, 2, 3, 4, 5, 6, 0, time.UTC) }
	if code := run(context.Background(), args, strings.NewReader(""), &out, &errOut, now); !slices.Contains(codes, code) {
		t.Fatalf("farthing %s: got exit %d, want %v\n%s", strings.Join(args, " "), code, codes, errOut.String())
	}
	return out.Bytes()
}

// edit is a change of a workspace's file: old, there once, becomes new; without old, new is put at the end.
type edit struct{ file, old, new string }

// TestSecondOpinion holds each cell that the program publishes to this file's own.
func TestSecondOpinion(t *testing.T) {
	openData, excerpts := "../../../shared/data", "../../testdata/sources/us/*.csv"
	for _, c := range []struct {
		name, example string
		files         []string // to import
		edits         []edit
	}{
		{name: "demo", example: "demo"},
		{name: "edible parts, allowances of a district and of less than a day", example: "demo", edits: []edit{
			{"tables/baskets.csv", "", "parts,cabbage,,2000,g,month,EP,typical,x\nparts,plums,,0.05,kg,day,EP,typical,x\nparts,oil,,100,ml,week,AP,typical,x\n" +
				"parts,tinned-fish,line-caught,1,lb,month,AP,typical,x\nparts,spice-mix,,50,g,week,AP,typical,x\nparts,barley,,1,kg,month,EP,typical,x\n"},
			{"tables/households.csv", "", "five,Five,5,4.8,2,x\n"},
			{"tables/allowances.csv", "", "food-support,high-tansel,2,maximum,2023-05-20,2023-12-30,301,XTS,month,31,x\nfood-support,high-tansel,2,typical,2023-05-20,,201,XTS,month,15,x\n" +
				"food-support,tavrin,5,maximum,2024-01-15,,3.00,XTS,month,1,less than a day costs\n"},
			{"tables/deflators.csv", "", "tavrin-cpi,mirrow-bay,2023-01,95,2023-01,unadjusted,x\ntavrin-cpi,mirrow-bay,2023-02,97,2023-01,unadjusted,x\n"},
		}},
		{name: "averages first, three levels, more price types, another season", example: "demo", edits: []edit{
			{"farthing.toml", "from_month = \"2023-01\"", "from_month = \"2023-03\"\nsource_order = [\"averages\", \"quotes\"]\nmin_observed_share = 0.9"},
			{"farthing.toml", "default_grade = \"standard\"", "default_grade = \"standard\"\nprice_types = [\"regular\", \"promo\", \"multibuy\", \"member\"]\n[edit]\nmin_own = 9\nmin_peer = 4\npeer_ratio = 1.3"},
			{"farthing.toml", "base_month = \"2023-01\"", "base_month = \"2023-10\""},
			{"tables/regions.csv", "High Tansel,tavrin,district", "High Tansel,uplands,district"},
			{"tables/regions.csv", "Oddel Skerries,tavrin,district", "Oddel Skerries,uplands,district"},
			{"tables/regions.csv", "", "uplands,Uplands,tavrin,part,0.45,x,XTS,yes\n"},
			{"tables/items.csv", "0.94,7,9,", "0.94,10,2,"},
		}},
		{name: "as found", example: "demo", edits: []edit{{"farthing.toml", "[panel]", "[panel]\nsample = \"as_found\""}}},
		{name: "gaps left as gaps, no base month, no deflator", example: "demo", edits: []edit{
			{"farthing.toml", "[panel]", "[panel]\nimpute = false"},
			{"farthing.toml", "base_month = \"2023-01\"\ndeflator = \"tavrin-cpi\"\n", ""},
		}},
		{name: "one note twice, two prices, one far off, not sold; months without notes", example: "demo", edits: []edit{
			{"inbox/oddel-skerries-2024-2.csv", "", "2025-01-13,oddel-skerries,landing-counter,oats,2.75,1 kg,,,,,,\n2025-01-13,oddel-skerries,landing-counter,oats,2.75,1 kg,,,,,,\n" +
				"2025-01-14,oddel-skerries,landing-counter,oats,2.75,1 kg,,,,,,\n2025-01-14,oddel-skerries,landing-counter,oats,2.85,1 kg,,,,,,\n" +
				"2025-01-15,oddel-skerries,landing-counter,flour,,1 kg,,,,,not_sold,\n2025-01-15,mirrow-bay,vellick-hall,flour,99,1 kg,new,,,,,\n"},
			{"farthing.toml", "to_month = \"2024-12\"", "to_month = \"2025-12\""},
		}},
		{name: "regions pooled without weights", example: "demo", edits: []edit{
			{"farthing.toml", "[panel]", "[panel]\npooled = true"},
			{"tables/regions.csv", "Mirrow Bay,tavrin,district,0.55,", "Mirrow Bay,tavrin,district,,"},
			{"tables/regions.csv", "High Tansel,tavrin,district,0.35,", "High Tansel,tavrin,district,,"},
			{"tables/regions.csv", "Oddel Skerries,tavrin,district,0.10,", "Oddel Skerries,tavrin,district,,"},
		}},
		{name: "us excerpts", example: "us", files: globbed(t, excerpts)},
		{name: "us open data", example: "us", files: globbed(t, openData+"/bls-ap-fred/series_index.csv", openData+"/bls-ap-fred/series/APU0[0-4]00*.csv",
			openData+"/cpi-us-regions/CUUR0[0-4]00SAF11.csv", openData+"/snap-allotments/snap_max_allotment.csv")},
	} {
		t.Run(c.name, func(t *testing.T) {
			if c.example == "us" && len(c.files) == 0 {
				t.Skip("the open data is not beside the repository, in ../shared/data")
			}
			dir := filepath.Join(t.TempDir(), c.example)
			call(t, []int{exitDone}, "init", dir, "--with", c.example)
			for _, e := range c.edits {
				replaceText(t, filepath.Join(dir, e.file), e.old, e.new)
			}
			call(t, []int{exitDone, exitQuarantined}, append([]string{"import", "--quiet", "--workspace", dir}, c.files...)...)
			call(t, []int{exitDone}, "run", "--quiet", "--workspace", dir)
			holdTo(t, newOpinion(t, dir), dir, c.name == "demo")
		})
	}
}

func globbed(t *testing.T, patterns ...string) (files []string) {
	t.Helper()
	for _, p := range patterns {
		more, err := filepath.Glob(p)
		if err != nil {
			t.Fatal(err)
		}
		files = append(files, more...)
	}
	return files
}

// replaceText replaces a text that is in a file once, or adds to its end.
func replaceText(t *testing.T, path, old, new string) {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	text := string(b) + new
	if old != "" {
		if strings.Count(string(b), old) != 1 {
			t.Fatalf("%s: got %d of %q, want 1", path, strings.Count(string(b), old), old)
		}
		text = strings.Replace(string(b), old, new, 1)
	}
	if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
}

// keyColumns name a row.
var keyColumns = map[string][]string{
	"basket": {"region", "household", "basket", "month"},
	"reach":  {"programme", "amount_kind", "region", "household", "basket", "month"},
}

// table is all rows of basket or reach, by key.
func (o *opinion) table(t *testing.T, name string) map[string]figures {
	t.Helper()
	rows := map[string]figures{}
	distinct := func(list []cells, columns ...string) (values [][]string) {
		for _, row := range list {
			var v []string
			for _, c := range columns {
				v = append(v, row[c])
			}
			if !slices.ContainsFunc(values, func(w []string) bool { return slices.Equal(v, w) }) {
				values = append(values, v)
			}
		}
		return values
	}
	for region := range o.regions {
		for _, h := range o.households {
			for _, b := range distinct(o.basketLines, "basket") {
				for m := o.from; m <= o.to; m++ {
					key := strings.Join([]string{region, h["household"], b[0], m.String()}, "/")
					if name == "basket" {
						rows[key] = o.basket(t, region, b[0], number(t, h["person_equivalents"]), m)
						continue
					}
					for _, p := range distinct(o.allowances, "programme", "amount_kind") {
						rows[p[0]+"/"+p[1]+"/"+key] = o.reach(t, p[0], p[1], region, h, b[0], m)
					}
				}
			}
		}
	}
	return rows
}

// holdTo compares the files and the answers of show with the opinion; it can prove that the comparison sees every cell.
func holdTo(t *testing.T, o *opinion, dir string, prove bool) {
	t.Helper()
	var status struct{ Quarantined int }
	if err := json.Unmarshal(call(t, []int{exitDone}, "status", "--json", "--workspace", dir), &status); err != nil || status.Quarantined != o.unreadable {
		t.Errorf("got %d rows quarantined (%v), want %d", status.Quarantined, err, o.unreadable)
	}
	for name, key := range keyColumns {
		want := o.table(t, name)
		printed := readCells(t, filepath.Join(dir, "site", "data", name+".csv"))
		var shown struct{ Rows []map[string]any }
		if err := json.Unmarshal(call(t, []int{exitDone}, "show", name, "--json", "--workspace", dir), &shown); err != nil {
			t.Fatal(err)
		}
		if len(want) == 0 || len(printed) != len(want) || len(shown.Rows) != len(want) {
			t.Errorf("%s: got %d rows, %d shown, want %d", name, len(printed), len(shown.Rows), len(want))
		}
		seen := map[string]bool{}
		for i, row := range printed {
			k := rowKey(row, key)
			switch figures := want[k]; {
			case figures == nil || seen[k]:
				t.Errorf("%s/%s: twice, or no row by the tables", name, k)
			default:
				for _, d := range append(differences(row, figures, key), unroundedDifferences(shown.Rows[i], row, figures, key)...) {
					t.Errorf("%s/%s/%s", name, k, d)
				}
				if prove && !t.Failed() {
					seesEveryCell(t, row, figures, key)
				}
			}
			seen[k] = true
		}
	}
}

func rowKey(row cells, key []string) string {
	var parts []string
	for _, column := range key {
		parts = append(parts, row[column])
	}
	return strings.Join(parts, "/")
}

// differences compares a printed row with what was worked out. Where the last printed digit hangs on less than 1e-11 of the
// value, which is more than the sums' rounding errors, both digits are right.
func differences(printed cells, want figures, key []string) (list []string) {
	if len(printed) != len(want)+len(key) {
		list = append(list, fmt.Sprintf(": got %d columns, want %d", len(printed), len(want)+len(key)))
	}
	for column, w := range want {
		may := []string{""}
		if x, isNumber := w.(float64); !isNumber {
			may[0] = w.(string)
		} else if !missing(x) {
			may = []string{decimals(x*(1-1e-11), column), decimals(x*(1+1e-11), column)}
		}
		if got, ok := printed[column]; !ok || !slices.Contains(may, got) {
			list = append(list, fmt.Sprintf("%s: got %q, want %q, of %v", column, got, may, w))
		}
	}
	return list
}

// decimals prints a number as contracts says: money and shares with 4, days with 2, counts with none.
func decimals(x float64, column string) string {
	n := 0
	switch {
	case strings.HasSuffix(column, "_lcu"), strings.HasSuffix(column, "_share"), column == "adequacy":
		n = 4
	case strings.HasPrefix(column, "reach_"):
		n = 2
	}
	s := strconv.FormatFloat(x, 'f', n, 64)
	if strings.Trim(s, "-0.") == "" {
		return strings.TrimPrefix(s, "-")
	}
	return s
}

// unroundedDifferences compares a row of show --json to 1e-9 of each value: the program sums logs as whole 1e-12.
func unroundedDifferences(shown map[string]any, printed cells, want figures, key []string) (list []string) {
	for _, column := range key {
		if shown[column] != printed[column] {
			list = append(list, fmt.Sprintf("json %s: got %v, want %v", column, shown[column], printed[column]))
		}
	}
	for column, w := range want {
		got, same := shown[column]
		switch w := w.(type) {
		case string:
			same = same && (got == w || got == nil && w == "")
		case float64:
			x, isNumber := got.(float64)
			same = same && (isNumber && math.Abs(x-w) <= 1e-9*max(math.Abs(w), 1) || got == nil && missing(w))
		}
		if !same {
			list = append(list, fmt.Sprintf("json %s: got %v, want %v", column, got, w))
		}
	}
	return list
}

// seesEveryCell alters each cell of a right row in turn, once of them blank: each time the comparison must complain.
func seesEveryCell(t *testing.T, row cells, want figures, key []string) {
	t.Helper()
	for column, was := range row {
		if slices.Contains(key, column) {
			continue
		}
		for _, altered := range []string{"", was + "1", was[:max(len(was)-1, 0)] + nudged(was)} {
			if row[column] = altered; altered != was && len(differences(row, want, key)) != 1 {
				t.Errorf("%s/%s: %q for %q went unseen", rowKey(row, key), column, altered, was)
			}
		}
		row[column] = was
	}
}

// nudged is another last letter, or a last digit 2 away: 1 may be right too, see differences.
func nudged(s string) string {
	if s == "" {
		return "0"
	}
	last := s[len(s)-1]
	if '0' <= last && last <= '9' {
		return string('0' + (last-'0'+2)%10)
	}
	return string(last + 1)
}
