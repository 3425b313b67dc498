package diet

import (
	"errors"
	"fmt"
	"math"
	"math/big"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"farthing/pipeline/lp"
)

func rat(text string) *big.Rat {
	if text == "" {
		return nil
	}
	r, err := lp.Decimal(text)
	if err != nil {
		panic(err)
	}
	return r
}

// nutrient reads "name unit lower upper", "-" for no bound.
func nutrient(text string) Nutrient {
	f := strings.Fields(strings.ReplaceAll(text, "-", "0x"))
	b := func(s string) *big.Rat {
		if s == "0x" {
			return nil
		}
		return rat(s)
	}
	return Nutrient{f[0], f[1], b(f[2]), b(f[3])}
}

func food(name, price, largest string, content ...string) Food {
	f := Food{Name: name, Price: rat(price), Largest: rat(largest)}
	for _, c := range content {
		f.Content = append(f.Content, rat(c))
	}
	return f
}

// plain is a problem that can be worked by hand: bread is the cheaper energy, beans
// the cheaper iron.
func plain() Problem {
	return Problem{
		Nutrients: []Nutrient{nutrient("energy kcal 2000 -"), nutrient("iron mg 18 45")},
		Foods: []Food{
			food("bread", "2", "", "2500", "9"),
			food("beans", "3", "", "3000", "60"),
			food("salt", "0.5", "", "0", "0"),
		},
	}
}

func show(r *big.Rat) string {
	if r == nil {
		return "-"
	}
	return r.RatString()
}

// Stigler 1945, 77 foods: the optimum to the cent by both conventions of a year, and
// what makes it the only one (sources in diet.json).
func TestStigler(t *testing.T) {
	foods, prices := stigler(t)
	p := Problem{Foods: foods}
	for i, need := range []string{"3", "70", "0.8", "12", "5", "1.8", "2.7", "18", "75"} {
		p.Nutrients = append(p.Nutrients, Nutrient{Name: fmt.Sprint(i), Lower: rat(need)})
	}
	d, err := LeastCost(p)
	if err != nil {
		t.Fatal(err)
	}
	for days, want := range map[string]string{"365.25": "39.69", "365": "39.66"} {
		if got := new(big.Rat).Mul(d.Cost, rat(days)).FloatString(2); got != want {
			t.Errorf("%s days: got %s, want %s", days, got, want)
		}
	}
	for _, a := range d.Foods {
		if a.Amount.Cmp(a.Least) != 0 || a.Most == nil || a.Amount.Cmp(a.Most) != 0 {
			t.Errorf("%s: got %v to %v, want one amount", a.Food, a.Least, a.Most)
		}
		if a.Amount.Sign() == 0 && a.Extra.Cmp(rat("0.0436")) < 0 {
			t.Errorf("%s: reduced cost %s, want 0.0436 or more", a.Food, a.Extra.FloatString(6))
		}
	}

	// The same in retail units: contents times price. Nothing changes but the units.
	retail := Problem{Nutrients: p.Nutrients}
	for _, f := range foods {
		g := Food{Name: f.Name, Price: prices[f.Name]}
		for _, c := range f.Content {
			g.Content = append(g.Content, new(big.Rat).Mul(c, g.Price))
		}
		retail.Foods = append(retail.Foods, g)
	}
	r, err := LeastCost(retail)
	if err != nil {
		t.Fatal(err)
	}
	if r.Cost.Cmp(d.Cost) != 0 {
		t.Errorf("in retail units: got %v, want %v", r.Cost, d.Cost)
	}
	for i := range r.Nutrients {
		if r.Nutrients[i].PerUnit.Cmp(d.Nutrients[i].PerUnit) != 0 {
			t.Errorf("dual %d: got %v, want %v", i, r.Nutrients[i].PerUnit, d.Nutrients[i].PerUnit)
		}
	}
	for j := range r.Foods {
		if r.Foods[j].Cost.Cmp(d.Foods[j].Cost) != 0 {
			t.Errorf("%s: got %v, want %v", r.Foods[j].Food, r.Foods[j].Cost, d.Foods[j].Cost)
		}
	}
}

// by hand: 2500 b + 3000 n >= 2000 and 9 b + 60 n >= 18 meet at b = 22/41, n = 9/41
// (determinant 123000; b = 66000/123000, n = 27000/123000), cost 71/41. Duals solve
// 2500 u + 9 v = 2, 3000 u + 60 v = 3: u = 93/123000 = 31/41000, v = 1500/123000 = 1/82.
// 19 mg: b = 63000/123000, n = 29500/123000, cost 214500/123000, 1500/123000 more.
func TestLeastCostByHand(t *testing.T) {
	d, err := LeastCost(plain())
	if err != nil {
		t.Fatal(err)
	}
	if got := show(d.Cost); got != "71/41" {
		t.Errorf("cost: got %s, want 71/41", got)
	}
	want := []string{"bread 22/41 44/41 22/41 22/41 0 false", "beans 9/41 27/41 9/41 9/41 0 false", "salt 0 0 0 0 1/2 false"}
	for j, a := range d.Foods {
		if got := fmt.Sprintln(a.Food, show(a.Amount), show(a.Cost), show(a.Least), show(a.Most), show(a.Extra), a.AtItsLimit); strings.TrimSpace(got) != want[j] {
			t.Errorf("got %s, want %s", got, want[j])
		}
	}
	want = []string{"energy kcal 2000 31/41000 31/41000 31/41000 31/41000 lower", "iron mg 18 1/82 1/82 1/82 1/82 lower"}
	for i, l := range d.Nutrients {
		if got := fmt.Sprintln(l.Nutrient, l.Unit, show(l.Amount), show(l.PerUnit), show(l.Less), show(l.More), show(l.OneMore), l.Binding); strings.TrimSpace(got) != want[i] {
			t.Errorf("got %s, want %s", got, want[i])
		}
	}
}

// by hand: beans at their limit of 0.1 (6 mg), the other 12 mg from bread at 2/9 a
// milligram; a kilo more of beans would save 3 - 60 2/9 = -31/3. Where the limit of
// bread leaves just enough, one more milligram is not to be had.
func TestLimits(t *testing.T) {
	p := plain()
	p.Nutrients[0].Lower = nil
	p.Foods[1].Largest = rat("0.1")
	d, err := LeastCost(p)
	if err != nil {
		t.Fatal(err)
	}
	if got := show(d.Foods[1].Amount) + " " + show(d.Foods[1].Extra) + " " + show(d.Nutrients[1].OneMore); got != "1/10 -31/3 2/9" || !d.Foods[1].AtItsLimit {
		t.Errorf("got %s, at its limit %v", got, d.Foods[1].AtItsLimit)
	}
	p.Foods[0].Largest = new(big.Rat).SetFrac64(12, 9)
	if d, err = LeastCost(p); err != nil {
		t.Fatal(err)
	}
	l := d.Nutrients[1]
	if l.OneMore != nil || l.More != nil || show(l.Less) != "2/9" {
		t.Errorf("got one more %v, slopes %v and %v; want none, 2/9 and none", l.OneMore, l.Less, l.More)
	}
	// An upper bound that binds: bread alone would be cheapest for energy, but brings
	// too much iron if only 4 mg are allowed; sugar takes the rest. One more milligram
	// allowed saves what a ninth of bread saves: 2500/9 kcal of sugar, 4000 kcal for 5.
	p = plain()
	p.Nutrients[1] = nutrient("iron mg - 4")
	p.Foods = append(p.Foods, food("sugar", "5", "", "4000", "0"))
	if d, err = LeastCost(p); err != nil {
		t.Fatal(err)
	}
	// by hand: a ninth of bread costs 2/9 and saves 5 (2500/9)/4000 = 25/72: -1/8.
	if l := d.Nutrients[1]; l.Binding != AtUpper || show(l.PerUnit) != "-1/8" || show(l.OneMore) != "-1/8" {
		t.Errorf("got %s, %s, %s", l.Binding, show(l.PerUnit), show(l.OneMore))
	}
}

// The whole next unit can cost more than the first bit of it, never less.
func TestOneMoreIsWorkedOutAnew(t *testing.T) {
	p := Problem{
		Nutrients: []Nutrient{nutrient("iron mg 10 -")},
		Foods:     []Food{food("beans", "1", "10.25", "1"), food("liver", "9", "", "1")},
	}
	d, err := LeastCost(p)
	if err != nil {
		t.Fatal(err)
	}
	// by hand: a quarter unit of beans at 1, three quarters of liver at 9: 7.
	if l := d.Nutrients[0]; show(l.PerUnit) != "1" || show(l.OneMore) != "7" {
		t.Errorf("got %s and %s, want 1 and 7", show(l.PerUnit), show(l.OneMore))
	}
}

func TestTies(t *testing.T) {
	p := plain()
	p.Foods = append(p.Foods, food("other beans", "3", "0.1", "3000", "60"))
	d, err := LeastCost(p)
	if err != nil {
		t.Fatal(err)
	}
	// by hand: 9/41 of either beans, at most 1/10 of the other.
	if b, o := d.Foods[1], d.Foods[3]; show(b.Least)+" "+show(b.Most) != "49/410 9/41" || show(o.Least)+" "+show(o.Most) != "0 1/10" {
		t.Errorf("got %s to %s and %s to %s", show(b.Least), show(b.Most), show(o.Least), show(o.Most))
	}
}

func TestConflict(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*Problem)
		want   string
	}{
		{"protein in little energy", func(p *Problem) { p.Nutrients[0] = nutrient("energy kcal - 600"); p.Nutrients[1].Lower = rat("30.5") },
			"energy at most 600 kcal; iron at least 30.5 mg"},
		{"limits of foods", func(p *Problem) { p.Foods[0].Largest, p.Foods[1].Largest = rat("0.3"), rat("0.3") },
			"energy at least 2000 kcal; bread at most 0.3; beans at most 0.3"},
		{"lower above upper", func(p *Problem) { p.Nutrients[1].Lower = rat("46") }, "iron at least 46 mg; iron at most 45 mg"},
		{"nobody has it", func(p *Problem) {
			p.Nutrients = append(p.Nutrients, nutrient("iodine ug 150 -"))
			for j := range p.Foods {
				p.Foods[j].Content = append(p.Foods[j].Content, rat("0"))
			}
		}, "iodine at least 150 ug"},
	} {
		p := plain()
		c.change(&p)
		d, err := LeastCost(p)
		var no *Conflict
		if d != nil || !errors.As(err, &no) || !errors.Is(err, lp.ErrInfeasible) {
			t.Errorf("%s: got %v, %v, want a conflict", c.name, d, err)
		} else if want := "diet: no diet meets these together: " + c.want; err.Error() != want {
			t.Errorf("%s: got %s, want %s", c.name, err, want)
		}
	}
}

// Missing is never zero: neither a price nor a content.
func TestLeftOut(t *testing.T) {
	p := plain()
	p.Foods = append(p.Foods, food("unpriced", "", "", "9000", "90"), food("unknown iron", "1", "", "9000", ""))
	d, err := LeastCost(p)
	if err != nil {
		t.Fatal(err)
	}
	if want := []LeftOut{{"unpriced", ""}, {"unknown iron", "iron"}}; !slices.Equal(d.LeftOut, want) || show(d.Cost) != "71/41" {
		t.Errorf("got %v and %v", d.LeftOut, d.Cost)
	}
	// Without a bound on iron its content need not be known, but then its sum is not.
	p.Nutrients[1].Lower, p.Nutrients[1].Upper = nil, nil
	if d, err = LeastCost(p); err != nil {
		t.Fatal(err)
	}
	if l := d.Nutrients[1]; show(d.Cost) != "2/9" || l.Amount != nil || l.Binding != NotBinding || l.OneMore != nil || l.PerUnit.Sign() != 0 {
		t.Errorf("got cost %v, iron %+v", d.Cost, l)
	}
	p = plain()
	for j := range p.Foods {
		p.Foods[j].Price = nil
	}
	if d, err := LeastCost(p); d != nil || !errors.Is(err, ErrNoFood) {
		t.Errorf("got %v, %v, want no food", d, err)
	}
	if d, err := LeastCost(Problem{}); d != nil || !errors.Is(err, ErrNoFood) {
		t.Errorf("got %v, %v, want no food", d, err)
	}
	if got := FixedCost(p.Foods, []*big.Rat{rat("1"), rat("0"), rat("0")}); got != nil {
		t.Errorf("unpriced food in a diet: got %v", got)
	}
	p = plain()
	p.Foods[2].Price = nil
	if got := FixedCost(p.Foods, []*big.Rat{rat("1"), rat("2"), rat("0")}); show(got) != "8" {
		t.Errorf("got %v, want 8", got)
	}
	if got := FixedCost(p.Foods, []*big.Rat{rat("1"), nil, rat("0")}); got != nil {
		t.Errorf("unknown amount: got %v", got)
	}
}

func TestInput(t *testing.T) {
	for name, change := range map[string]func(*Problem){
		"price":        func(p *Problem) { p.Foods[0].Price = rat("-1") },
		"content":      func(p *Problem) { p.Foods[0].Content[1] = rat("-1") },
		"largest":      func(p *Problem) { p.Foods[0].Largest = rat("-1") },
		"lower":        func(p *Problem) { p.Nutrients[0].Lower = rat("-1") },
		"upper":        func(p *Problem) { p.Nutrients[0].Upper = rat("-1") },
		"food twice":   func(p *Problem) { p.Foods[1].Name = "bread" },
		"nutr. twice":  func(p *Problem) { p.Nutrients[1].Name = "energy" },
		"without name": func(p *Problem) { p.Foods[1].Name = "" },
	} {
		p := plain()
		change(&p)
		if d, err := LeastCost(p); d != nil || !errors.Is(err, ErrInput) {
			t.Errorf("%s: got %v, %v", name, d, err)
		}
	}
	for _, f := range []func(){
		func() { LeastCost(Problem{Foods: []Food{{Name: "a"}}, Nutrients: []Nutrient{{Name: "b"}}}) },
		func() { FixedCost([]Food{{}}, nil) },
		func() { Healthy(nil, []Target{{"a", 10, 0}}) },
	} {
		func() {
			defer func() {
				if recover() == nil {
					t.Error("no panic")
				}
			}()
			f()
		}()
	}
}

// CoNA is the program with energy as an equation: just the energy, never cheaper than
// with at least that much, and the bounds are those given.
func TestNutrientAdequate(t *testing.T) {
	p := plain()
	free, err := LeastCost(p)
	if err != nil {
		t.Fatal(err)
	}
	for _, kcal := range []string{"1000", "2000", "2500"} {
		d, err := NutrientAdequate(p, "energy", rat(kcal))
		if err != nil {
			t.Fatal(err)
		}
		if e := d.Nutrients[0]; e.Amount.Cmp(rat(kcal)) != 0 || e.Binding != AtBoth {
			t.Errorf("%s kcal: got %v, %q", kcal, e.Amount, e.Binding)
		}
		if kcal == "2000" && d.Cost.Cmp(free.Cost) < 0 {
			t.Errorf("got %v, cheaper than %v", d.Cost, free.Cost)
		}
	}
	// by hand: 250 kcal hold at most 5 mg of iron (beans).
	var no *Conflict
	if _, err := NutrientAdequate(p, "energy", rat("250")); !errors.As(err, &no) || len(no.Limits) != 2 || no.Limits[0].Kind != AtMost || no.Limits[1].Kind != AtLeast {
		t.Errorf("got %v", err)
	}
	for _, e := range []struct {
		energy string
		kcal   *big.Rat
	}{{"kJ", rat("1")}, {"energy", nil}, {"energy", rat("0")}} {
		if _, err := NutrientAdequate(p, e.energy, e.kcal); !errors.Is(err, ErrInput) {
			t.Errorf("%v: got %v", e, err)
		}
	}
	if p.Nutrients[0].Upper != nil {
		t.Error("the problem given was changed")
	}
}

// Laws of any diet problem: prices times k, cost times k; another food never makes it
// dearer; a higher lower bound never cheaper; one more unit costs at least the slope.
func TestLaws(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 7))
	solved := 0
	for range 300 {
		var p Problem
		for i := range 3 {
			n := Nutrient{Name: fmt.Sprint("n", i), Lower: big.NewRat(rng.Int64N(500), 10)}
			if i == 0 {
				n.Upper = new(big.Rat).Add(n.Lower, big.NewRat(rng.Int64N(900), 10))
			}
			p.Nutrients = append(p.Nutrients, n)
		}
		for j := range 6 {
			f := Food{Name: fmt.Sprint("f", j), Price: big.NewRat(1+rng.Int64N(999), 100)}
			for range p.Nutrients {
				f.Content = append(f.Content, big.NewRat(rng.Int64N(300), 10))
			}
			p.Foods = append(p.Foods, f)
		}
		d, err := LeastCost(p)
		if err != nil {
			continue
		}
		solved++
		fewer := p
		fewer.Foods = p.Foods[:5]
		if e, err := LeastCost(fewer); err == nil && e.Cost.Cmp(d.Cost) < 0 {
			t.Fatalf("without a food: %v, with it %v", e.Cost, d.Cost)
		}
		dearer := p
		dearer.Foods = slices.Clone(p.Foods)
		for j := range dearer.Foods {
			dearer.Foods[j].Price = new(big.Rat).Mul(rat("1.1"), p.Foods[j].Price)
		}
		if e, err := LeastCost(dearer); err != nil || e.Cost.Cmp(new(big.Rat).Mul(d.Cost, rat("1.1"))) != 0 {
			t.Fatalf("prices up a tenth: got %v, %v from %v", e, err, d.Cost)
		}
		sum := new(big.Rat)
		for _, a := range d.Foods {
			sum.Add(sum, a.Cost)
		}
		if sum.Cmp(d.Cost) != 0 {
			t.Fatalf("foods cost %v, the diet %v", sum, d.Cost)
		}
		for i, l := range d.Nutrients {
			if l.OneMore == nil {
				continue
			}
			if l.OneMore.Cmp(l.More) < 0 {
				t.Fatalf("one more costs %v, less than the slope %v", l.OneMore, l.More)
			}
			if l.Binding == AtLower {
				more := p
				more.Nutrients = slices.Clone(p.Nutrients)
				more.Nutrients[i].Lower = new(big.Rat).Add(p.Nutrients[i].Lower, one)
				e, err := LeastCost(more)
				if err != nil || new(big.Rat).Sub(e.Cost, d.Cost).Cmp(l.OneMore) != 0 {
					t.Fatalf("one more: got %v, solved anew %v %v", l.OneMore, e, err)
				}
			}
		}
	}
	if solved < 100 {
		t.Errorf("only %d problems had a diet", solved)
	}
}

func TestBasketGaps(t *testing.T) {
	nan := math.NaN()
	items := []Item{
		{"maize", "staples", 1.2, 1000, 1, 361},
		{"unpriced", "staples", nan, 1000, 1, 361},
		{"free", "staples", 0, 1000, 1, 361},
		{"no energy", "staples", 1, 1000, 1, 0},
		{"yield unknown", "staples", 1, 1000, nan, 361},
		{"apples", "fruits", 2, 1000, .9, 52},
		{"pears", "fruits", 2, 1000, .9, 52},
	}
	if s, ok := EnergySufficient(items, "staples", 2330); !ok || s.Name != "maize" {
		t.Errorf("got %v, %v: want maize, the only one with a price and energy", s, ok)
	}
	for _, c := range []struct {
		group string
		kcal  float64
	}{{"oils", 2330}, {"staples", 0}, {"staples", nan}} {
		if s, ok := EnergySufficient(items, c.group, c.kcal); ok || s.Cost != 0 {
			t.Errorf("%v: got %v", c, s)
		}
	}
	b := Healthy(items, []Target{{"staples", 1000, 2}, {"fruits", 100, 1}})
	if !math.IsNaN(b.Total()) || !slices.Equal(b.Missing(), []string{"staples"}) || !math.IsNaN(b.SharePct("fruits")) || !math.IsNaN(b.SharePct("nuts")) {
		t.Errorf("got %v: want no total, staples missing", b)
	}
	// by hand: 100 kcal of apples at 2/(1000 .9 .52) a kcal; of equal price the first name.
	if got, want := b.KnownPart(), 100*2/(1000*.9*.52); math.Abs(got-want) > 1e-15 || b[1].Servings[0].Name != "apples" {
		t.Errorf("known part: got %v, want %v", got, want)
	}
	if got := len(b[0].Servings); got != 1 {
		t.Errorf("got %d staples, want the one there is", got)
	}
}

func TestDensityGaps(t *testing.T) {
	nan := math.NaN()
	good := []Share{{1, 10}}
	for _, d := range []Density{
		NutrientRich([]Share{{nan, 10}}, nil, 100, 100, true),
		NutrientRich([]Share{{1, nan}}, nil, 100, 100, true),
		NutrientRich([]Share{{-1, 10}}, nil, 100, 100, true),
		NutrientRich(good, []Share{{1, 0}}, 100, 100, true),
		NutrientRich(good, good, 0, 100, true),
		NutrientRich(good, good, 100, nan, true),
		NutrientRich([]Share{{math.Inf(1), 10}}, nil, 100, 100, false),
	} {
		if !math.IsNaN(d.Score) || !math.IsNaN(d.Encouraged) || !math.IsNaN(d.Limited) {
			t.Errorf("got %v, want no score", d)
		}
	}
	// by hand: 100 kcal are 200 g: 2 of 10 is 20 %, twice; 300 % is capped at 100.
	if got := NutrientRich([]Share{{1, 10}, {15, 10}}, good, 50, 100, true); got != (Density{120, 20, 100}) {
		t.Errorf("got %v", got)
	}
	for name, got := range map[string]float64{"price 0": DensityPerMoney(1, 10, 0), "no energy": DensityPerMoney(1, 0, 10), "nutrient": NutrientPerMoney(1, nan),
		"dv": PercentDV(1, 0), "ear": RDA(0, .1), "cv": RDA(10, -.1)} {
		if !math.IsNaN(got) {
			t.Errorf("%s: got %v", name, got)
		}
	}
	if got := NutrientPerMoney(30, 2); got != 15 { // by hand
		t.Errorf("got %v, want 15", got)
	}
	if _, ok := DV(DailyValues2016, "gold"); ok {
		t.Error("a Daily Value of gold")
	}
}

func ExampleLeastCost() {
	d, err := LeastCost(Problem{
		Nutrients: []Nutrient{{Name: "energy", Unit: "kcal", Lower: big.NewRat(2000, 1)}, {Name: "iron", Unit: "mg", Lower: big.NewRat(18, 1)}},
		Foods: []Food{
			{Name: "bread", Price: big.NewRat(2, 1), Content: []*big.Rat{big.NewRat(2500, 1), big.NewRat(9, 1)}},
			{Name: "beans", Price: big.NewRat(3, 1), Content: []*big.Rat{big.NewRat(3000, 1), big.NewRat(60, 1)}},
		},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(d.Cost.FloatString(2), "a day")
	for _, a := range d.Foods {
		fmt.Println(a.Food, a.Amount.FloatString(3), "kg")
	}
	for _, n := range d.Nutrients {
		fmt.Println("one more", n.Unit, "of", n.Nutrient, "costs", n.OneMore.FloatString(4))
	}
	// Output:
	// 1.73 a day
	// bread 0.537 kg
	// beans 0.220 kg
	// one more kcal of energy costs 0.0008
	// one more mg of iron costs 0.0122
}
