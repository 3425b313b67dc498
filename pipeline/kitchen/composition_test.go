package kitchen

import (
	"encoding/json"
	"math"
	"math/big"
	"os"
	"strings"
	"testing"

	"farthing/pipeline/reference"
	"farthing/pipeline/result"
	"farthing/pipeline/workspace"
)

// publishedProfile is a case of testdata/published/diet.json, whose sources stand in it.
func publishedProfile(t *testing.T, name string) (of map[string]any, want map[string]float64) {
	t.Helper()
	b, err := os.ReadFile("../../testdata/published/diet.json")
	if err != nil {
		t.Fatal(err)
	}
	var file struct {
		Checks []struct {
			Name string
			Of   map[string]any
			Want map[string]any
		} `json:"figures"`
	}
	if err := json.Unmarshal(b, &file); err != nil {
		t.Fatal(err)
	}
	for _, c := range file.Checks {
		if c.Name == name {
			want = map[string]float64{}
			for k, v := range c.Want {
				want[k], _ = v.(float64)
			}
			return c.Of, want
		}
	}
	t.Fatalf("no case %s", name)
	return nil, nil
}

// builtIn are the embedded tables alone.
var builtIn = Foods{reference.Excerpt()}

func TestDensity(t *testing.T) {
	spinach := builtIn.Composition(&workspace.Item{Item: "leaves", BaseUnit: "kg", FoodCode: "11457"})
	score, lacks := spinach.Density()
	if !score.OK || lacks != "" {
		t.Fatalf("got %v, %q", score, lacks)
	}
	// The leafy profile that the published index is checked with is this food: the table's figures are those.
	of, _ := publishedProfile(t, "N05-nrf93-leafy-cap")
	names := map[string]string{"kcal": "energy", "protein_g": "protein", "fiber_g": "fibre", "vitC_mg": "vitamin_c", "calcium_mg": "calcium", "iron_mg": "iron", "magnesium_mg": "magnesium",
		"potassium_mg": "potassium", "satfat_g": "saturated_fat", "sodium_mg": "sodium"}
	per100g := of["per_100g"].(map[string]any)
	for theirs, ours := range names {
		if got, _ := spinach.food.Nutrients[ours].Per100g.Float64(); got != per100g[theirs].(float64) {
			t.Errorf("%s: the table has %v, the published profile %v", ours, got, per100g[theirs])
		}
	}
	// By hand, NRF9.3 of Fulgoni, Keast and Drewnowski (J. Nutr. 139, 2009) with the Daily Values of 21 CFR 101.9 (2016) on
	// 100/23 of the figures of USDA SR26 11457: protein 12.4348/50, fibre 9.5652/28, vitamins A 2039/900 and C 122.2/90, both
	// above 100, vitamin E 8.8261/15, calcium 430.43/1300, iron 11.7826/18, magnesium 343.48/420, potassium 2426.1/4700;
	// less saturated fat .27391/20, sugars 1.8261/50, sodium 343.48/2300.
	want := 24.8696 + 34.1615 + 100 + 100 + 58.8406 + 33.1104 + 65.4589 + 81.7805 + 51.6189 - 1.3696 - 3.6522 - 14.9338
	if math.Abs(score.V-want) > 0.001 {
		t.Errorf("spinach: got %v, want %.4f", score.V, want)
	}
	// A second way: the reference intakes of the food tables, another copy of the rule, for each food that has all figures.
	dv := map[string]float64{"sugars": 50} // of added sugars, 21 CFR 101.9(c)(9)
	for _, n := range reference.Needs(label, labelGroup) {
		for _, bound := range []*big.Rat{n.Lower, n.Upper} {
			if bound != nil {
				dv[n.Nutrient], _ = bound.Float64()
			}
		}
	}
	scored := 0
	for _, code := range builtIn.Codes() {
		got, _ := builtIn.Composition(&workspace.Item{BaseUnit: "kg", FoodCode: code}).Density()
		if !got.OK {
			continue
		}
		scored++
		food, _ := builtIn.Food(code)
		pct := func(name string) float64 {
			amount, _ := food.Nutrients[name].Per100g.Float64()
			kcal, _ := food.Nutrients["energy"].Per100g.Float64()
			return 100 * amount * 100 / kcal / dv[name]
		}
		sum := -pct("saturated_fat") - pct("sugars") - pct("sodium")
		for _, name := range strings.Fields("protein fibre vitamin_a_rae vitamin_c vitamin_e calcium iron magnesium potassium") {
			sum += min(100, pct(name))
		}
		if math.Abs(got.V-sum) > 1e-9*(1+math.Abs(sum)) {
			t.Errorf("%s: got %v, want %v", food.Name, got.V, sum)
		}
	}
	if scored < 100 {
		t.Errorf("only %d foods have a score", scored)
	}
}

func TestDensityPerMoney(t *testing.T) {
	// The published case: .65 for 100 g edible of 23 kcal. With .28 of refuse (USDA SR26 11457) that is 4.68 a kg as bought.
	of, want := publishedProfile(t, "N06-nrf-per-cost")
	leaves := builtIn.Composition(&workspace.Item{BaseUnit: "kg", FoodCode: "11457"})
	price := big.NewRat(468, 100)
	got, _ := leaves.DensityPerMoney(price)
	score, _ := leaves.Density()
	if each := want["nrf_per_dollar"] / of["nrf93_per_100kcal"].(float64); math.Abs(got.V/score.V-each) > 1e-12 {
		t.Errorf("a unit of money buys the score %v times, want %v", got.V/score.V, each)
	}
	if kcal, _ := leaves.PerMoney("energy", price); kcal.Cmp(big.NewRat(23*10*72, 468)) != 0 { // 230 x .72 / 4.68
		t.Errorf("energy: got %s", kcal.RatString())
	}

	// What lacks a figure says which, and is never 0.
	unknownPiece := &workspace.Item{BaseUnit: "each", FoodCode: "11457"}
	for _, c := range []struct {
		name  string
		it    *workspace.Item
		lacks string
	}{
		{"no code", &workspace.Item{BaseUnit: "kg"}, "no food_code"},
		{"a code of no table", &workspace.Item{BaseUnit: "kg", FoodCode: "99999"}, "99999 is not in the food tables"},
		{"a piece of no known weight", unknownPiece, "edible weight is not known"},
		{"no energy", &workspace.Item{BaseUnit: "kg", FoodCode: "02047"}, "without energy"},                           // salt
		{"a score below 0", &workspace.Item{BaseUnit: "kg", FoodCode: "01145"}, "not above 0"},                        // butter
		{"no figure", &workspace.Item{BaseUnit: "kg", FoodCode: firstWithout(t, "vitamin_e")}, "figure of vitamin_e"}, // of the excerpt
	} {
		if got, lacks := builtIn.Composition(c.it).DensityPerMoney(big.NewRat(1, 1)); got != (result.Num{}) || !strings.Contains(lacks, c.lacks) {
			t.Errorf("%s: got %v, %q, want nothing and %q", c.name, got, lacks, c.lacks)
		}
	}
	if got, lacks := leaves.PerMoney("protein", new(big.Rat)); got != nil || lacks == "" {
		t.Errorf("a price of 0: got %v, %q", got, lacks)
	}
	if amount, lacks := builtIn.Composition(&workspace.Item{BaseUnit: "kg", FoodCode: "02047"}).PerMoney("protein", big.NewRat(1, 1)); amount == nil || amount.Sign() != 0 || lacks != "" {
		t.Errorf("protein of salt: got %v, %q, want the table's 0", amount, lacks)
	}
}

// firstWithout is the first food of the tables that lacks a nutrient.
func firstWithout(t *testing.T, nutrient string) string {
	t.Helper()
	for _, code := range builtIn.Codes() {
		food, _ := builtIn.Food(code)
		_, has := food.Nutrients[nutrient]
		if _, energy := food.Nutrients["energy"]; !has && energy && food.Refuse != nil && !food.Either {
			return code
		}
	}
	t.Fatalf("every food has %s", nutrient)
	return ""
}
