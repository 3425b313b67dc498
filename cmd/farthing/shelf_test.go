package main

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// shelfRow is a row of the answer of shelf.
type shelfRow struct {
	Rank                                        int
	Tied, Label, Offer, Item, Pack, Outlet, Per string
	Observed                                    string   `json:"observed_on"`
	First                                       string   `json:"first_on"`
	N                                           int      `json:"n_observations"`
	Price                                       float64  `json:"price_lcu"`
	UnitPrice                                   float64  `json:"unit_price_lcu"`
	Edible                                      *float64 `json:"edible_unit_price_lcu"`
	Difference                                  float64  `json:"difference_lcu"`
	Pct                                         float64  `json:"difference_pct"`
}

type shelfAnswer struct {
	Schema, Edition string
	Rows            []shelfRow
	Codes           []struct {
		GTIN14     string
		UPCA       string `json:"upc_a"`
		Restricted bool
		Readings   []struct {
			Digits string
			Price  float64 `json:"price_lcu"`
			Weight float64 `json:"weight_kg"`
		}
	}
	Warnings []struct{ Code, Text, Cure string }
}

func shelf(t *testing.T, args ...string) (a shelfAnswer) {
	t.Helper()
	if err := json.Unmarshal(call(t, []int{exitDone}, append([]string{"shelf", "--json"}, args...)...), &a); err != nil {
		t.Fatal(err)
	}
	if a.Schema != "farthing.shelf/1" {
		t.Errorf("got schema %q", a.Schema)
	}
	return a
}

func within(a, b, tolerance float64) bool { return math.Abs(a-b) <= tolerance }

// publishedCells are the rows of a table of testdata/published below its comment.
func publishedCells(t *testing.T, name string) []cells {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("../../testdata/published", name))
	if err != nil {
		t.Fatal(err)
	}
	_, table, _ := strings.Cut(string(b), "\n")
	return readCells(t, given(t, name, table))
}

// TestShelfPublished: testdata/published/unitprice.csv, whose sources stand in its column source.
func TestShelfPublished(t *testing.T) {
	ran := map[string]int{}
	var labels []string
	var want []cells
	for _, row := range publishedCells(t, "unitprice.csv") {
		ran[row["kind"]]++
		label := row["price"] + " " + row["size"] + " " + row["unit"]
		switch row["kind"] {
		case "us", "uk":
			a := shelf(t, label, "--per", row["per"])
			abs := number(t, row["abs_tolerance"])
			if len(a.Rows) != 1 || !within(a.Rows[0].UnitPrice, number(t, row["want_exact"]), abs+number(t, row["rel_tolerance"])*number(t, row["want_exact"])) || a.Rows[0].Per != row["per"] {
				t.Errorf("%s: %q: got %+v, want %s a %s (%s)", row["case"], label, a.Rows, row["want_exact"], row["per"], row["source"])
			}
		case "basis": // one of each, without --per
			if a := shelf(t, "1 2 "+row["per"]); a.Rows[0].Per != row["per"] || a.Rows[0].UnitPrice != 0.5 {
				t.Errorf("%s: got %+v, want it per %s", row["case"], a.Rows, row["per"])
			}
		case "rank": // against the wanted order
			labels, want = append([]string{label}, labels...), append(want, row)
		}
	}
	if ran["us"] != 11 || ran["uk"] != 6 || ran["basis"] != 3 || ran["rank"] != 3 {
		t.Errorf("got %v cases", ran)
	}
	for i, r := range shelf(t, append(labels, "--per", "kg")...).Rows {
		w, first := number(t, want[i]["want_exact"]), number(t, want[0]["want_exact"])
		if r.Rank != i+1 || r.Tied != "no" || !within(r.UnitPrice, w, 1e-12*w) || !within(r.Difference, w-first, 1e-12) || !within(r.Pct, (w/first-1)*100, 1e-9) {
			t.Errorf("place %d: got %+v, want %s of %s", i+1, r, want[i]["want_exact"], want[i]["name"])
		}
	}
}

// TestShelfCodes: testdata/published/gtin.csv, whose sources stand in its column source.
func TestShelfCodes(t *testing.T) {
	ran := map[string]int{}
	for _, row := range publishedCells(t, "gtin.csv") {
		ran[row["kind"]]++
		code := row["code"]
		switch row["kind"] {
		case "valid":
			exit, out, errOut := called("shelf", "--gtin", code)
			if valid := exit == exitDone; strconv.FormatBool(valid) != row["want"] || !valid && (exit != exitUsage || out != "" || !strings.Contains(errOut, "label: ")) {
				t.Errorf("%s: %s: got exit %d, %s%s, want valid %s", row["case"], code, exit, out, errOut, row["want"])
			}
		case "check_digit", "case":
			if row["kind"] == "check_digit" {
				code += row["want"]
			} else {
				code = row["want"]
			}
			shelf(t, "--gtin", code)
		case "gtin14":
			if a := shelf(t, "--gtin", code); a.Codes[0].GTIN14 != row["want"] {
				t.Errorf("%s: %s: got %+v, want %s", row["case"], code, a.Codes, row["want"])
			}
		case "upce":
			if a := shelf(t, code); a.Codes[0].UPCA != row["want"] {
				t.Errorf("%s: %s: got %+v, want %s", row["case"], code, a.Codes, row["want"])
			}
		case "restricted":
			a := shelf(t, code)
			if strconv.FormatBool(a.Codes[0].Restricted) != row["want"] || len(a.Codes[0].Readings) > 0 != a.Codes[0].Restricted {
				t.Errorf("%s: %s: got %+v, want restricted %s", row["case"], code, a.Codes, row["want"])
			}
		}
	}
	if len(ran) != 6 || ran["valid"] != 10 || ran["restricted"] != 3 {
		t.Errorf("got %v cases", ran)
	}
	// By hand: the digits 00249 before the check digit are 2.49 or 249 g. The check digit of 201234500249 is 4 (GS1 General
	// Specifications, section 7.9): from the right 3 x (9+2+0+4+2+0) + (4+0+5+3+1+2) = 66, and 70 is the next ten.
	const code = "2012345002494"
	a := shelf(t, code, "2.49 500 g")
	if len(a.Rows) != 1 || len(a.Codes) != 1 || len(a.Codes[0].Readings) != 1 || a.Codes[0].Readings[0].Price != 2.49 || a.Codes[0].Readings[0].Weight != 0.249 {
		t.Errorf("got %+v, want one reading and one ranked label", a)
	}
	if out := string(call(t, []int{exitDone}, "shelf", code)); !strings.Contains(out, "this code may hold a price of 2.49 or a weight of 0.249 kg: not assumed") || strings.Contains(out, "rank") {
		t.Errorf("got\n%s", out)
	}
}

func TestShelfLabels(t *testing.T) {
	// By hand: 1.89/1.98 L, 5.00/5.94 L, 0.99/0.33 L and 2.00/660 ml, the same as 1.00/330 ml.
	rows := shelf(t, "1.89 or 3 for 5.00, 6 x 330 ml", "1.00 330 ml", "2.00 660 ml").Rows
	want := []shelfRow{
		{Rank: 1, Tied: "no", Offer: "5.00 for 3 of 6 x 0.33 L", UnitPrice: 5.0 / 5.94},
		{Rank: 2, Tied: "no", Offer: "1.89 for 6 x 0.33 L", UnitPrice: 1.89 / 1.98},
		{Rank: 3, Tied: "yes", Offer: "1.00 for 0.33 L", UnitPrice: 1 / 0.33},
		{Rank: 3, Tied: "yes", Offer: "2.00 for 0.66 L", UnitPrice: 1 / 0.33},
	}
	if len(rows) != len(want) {
		t.Fatalf("got %+v", rows)
	}
	for i, w := range want {
		r := rows[i]
		if r.Rank != w.Rank || r.Tied != w.Tied || r.Offer != w.Offer || !within(r.UnitPrice, w.UnitPrice, 1e-12) ||
			!within(r.Difference, w.UnitPrice-want[0].UnitPrice, 1e-12) || !within(r.Pct, 100*(w.UnitPrice/want[0].UnitPrice-1), 1e-9) || r.Per != "L" {
			t.Errorf("place %d: got %+v, want %+v", i+1, r, w)
		}
	}
	if out := string(call(t, []int{exitDone}, "shelf", "2.49 500 g", "1.99/kg", "--per", "100g")); !strings.Contains(out, "1     no    1.99 for 1 kg    0.1990          100g  0.0000          0.000\n2     no    2.49 for 0.5 kg  0.4980          100g  0.2990          150.251\n") {
		t.Errorf("got\n%s", out)
	}
	// A workspace with the decimal comma has it on labels too.
	dir := town(t, "[prices]\ndecimal = \",\"\n")
	if rows := shelf(t, "2,49 500 g", "--workspace", dir).Rows; rows[0].UnitPrice != 4.98 {
		t.Errorf("decimal comma: got %+v", rows)
	}
}

func TestShelfRefuses(t *testing.T) {
	dir := town(t, "")
	taken(t, dir, exitDone, "notes.csv", shortHeader+"2024-01-01,cove,hall,oats,2.40,1 kg\n2024-01-01,cove,hall,milk,1.10,1 L\n")
	ran(t, dir)
	for _, c := range []struct {
		args []string
		code int
		says string
	}{
		{nil, exitUsage, "name an item"},
		{[]string{"2.49 500 g", "1.20 330 ml"}, exitUsage, `"2.49 500 g" is sold by mass, "1.20 330 ml" by volume; compare`},
		{[]string{"2.49 500 g", "--per", "L"}, exitUsage, "a unit such as kg"},
		{[]string{"2.49 500 g", "--per", "0 g"}, exitUsage, "a unit such as kg"},
		{[]string{"2.49 500 g", "--per", "heap"}, exitUsage, `"heap" is no unit`},
		{[]string{"2.49 12 oz", "--per", "floz_us"}, exitUsage, "a unit such as kg"}, // ounces of weight
		{[]string{"2.49", "500 g"}, exitUsage, "price first"},
		{[]string{"2,49 500 g"}, exitUsage, "2.49"},
		{[]string{"2.49 a few"}, exitUsage, "price first"},
		{[]string{"2.49 500 g", "oats"}, exitUsage, "not both"},
		{[]string{"2.49 500 g", "--region", "cove"}, exitUsage, "go with items"},
		{[]string{"2.49 500 g", "--days", "9"}, exitUsage, "go with items"},
		{[]string{"36000291452"}, exitUsage, "036000291452"}, // a spreadsheet took a nought away
		{[]string{"--gtin", "99"}, exitUsage, "8, 12, 13 or 14 digits"},
		{[]string{"oat"}, exitUsage, `did you mean "oats"?`},
		{[]string{"oats", "--region", "cave"}, exitUsage, `did you mean "cove"?`},
		{[]string{"oats", "--days", "0"}, exitUsage, "at least 1"},
		{[]string{"oats", "milk"}, exitUsage, `is sold by volume, "oats" by mass`},
		{[]string{"oats", "--workspace", filepath.Join(dir, "none")}, exitUsage, "farthing init"},
	} {
		code, out, errOut := called(append([]string{"shelf", "--workspace", dir}, c.args...)...)
		if code != c.code || out != "" || !strings.Contains(errOut, c.says) {
			t.Errorf("%q: got exit %d, %s%s, want %d and %q", c.args, code, out, errOut, c.code, c.says)
		}
	}
}

func TestShelfItems(t *testing.T) {
	dir := town(t, "[prices]\ndefault_grade = \"plain\"\n")
	replaceText(t, filepath.Join(dir, "tables", "regions.csv"), "cove,Cove,,district", "land,Land,,country,,,XTS,yes\ncove,Cove,land,district")
	replaceText(t, filepath.Join(dir, "tables", "items.csv"), "oats,Oats,01.1.1,2018,kg,,,,,", "oats,Oats,01.1.1,2018,kg,,,,0.8,")
	notes := strings.TrimSpace(shortHeader) + ",variety,grade,packs,price_type\n"
	add := func(format string, args ...any) { notes += fmt.Sprintf(format, args...) + "\n" }
	add("2024-01-01,cove,hall,oats,1.00,1 kg,old,,,")         // 90 days and more before the last
	add("2024-03-01,cove,hall,oats,2.40,1 kg,,,,")            // its later price stands
	add("2024-03-20,cove,hall,oats,2.60,1 kg,,plain,,")       // the default grade is the blank one
	add("2024-03-21,cove,hall,oats,1.50,500 g,,,,promo")      // the same per kg as the next
	add("2024-03-22,cove,hall,oats,6.00,500 g,,,4,promo")     // a multiple is a pack of its own
	add("2024-03-23,cove,hall,oats,2.00,1 kg,,organic,,")     // a grade of its own
	add("2024-03-24,fell,barn,oats,2.20,1 kg,,,,")            // in no part of land
	add("2024-03-25,cove,hall,oats,0.10,500 g,club,,,member") // counts for nothing
	for i := range 7 {
		add("2024-03-%02d,cove,hall,milk,1.%d0,1 L,,,,", i+1, i)
	}
	add("2024-03-31,cove,hall,milk,11.00,1 L,,,,")
	taken(t, dir, exitDone, "notes.csv", notes)
	edition := ran(t, dir)
	a := shelf(t, "oats", "--workspace", dir, "--region", "land")
	got := ""
	for _, r := range a.Rows {
		got += fmt.Sprintf("%d %s %s %s %s-%s %d %g %g; ", r.Rank, r.Tied, r.Pack, r.Outlet, r.First, r.Observed, r.N, r.UnitPrice, *r.Edible)
	}
	// By hand: the price a kilogram; edible is that / 0.8.
	if want := "1 no 1 kg hall 2024-03-23-2024-03-23 1 2 2.5; 2 no 1 kg hall 2024-03-01-2024-03-20 2 2.6 3.25; " +
		"3 yes 500 g hall 2024-03-21-2024-03-21 1 3 3.75; 3 yes 500 g hall 2024-03-22-2024-03-22 1 3 3.75; "; got != want || a.Edition != edition {
		t.Errorf("got  %s\nwant %s", got, want)
	}
	if rows := shelf(t, "oats", "--workspace", dir, "--days", "100").Rows; len(rows) != 6 || rows[0].UnitPrice != 1 || rows[2].Outlet != "barn" {
		t.Errorf("everywhere, further back: got %+v", rows)
	}
	// What is held is left out, and that is said; so is what is missing.
	a = shelf(t, "milk", "eggs", "--workspace", dir, "--per", "100ml")
	if len(a.Rows) != 1 || a.Rows[0].Observed != "2024-03-07" || a.Rows[0].N != 7 || !within(a.Rows[0].UnitPrice, 0.16, 1e-15) || a.Rows[0].Edible != nil {
		t.Errorf("milk: got %+v", a.Rows)
	}
	if w := a.Warnings; len(w) != 2 || w[0].Text != "1 observations of milk are held and left out" || w[1].Text != "no price of eggs counts in the 60 days to 2024-03-31" {
		t.Errorf("got %+v", w)
	}
	if w := shelf(t, "oats", "--workspace", dir, "--days", "3").Warnings; len(w) != 1 || !strings.Contains(w[0].Cure, "the newest is of 2024-03-24: --days") {
		t.Errorf("too few days: got %+v", w)
	}
}

type nourished struct {
	Rank      *int
	Item      string
	Grade     string
	Outlet    string
	UnitPrice float64  `json:"unit_price_lcu"`
	Energy    *float64 `json:"energy_kcal_per_lcu"`
	Nutrient  string
	Unit      string   `json:"nutrient_unit"`
	Amount    *float64 `json:"nutrient_per_lcu"`
	Score     *float64 `json:"density_score"`
	Density   *float64 `json:"density_per_lcu"`
	Lacks     string   `json:"nutrients_lack"`
	Serving   *float64 `json:"per_serving_lcu"`
	More      *float64 `json:"per_serving_difference_lcu"`
	DishLacks string   `json:"dish_lacks"`
}

type nourishedAnswer struct {
	Rows     []nourished
	Warnings []struct{ Code, Text, Key string }
	Caution  string
	Density  string `json:"density_measure"`
}

// TestShelfNutrients holds the demo's offers of December 2024 to figures worked out by hand from its prices there and USDA SR26:
// lentils 16069 with 343 kcal and 25.8 g of protein in 100 g, milk 01077 with 61 and 3.15 at 1.03 kg a litre, cabbage 11109 with 25
// kcal at a yield of .80, oats 08120 with 379 and 13.15.
func TestShelfNutrients(t *testing.T) {
	dir := kitchenDemo(t)
	ask := func(args ...string) nourishedAnswer {
		return answerOf[nourishedAnswer](t, exitDone, append([]string{"shelf", "--workspace", dir, "--region", "mirrow-bay"}, args...)...)
	}
	near := func(what string, got *float64, want float64) {
		t.Helper()
		if got == nil || math.Abs(*got-want) > 0.0006 {
			t.Errorf("%s: got %v, want %.4f", what, show64(got), want)
		}
	}
	first := func(a nourishedAnswer, item string) nourished {
		t.Helper()
		for _, r := range a.Rows {
			if r.Item == item {
				return r
			}
		}
		t.Fatalf("no %s in %+v", item, a.Rows)
		return nourished{}
	}
	// By weight and by volume in one list: lentils at 3.90 a kg, oats at 2.30 for 900 g, milk at 2.65 for 2 L.
	a := ask("milk", "oats", "lentils", "spice-mix", "--nutrient", "protein")
	near("protein of lentils", first(a, "lentils").Amount, 258/3.90)
	near("protein of oats", first(a, "oats").Amount, 131.5*.9/2.30)
	near("protein of milk", first(a, "milk").Amount, 31.5*1.03*2/2.65)
	near("energy of milk", first(a, "milk").Energy, 610*1.03*2/2.65)
	if r := a.Rows[0]; r.Item != "lentils" || r.Rank == nil || *r.Rank != 1 || r.Unit != "g" || a.Rows[4].Item != "oats" || a.Density == "" || a.Caution == "" {
		t.Errorf("got %+v, want the lentils first, then the oats", a.Rows)
	}
	for i := range a.Rows[1:] {
		if x, y := a.Rows[i].Amount, a.Rows[i+1].Amount; y != nil && (x == nil || *x < *y) {
			t.Errorf("place %d: %v after %v", i+2, show64(y), show64(x))
		}
	}
	// Without a food code there is no figure: last, without a rank, and told.
	last := a.Rows[len(a.Rows)-1]
	if last.Item != "spice-mix" || last.Rank != nil || last.Amount != nil || last.Energy != nil || last.Density != nil || last.Score != nil || !strings.Contains(last.Lacks, "no food_code") {
		t.Errorf("got %+v, want the spices last and without figures", last)
	}
	if w := a.Warnings; len(w) == 0 || w[len(w)-1].Code != "no_nutrients" || w[len(w)-1].Key != "spice-mix" {
		t.Errorf("got %+v, want the spices told", w)
	}
	if iron := ask("lentils", "--nutrient", "iron").Rows[0]; iron.Unit != "mg" {
		t.Errorf("got %+v", iron)
	} else {
		near("iron of lentils", iron.Amount, 75.4/3.90)
	}

	// The density score of lentils by hand (NRF9.3, Daily Values of 21 CFR 101.9), 100/343 of the figures of 100 g: protein
	// 7.5219/50, fibre 8.8921/28, vitamins A .5831/900, C 1.2828/90 and E .1429/15, calcium 16.3265/1300, iron 2.1983/18,
	// magnesium 35.5685/420, potassium 278.426/4700; less saturated fat .0455/20, sugars .5918/50, sodium 1.7493/2300.
	score := 15.0437 + 31.7576 + .0648 + 1.4253 + .9524 + 1.2559 + 12.2125 + 8.4687 + 5.9240 - .2274 - 1.1837 - .0761
	a = ask("cabbage", "lentils", "milk", "margarine", "--by", "density")
	near("score of lentils", first(a, "lentils").Score, score)
	if d := first(a, "lentils").Density; d == nil || math.Abs(*d-score*34.3/3.90) > .01 {
		t.Errorf("density of lentils for money: got %v, want %.3f", show64(d), score*34.3/3.90)
	}
	near("energy of cabbage", first(a, "cabbage").Energy, 250*.80/1.77)
	if a.Rows[0].Item != "lentils" || a.Rows[4].Item != "cabbage" || first(a, "margarine").Rank != nil || first(a, "margarine").Density != nil || first(a, "margarine").Score == nil {
		t.Errorf("got %+v, want lentils, cabbage, milk, and margarine without a rank", a.Rows)
	}

	// In the barley pot, 400 g of fish for 4: .1 kg a serving, any grade, at 12.00 a kg the cheapest; line-caught 26.15.
	fish := ask("tinned-fish", "oats", "--dish", "barley-pot")
	for _, r := range fish.Rows {
		switch {
		case r.Item == "oats":
			if r.Serving != nil || r.More != nil || r.DishLacks != "barley-pot buys none of it" || r.Rank == nil {
				t.Errorf("oats in the barley pot: got %+v", r)
			}
		default:
			near("a serving", r.Serving, r.UnitPrice/10)
			near("more than the cheapest", r.More, (r.UnitPrice-12)/10)
		}
	}
	if r := first(fish, "tinned-fish"); r.UnitPrice != 12 || r.More == nil || *r.More != 0 {
		t.Errorf("got %+v, want the plain fish first and no difference", r)
	}
	// Cabbage, 500 g trimmed at a yield of .80, for 4.
	cabbage := ask("cabbage", "--dish", "barley-pot", "--by", "energy").Rows[0]
	near("cabbage in the barley pot", cabbage.Serving, .5/.80/4*1.77)

	out := string(call(t, []int{exitDone}, "shelf", "milk", "margarine", "--workspace", dir, "--by", "density"))
	for _, want := range []string{"margarine: its density score is not above 0", "density: NRF9.3", "not dietary advice"} {
		if !strings.Contains(out, want) {
			t.Errorf("got\n%s\nwant %q", out, want)
		}
	}
	for _, c := range []struct {
		args []string
		says string
	}{
		{[]string{"oats", "--nutrient", "protien"}, `did you mean "protein"?`},
		{[]string{"oats", "--nutrient", "nonsense"}, "write one of energy, protein"},
		{[]string{"oats", "--by", "densty"}, `did you mean "density"?`},
		{[]string{"oats", "--dish", "barly-pot"}, `did you mean "barley-pot"?`},
		{[]string{"oats", "--dish", "week"}, "dish: "}, // a plan is no dish
		{[]string{"2.49 500 g", "--dish", "barley-pot"}, "go with items"},
		{[]string{"2.49 500 g", "--nutrient", "iron"}, "go with items"},
		{[]string{"oats", "milk", "--by", "energy", "--per", "kg"}, `is sold by volume, "oats" by mass`},
	} {
		code, out, errOut := called(append([]string{"shelf", "--workspace", dir}, c.args...)...)
		if code != exitUsage || out != "" || !strings.Contains(errOut, c.says) {
			t.Errorf("%q: got exit %d, %s%s, want %d and %q", c.args, code, out, errOut, exitUsage, c.says)
		}
	}

	// A line without a weight: the dish has no cost with it, and says so.
	recipes := filepath.Join(dir, "tables", "recipes.csv")
	b, err := os.ReadFile(recipes)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(recipes, append(b, "mush,1,2,potatoes,,,,,AP,,,bought,,,\n"...), 0o644); err != nil {
		t.Fatal(err)
	}
	farthing(t, exitDone, "run", "--workspace", dir, "--quiet")
	if r := ask("potatoes", "--dish", "mush").Rows[0]; r.Serving != nil || r.More != nil || !strings.Contains(r.DishLacks, "not known: farthing meal mush") {
		t.Errorf("potatoes without a weight: got %+v", r)
	}
}
