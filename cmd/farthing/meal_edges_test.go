package main

import (
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"
)

// TestMealEdges holds what stands at the edge of a plain recipe to workings by
// hand, at the demo's prices of January 2023 (milk 1.20 a litre in packs of 1 L,
// cabbage 1.90 a kg, a piece of 1 kg of which 0.80 is eaten, potatoes 1.30, plums
// of 0.05 kg).
func TestMealEdges(t *testing.T) {
	dir := kitchenDemo(t)
	add := func(table, rows string) {
		t.Helper()
		replaceText(t, filepath.Join(dir, "tables", table), "", rows)
	}
	add("recipes.csv", "milkdish,1,1,milk,,,2.5,L,AP,,,bought,,,\n"+
		"halves,1,1,cabbage,,,half a cabbage,,AP,,,bought,,,\n"+
		"halves-trimmed,1,1,cabbage,,,half a cabbage,,EP,trimmed,0.80,bought,,,\n"+
		"sauce,1,2,potatoes,,,850,g,EP,peeled,0.5,bought,,,\n"+
		"sauce,2,2,tinned-fish,,,200,g,AP,,,bought,8,,\n"+
		"stew,1,4,,sauce,,2,servings,,,,,,,\n"+
		"stew,2,4,barley,,,100,g,AP,,,bought,,,\n"+
		"kept-stew,1,4,,sauce,,2,servings,,,,,9,,\n"+
		"gaps,1,2,barley,,,2,cups,AP,,,bought,,,\n"+
		"gaps,2,2,oats,,,100,g,AP,,,bought,,,\n"+
		"fry,1,2,oil,,,100,mL,AP,,,cupboard,,,\n")
	add("pantry.csv", "old,milk,,1 L,5,L,2020-01-01,,,1\n"+
		"opened,milk,,1 L,1,L,,2022-01-02,,1\n"+
		"fresh,milk,,1 L,3,L,2023-01-30,,2023-02-28,1\n"+
		"short,milk,,1 L,1,L,2023-01-30,2023-01-30,2023-02-28,1\n")
	farthing(t, exitDone, "run", "--workspace", dir, "--quiet")
	meal := func(args ...string) mealJSON {
		t.Helper()
		return answerOf[mealJSON](t, exitDone, append(append([]string{"meal"}, args...), "--workspace", dir)...)
	}
	near := func(what string, got *float64, want float64) {
		t.Helper()
		if got == nil || math.Abs(*got-want) > 5e-5 {
			t.Errorf("%s: got %s, want %v", what, show64(got), want)
		}
	}

	// What is past its day is not used, whoever says when: sealed since it was bought,
	// or opened by the table of reference.
	for _, pantry := range []string{"old", "opened"} {
		a := meal("milkdish", "--pantry", pantry)
		near(pantry+" milk: three packs", a.Till, 3.60)
		if !slices.ContainsFunc(a.Warnings, func(w struct{ Code, Text, Cure string }) bool { return w.Code == "past_use_by" }) {
			t.Errorf("%s milk: no warning in %v", pantry, a.Warnings)
		}
	}
	near("three sealed litres: none to buy", meal("milkdish", "--pantry", "fresh").Till, 0)
	// A plan of many days opens them one by one: three litres in one row do what three rows do.
	add("pantry.csv", "rows,milk,,1 L,1,L,2023-01-30,,2023-02-28,1\nrows,milk,standard,1 L,1,L,2023-01-30,,2023-02-28,1\nrows,milk,,1.0 L,1,L,2023-01-30,,2023-02-28,1\n")
	farthing(t, exitDone, "run", "--workspace", dir, "--quiet")
	if one, rows := meal("week", "--pantry", "fresh"), meal("week", "--pantry", "rows"); one.Till == nil || rows.Till == nil || math.Abs(*one.Till-*rows.Till) > 1e-9 {
		t.Errorf("three sealed packs in one row: till %s, in three rows %s", show64(one.Till), show64(rows.Till))
	}

	// Half of a cabbage as bought costs the same, whether its trimmed part is meant or not.
	near("half a cabbage", meal("halves").Total, 0.95)
	near("half a cabbage, trimmed", meal("halves-trimmed").Total, 0.95)

	// 1.7 kg of potatoes bought, 0.85 kg eaten: 2 x (850 g potatoes + 200 g fish) / 4 ...: of the edible weight, not of the bought.
	direct, through := meal("sauce"), meal("stew")
	kcal := func(a mealJSON, recipe string) float64 {
		for _, n := range a.Nutrients {
			if n.Recipe == recipe && n.Nutrient == "energy" && n.PerServing != nil {
				return *n.PerServing
			}
		}
		return math.NaN()
	}
	barley := 352.0 // kcal of 100 g, USDA SR26 20005
	if got, want := kcal(through, "stew"), (2*kcal(direct, "sauce")+barley)/4; math.Abs(got-want) > 1e-6 {
		t.Errorf("energy of a serving of stew: %v, want %v by its parts", got, want)
	}

	// The keep of a sub-recipe's line stands wherever it is cooked, and what takes it in may say that it stays.
	swap := func(name string) mealJSON {
		return answerOf[mealJSON](t, exitDone, "swap", name, "--target", "0.01", "--workspace", dir)
	}
	for _, name := range []string{"sauce", "stew"} {
		a := answerOf[struct{ Singles []mealRow }](t, exitDone, "swap", name, "--target", "0.01", "--workspace", dir)
		if len(a.Singles) == 0 || a.Singles[0]["sacrifice"] != 8.0 {
			t.Errorf("%s: fish of keep 8 changes at %v", name, a.Singles)
		}
	}
	if a := swap("kept-stew"); len(a.Changes) > 0 || a.Feasible == nil || *a.Feasible {
		t.Errorf("kept-stew: got %+v, want nothing that may change", a.Changes)
	}

	// An order says what it does not know.
	file := filepath.Join(t.TempDir(), "order.xlsx")
	farthing(t, exitDone, "meal", "gaps", "--order", file, "--workspace", dir)
	book, err := excelize.OpenFile(file)
	if err != nil {
		t.Fatal(err)
	}
	defer book.Close()
	rows, err := book.GetRows("Order")
	if err != nil || len(rows) != 3 {
		t.Fatalf("got %v, %v, want a row of each good", rows, err)
	}
	i := slices.IndexFunc(rows, func(r []string) bool { return strings.Contains(r[0], "arley") })
	if i < 0 || rows[i][3] != "" || !strings.Contains(rows[i][len(rows[i])-1], "weight not known") {
		t.Errorf("got %v, want barley without packs, and why", rows)
	}
	for _, c := range []struct {
		says string
		args []string
	}{
		{"give each a file of its own", []string{"--order", file, "--workings", file}},
		{"give it the ending .xlsx", []string{"--order", "order.csv"}},
		{"a number above 0", []string{"--servings", "0x10"}},
	} {
		if code, _, said := called(append([]string{"meal", "gaps", "--workspace", dir}, c.args...)...); code != exitUsage || !strings.Contains(said, c.says) {
			t.Errorf("%v: got exit %d, %s", c.args, code, said)
		}
	}
	if code, _, said := called("meal", "milkdish", "--servings", "1"+strings.Repeat("0", 30), "--workspace", dir); code != exitFailed || strings.Contains(said, "\x00") || !strings.Contains(said, "servings") {
		t.Errorf("too many servings: got exit %d, %q", code, said)
	}

	// Target: of a plan for a part of the meals, that part. 46 servings of the week's meals x 520 / 31 / 4 / 3.
	week := answerOf[mealJSON](t, exitDone, "swap", "week", "--workspace", dir)
	near("what the allowance gives for 46 meals", week.Target, 46*520.0/31/4/3)
	// ... and no balance against whole days, in the answer and in the file.
	compared := answerOf[mealJSON](t, exitDone, "meal", "week", "--workspace", dir).Compare
	if i := slices.IndexFunc(compared, func(c mealCompare) bool { return c.Per == "person and day" }); i < 0 || compared[i].Balance != nil {
		t.Errorf("got %+v, want a person's day without a balance", compared)
	}
	if out := farthing(t, exitDone, "trace", "--workspace", dir, "shoppings/week/balance_lcu"); !strings.Contains(out, "for all meals") {
		t.Errorf("got %s, want the balance traced, and missing", out)
	}

	// By the till there are ties and single changes too, and the text tells what had no price.
	till := answerOf[struct {
		Tie     []swapChange
		Singles []mealRow
	}](t, exitDone, "swap", "week", "--till", "--target", "40", "--workspace", dir)
	if len(till.Singles) == 0 {
		t.Error("swap --till: no single changes")
	}
	add("swaps.csv", "barley,,oats,golden,1,1,no price is known of it\n")
	farthing(t, exitDone, "run", "--workspace", dir, "--quiet")
	for _, by := range [][]string{nil, {"--till"}} {
		if out := farthing(t, exitDone, append([]string{"swap", "barley-pot", "--target", "0.01", "--workspace", dir}, by...)...); !strings.Contains(out, "is left out: it has no price") {
			t.Errorf("swap %v: %s, want it said that golden oats have no price", by, out)
		}
	}

	// A shop by its own name, though it is published under a code, with its own region.
	own := answerOf[mealJSON](t, exitDone, "meal", "lentil-loaf", "--outlet", "dorrow-saver", "--month", "2023-05", "--workspace", dir)
	coded := answerOf[mealJSON](t, exitDone, "meal", "lentil-loaf", "--outlet", "mirrow-bay-outlet-02", "--month", "2023-05", "--workspace", dir)
	if own.Total == nil || coded.Total == nil || *own.Total != *coded.Total || own.Whole["region"] != "mirrow-bay" {
		t.Errorf("by name %s in %v, by code %s", show64(own.Total), own.Whole["region"], show64(coded.Total))
	}

	// Oil of the cupboard changed for margarine is bought: what stands there is oil.
	if out := farthing(t, exitDone, "swap", "fry", "--till", "--target", "0.0001", "--workspace", dir); !strings.Contains(out, "oil standard") {
		t.Errorf("swap fry --till: %s", out)
	}
	if out := farthing(t, exitDone, "meal", "fry", "--workspace", dir); !strings.Contains(out, "of it from the cupboard, not paid") {
		t.Errorf("meal fry: %s", out)
	}
}
