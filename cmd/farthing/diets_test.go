package main

import (
	"path/filepath"
	"strings"
	"testing"
)

// TestDiets holds the published diets of the demo to the command, and to a
// working by hand: flour (USDA SR26 20481: 364 kcal in 100 g) at 1.10 a kg is
// the cheapest starchy staple of January 2023, 2100 / 3640 x 1.10 = 0.6346, of
// an allowance of 520 / 31 / 4 = 4.1935 a person and day 0.1513.
func TestDiets(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "tavrin")
	farthing(t, exitDone, "init", dir, "--with", "demo")
	replaceText(t, filepath.Join(dir, "farthing.toml"), "[meals]", "[pages]\ndraw = false\n\n[meals]")
	replaceText(t, filepath.Join(dir, "tables", "requirements.csv"), "", "lean,energy,kcal,2100,,invented\nlean,fat,g,,1,invented\nnone,protein,g,50,,invented\n")
	farthing(t, exitQuarantined, "run", "--workspace", dir)
	rows := map[string]cells{}
	for _, r := range readCells(t, filepath.Join(dir, "site", "data", "diets.csv")) {
		rows[rowKey(r, []string{"region", "month", "person_group", "diet"})] = r
	}
	if want := 4 * 24 * (1 + 2*3); len(rows) != want {
		t.Errorf("got %d rows, want %d: 4 regions, 24 months, the healthy diet and two of each group", len(rows), want)
	}
	hand := rows["tavrin/2023-01/adult/energy"]
	for column, want := range map[string]string{"per_day_lcu": "0.6346", "allowance_per_person_day_lcu": "4.1935", "cost_to_allowance": "0.1513", "binding": "energy at least 2100 kcal",
		"programme": "food-support", "household": "four", "n_items_priced": "13", "n_items_usable": "4", "outcome": "found", "obs_status": "A", "currency_code": "XTS"} {
		if hand[column] != want {
			t.Errorf("energy in January 2023: %s is %q, want %q", column, hand[column], want)
		}
	}
	compared := 0
	for _, region := range []string{"tavrin", "oddel-skerries", "high-tansel"} {
		for _, month := range []string{"2023-01", "2023-06", "2024-02", "2024-12"} {
			for _, group := range []string{"adult", "lean"} {
				for _, kind := range []string{"energy", "nutrients", "healthy"} {
					a := answerOf[dietAnswer](t, exitDone, "diet", "--workspace", dir, "--kind", kind, "--region", region, "--month", month, "--person-group", group)
					if kind == "healthy" {
						group = ""
					}
					r := rows[strings.Join([]string{region, month, group, kind}, "/")]
					if (r["outcome"] == "found") != (a.Cost != nil) || (r["outcome"] == "infeasible") != (len(a.Conflict) > 0) || (r["lacks"] == "") != (a.Cost != nil) {
						t.Errorf("%v: the command has cost %s, conflict %v", r, show64(a.Cost), a.Conflict)
					}
					if a.Cost == nil {
						if r["per_day_lcu"] != "" || r["cost_to_allowance"] != "" || r["obs_status"] != "O" {
							t.Errorf("%v: a cost of what has none", r)
						}
						continue
					}
					compared++
					if d := number(t, r["per_day_lcu"]) - *a.Cost; d > .00005+1e-9 || d < -.00005-1e-9 {
						t.Errorf("%s %s %s: published %s, the command %s", region, month, kind, r["per_day_lcu"], show64(a.Cost))
					}
				}
			}
		}
	}
	if compared < 30 {
		t.Errorf("only %d compared", compared)
	}
	for key, want := range map[string][2]string{
		"tavrin/2023-01/lean/nutrients": {"infeasible", "no diet meets all of these together: at least 2100.00 kcal of energy; at most 1.00 g of fat"},
		"tavrin/2023-01/none/nutrients": {"not_computed", "no energy is known for none; "},
		"tavrin/2023-01//healthy":       {"not_computed", "fruits: fewer priced items than the diet asks for"},
	} {
		if r := rows[key]; r["outcome"] != want[0] || !strings.HasPrefix(r["lacks"], want[1]) {
			t.Errorf("%s: got %s, %q, want %s, %q", key, r["outcome"], r["lacks"], want[0], want[1])
		}
	}
}

// TestDietWords: what a bound is worth in words, on either side; what does not go
// with a healthy diet; whose diet it is where nobody is named; foods without a
// figure are told whether there is a diet or not.
func TestDietWords(t *testing.T) {
	dir := kitchenDemo(t)
	ask := func(code int, args ...string) string {
		t.Helper()
		return farthing(t, code, append([]string{"diet", "--workspace", dir, "--month", "2023-01"}, args...)...)
	}
	if out := ask(exitDone); !strings.Contains(out, "the nutrients of adult") || !strings.Contains(out, "of iron costs") {
		t.Errorf("nobody named: %s", out)
	}
	if out := ask(exitDone, "--at-most", "flour=0.1"); !strings.Contains(out, "one more kg of flour acceptable saves ") {
		t.Errorf("a food at its limit: %s", out)
	}
	for _, args := range [][]string{{"--at-most", "milk=0.01"}, {"--kcal", "2000"}} {
		if code, _, said := called(append([]string{"diet", "--kind", "healthy", "--workspace", dir}, args...)...); code != exitFailed || !strings.Contains(said, "amounts of its own") {
			t.Errorf("healthy with %v: got exit %d, %s", args, code, said)
		}
	}
	requirements := filepath.Join(dir, "tables", "requirements.csv")
	replaceText(t, requirements, "", "lowprot,energy,kcal,2100,,invented\nlowprot,protein,g,,50,invented\nbad,energy,kcal,2100,,invented\nbad,vitamin_k,ug,900000,,invented\n")
	farthing(t, exitDone, "run", "--workspace", dir, "--quiet")
	if out := ask(exitDone, "--person-group", "lowprot"); !strings.Contains(out, "one more g of protein allowed saves ") {
		t.Errorf("an upper bound: %s", out)
	}
	if out := ask(exitDone, "--person-group", "bad"); !strings.Contains(out, "no diet meets all") || !strings.Contains(out, "left out: margarine") {
		t.Errorf("no diet: %s", out)
	}
	replaceText(t, requirements, "", "wrong,protein,L,50,,invented\n")
	if out := farthing(t, exitFailed, "run", "--workspace", dir, "--quiet"); !strings.Contains(out, `"L" for protein`) || !strings.Contains(out, "a unit that becomes g") {
		t.Errorf("a unit of volume: %s", out)
	}
}

// TestShelfEdible: by the price of the part that is eaten, cabbage at a yield of
// 0.80 and potatoes at 0.85; oats by the food table, which has no refuse of them;
// what has no yield has no rank.
func TestShelfEdible(t *testing.T) {
	dir := kitchenDemo(t)
	rows := answerOf[struct{ Rows []mealRow }](t, exitDone, "shelf", "oats", "cabbage", "potatoes", "--by", "edible", "--workspace", dir).Rows
	yield := map[string]float64{"oats": 1, "cabbage": .8, "potatoes": .85}
	before := 0.0
	for i, r := range rows {
		edible, _ := r["edible_unit_price_lcu"].(float64)
		unit, _ := r["unit_price_lcu"].(float64)
		if !near(edible*yield[r["item"].(string)], unit) || edible < before-1e-12 || r["rank"] == nil {
			t.Errorf("row %d: %v at %v, %v edible", i+1, r["item"], unit, edible)
		}
		before = edible
	}
	if len(rows) < 10 {
		t.Errorf("got %d rows", len(rows))
	}
	items := filepath.Join(dir, "tables", "items.csv")
	replaceText(t, items, "01.1.4.1,2018,L,01077,1.03,,,", "01.1.4.1,2018,L,,1.03,,,")
	farthing(t, exitDone, "run", "--workspace", dir, "--quiet")
	out := farthing(t, exitDone, "shelf", "milk", "--by", "edible", "--workspace", dir)
	if !strings.Contains(out, "how much of it is eaten is not known") {
		t.Errorf("milk without a yield: %s", out)
	}
}
