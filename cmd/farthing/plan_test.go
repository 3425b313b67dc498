package main

import (
	"fmt"
	"maps"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// leanPlan has two persons who eat twice a day, and a plan of days 2 and
// 3: porridge for two and a pie, then porridge for four.
func leanPlan(t *testing.T, change map[string]string) string {
	t.Helper()
	files := map[string]string{
		"farthing.toml":         "name = \"x\"\n[pages]\ndraw = false\n[meals]\nhousehold = \"pair\"\n[[publish]]\nprogramme = \"p\"\nbasket = \"plan:lean\"\n",
		"tables/regions.csv":    "region,region_name,level,currency_code,prices_include_tax\nwest,West,country,XTS,yes\n",
		"tables/outlets.csv":    "outlet,region,outlet_type,publish_name\ncheap,west,other,yes\n",
		"tables/items.csv":      "item,item_name,coicop_code,coicop_version,base_unit,edible_yield,piece_kg\noats,Oats,01.1.1,2018,kg,,\nmilk,Milk,01.1.4,2018,L,,\npotatoes,Potatoes,01.1.7,2018,kg,0.8,\noil,Oil,01.1.5,2018,L,,\nsalt,Salt,01.1.9.3,2018,kg,,\nzorn,Zorn root,01.1.7,2018,kg,,0.25\n",
		"tables/households.csv": "household,household_name,persons,person_equivalents,meals_per_day,source\npair,Pair,2,1.8,2,x\n",
		"tables/allowances.csv": "programme,region,persons,effective_from,amount_lcu,currency_code,source\np,west,2,2020-01-01,120,XTS,x\n",
		"tables/recipes.csv": "recipe,line,servings,item,sub_recipe,quantity,unit,basis,supply\nporridge,1,4,oats,,200,g,AP,\nporridge,2,4,milk,,600,mL,AP,\nporridge,3,4,salt,,2,g,AP,free\n" +
			"mash,1,2,potatoes,,500,g,EP,\nmash,2,2,oil,,20,mL,AP,cupboard\npie,1,2,,mash,2,servings,,\npie,2,2,oats,,50,g,AP,\npie,3,2,zorn,,2,piece,AP,\n",
		"tables/plans.csv": "plan,day,meal,recipe,servings\nlean,2,morning,porridge,2\nlean,2,evening,pie,2\nlean,3,morning,porridge,4\n",
		"inbox/notes.csv": "observed_on,region,outlet,item,price,pack\n2024-01-05,west,cheap,oats,1.00,500 g\n2024-01-05,west,cheap,milk,1.20,1 L\n2024-01-05,west,cheap,potatoes,3.00,2 kg\n" +
			"2024-01-05,west,cheap,oil,4.00,1 L\n2024-01-05,west,cheap,zorn,2.00,1 kg\n2024-01-05,west,cheap,salt,0.50,1 kg\n",
	}
	maps.Copy(files, change)
	return workspaceOf(t, files)
}

// TestPlanBasket holds a plan to quantities worked out by hand, a person and
// day, over 2 persons x 2 days:
//
//	oats      (200 g x 6/4 + 50 g) / 4         = 0.0875 kg at 2.00  = 0.175
//	milk       600 mL x 6/4 / 4                = 0.225 L at 1.20    = 0.27
//	potatoes   500 g / 0.8 / 4                 = 0.15625 kg at 1.50 = 0.234375
//	oil        20 mL / 4                       = 0.005 L at 4.00    = 0.02
//	zorn       2 x 250 g / 4                   = 0.125 kg at 2.00   = 0.25
//	together                                                          0.949375
//
// Salt is free. The pair counts as 1.8 persons: 1.708875 a day.
func TestPlanBasket(t *testing.T) {
	dir := leanPlan(t, nil)
	farthing(t, exitDone, "run", "--workspace", dir)
	want := map[string]string{"oats": "0.087500", "milk": "0.225000", "potatoes": "0.156250", "oil": "0.005000", "zorn": "0.125000"}
	for _, r := range readCells(t, filepath.Join(dir, "site", "data", "basket_lines.csv")) {
		if r["basket"] != "plan:lean" || r["ap_quantity_per_day"] != want[r["item"]] {
			t.Errorf("%s of %s: got %s, want %s", r["item"], r["basket"], r["ap_quantity_per_day"], want[r["item"]])
		}
		delete(want, r["item"])
	}
	if len(want) > 0 {
		t.Errorf("not in the basket: %v", want)
	}
	for _, table := range []string{"reach", "basket", "regions"} {
		rows := rowsOf(t, dir, table, "--basket", "plan:lean")
		if len(rows) != 1 {
			t.Fatalf("show %s: got %d rows, want that of the one month", table, len(rows))
		}
		got, want := fmt.Sprint(rows[0]["per_day_lcu"]), 1.708875
		if table == "regions" {
			want = 0.949375 // of one person
		}
		if math.Abs(number(t, got)-want) > 1e-9 {
			t.Errorf("show %s: got %s a day, want %v", table, got, want)
		}
	}
	wantWarnings(t, dir, map[string]string{
		"plan_free":     "plan:lean is without what its recipes take as free, which costs nothing: salt",
		"plan_cupboard": "plan:lean counts what its recipes take from the cupboard as bought: oil",
		"plan_meals":    "plan:lean is made of 3 of the 4 meals of its days 2 to 3; absent are day 3: evening",
	})
	for _, w := range readCells(t, filepath.Join(edition(t, dir), "warnings.csv")) {
		if w["code"] == "off" && w["key"] == "baskets" || w["code"] == "plan_incomplete" {
			t.Errorf("told for nothing: %v", w)
		}
	}
	// Walked back: 300 g of oats in porridge and 50 g in the pie, with the lines of the recipes.
	traced := farthing(t, exitDone, "trace", "--workspace", dir, "reach/p/maximum/west/pair/plan:lean/2024-01/per_day_lcu")
	for _, line := range []string{"meal_lines/lean/porridge/1/ap_quantity = 0.3 ", "meal_lines/lean/pie/2/ap_quantity = 0.05 ", "tables/recipes.csv:2: porridge,1,4,oats,,200,g,AP,",
		"meal_lines/lean/pie/mash%20%3E%201/ap_quantity = 0.625 ", "tables/recipes.csv:5: mash,1,2,potatoes,,500,g,EP,", "= 0.0875   [sum of the plan's lines / (2 persons x 2 days)]"} {
		if !strings.Contains(traced, line) {
			t.Errorf("trace has no %q:\n%s", line, traced)
		}
	}
}

// TestPlanUnknown: an ingredient whose weight is not known leaves the plan
// without a total, and its known part (0.949375 less 0.25 of zorn) stands.
func TestPlanUnknown(t *testing.T) {
	items := "item,item_name,coicop_code,coicop_version,base_unit,edible_yield\noats,Oats,01.1.1,2018,kg,\nmilk,Milk,01.1.4,2018,L,\npotatoes,Potatoes,01.1.7,2018,kg,0.8\noil,Oil,01.1.5,2018,L,\nsalt,Salt,01.1.9.3,2018,kg,\nzorn,Zorn root,01.1.7,2018,kg,\n"
	dir := leanPlan(t, map[string]string{"tables/items.csv": items})
	farthing(t, exitDone, "run", "--workspace", dir)
	for _, r := range readCells(t, filepath.Join(dir, "site", "data", "basket.csv")) {
		if r["per_day_lcu"] != "" || r["obs_status"] != "O" || r["known_part_lcu"] != "1.2589" { // 0.699375 x 1.8
			t.Errorf("got %v, want no total, O, and a known part of 1.2589", r)
		}
	}
	for _, r := range readCells(t, filepath.Join(dir, "site", "data", "basket_lines.csv")) {
		if r["item"] == "zorn" && (r["ap_quantity_per_day"] != "" || r["per_day_lcu"] != "" || r["unit_price_lcu"] != "2.0000" || r["obs_status"] != "O") || r["weight_share"] != "" {
			t.Errorf("got %v, want no quantity, no cost and no weight of zorn", r)
		}
	}
	for _, r := range readCells(t, filepath.Join(dir, "site", "data", "reach.csv")) {
		if r["reach_days"] != "" {
			t.Errorf("reach: got %s days", r["reach_days"])
		}
	}
	wantWarnings(t, dir, map[string]string{"plan_incomplete": "plan:lean has no total: pie, line 3, zorn: weight not known: "})
	if traced := farthing(t, exitDone, "trace", "--workspace", dir, "basket_lines/west/plan:lean/zorn//2024-01/per_day_lcu"); !strings.Contains(traced, "tables/recipes.csv:9: pie,3,2,zorn") {
		t.Errorf("trace: %s", traced)
	}
}

func TestPlanNames(t *testing.T) {
	settings := "name = \"x\"\n[pages]\ndraw = false\n[meals]\nhousehold = \"pair\"\n\n[[publish]]\nprogramme = \"p\"\n\n[[publish]] # plans\n# its basket\nbasket = \"plan:leen\"\n"
	for _, c := range []struct {
		files map[string]string
		want  []string
	}{
		{map[string]string{"farthing.toml": settings}, []string{`farthing.toml:12: publish.basket: "plan:leen": no plan has this name; did you mean "plan:lean"?`}},
		{map[string]string{"farthing.toml": strings.Replace(settings, "plan:leen", "week", 1)}, []string{`farthing.toml:12: publish.basket: "week"; a name that stands in its table`}},
		{map[string]string{"farthing.toml": strings.NewReplacer("[meals]\nhousehold = \"pair\"\n", "", "leen", "lean").Replace(settings)},
			[]string{`farthing.toml:10: publish.basket: "plan:lean": whom the plan feeds is not known; household under [meals]`}},
		{map[string]string{"tables/baskets.csv": "basket,item,quantity,unit,per,basis,source\nplan:x,oats,1,kg,day,AP,x\n"}, []string{`tables/baskets.csv:2: basket: "plan:x"; another name`}},
	} {
		code, out, errOut := called("run", "--quiet", "--workspace", leanPlan(t, c.files))
		if code == exitDone {
			t.Errorf("%v: done", c.files)
		}
		for _, w := range c.want {
			if !strings.Contains(out+errOut, w) {
				t.Errorf("got %s%s, want %q", out, errOut, w)
			}
		}
	}
}

// TestPlanIsMeal: a plan costs a person and day as a basket what it does as a
// meal, in every region and month; a meal's pack price is rounded to 4 decimals.
func TestPlanIsMeal(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "tavrin")
	farthing(t, exitDone, "init", dir, "--with", "demo")
	replaceText(t, filepath.Join(dir, "farthing.toml"), "[meals]", "[pages]\ndraw = false\n\n[meals]")
	replaceText(t, filepath.Join(dir, "farthing.toml"), "", "\n[[publish]]\nbasket = \"plan:day\"\n\n[[publish]]\nbasket = \"plan:week\"\n")
	farthing(t, exitQuarantined, "run", "--workspace", dir)
	compared := 0
	for _, plan := range []string{"day", "week"} {
		for _, region := range []string{"tavrin", "mirrow-bay", "high-tansel"} {
			for _, month := range []string{"2023-01", "2023-06", "2024-02", "2024-12"} {
				row := rowsOf(t, dir, "basket", "--basket", "plan:"+plan, "--region", region, "--household", "four", "--month", month)[0]
				m := answerOf[mealJSON](t, exitDone, "meal", plan, "--workspace", dir, "--region", region, "--month", month)
				perDay, known := fmt.Sprint(row["per_day_lcu"]), row["per_day_lcu"] != nil
				if known != (m.Total != nil) {
					t.Errorf("%s in %s, %s: as a basket %v, as a meal %s", plan, region, month, row["per_day_lcu"], show64(m.Total))
				}
				if !known || m.Total == nil {
					continue
				}
				days := m.Whole["days"].(float64)
				slack := 1e-9
				for _, l := range m.Lines {
					if l["supply"] != "free" {
						slack += l["ap_quantity"].(float64) / l["pack_size"].(float64) * .00005 / 4 / days
					}
				}
				compared++
				if got, want := number(t, perDay)/4, *m.Total/4/days; math.Abs(got-want) > slack {
					t.Errorf("%s in %s, %s: as a basket %v a person and day, as a meal %v", plan, region, month, got, want)
				}
			}
		}
	}
	if compared < 20 {
		t.Errorf("only %d compared", compared)
	}
}

// wantWarnings looks for warnings of the current edition, by code, that begin so.
func wantWarnings(t *testing.T, dir string, want map[string]string) {
	t.Helper()
	var got []string
	for _, w := range readCells(t, filepath.Join(edition(t, dir), "warnings.csv")) {
		if text, ok := want[w["code"]]; ok && strings.HasPrefix(w["text"], text) {
			delete(want, w["code"])
		}
		got = append(got, w["code"]+": "+w["text"])
	}
	if len(want) > 0 {
		t.Errorf("not told: %v; told were\n%s", want, strings.Join(got, "\n"))
	}
}

// edition is the folder of the current edition.
func edition(t *testing.T, dir string) string {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(dir, "editions", "current"))
	if err != nil {
		t.Fatal(err)
	}
	return filepath.Join(dir, "editions", strings.TrimSpace(string(b)))
}
