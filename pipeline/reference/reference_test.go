package reference

import (
	"encoding/csv"
	"math/big"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"farthing/pipeline/quantity"
)

// published reads a table of testdata/published; the sources stand in its columns.
func published(t *testing.T, name string) (list []row) {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "testdata", "published", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	lines, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, line := range lines[1:] {
		entry := row{}
		for i, column := range lines[0] {
			entry[column] = line[i]
		}
		list = append(list, entry)
	}
	return list
}

func rat(t *testing.T, text string) *big.Rat {
	t.Helper()
	r, ok := new(big.Rat).SetString(text)
	if !ok {
		t.Fatalf("test data: %q is no number", text)
	}
	return r
}

// The embedded tables: every row has a source and a status (else they panic), keys stand once, codes are foods of the excerpt, and no figure is
// nonsense.
func TestEmbeddedTables(t *testing.T) {
	if n := len(Excerpt().Codes()); n < 120 {
		t.Errorf("got %d foods, want 120 or more", n)
	}
	for _, code := range Excerpt().Codes() {
		f, _ := Excerpt().Food(code)
		if len(code) != 5 || f.Name == "" || f.Refuse != nil && (f.Refuse.Sign() < 0 || f.Refuse.Cmp(big.NewRat(9, 10)) > 0) {
			t.Errorf("%s: name %q, refuse %v", code, f.Name, f.Refuse)
		}
		for _, name := range []string{"energy", "protein", "fat", "carbohydrate", "sodium"} {
			if _, ok := f.Nutrients[name]; !ok {
				t.Errorf("%s %s: no %s", code, f.Name, name)
			}
		}
		// Energy by general factors, 4, 4 and 9 kcal per g of carbohydrate, protein and fat (Atwater; common practice). The table uses factors of
		// each food and counts acetic acid, so the check is wide: it finds a slipped column, not a rounding.
		kcal := func(name string) float64 { v, _ := f.Nutrients[name].Per100g.Float64(); return v }
		byHand := 4*kcal("protein") + 9*kcal("fat") + 4*kcal("carbohydrate")
		if got := kcal("energy"); got < .5*byHand-15 || got > 1.1*byHand+25 {
			t.Errorf("%s %s: %g kcal, about %g by its protein, fat and carbohydrate", code, f.Name, got, byHand)
		}
		for name, c := range f.Nutrients {
			if grams, ok := InUnit(c.Per100g, c.Unit, "g"); c.Per100g.Sign() < 0 || ok && grams.Cmp(big.NewRat(100, 1)) > 0 {
				t.Errorf("%s: %s of %s %s", code, name, c.Per100g, c.Unit)
			}
		}
		seen := map[string]bool{}
		for _, w := range f.Weights {
			if seen[w.Measure+"|"+w.Form] || w.Count.Sign() <= 0 || w.Grams.Sign() <= 0 || w.Measure != strings.ToLower(w.Measure) {
				t.Errorf("%s: %s %s stands twice or weighs nothing", code, w.Measure, w.Form)
			}
			seen[w.Measure+"|"+w.Form] = true
			if unit, err := quantity.ParseUnit(w.Measure); isVolume(w.Measure) != (err == nil && unit.Dimension() == quantity.Volume) {
				t.Errorf("%s: %s is a volume here or there alone", code, w.Measure)
			}
		}
	}
	known := func(table, code string) {
		t.Helper()
		if _, ok := Excerpt().Food(code); !ok {
			t.Errorf("%s: %s is no food of the excerpt", table, code)
		}
	}
	for _, y := range yields() {
		known("yields", y.FoodCode)
		if y.Yield.Sign() <= 0 || y.Gives != "EP" && y.Gives != "cooked" || y.Gives == "EP" && y.Yield.Cmp(big.NewRat(1, 1)) > 0 {
			t.Errorf("yield %+v", y)
		}
	}
	owner := map[string]string{}
	for _, k := range AllKeeping() {
		for _, code := range k.FoodCodes {
			known("keeping", code)
			if owner[code] != "" {
				t.Errorf("%s keeps as %s and as %s", code, owner[code], k.Keeps)
			}
			owner[code] = k.Keeps
		}
	}
	keys := map[string]bool{}
	unit := map[string]string{}
	for _, n := range Nutrients() {
		unit[n.Name] = n.Unit
	}
	for _, n := range needs() {
		key := n.Standard + "|" + n.Group + "|" + n.Nutrient + "|" + n.Kind
		if keys[key] || unit[n.Nutrient] != n.Unit || (n.Lower == nil) == (n.Upper == nil) {
			t.Errorf("%s: twice, in a wrong unit %q, or without one bound", key, n.Unit)
		}
		keys[key] = true
	}
	// A lower bound is below the upper one of the same group.
	for _, g := range Groups("DRI") {
		lower, upper := map[string]*big.Rat{}, map[string]*big.Rat{}
		for _, n := range Needs("DRI", g) {
			if n.Lower != nil {
				lower[n.Nutrient] = n.Lower
			} else {
				upper[n.Nutrient] = n.Upper
			}
		}
		for name, u := range upper {
			if l := lower[name]; l != nil && l.Cmp(u) >= 0 {
				t.Errorf("%s, %s: from %s to %s", g, name, l, u)
			}
		}
	}
	if n := len(Groups("DRI")); n != 14 {
		t.Errorf("got %d groups, want 14", n)
	}
}

func TestPublishedNeeds(t *testing.T) {
	ran := 0
	for _, r := range published(t, "needs.csv") {
		found := false
		for _, n := range Needs(r["standard"], r["person_group"]) {
			if n.Nutrient != r["nutrient"] || n.Kind != r["kind"] {
				continue
			}
			found = true
			bound := n.Lower
			if bound == nil {
				bound = n.Upper
			}
			if n.Unit != r["unit"] || bound.Cmp(rat(t, r["want"])) != 0 {
				t.Errorf("%s %s: got %s %s, want %s %s", r["person_group"], r["nutrient"], bound.RatString(), n.Unit, r["want"], r["unit"])
			}
		}
		if !found {
			t.Errorf("%s %s: no figure", r["person_group"], r["nutrient"])
		}
		ran++
	}
	if ran != 73 {
		t.Errorf("got %d cases, want 73", ran)
	}
}

func TestPublishedEdible(t *testing.T) {
	ran := 0
	for _, r := range published(t, "edible.csv") {
		if r["kind"] != "per_100g_basis" {
			continue // of pipeline/quantity
		}
		ran++
		want := rat(t, r["want"])
		diff := AsBought(rat(t, r["a"]), rat(t, r["b"]))
		diff.Sub(diff, want)
		if diff.Abs(diff).Cmp(new(big.Rat).Mul(rat(t, r["rel_tolerance"]), want)) > 0 {
			t.Errorf("%s: off by %s, want %s", r["case"], diff.RatString(), r["want"])
		}
	}
	if ran != 1 {
		t.Errorf("got %d cases, want 1", ran)
	}
	if AsBought(nil, big.NewRat(1, 1)) != nil || AsBought(big.NewRat(1, 1), nil) != nil || AsBought(big.NewRat(1, 1), new(big.Rat)) != nil {
		t.Error("unknown times anything is unknown")
	}
}

// Figures from outside the USDA table. Eggs: US weight class large is 24 oz the dozen at least, medium 21, extra large 27 (7 CFR part 56, US
// standards for shell eggs, from memory). Milk 1.026 to 1.034 kg/L, sunflower and soybean oil relative density 0.918 to 0.925 (Codex Standard 210), honey 1.38 to 1.45,
// sugar 0.8 to 0.9 and table salt 1.1 to 1.3 in bulk, wheat flour 0.5 to 0.6 spooned (handbooks, from memory).
func TestFactsAgainstOutside(t *testing.T) {
	ounce, _ := quantity.ParseUnit("oz")
	eggs := Excerpt().Facts("01123", "", nil)
	for size, dozen := range map[string]int64{"medium": 21, "large": 24, "extra large": 27} {
		class := ounce.Times(big.NewRat(dozen, 12)).Float()
		if got := eggs.Measures[size].Amount.Float(); got < class*.99 || got > class*1.03 {
			t.Errorf("%s egg: got %g kg, the class begins at %g", size, got, class)
		}
	}
	for _, c := range []struct {
		code, preparation string
		low, high         float64
	}{
		{"01077", "", 1.026, 1.034}, {"04060", "", .918, .925}, {"04044", "", .918, .925}, {"19296", "", 1.38, 1.45}, {"19335", "", .8, .9},
		{"02047", "", 1.1, 1.3}, {"20481", "", .5, .6}, {"11282", "finely chopped", .6, .8},
	} {
		f := Excerpt().Facts(c.code, c.preparation, big.NewRat(1, 1))
		if got := f.Density.Amount.Float(); !f.Density.OK() || got < c.low || got > c.high {
			t.Errorf("%s: got %g kg per L, want %g to %g", c.code, got, c.low, c.high)
		}
	}
}

func TestFacts(t *testing.T) {
	one := big.NewRat(1, 1)
	for _, c := range []struct {
		name, code, preparation string
		edible                  *big.Rat
		density, piece          string // kg; "" unknown
		askDensity, askPiece    string
	}{
		// By hand: 160 g, 125 g, 185 g, 143 g, 243 g a cup of 0.2365882365 L, in lowest terms; 110 g / 0.9.
		{"chopped, edible", "11282", "chopped", one, "(320000000/473176473) kg", "0.11 kg", "", ""},
		{"as bought by the table's refuse", "11282", "", nil, "", "(11/90) kg", "name the preparation: chopped (0.75 kg per L), sliced (0.54 kg per L)", ""},
		{"by the item's own yield", "11282", "", big.NewRat(1, 2), "", "0.22 kg", "chopped (1.35 kg per L)", ""},
		{"another form", "11282", "grated", one, "", "0.11 kg", "chopped (0.68 kg per L)", ""},
		{"two forms", "11282", "chopped and sliced", one, "", "0.11 kg", "chopped", ""},
		{"alternatives", "09003", "peeled, chopped", one, "(250000000/473176473) kg", "0.182 kg", "", ""},
		{"one form alone", "20044", "rinsed", nil, "(370000000/473176473) kg", "", "", ""},
		{"sold shelled or not", "12061", "whole", nil, "", "", "edible_yield: 1 if it is bought shelled, else about 0.40", "edible_yield"},
		{"sold shelled", "12061", "whole", one, "(26000000/43016043) kg", "", "", ""},
		{"refuse unknown", "15119", "chunks", nil, "", "", "edible_yield", "edible_yield"},
		{"sizes and no piece", "09150", "", one, "", "", "sections", "name the size: small (58 g), large (84 g)"},
		{"a yield of nothing", "11282", "chopped", new(big.Rat), "", "", "", ""},
		{"no such food", "99999", "", nil, "", "", "", ""},
		{"no code", "", "", nil, "", "", "", ""},
		{"a code that lost its zero", "1123", "", one, "(162000000/157725491) kg", "0.05 kg", "", ""},
	} {
		f := Excerpt().Facts(c.code, c.preparation, c.edible)
		if f.Density.Amount.String() != c.density || f.Piece.Amount.String() != c.piece {
			t.Errorf("%s: got %s and %s, want %s and %s", c.name, f.Density.Amount, f.Piece.Amount, c.density, c.piece)
		}
		for got, want := range map[string]string{f.AskDensity: c.askDensity, f.AskPiece: c.askPiece} {
			if (want == "") != (got == "") || !strings.Contains(got, want) {
				t.Errorf("%s: asks %q, want %q", c.name, got, want)
			}
		}
		if !f.Measures["pinch"].OK() {
			t.Errorf("%s: no pinch", c.name)
		}
		for name, m := range f.Measures {
			if !m.OK() {
				t.Errorf("%s: %s is no figure: %+v", c.name, name, m)
			}
		}
	}
	// A pinch is 1/16 of a teaspoon: 0.0625 x 4.92892159375 mL.
	if got := Excerpt().Facts("", "", nil).Measures["pinch"].Amount; got.String() != "0.000308057599609375 L" {
		t.Errorf("pinch: got %s", got)
	}
}

// From the words of a recipe to kilograms, by the reference alone; by hand from the USDA weights and refuse.
func TestKitchenByReference(t *testing.T) {
	for _, c := range []struct {
		code, item, text, preparation string
		basis                         *big.Rat // edible share: nil as bought, 1 edible
		want                          float64  // kg
		status                        quantity.Status
	}{
		{"01123", "eggs", "2 eggs", "", nil, 2 * .050 / .88, quantity.CommonPractice},
		{"01123", "eggs", "2 large eggs", "", nil, 2 * .050 / .88, quantity.Published},
		{"11282", "onions", "half an onion", "", nil, .055 / .9, quantity.CommonPractice},
		{"11215", "garlic", "3 cloves of garlic", "", nil, .009 / .87, quantity.Published},
		{"11282", "onions", "1 cup", "finely chopped", big.NewRat(1, 1), .160 * 250 / 236.5882365, quantity.CommonPractice},
		{"20044", "rice", "1 1/2 cup", "", nil, 1.5 * .185 * 250 / 236.5882365, quantity.CommonPractice},
		{"20044", "rice", "2 us cups", "", nil, .370, quantity.Published},
		{"02047", "salt", "a pinch", "", nil, .006 / 16, quantity.CommonPractice},
		{"02047", "salt", "½ tsp_us", "", nil, .003, quantity.Published},
		{"01001", "butter", "1 stick", "", nil, .113, quantity.Published},
		{"18075", "bread", "2 slices", "", nil, .064, quantity.Published},
		{"11109", "cabbage", "1 head", "", nil, .908 / .8, quantity.CommonPractice},
		{"11109", "cabbage", "1 small head", "", nil, .714 / .8, quantity.Published},
	} {
		k := quantity.Kitchen{Item: c.item, Words: []string{c.item}, Convention: quantity.MetricCups, Facts: []quantity.Facts{Excerpt().Facts(c.code, c.preparation, c.basis)}}
		got, err := k.Read(c.text, "", quantity.Mass)
		if err != nil {
			t.Errorf("%s: %v", c.text, err)
			continue
		}
		if kg := got.Amount.Float(); kg < c.want*(1-1e-12) || kg > c.want*(1+1e-12) || got.Status() != c.status {
			t.Errorf("%s: got %g kg, %s, want %g, %s", c.text, kg, got.Status(), c.want, c.status)
		}
	}
	spinach := quantity.Kitchen{Item: "spinach", Facts: []quantity.Facts{Excerpt().Facts("11457", "", nil)}}
	if _, err := spinach.Read("1", "bunch", quantity.Mass); err == nil || !strings.Contains(err.Error(), "weigh one bunch of spinach") {
		t.Errorf("a bunch has no agreed weight: got %v", err)
	}
}

func TestYieldsAndKeeping(t *testing.T) {
	var got []string
	for _, y := range Excerpt().Yields("11124") {
		got = append(got, y.Preparation+" "+y.Gives+" "+y.Yield.FloatString(4))
	}
	// Boiled, peeled: USDA ERS, Fruit and Vegetable Prices 2022. The last: USDA SR26, refuse 11 %.
	if want := []string{"boiled cooked 0.8158", "peeled EP 0.8900", " EP 0.8900"}; !slices.Equal(got, want) {
		t.Errorf("carrots: got %q, want %q", got, want)
	}
	for code, n := range map[string]int{"12061": 0, "99999": 0, "16069": 2, "1123": 1} {
		if list := Excerpt().Yields(code); len(list) != n {
			t.Errorf("%s: got %d yields, want %d", code, len(list), n)
		}
	}
	// Eggs in shell 3 to 5 weeks, raw poultry 1 to 2 days, opened tinned food of low acid 3 to 4 days: cold storage charts of US agencies.
	for code, days := range map[string][2]int{"01123": {21, 21}, "05062": {1, 1}, "15121": {730, 3}, "01077": {5, 5}} {
		k, ok := Keeps(code)
		if !ok || k.SealedDays != days[0] || k.OpenedDays != days[1] || k.Source == "" {
			t.Errorf("%s: got %+v, want %v", code, k, days)
		}
	}
	if k, ok := Keeps("99999"); ok {
		t.Errorf("got %+v for no food", k)
	}
	if !strings.Contains(KeepingCaution, "local food-safety guidance") {
		t.Error("the caution defers to local guidance")
	}
}

func TestSuggest(t *testing.T) {
	for words, want := range map[string]string{"egg": "01123", "Onion": "11282", "rice brown": "20036", "potatoes": "11352", "lentils": "16069", "milk whole dry": "01090", "banana": "09040"} {
		list := Excerpt().Suggest(words, 3)
		if len(list) == 0 || len(list) > 3 || list[0].Code != want {
			t.Errorf("%s: got %v, want %s first", words, list, want)
		}
	}
	for _, words := range []string{"", "unicorn", "egg unicorn"} {
		if list := Excerpt().Suggest(words, 3); len(list) != 0 {
			t.Errorf("%q: got %v", words, list[0].Name)
		}
	}
	if len(Excerpt().Suggest("raw", 5)) != 5 {
		t.Error("want as many as asked for")
	}
}
