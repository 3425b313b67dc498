package kitchen

import (
	"fmt"
	"math"
	"math/big"
	"math/rand/v2"
	"reflect"
	"runtime"
	"testing"

	"farthing/pipeline/reference"
	"farthing/pipeline/result"
	"farthing/pipeline/workspace"
)

// market is a kitchen of so many regions and months in which each of the first
// foods of the food table has a price, made by a seeded generator.
func market(regions, months, foodsWanted int, group string) *Kitchen {
	rng := rand.New(rand.NewPCG(1, 2))
	t, e := &workspace.Tables{}, &result.Edition{}
	foods := reference.Excerpt()
	for _, code := range foods.Codes() {
		f, _ := foods.Food(code)
		if f.Nutrients["energy"].Per100g == nil || len(t.Items) == foodsWanted {
			continue
		}
		t.Items = append(t.Items, workspace.Item{Item: code, Name: code, COICOP: []string{"01.1.1.1", "01.1.7.1", "01.1.2.1", "01.1.5.1", "01.1.6.1", "01.1.7.6"}[len(t.Items)%6], BaseUnit: "kg", FoodCode: code, EdibleYield: big.NewRat(1, 1)})
	}
	known := map[string]bool{"energy": true}
	for _, n := range reference.Nutrients() {
		known[n.Name] = true
	}
	for _, n := range reference.Needs("DRI", group) {
		if known[n.Nutrient] && (n.Kind == "EAR" || n.Kind == "AI") && n.Nutrient != "energy" {
			t.Requirements = append(t.Requirements, workspace.Requirement{Group: group, Nutrient: n.Nutrient, Unit: n.Unit, Lower: n.Lower, Source: "DRI"})
		}
	}
	t.Requirements = append(t.Requirements, workspace.Requirement{Group: group, Nutrient: "energy", Unit: "kcal", Lower: big.NewRat(2100, 1)})
	for r := range regions {
		name := fmt.Sprintf("r%02d", r)
		t.Regions = append(t.Regions, workspace.Region{Region: name, Currency: "XTS"})
		e.Regions = append(e.Regions, result.Region{Region: name})
		for _, it := range t.Items {
			for m := range months {
				e.Items = append(e.Items, result.Item{Region: name, Item: it.Item, Month: result.Month(24000 + m), UnitPrice: result.Some(1 + 9*rng.Float64())})
			}
		}
	}
	k := open(workspace.Settings{}, t, Foods{foods})
	k.e = e
	for i := range e.Items {
		x := &e.Items[i]
		k.typical[typicalKey{x.Region, x.Item, x.Grade, x.Month}] = x
	}
	return k
}

// BenchmarkDiets times the diets of one region and month, by the number of foods.
func BenchmarkDiets(b *testing.B) {
	for _, n := range []int{15, 40, 120} {
		b.Run(fmt.Sprintf("foods=%d", n), func(b *testing.B) {
			k := market(1, 1, n, "women 19-30 years")
			for b.Loop() {
				rows, _, err := k.diets()
				if err != nil {
					b.Fatal(err)
				}
				if n == 120 && rows[2].Outcome != dietFound {
					b.Fatal(rows[2])
				}
			}
		})
	}
}

// TestDietRows: the published costs are those of the full answer, in order of
// their keys, whatever the number of processors, and of the newest months asked for.
func TestDietRows(t *testing.T) {
	k := market(3, 4, 40, "women 19-30 years")
	k.settings.Meals.DietMonths = 2
	rows, lines, err := k.diets()
	if err != nil {
		t.Fatal(err)
	}
	sums := map[string]float64{}
	for _, l := range lines {
		if d := l.APQuantity.V*l.UnitPrice.V - l.PerDay.V; !(l.PerDay.V > 0) || math.Abs(d) > 1e-12 {
			t.Errorf("%v: %v x %v is not %v", result.Key(l), l.APQuantity, l.UnitPrice, l.PerDay)
		}
		sums[fmt.Sprint(result.Key(l)[:4])] += l.PerDay.V
	}
	for _, r := range rows {
		if sum := sums[fmt.Sprint(result.Key(r))]; math.Abs(sum-r.PerDay.V) > 1e-9 {
			t.Errorf("%v costs %v, its lines %v", result.Key(r), r.PerDay, sum)
		}
	}
	if len(rows) != 3*2*3 {
		t.Fatalf("got %d rows, want those of 3 regions, 2 months and 3 diets", len(rows))
	}
	for i, r := range rows {
		x, err := k.Diet(DietAsk{Kind: r.Diet, Region: r.Region, Month: r.Month, Group: r.PersonGroup})
		if err != nil {
			t.Fatal(err)
		}
		if r.Outcome != dietFound || r.PerDay != x.Cost || r.Month < 24002 || (r.Binding == "") != (r.Diet == "healthy") {
			t.Errorf("got %+v, want the cost %v", r, x.Cost)
		}
		if key := result.Key(r); i > 0 && fmt.Sprint(key) <= fmt.Sprint(result.Key(rows[i-1])) {
			t.Errorf("%v stands after %v", key, result.Key(rows[i-1]))
		}
	}
	// What the nutrients ask for includes the energy, and the same foods and more are there.
	for i := 0; i < len(rows); i += 3 {
		if energy, nutrients := rows[i+1], rows[i+2]; energy.Diet != "energy" || nutrients.Diet != "nutrients" {
			t.Errorf("order of diets: %s, %s", energy.Diet, nutrients.Diet)
		}
	}
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
	again, linesAgain, err := k.diets()
	if err != nil || !reflect.DeepEqual(rows, again) || !reflect.DeepEqual(lines, linesAgain) {
		t.Errorf("one processor gives other rows (%v)", err)
	}
}
