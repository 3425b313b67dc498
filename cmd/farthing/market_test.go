package main

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"farthing/pipeline/index"
)

// published is the folder of figures from outside the project.
const published = "../../testdata/published"

var fixedNow = func() time.Time { return time.Date(2026, 1, 2, 3, 4, 5, 0, time.UTC) }

// farthing calls the program as a user would and gives what it printed.
func farthing(t *testing.T, wantCode int, args ...string) string {
	t.Helper()
	var out, errOut bytes.Buffer
	if code := run(context.Background(), append(args, "--quiet"), nil, &out, &errOut, fixedNow); code != wantCode {
		t.Fatalf("farthing %s: exit %d, want %d\n%s%s", strings.Join(args, " "), code, wantCode, out.String(), errOut.String())
	}
	return out.String()
}

// rowsOf are the rows of farthing show, with their numbers as decimal text.
func rowsOf(t *testing.T, workspace string, args ...string) []map[string]any {
	t.Helper()
	var answer struct{ Rows []map[string]any }
	dec := json.NewDecoder(strings.NewReader(farthing(t, exitDone, append([]string{"show", "--json", "--workspace", workspace}, args...)...)))
	dec.UseNumber()
	if err := dec.Decode(&answer); err != nil {
		t.Fatal(err)
	}
	return answer.Rows
}

func numberIn(t *testing.T, row map[string]any, column string) float64 {
	t.Helper()
	n, ok := row[column].(json.Number)
	if !ok {
		t.Fatalf("%s is %v in %v, want a number", column, row[column], row)
	}
	f, err := n.Float64()
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// workspaceOf makes a workspace from texts by file name.
func workspaceOf(t *testing.T, files map[string]string) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "w")
	farthing(t, exitDone, "init", dir)
	for name, text := range files {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

func near(got, want float64) bool { return math.Abs(got-want) <= 1e-9*math.Max(math.Abs(want), 1e-300) }

// TestMarket runs a small market through the real commands: 31 notes in mixed
// units, one of them a repeat, one gap. The figures of expected.csv were
// computed outside the project, in Python and a second time by other code.
func TestMarket(t *testing.T) {
	notes, err := os.ReadFile(filepath.Join(published, "market", "notes.csv"))
	if err != nil {
		t.Fatal(err)
	}
	w := workspaceOf(t, map[string]string{
		"tables/regions.csv": "region,region_name,parent,level,population_weight,weight_source,currency_code,prices_include_tax\n" +
			"North,North,,region,,,XTS,yes\nSouth,South,,region,,,XTS,yes\n",
		"tables/items.csv": "item,item_name,coicop_code,coicop_version,base_unit,edible_yield,source\n" +
			"rice,Rice,01.1.1.1,2018,kg,1,example\nmilk,Milk,01.1.4.1,2018,L,1,example\neggs,Eggs,01.1.4.8,2018,each,0.88,example\napples,Apples,01.1.6.2,2018,kg,0.9,example\n",
		"tables/baskets.csv": "basket,item,grade,quantity,unit,per,basis,price_rule,source\n" +
			"month,rice,,6,kg,month,EP,,example\nmonth,milk,,12,L,month,EP,,example\nmonth,eggs,,40,each,month,EP,,example\nmonth,apples,,5,kg,month,EP,,example\n",
		"tables/households.csv": "household,household_name,persons,person_equivalents,source\none,One,1,1,example\n",
		"tables/allowances.csv": "programme,region,persons,amount_kind,effective_from,amount_lcu,currency_code,source\n" +
			"aid,North,1,maximum,2025-01-01,80,XTS,example\naid,South,1,maximum,2025-01-01,80,XTS,example\n",
		"inbox/notes.csv": string(notes),
	})
	settings, err := os.ReadFile(filepath.Join(w, "farthing.toml"))
	if err != nil {
		t.Fatal(err)
	}
	// The figures are means of what was found in each month.
	found := strings.Replace(string(settings), "[panel]", "[panel]\nsample = \"as_found\"", 1)
	if err := os.WriteFile(filepath.Join(w, "farthing.toml"), []byte(found), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, empty := range []string{"outlets", "measures", "aliases", "deflators", "corrections"} {
		if err := os.Remove(filepath.Join(w, "tables", empty+".csv")); err != nil {
			t.Fatal(err)
		}
	}
	var imported struct{ Read, Accepted, Quarantined, Duplicate int }
	if err := json.Unmarshal([]byte(farthing(t, exitDone, "import", "--json", "--workspace", w)), &imported); err != nil {
		t.Fatal(err)
	}
	farthing(t, exitDone, "run", "--workspace", w)

	got := map[string]float64{"Z10-mini-duplicates-dropped all": float64(imported.Duplicate)}
	months := []string{"2025-01", "2025-02", "2025-03"}
	price := map[string]float64{}
	for _, r := range rowsOf(t, w, "item") {
		key := fmt.Sprintf("%s|%s|%s", r["region"], r["month"], r["item"])
		price[key] = numberIn(t, r, "unit_price_lcu")
		got["Z10-mini-mean-unit-price "+key] = price[key]
		if r["filled_by"] != nil {
			got["Z10-mini-imputed "+key] = 1
		}
	}
	cost := map[string]float64{}
	for _, r := range rowsOf(t, w, "basket") {
		key := fmt.Sprintf("%s|%s", r["region"], r["month"])
		cost[key] = numberIn(t, r, "standard_month_lcu")
		got["Z10-mini-basket-cost "+key] = cost[key]
	}
	for _, r := range rowsOf(t, w, "reach") {
		key := fmt.Sprintf("%s|%s", r["region"], r["month"])
		first := cost[fmt.Sprintf("%s|2025-01", r["region"])]
		allowance := numberIn(t, r, "allowance_lcu")
		got["Z10-mini-coverage "+key] = numberIn(t, r, "reach_days") / 30.4375
		// In money of the first month by the basket's own index: the workspace has no other deflator.
		got["Z10-mini-real-allowance "+key] = allowance * first / cost[key]
	}
	// The share at each month's own cost; the published one is at that of the base month.
	line := map[string]float64{}
	for _, r := range readTable(t, filepath.Join(w, "editions"), "basket_lines.csv") {
		v, err := strconv.ParseFloat(r["per_day_lcu"], 64)
		if err != nil {
			t.Fatal(err)
		}
		line[r["region"]+"|"+r["month"]+"|"+r["item"]] = v * 30.4375
		if r["filled_by"] == "" {
			got["Z10-mini-observed-share "+r["region"]+"|"+r["month"]] += v * 30.4375 / cost[r["region"]+"|"+r["month"]]
		}
	}
	items, quantities := []string{"rice", "milk", "eggs", "apples"}, []float64{6, 12, 40 / .88, 5 / .9} // as bought
	prices := func(region, month string) (p []float64) {
		for _, it := range items {
			p = append(p, price[region+"|"+month+"|"+it])
		}
		return p
	}
	for _, region := range []string{"North", "South"} {
		for _, m := range months {
			jevons, err := index.Jevons(prices(region, "2025-01"), prices(region, m))
			lowe, err2 := index.Lowe(prices(region, "2025-01"), prices(region, m), quantities)
			if err != nil || err2 != nil {
				t.Fatal(err, err2)
			}
			got["Z10-mini-jevons-index "+region+"|"+m], got["Z10-mini-lowe-index "+region+"|"+m] = 100*jevons.Index, 100*lowe.Index
		}
	}
	for _, r := range rowsOf(t, w, "moved", "--from", "2025-01", "--to", "2025-03") {
		got[fmt.Sprintf("Z10-mini-contributions-pp %s|%s", r["region"], r["item"])] = numberIn(t, r, "contribution_pp")
	}
	// One outlet a region: too few for a rank, so the parities are those of the package that ranks by them.
	last := [][]float64{prices("North", "2025-03"), prices("South", "2025-03")}
	common, err := index.CommonBasket(last, quantities)
	cpd, err2 := index.CPD(last, nil)
	if err != nil || err2 != nil {
		t.Fatal(err, err2)
	}
	for i, region := range []string{"North", "South"} {
		got["Z10-mini-spatial-lowe-last-month "+region], got["Z10-mini-spatial-cpd-last-month "+region] = common[i].Index/common[0].Index, cpd[i].Index/cpd[0].Index
	}

	wanted := 0
	for _, r := range readCSV(t, filepath.Join(published, "market", "expected.csv")) {
		want, err := strconv.ParseFloat(r["value"], 64)
		if err != nil {
			t.Fatal(err)
		}
		key := r["check"] + " " + r["key"]
		g, ok := got[key]
		if !ok || !near(g, want) {
			t.Errorf("%s is %v, want %v", key, g, want)
		}
		wanted++
	}
	if wanted != 74 {
		t.Errorf("%d figures checked, want 74: the file changed", wanted)
	}
}

// readTable reads a file of a workspace's newest edition.
func readTable(t *testing.T, editions, name string) []map[string]string {
	t.Helper()
	hash, err := os.ReadFile(filepath.Join(editions, "current"))
	if err != nil {
		t.Fatal(err)
	}
	return readCSV(t, filepath.Join(editions, strings.TrimSpace(string(hash)), name))
}

func readCSV(t *testing.T, path string) []map[string]string {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	all, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var rows []map[string]string
	for _, rec := range all[1:] {
		row := map[string]string{}
		for i, name := range all[0] {
			row[name] = rec[i]
		}
		rows = append(rows, row)
	}
	return rows
}
