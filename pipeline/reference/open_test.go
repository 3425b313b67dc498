package reference

import (
	"compress/gzip"
	"encoding/csv"
	"fmt"
	"io"
	"math/big"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// openData are published files that a clone does not have; these tests hold the embedded figures to them.
const openData = "../../../shared/data"

// open reads a CSV file of the open data by column name.
func open(t *testing.T, name string) (list []row) {
	t.Helper()
	f, err := os.Open(filepath.Join(openData, name))
	if err != nil {
		t.Skip("the open data is not beside the repository, in ../shared/data: the embedded figures are not held to it")
	}
	defer f.Close()
	var in io.Reader = f
	if strings.HasSuffix(name, ".gz") {
		if in, err = gzip.NewReader(f); err != nil {
			t.Fatal(err)
		}
	}
	lines, err := csv.NewReader(in).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, line := range lines[1:] {
		entry := row{}
		for i, column := range lines[0] {
			entry[strings.TrimPrefix(column, "\ufeff")] = line[i]
		}
		list = append(list, entry)
	}
	return list
}

// fullTable is the open table as ReadSR26 has it.
func fullTable(t *testing.T) *Foods {
	t.Helper()
	x, err := ReadSR26(os.DirFS(filepath.Join(openData, "usda-sr26")), SR26Source, func(string) string { return "" })
	if err != nil || len(x.Bad) > 0 {
		t.Fatal(err, x)
	}
	return x.Foods
}

// Every figure of the excerpt stands in the open table, every figure of the table for these foods and nutrients stands in the excerpt; by a reader of
// the test's own, and by ReadSR26.
func TestExcerptIsTheOpenTable(t *testing.T) {
	table := map[string]string{}
	for _, r := range open(t, "usda-sr26/nutrient.csv.gz") {
		table[fmt.Sprintf("%05s", r["food_id"])+"|"+r["nutr_id"]] = r["value"]
	}
	foods := map[string]row{}
	for _, r := range open(t, "usda-sr26/food.csv") {
		foods[fmt.Sprintf("%05s", r["food_id"])] = r
	}
	full := fullTable(t)
	if n := len(full.Codes()); n != 8463 {
		t.Errorf("read %d foods, want 8463", n)
	}
	checked, absent := 0, 0
	for _, code := range Excerpt().Codes() {
		f, _ := Excerpt().Food(code)
		read, ok := full.Food(code)
		if !ok || !strings.HasPrefix(foods[code]["food"], strings.TrimSuffix(f.Name, " (includes USDA commodity)")) || read.Name != foods[code]["food"] {
			t.Errorf("%s: %q is %q there", code, f.Name, foods[code]["food"])
			continue
		}
		pct := foods[code]["ref_pct"]
		if (pct == "") != (f.Refuse == nil) || pct != "" && new(big.Rat).Mul(f.Refuse, big.NewRat(100, 1)).Cmp(rat(t, pct)) != 0 || (read.Refuse == nil) != (f.Refuse == nil) {
			t.Errorf("%s %s: refuse %v, there %s %%", code, f.Name, f.Refuse, pct)
		}
		for _, n := range nutrients {
			value, there := table[code+"|"+n.sr]
			for from, food := range map[string]*Food{"excerpt": f, "ReadSR26": read} {
				c, here := food.Nutrients[n.Name]
				if here != there || here && (c.Per100g.Cmp(rat(t, value)) != 0 || c.Unit != n.Unit) {
					t.Errorf("%s, %s %s, %s: got %v, want %q", from, code, f.Name, n.Name, c.Per100g, value)
				}
			}
			if checked++; !there {
				absent++
			}
		}
	}
	if absent == 0 {
		t.Error("no missing figure was met: the test does not show that they stay missing")
	}
	t.Logf("%d cells, %d of them missing there and here", checked, absent)
}

func TestMeasuresAreTheOpenTable(t *testing.T) {
	type key struct{ code, amount, desc, grams string }
	there := map[key]bool{}
	plain := func(text string) string {
		return strings.Join(strings.Fields(strings.ReplaceAll(text, `"`, " in")), " ")
	}
	number := func(text string) string { return rat(t, text).RatString() }
	for _, r := range open(t, "usda-sr26/weight.csv") {
		if r["amount"] != "" && r["weight"] != "" {
			there[key{fmt.Sprintf("%05s", r["food_id"]), number(r["amount"]), plain(r["desc"]), number(r["weight"])}] = true
		}
	}
	n := 0
	for _, code := range Excerpt().Codes() {
		f, _ := Excerpt().Food(code)
		for _, w := range f.Weights {
			n++
			text, _ := strings.CutPrefix(w.Source, SR26Source+" household weight: ")
			text = strings.TrimSuffix(text, ", taken for one of unstated size")
			amount, desc, _ := strings.Cut(text, " ")
			if k := (key{code, number(amount), plain(desc), w.Grams.RatString()}); !there[k] || number(amount) != w.Count.RatString() {
				t.Errorf("%s %s: %+v is not in the open table", code, f.Name, k)
			}
		}
	}
	if n < 200 {
		t.Errorf("only %d household weights were held to the table", n)
	}
}

func TestYieldsAreTheOpenTables(t *testing.T) {
	water := map[string]*big.Rat{}
	for _, r := range open(t, "usda-sr26/nutrient.csv.gz") {
		if r["nutr_id"] == "255" {
			water[fmt.Sprintf("%05s", r["food_id"])] = rat(t, r["value"])
		}
	}
	bought := map[string]string{}
	for _, name := range []string{"Fruit", "Vegetable"} {
		for _, r := range open(t, "ers-produce/"+name+"-Prices-2022.csv") {
			bought[r[name]+" ("+strings.ToLower(r["Form"])+")"] = r["Yield"]
		}
	}
	pair := regexp.MustCompile(`foods (\d{5}) and (\d{5})$`)
	ran := map[string]int{}
	for _, y := range yields() {
		if m := pair.FindStringSubmatch(y.Source); m != nil {
			ran["dry matter"]++
			dry := func(code string) *big.Rat { return new(big.Rat).Sub(big.NewRat(100, 1), water[code]) }
			want := new(big.Rat).Quo(dry(m[1]), dry(m[2]))
			if m[1] != y.FoodCode || want.FloatString(2) != y.Yield.FloatString(2) {
				t.Errorf("%s %s: got %s, want %s", y.FoodCode, y.Food, y.Yield.FloatString(4), want.FloatString(4))
			}
			continue
		}
		ran["bought"]++
		name, _ := strings.CutPrefix(y.Source, "USDA ERS, Fruit and Vegetable Prices 2022: ")
		if bought[name] == "" || y.Yield.Cmp(rat(t, bought[name])) != 0 {
			t.Errorf("%s %s: got %s, %s has %q", y.FoodCode, y.Food, y.Yield.FloatString(4), name, bought[name])
		}
	}
	if ran["dry matter"] < 10 || ran["bought"] < 25 {
		t.Errorf("got %v", ran)
	}
}

// The whole table in a kitchen: any food's density is of the edible weight, and the table written for a few items is read back.
func TestFullTableInAKitchen(t *testing.T) {
	open(t, "usda-sr26/food_group.csv")
	full := fullTable(t)
	densities := 0
	for _, code := range full.Codes() {
		f, _ := full.Food(code)
		for _, w := range f.Weights {
			facts := full.Facts(code, strings.ReplaceAll(w.Form, "|", " "), big.NewRat(1, 1))
			if !isVolume(w.Measure) || !facts.Density.OK() {
				continue
			}
			densities++
			if d := facts.Density.Amount.Float(); d < .01 || d > 2.5 {
				t.Errorf("%s %s, %s %s: %g kg per L", code, f.Name, w.Measure, w.Form, d)
			}
		}
	}
	if densities < 2000 {
		t.Errorf("got %d densities, want some thousands", densities)
	}
	t.Logf("%d densities", densities)
}
