package main

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// traced is a node as trace --json prints it.
type traced struct {
	Key           string
	ObservationID string `json:"observation_id"`
	Value         any
	Formula, File string
	SHA256        string
	Line          int
	Text          string
	Inputs        []*traced
}

// tracedTables are the tables that trace walks from, with the columns that it
// works out again. Of the others it says what they are made from.
var tracedTables = map[string]struct{ key, again []string }{
	"reach": {[]string{"programme", "amount_kind", "region", "household", "basket", "month"}, []string{"allowance_lcu", "per_day_lcu", "reach_days", "adequacy",
		"balance_lcu", "shortfall_lcu", "shortfall_per_meal_lcu", "allowance_per_day_lcu", "allowance_per_meal_lcu", "allowance_real_lcu"}},
	"basket":       {[]string{"region", "household", "basket", "month"}, []string{"per_day_lcu", "standard_month_lcu", "real_per_day_lcu", "known_part_lcu"}},
	"basket_lines": {[]string{"region", "basket", "item", "grade", "month"}, []string{"unit_price_lcu", "per_day_lcu"}},
	"item":         {[]string{"region", "item", "grade", "month"}, []string{"unit_price_lcu"}},
	"moved": {[]string{"region", "basket", "item", "grade", "from_month", "to_month"}, []string{"price_from_lcu", "price_to_lcu", "change_pct", "pure_pct", "size_pct",
		"mix_pct", "contribution_pp", "n_matched"}},
	"basket_changes": {[]string{"region", "basket", "from_month", "to_month"}, []string{"per_day_from_lcu", "per_day_to_lcu", "change_pct"}},
	"regions":        {[]string{"basket", "month", "region"}, []string{"per_day_lcu", "parity_lowe", "parity_cpd", "common_share"}},
	"shoppings": {[]string{"shopping"}, []string{"portion_lcu", "known_part_lcu", "sheet_total_lcu", "till_lcu", "leftover_lcu", "allowance_lcu", "allowance_per_meal_lcu",
		"allowance_per_person_day_lcu", "per_person_day_lcu", "balance_lcu"}},
	"meals":          {[]string{"shopping", "recipe"}, []string{"servings", "portion_lcu", "per_serving_lcu", "allowance_per_meal_lcu", "balance_lcu", "unpriced_lines"}},
	"meal_lines":     {[]string{"shopping", "recipe", "line"}, []string{"quantity", "ap_quantity", "pack_price_lcu", "unit_price_lcu", "portion_lcu"}},
	"shopping_lines": {[]string{"shopping", "item", "grade", "pack"}, []string{"ap_quantity", "packs", "pack_price_lcu", "till_lcu", "leftover_quantity", "leftover_lcu", "from_cupboard_quantity"}},
	"diets":          {[]string{"region", "month", "person_group", "diet"}, []string{"per_day_lcu", "known_part_lcu", "allowance_per_person_day_lcu", "cost_to_allowance"}},
	"diet_lines":     {[]string{"region", "month", "person_group", "diet", "item"}, []string{"unit_price_lcu", "per_day_lcu"}},
}

func traceKey(table string, row cells, column string) string {
	parts := []string{table}
	for _, k := range tracedTables[table].key {
		parts = append(parts, url.PathEscape(row[k]))
	}
	return strings.Join(append(parts, column), "/")
}

func traceOf(t *testing.T, dir, key string) *traced {
	t.Helper()
	n := &traced{}
	if err := json.Unmarshal(call(t, []int{exitDone}, "trace", "--json", "--workspace", dir, key), n); err != nil {
		t.Fatal(err)
	}
	return n
}

// editionDir is the folder of the newest edition.
func editionDir(t *testing.T, dir string) string {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(dir, "editions", "current"))
	if err != nil {
		t.Fatal(err)
	}
	return filepath.Join(dir, "editions", strings.TrimSpace(string(b)))
}

// grounds reads every line that a node and its inputs name again, and counts them.
func grounds(t *testing.T, dir string, n *traced, lines map[string][]string) (count int) {
	t.Helper()
	if n.File != "" {
		count++
		path := filepath.Join(editionDir(t, dir), n.File)
		if n.SHA256 != "" {
			path = filepath.Join(dir, n.File)
		}
		if lines[path] == nil {
			b, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			lines[path] = strings.Split(strings.ReplaceAll(string(b), "\r", ""), "\n")
		}
		if n.Line < 1 || n.Line > len(lines[path]) || lines[path][n.Line-1] != n.Text {
			t.Errorf("%s: got %q as line %d of %s", n.Key, n.Text, n.Line, n.File)
		}
	}
	for _, in := range n.Inputs {
		count += grounds(t, dir, in, lines)
	}
	return count
}

// TestTraceTables walks from cells of every table to the files. What trace
// prints must be what is published, and rest on lines that stand in the files.
// Trace compares each value on the way with its own computation, and fails where
// they differ: that it sees a difference is TestTraceSees.
func TestTraceTables(t *testing.T) {
	for _, c := range []struct {
		name  string
		rows  int // of a table
		edits []edit
	}{
		{"matched", 6, nil},
		{"as found", 2, []edit{{"farthing.toml", "[panel]", "[panel]\nsample = \"as_found\""}}},
		{"averages first, another base month, three levels", 3, []edit{
			{"farthing.toml", "[panel]", "[panel]\nsource_order = [\"averages\", \"quotes\"]"},
			{"farthing.toml", "base_month = \"2023-01\"", "base_month = \"2023-10\""},
			{"tables/regions.csv", "High Tansel,tavrin,district", "High Tansel,uplands,district"},
			{"tables/regions.csv", "Oddel Skerries,tavrin,district", "Oddel Skerries,uplands,district"},
			{"tables/regions.csv", "", "uplands,Uplands,tavrin,part,0.45,x,XTS,yes\n"},
			{"farthing.toml", "household = \"four\"", "household = \"four\"\npantry = \"kitchen\""},
			{"tables/recipes.csv", "", "supper,1,2,,potato-bake,,2,servings,,,,,,,\nsupper,2,2,lentils,,,100,g,,,,,,,\n"},
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := filepath.Join(t.TempDir(), "demo")
			call(t, []int{exitDone}, "init", dir, "--with", "demo")
			replaceText(t, filepath.Join(dir, "farthing.toml"), "[panel]", "[pages]\ndraw = false\n\n[panel]")
			for _, e := range c.edits {
				replaceText(t, filepath.Join(dir, e.file), e.old, e.new)
			}
			call(t, []int{exitQuarantined}, "run", "--quiet", "--workspace", dir)
			lines, valued := map[string][]string{}, map[string]int{}
			for table, of := range tracedTables {
				rows := readCells(t, filepath.Join(dir, "site", "data", table+".csv"))
				step := (len(rows)+c.rows-1)/c.rows | 1 // odd: a table is no whole number of rounds of its regions
				for i := len(rows) - 1; i >= 0; i -= step {
					for _, column := range of.again {
						key, published := traceKey(table, rows[i], column), rows[i][column]
						n := traceOf(t, dir, key)
						got := ""
						if x, ok := n.Value.(float64); ok {
							_, digits, _ := strings.Cut(published, ".")
							got = strconv.FormatFloat(x, 'f', len(digits), 64)
							if math.Abs(x-number(t, published)) > 0.5*math.Pow10(-len(digits))+1e-9 {
								t.Errorf("%s: got %v, published %q", key, x, published)
							}
							valued[table+" "+column]++
						}
						if (got == "") != (published == "") || n.Key != key || n.Formula == "" {
							t.Errorf("%s: got %+v, published %q", key, *n, published)
						}
						if grounds(t, dir, n, lines) == 0 && published != "" && column != "common_share" {
							t.Errorf("%s: no line of a file behind it", key)
						}
					}
				}
			}
			for table, of := range tracedTables {
				for _, column := range of.again {
					if c.edits == nil && valued[table+" "+column] == 0 {
						t.Errorf("%s: no row with a value of %s was looked at", table, column)
					}
				}
			}
		})
	}
}

// TestTraceSees alters one published value after another, in the edition's own
// files: trace must refuse to explain it.
func TestTraceSees(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "demo")
	call(t, []int{exitDone}, "init", dir, "--with", "demo")
	replaceText(t, filepath.Join(dir, "farthing.toml"), "[panel]", "[pages]\ndraw = false\n\n[panel]")
	call(t, []int{exitQuarantined}, "run", "--quiet", "--workspace", dir)
	for table, of := range tracedTables {
		path := filepath.Join(editionDir(t, dir), table+".csv")
		whole, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		records, err := csv.NewReader(strings.NewReader(string(whole))).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		for _, column := range of.again {
			at := slices.Index(records[0], column)
			i := slices.IndexFunc(records[1:], func(r []string) bool {
				return r[at] != "" && (math.Abs(number(t, r[at])) > 1e-3 || column == "unpriced_lines")
			}) + 1
			if table == "item" { // a price found, the base month's, is anchored; the next goes on from it
				i = slices.IndexFunc(records, func(r []string) bool { return r[0] == "tavrin" && r[3] == "2024-03" })
			}
			if i < 1 {
				t.Fatalf("%s: no value of %s", table, column)
			}
			row := cells{}
			for k, name := range records[0] {
				row[name] = records[i][k]
			}
			key := traceKey(table, row, column)
			traceOf(t, dir, key)
			was := records[i][at]
			records[i][at] = fmt.Sprint(number(t, was) * 1.001)
			if slices.Contains([]string{"packs", "n_matched", "unpriced_lines"}, column) {
				records[i][at] = fmt.Sprint(number(t, was) + 1)
			}
			var b strings.Builder
			w := csv.NewWriter(&b)
			if err := w.WriteAll(records); err != nil {
				t.Fatal(err)
			}
			records[i][at] = was
			if err := os.WriteFile(path, []byte(b.String()), 0o644); err != nil {
				t.Fatal(err)
			}
			call(t, []int{exitFailed}, "trace", "--workspace", dir, key)
			if err := os.WriteFile(path, whole, 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
}
