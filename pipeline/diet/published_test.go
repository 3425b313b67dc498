package diet

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"math/big"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"farthing/pipeline/lp"
)

// The figures stand in testdata/published/diet.json, each with its source and
// whether it was read in a copy of the source, recomputed, or recalled. Numbers are
// kept as decimal texts, so that diets are solved for what is written.
const published = "../../testdata/published"

type figure struct {
	Name, Asks, Status, Source string
	Of                         input
	Want                       map[string]any
	Within                     struct {
		Abs, Rel float64
		Exact    bool
	}
}

// input is a figure's own inputs over those of the data set it names.
type input map[string]any

func TestPublished(t *testing.T) {
	text, err := os.ReadFile(filepath.Join(published, "diet.json"))
	if err != nil {
		t.Fatal(err)
	}
	var x struct {
		Sources map[string]string
		Data    map[string]input
		Figures []figure
	}
	d := json.NewDecoder(bytes.NewReader(text))
	d.UseNumber()
	if err := d.Decode(&x); err != nil {
		t.Fatal(err)
	}
	kinds := map[string]func(*testing.T, input) map[string]any{
		"lp_diet": leastCost, "lp_diet_annual": annual, "lp_diet_duals": duals, "lp_duality": duals, "fixed_diet_cost": fixed,
		"hdb_targets": targets, "hdb_cost": healthy, "coca": energySufficient, "group_costs_sum": groups,
		"daily_values": dailyValues, "percent_dv": percentDV, "rda_from_ear": rda, "nrf93": nrf93,
		"nutrients_per_cost": perMoney, "price_per_kcal": perKcal,
	}
	if len(x.Figures) != 28 {
		t.Errorf("got %d figures, want 28", len(x.Figures))
	}
	for _, f := range x.Figures {
		t.Run(f.Name, func(t *testing.T) {
			if x.Sources[f.Source] == "" || f.Status == "" {
				t.Errorf("source %q is not in the file, or no status %q", f.Source, f.Status)
			}
			in := input{}
			if name, ok := f.Of["dataset"].(string); ok {
				in["name"] = name
				for k, v := range x.Data[name] {
					in[k] = v
				}
			}
			for k, v := range f.Of {
				in[k] = v
			}
			answer := kinds[f.Asks]
			if answer == nil {
				t.Fatalf("no answer to %q", f.Asks)
			}
			got := answer(t, in)
			for k, want := range f.Want {
				f.compare(t, k, got[k], want)
			}
			if len(f.Want) == 0 {
				t.Error("nothing wanted")
			}
		})
	}
}

// compare holds got (numbers, texts, lists, maps by name) to want.
func (f figure) compare(t *testing.T, what string, got, want any) {
	t.Helper()
	switch want := want.(type) {
	case []any:
		var g []any
		switch got := got.(type) {
		case []float64:
			for _, v := range got {
				g = append(g, v)
			}
		case []string:
			for _, v := range got {
				g = append(g, v)
			}
		}
		if len(g) != len(want) {
			t.Errorf("%s: got %v, want %v", what, got, want)
			return
		}
		for i := range want {
			f.compare(t, fmt.Sprintf("%s[%d]", what, i), g[i], want[i])
		}
	case map[string]any:
		g := map[string]any{}
		switch got := got.(type) {
		case map[string]float64:
			for k, v := range got {
				g[k] = v
			}
		case map[string][]string:
			for k, v := range got {
				g[k] = v
			}
		}
		if len(g) != len(want) {
			t.Errorf("%s: got %v, want %v", what, got, want)
			return
		}
		for k := range want {
			f.compare(t, what+"."+k, g[k], want[k])
		}
	case json.Number:
		w, err := want.Float64()
		if err != nil {
			t.Fatal(err)
		}
		g, ok := got.(float64)
		if tol := math.Max(f.Within.Abs, f.Within.Rel*math.Abs(w)); !ok || !(math.Abs(g-w) <= tol) {
			t.Errorf("%s: got %v, want %v within %v", what, got, w, tol)
		}
	default:
		if got != want {
			t.Errorf("%s: got %v, want %v", what, got, want)
		}
	}
}

// number is a decimal text, exact; null is nil.
func number(t *testing.T, v any) *big.Rat {
	t.Helper()
	if v == nil {
		return nil
	}
	r, err := lp.Decimal(v.(json.Number).String())
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func float(r *big.Rat) float64 { return lp.Floats([]*big.Rat{r})[0] }

func (in input) num(t *testing.T, k string) float64 {
	t.Helper()
	if in[k] == nil {
		t.Fatalf("no input %q", k)
	}
	return float(number(t, in[k]))
}

func (in input) strings(k string) []string {
	var s []string
	for _, v := range in[k].([]any) {
		s = append(s, v.(string))
	}
	return s
}

// stigler reads the table of 77 foods: of each the nutrients for a dollar, and the
// price of its unit in dollars.
func stigler(t *testing.T) (foods []Food, prices map[string]*big.Rat) {
	t.Helper()
	file, err := os.Open(filepath.Join(published, "diet_stigler.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	r := csv.NewReader(file)
	r.Comment = '#'
	lines, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	prices = map[string]*big.Rat{}
	for _, line := range lines[1:] {
		f := Food{Name: line[0], Price: big.NewRat(1, 1)}
		for _, cell := range line[5:] {
			f.Content = append(f.Content, number(t, json.Number(cell)))
		}
		prices[f.Name] = number(t, json.Number(line[3]))
		prices[f.Name].Quo(prices[f.Name], big.NewRat(100, 1))
		foods = append(foods, f)
	}
	if len(foods) != 77 || len(foods[0].Content) != 9 {
		t.Fatalf("got %d foods with %d nutrients, want 77 with 9", len(foods), len(foods[0].Content))
	}
	return foods, prices
}

// problem is the figure's diet problem: nutrients by food, or foods by nutrient.
func (in input) problem(t *testing.T) Problem {
	t.Helper()
	var p Problem
	switch {
	case in["name"] == "stigler_1939":
		p.Foods, _ = stigler(t)
	case in["per_dollar"] != nil:
		for j, name := range in.strings("foods") {
			f := Food{Name: name, Price: big.NewRat(1, 1)}
			for _, v := range in["per_dollar"].([]any)[j].([]any) {
				f.Content = append(f.Content, number(t, v))
			}
			p.Foods = append(p.Foods, f)
		}
	default:
		contents, minimum := in["nutrients"].(map[string]any), in["minimum"].(map[string]any)
		maximum, _ := in["maximum"].(map[string]any)
		for _, name := range []string{"kcal", "protein_g", "calcium_mg"} {
			p.Nutrients = append(p.Nutrients, Nutrient{Name: name, Lower: number(t, minimum[name]), Upper: number(t, maximum[name])})
		}
		for j, name := range in.strings("foods") {
			f := Food{Name: name, Price: number(t, in["price"].([]any)[j])}
			if largest, ok := in["largest"].([]any); ok {
				f.Largest = number(t, largest[j])
			}
			for _, n := range p.Nutrients {
				f.Content = append(f.Content, number(t, contents[n.Name].([]any)[j]))
			}
			p.Foods = append(p.Foods, f)
		}
		return p
	}
	for i, name := range in.strings("nutrients") {
		n := Nutrient{Name: name, Lower: number(t, in["daily_minimum"].([]any)[i])}
		if in["equal"] == true {
			n.Upper = n.Lower
		}
		p.Nutrients = append(p.Nutrients, n)
	}
	return p
}

func leastCost(t *testing.T, in input) map[string]any {
	p := in.problem(t)
	d, err := LeastCost(p)
	if errors.Is(err, lp.ErrInfeasible) {
		return map[string]any{"status": "infeasible"}
	}
	if err != nil {
		t.Fatal(err)
	}
	used, dollars, amounts, all, prices := []string{}, map[string]float64{}, []float64{}, []string{}, []float64{}
	for _, a := range d.Foods {
		all, amounts = append(all, a.Food), append(amounts, float(a.Amount))
		if a.Amount.Sign() > 0 {
			used, dollars[a.Food] = append(used, a.Food), float(a.Amount)
		}
	}
	for _, l := range d.Nutrients {
		prices = append(prices, float(l.PerUnit))
	}
	slices.Sort(used)
	return map[string]any{"cost": float(d.Cost), "cost_per_day": float(d.Cost), "foods": used, "dollars_per_day": dollars,
		"amount_100g": amounts, "shadow_price": prices, "foods_used_subset_of": all}
}

func annual(t *testing.T, in input) map[string]any {
	_, prices := stigler(t)
	days := number(t, in["days"])
	d, err := LeastCost(in.problem(t))
	if err != nil {
		t.Fatal(err)
	}
	dollars, quantity := map[string]float64{}, map[string]float64{}
	for _, a := range d.Foods {
		if a.Amount.Sign() > 0 {
			year := new(big.Rat).Mul(a.Cost, days)
			dollars[a.Food], quantity[a.Food] = float(year), float(new(big.Rat).Quo(year, prices[a.Food]))
		}
	}
	return map[string]any{"annual_cost": float(new(big.Rat).Mul(d.Cost, days)), "annual_dollars": dollars, "annual_quantity_in_retail_units": quantity}
}

func duals(t *testing.T, in input) map[string]any {
	p := in.problem(t)
	d, err := LeastCost(p)
	if err != nil {
		t.Fatal(err)
	}
	prices, sum := map[string]float64{}, new(big.Rat)
	for i, l := range d.Nutrients {
		prices[l.Nutrient] = float(l.PerUnit)
		sum.Add(sum, new(big.Rat).Mul(l.PerUnit, p.Nutrients[i].Lower))
	}
	return map[string]any{"shadow_price": prices, "dual_objective": float(sum)}
}

func fixed(t *testing.T, in input) map[string]any {
	var foods []Food
	var amounts []*big.Rat
	for name, v := range in["annual_dollars"].(map[string]any) {
		foods, amounts = append(foods, Food{Name: name, Price: big.NewRat(1, 1)}), append(amounts, number(t, v))
	}
	return map[string]any{"annual_cost": float(FixedCost(foods, amounts))}
}

func targets(_ *testing.T, _ input) map[string]any {
	kcal, items, total, n := map[string]float64{}, map[string]float64{}, 0.0, 0
	for _, g := range HealthyDietBasket {
		kcal[g.Group], items[g.Group] = g.Kcal, float64(g.Items)
		total, n = total+g.Kcal, n+g.Items
	}
	return map[string]any{"kcal": kcal, "items": items, "total_kcal": total, "total_items": float64(n), "groups": float64(len(HealthyDietBasket))}
}

func (in input) items(t *testing.T) (items []Item) {
	for _, v := range in["foods"].([]any) {
		f := input(v.(map[string]any))
		items = append(items, Item{f["name"].(string), f["group"].(string), f.num(t, "price"), f.num(t, "qty_g"), f.num(t, "edible"), f.num(t, "kcal_100g")})
	}
	return items
}

func healthy(t *testing.T, in input) map[string]any {
	var want []Target
	for g, v := range in["targets"].(map[string]any) {
		n := v.([]any)
		want = append(want, Target{g, float(number(t, n[0])), int(float(number(t, n[1])))})
	}
	cost, selected, grams := map[string]float64{}, map[string][]string{}, map[string]float64{}
	b := Healthy(in.items(t), want)
	for _, g := range b {
		cost[g.Group] = g.Cost
		for _, s := range g.Servings {
			selected[g.Group], grams[s.Name] = append(selected[g.Group], s.Name), s.Grams
		}
	}
	return map[string]any{"total": b.Total(), "by_group": cost, "selected": selected, "grams_purchased": grams}
}

func energySufficient(t *testing.T, in input) map[string]any {
	s, ok := EnergySufficient(in.items(t), "starchy_staples", in.num(t, "kcal"))
	if !ok {
		t.Fatal("no cost")
	}
	return map[string]any{"cost": s.Cost, "item": s.Name}
}

func groups(t *testing.T, in input) map[string]any {
	basket := func(k string) (b Basket) {
		for g, v := range in[k].(map[string]any) {
			b = append(b, Part{Target: Target{Group: g}, Cost: float(number(t, v))})
		}
		return b
	}
	local, ppp := basket("GHS_per_day"), basket("PPP_per_day")
	return map[string]any{"total_GHS": local.Total(), "total_PPP": ppp.Total(), "animal_share_pct": ppp.SharePct("animal_source")}
}

// labelNames are the file's short names of nutrients, where they differ.
var labelNames = strings.NewReplacer("satfat", "saturated fat", "fiber", "fibre", "added_sugars", "added sugars", "vit", "vitamin ")

func dailyValues(t *testing.T, in input) map[string]any {
	table := map[string][]DailyValue{"2016": DailyValues2016, "1993": DailyValues1993}[in["rule"].(json.Number).String()]
	short := strings.NewReplacer("saturated fat", "satfat", "fibre", "fiber", "added sugars", "added_sugars", "vitamin ", "vit")
	dv := map[string]float64{}
	for _, v := range table {
		dv[short.Replace(v.Nutrient)+"_"+v.Unit] = v.Amount
	}
	return map[string]any{"dv": dv}
}

func percentDV(t *testing.T, in input) map[string]any {
	name, _, _ := strings.Cut(in["nutrient"].(string), "_")
	of := func(table []DailyValue) float64 {
		v, ok := DV(table, name)
		if !ok {
			t.Fatalf("no Daily Value of %s", name)
		}
		return PercentDV(in.num(t, "amount"), v.Amount)
	}
	return map[string]any{"rule_2016": of(DailyValues2016), "rule_1993": of(DailyValues1993)}
}

func rda(t *testing.T, in input) map[string]any {
	return map[string]any{"rda": RDA(in.num(t, "ear"), in.num(t, "cv"))}
}

func nrf93(t *testing.T, in input) map[string]any {
	per := map[string]float64{} // by name
	unit := map[string]string{}
	for k, v := range in["per_100g"].(map[string]any) {
		i := max(strings.LastIndex(k, "_"), 0)
		per[labelNames.Replace(k[:i])], unit[labelNames.Replace(k[:i])] = float(number(t, v)), strings.TrimPrefix(k[i:], "_")
		if k == "kcal" {
			per["energy"] = float(number(t, v))
		}
	}
	shares := func(names []string, reference string) (list []Share) {
		for _, name := range names {
			amount, ok := per[name]
			if !ok {
				t.Fatalf("no amount of %s", name)
			}
			s := Share{Per100g: amount}
			for k, v := range in[reference].(map[string]any) {
				if i := strings.LastIndex(k, "_"); labelNames.Replace(k[:i]) == name && k[i+1:] == unit[name] {
					s.Reference = float(number(t, v))
				}
			}
			if dv, ok := DV(DailyValues1993, name); ok && (dv.Amount != s.Reference || dv.Unit != unit[name]) {
				t.Errorf("%s: the figure has %v, the table of 1993 %v %s", name, s.Reference, dv.Amount, dv.Unit)
			}
			list = append(list, s)
		}
		return list
	}
	d := NutrientRich(shares(NRF9, "dv"), shares(NRF3, "mrv"), per["energy"], in.num(t, "basis_kcal"), in["cap"] == true)
	return map[string]any{"nr9": d.Encouraged, "lim3": d.Limited, "nrf93": d.Score}
}

func perMoney(t *testing.T, in input) map[string]any {
	return map[string]any{"nrf_per_dollar": DensityPerMoney(in.num(t, "nrf93_per_100kcal"), in.num(t, "kcal_100g_edible"), in.num(t, "price_per_100g_edible"))}
}

func perKcal(t *testing.T, in input) map[string]any {
	f := Item{Price: in.num(t, "pack_price"), Grams: in.num(t, "pack_g"), Edible: in.num(t, "edible"), KcalPer100g: in.num(t, "kcal_100g")}
	return map[string]any{"per_1000kcal": f.PricePer1000Kcal()}
}
