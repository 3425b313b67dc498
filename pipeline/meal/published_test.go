package meal

import (
	"encoding/json"
	"errors"
	"fmt"
	"math/big"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// The figures stand in testdata/published/meal_costing.json, each with its source and
// whether it was read in a copy of the source or recomputed. Numbers are read as
// decimal text: where money is rounded a binary number would be another.

type input map[string]any

func rat(text string) *big.Rat {
	r, ok := new(big.Rat).SetString(text)
	if !ok {
		panic("no number: " + text)
	}
	return r
}

func number(v any) *big.Rat {
	if n, ok := v.(json.Number); ok {
		return rat(n.String())
	}
	return nil
}

// num is a number, nil for null.
func (in input) num(t *testing.T, k string) *big.Rat {
	t.Helper()
	if v, ok := in[k]; !ok || v != nil && number(v) == nil {
		t.Fatalf("input %q is not a number: %v", k, v)
	}
	return number(in[k])
}

func (in input) vec(t *testing.T, k string) (x []*big.Rat) {
	t.Helper()
	list, ok := in[k].([]any)
	if !ok {
		t.Fatalf("input %q is not a list: %v", k, in[k])
	}
	for _, v := range list {
		x = append(x, number(v))
	}
	return x
}

// dish reads the ingredients of a data set as lines and offers of one day.
func (in input) dish(t *testing.T) (lines []Line, offers []Offer) {
	t.Helper()
	for i, v := range in["ingredients"].([]any) {
		g := input(v.(map[string]any))
		name := g["name"].(string)
		lines = append(lines, Line{Day: 1, Dish: "stew", Number: i + 1, Good: name, Quantity: g.num(t, "ep_qty"), Basis: EP, Yield: g.num(t, "yield")})
		offers = append(offers, Offer{Good: name, Size: g.num(t, "pack_size"), Price: g.num(t, "pack_price")})
	}
	return lines, offers
}

// packs gives a shopping's packs by good.
func packs(s *Shopping) map[string]int64 {
	n := map[string]int64{}
	for _, g := range s.Goods {
		n[g.Good] = g.Packs
	}
	return n
}

func shop(t *testing.T, p Plan) *Shopping {
	t.Helper()
	s, err := Shop(p)
	if err != nil {
		t.Fatal(err)
	}
	reconciles(t, s)
	return s
}

var kinds = map[string]func(t *testing.T, in input) map[string]any{
	"recipe_cost": func(t *testing.T, in input) map[string]any {
		lines, offers := in.dish(t)
		s := shop(t, Plan{Lines: lines, Offers: offers})
		goods := map[string]Trolley{}
		for _, g := range s.Goods {
			goods[g.Good] = g
		}
		var rows []any
		for _, l := range s.Lines {
			g := goods[l.Good]
			rows = append(rows, map[string]any{"name": l.Good, "ap_qty": l.APQuantity, "ep_unit_cost": l.EPUnitCost, "cost_used": l.Cost,
				"packs": g.Packs, "outlay": g.Till, "left_qty": g.Leftover, "left_value": g.LeftValue})
		}
		serving, err := Per(s.Portion, in.num(t, "portions"))
		till, err2 := Per(s.Till, in.num(t, "portions"))
		if err := errors.Join(err, err2); err != nil {
			t.Fatal(err)
		}
		return map[string]any{"rows": rows, "cost_used": s.Portion, "outlay": s.Till, "left_value": s.Leftover, "cost_per_portion": serving,
			"outlay_per_portion": till}
	},
	"recipe_identity": func(t *testing.T, in input) map[string]any {
		lines, offers := in.dish(t)
		s := shop(t, Plan{Lines: lines, Offers: offers})
		rest := new(big.Rat).Sub(s.Till, s.Portion)
		return map[string]any{"outlay_minus_used_minus_left": rest.Sub(rest, s.Leftover)}
	},
	"recipe_outlay_with_pantry": func(t *testing.T, in input) map[string]any {
		lines, offers := in.dish(t)
		var stock []Stock
		for good, q := range in["pantry"].(map[string]any) {
			stock = append(stock, Stock{Good: good, Quantity: number(q)})
		}
		s, without := shop(t, Plan{Lines: lines, Offers: offers, Pantry: stock}), shop(t, Plan{Lines: lines, Offers: offers})
		if s.Portion.Cmp(without.Portion) != 0 {
			t.Errorf("the portion cost changed with the pantry: %s, %s without", s.Portion, without.Portion)
		}
		by := map[string]any{}
		for good, n := range packs(s) {
			by[good] = n
		}
		return map[string]any{"packs": by, "outlay": s.Till}
	},
	"packs_needed": func(t *testing.T, in input) map[string]any {
		var list []any
		for _, need := range in.vec(t, "need") {
			n, err := PacksNeeded(need, in.num(t, "pack_size"))
			if err != nil {
				t.Fatal(err)
			}
			list = append(list, n)
		}
		return map[string]any{"packs": list}
	},
	"scale_recipe": func(t *testing.T, in input) map[string]any {
		lines, offers := in.dish(t)
		// the figure's own portions stand over those of the data set
		scaled, err := Scale(lines, rat("6"), in.num(t, "portions"))
		if err != nil {
			t.Fatal(err)
		}
		s := shop(t, Plan{Lines: scaled, Offers: offers})
		var list []any
		for _, l := range lines {
			list = append(list, packs(s)[l.Good])
		}
		return map[string]any{"factor": new(big.Rat).Quo(scaled[0].Quantity, lines[0].Quantity), "cost_used": s.Portion, "outlay": s.Till, "packs": list}
	},
	"allowance_per_meal": func(t *testing.T, in input) map[string]any {
		days := in.num(t, "days").Num().Int64()
		r, err := Allowance{Amount: in.num(t, "monthly"), Days: int(days), Persons: in.num(t, "persons"), MealsPerDay: in.num(t, "meals_per_day")}.Rates()
		if err != nil {
			t.Fatal(err)
		}
		return map[string]any{"per_person_day": r.PerPersonDay, "per_meal": r.PerMeal}
	},
	"reach": func(t *testing.T, in input) map[string]any {
		var covered, adequacy, shortfall []any
		short, days := 0, in.vec(t, "days_in_month")
		for i, cost := range in.vec(t, "basket_per_day") {
			r, err := ReachOf(in.num(t, "allowance"), cost, int(days[i].Num().Int64()))
			if err != nil {
				t.Fatal(err)
			}
			covered, adequacy, shortfall = append(covered, r.Days), append(adequacy, r.Adequacy), append(shortfall, r.Shortfall)
			if short == 0 && r.Shortfall.Sign() > 0 {
				short = i + 1
			}
		}
		return map[string]any{"days_covered": covered, "coverage": adequacy, "shortfall": shortfall, "first_month_short": int64(short)}
	},
	"meals_covered": func(t *testing.T, in input) map[string]any {
		m, err := Meals(in.num(t, "allowance"), in.num(t, "cost_per_portion"), in.num(t, "outlay_per_batch"), in.num(t, "portions"))
		if err != nil {
			t.Fatal(err)
		}
		return map[string]any{"portions_amortised": m.ByPortion, "batches_by_outlay": m.Batches, "portions_by_outlay": m.ByTill}
	},
	"recipe_cost_with_unknown": func(t *testing.T, in input) map[string]any {
		s := NewSheet(in.vec(t, "costs_used"))
		return map[string]any{"total": s.Total, "known_part": s.KnownPart, "unpriced": int64(s.Unknown)}
	},
	"round_money": func(t *testing.T, in input) map[string]any {
		var list []any
		for _, x := range in.vec(t, "values") {
			list = append(list, Round(x, 2))
		}
		return map[string]any{"display": list}
	},
	"food_cost_percent": func(t *testing.T, in input) map[string]any {
		pct, err := FoodCostPercent(in.num(t, "portion_cost"), in.num(t, "menu_price"))
		price, err2 := TargetPrice(in.num(t, "portion_cost"), in.num(t, "target_pct"))
		if err := errors.Join(err, err2); err != nil {
			t.Fatal(err)
		}
		return map[string]any{"food_cost_pct": pct, "target_price": price}
	},
	"whole_days": func(t *testing.T, in input) map[string]any {
		var list []any
		costs := in.vec(t, "cost_per_day")
		for i, money := range in.vec(t, "allowance") {
			n, err := Whole(money, costs[i])
			if err != nil {
				t.Fatal(err)
			}
			list = append(list, n)
		}
		return map[string]any{"whole_days": list}
	},
	"ap_required": func(t *testing.T, in input) map[string]any {
		ap, err := APRequired(in.num(t, "ep_qty"), in.num(t, "yield"))
		if err != nil {
			t.Fatal(err)
		}
		return map[string]any{"ap_qty": ap}
	},
	"ap_unit_cost": func(t *testing.T, in input) map[string]any {
		c, err := APUnitCost(in.num(t, "pack_price"), in.num(t, "pack_size"))
		if err != nil {
			t.Fatal(err)
		}
		return map[string]any{"ap_unit_cost": c}
	},
	"ep_unit_cost": func(t *testing.T, in input) map[string]any {
		c, err := EPUnitCost(in.num(t, "ap_unit_cost"), in.num(t, "yield"))
		if errors.Is(err, ErrYield) {
			return map[string]any{"error": "invalid_yield"}
		} else if err != nil {
			t.Fatal(err)
		}
		return map[string]any{"ep_unit_cost": c}
	},
	"ep_unit_cost_with_byproduct": func(t *testing.T, in input) map[string]any {
		c, err := EPUnitCostWithByproduct(in.num(t, "ap_cost"), in.num(t, "byproduct_value"), in.num(t, "ep_qty"))
		if err != nil {
			t.Fatal(err)
		}
		return map[string]any{"ep_unit_cost": c}
	},
	"portion_cost": func(t *testing.T, in input) map[string]any {
		return map[string]any{"cost": PortionCost(in.num(t, "ep_qty"), in.num(t, "ep_unit_cost"))}
	},
	"yield_pct": func(t *testing.T, in input) map[string]any {
		y, err := Yield(in.num(t, "ep_qty"), in.num(t, "ap_qty"))
		if err != nil {
			t.Fatal(err)
		}
		return map[string]any{"yield": y}
	},
	"yield_chain": func(t *testing.T, in input) map[string]any {
		y, err := YieldChain(in.vec(t, "yields")...)
		if err != nil {
			t.Fatal(err)
		}
		c, err := EPUnitCost(in.num(t, "ap_unit_cost"), y)
		if err != nil {
			t.Fatal(err)
		}
		return map[string]any{"total_yield": y, "ep_qty": PortionCost(in.num(t, "ap_qty"), y), "ep_unit_cost": c}
	},
}

func TestPublished(t *testing.T) {
	text, err := os.ReadFile(filepath.Join("..", "..", "testdata", "published", "meal_costing.json"))
	if err != nil {
		t.Fatal(err)
	}
	var x struct {
		Sources map[string]string
		Data    map[string]input
		Figures []struct {
			Name, Asks, Source, Status string
			Of                         input
			Want                       map[string]any
			Within                     within
		}
	}
	d := json.NewDecoder(strings.NewReader(string(text)))
	d.UseNumber()
	if err := d.Decode(&x); err != nil {
		t.Fatal(err)
	}
	if len(x.Figures) != 30 {
		t.Errorf("got %d figures, want 30", len(x.Figures))
	}
	for _, f := range x.Figures {
		t.Run(f.Name, func(t *testing.T) {
			if x.Sources[f.Source] == "" {
				t.Errorf("source %q is not in the file", f.Source)
			}
			answer := kinds[f.Asks]
			if answer == nil {
				t.Fatalf("no answer to %q", f.Asks)
			}
			in := input{}
			if name, ok := f.Of["dataset"].(string); ok {
				for k, v := range x.Data[name] {
					in[k] = v
				}
			}
			for k, v := range f.Of {
				in[k] = v
			}
			got := answer(t, in)
			for k, want := range f.Want {
				f.Within.compare(t, k, got[k], want)
			}
		})
	}
}

type within struct {
	Abs, Rel json.Number
	Exact    bool
}

// compare: |got - want| <= max(abs, rel |want|), in exact arithmetic.
func (w within) compare(t *testing.T, what string, got, want any) {
	t.Helper()
	switch want := want.(type) {
	case []any:
		g, ok := got.([]any)
		if !ok || len(g) != len(want) {
			t.Errorf("%s: got %v, want %d values", what, got, len(want))
			return
		}
		for i := range want {
			w.compare(t, fmt.Sprintf("%s[%d]", what, i), g[i], want[i])
		}
	case map[string]any:
		g, ok := got.(map[string]any)
		if !ok || len(g) != len(want) {
			t.Errorf("%s: got %v, want %v", what, got, want)
			return
		}
		for k := range want {
			w.compare(t, what+"."+k, g[k], want[k])
		}
	case json.Number:
		var g *big.Rat
		switch got := got.(type) {
		case *big.Rat:
			g = got
		case *big.Int:
			g = new(big.Rat).SetInt(got)
		case int64:
			g = big.NewRat(got, 1)
		}
		if g == nil {
			t.Errorf("%s: got %v, want %s", what, got, want)
			return
		}
		limit := new(big.Rat)
		if w.Rel != "" {
			limit.Mul(rat(w.Rel.String()), limit.Abs(number(want)))
		}
		if w.Abs != "" && rat(w.Abs.String()).Cmp(limit) > 0 {
			limit = rat(w.Abs.String())
		}
		diff := new(big.Rat).Sub(g, number(want))
		if diff.Abs(diff).Cmp(limit) > 0 {
			t.Errorf("%s: got %s, want %s within %s", what, g.FloatString(15), want, limit.FloatString(15))
		}
	case nil:
		if g, ok := got.(*big.Rat); !ok || g != nil {
			t.Errorf("%s: got %v, want null", what, got)
		}
	default:
		if got != want {
			t.Errorf("%s: got %v, want %v", what, got, want)
		}
	}
}

// reconciles holds a shopping to its identity, for each good and in sum.
func reconciles(t *testing.T, s *Shopping) {
	t.Helper()
	till, portion := new(big.Rat), new(big.Rat)
	for _, l := range s.Lines {
		if l.Cost != nil {
			portion.Add(portion, l.Cost)
		}
	}
	if s.KnownPortion.Cmp(portion) != 0 {
		t.Errorf("known portion %s, its lines sum to %s", s.KnownPortion, portion)
	}
	for _, g := range s.Goods {
		if g.Till == nil || g.Offer == nil {
			continue
		}
		till.Add(till, g.Till)
		u := new(big.Rat).Quo(g.Offer.Price, g.Offer.Size)
		value := func(q *big.Rat) *big.Rat { return new(big.Rat).Mul(q, u) }
		// till = used from packs + left over - saving, all at the unit price
		sum := new(big.Rat).Add(value(g.FromPacks), g.LeftValue)
		if sum.Sub(sum, g.Saving); sum.Cmp(g.Till) != 0 {
			t.Errorf("%s: till %s, its parts %s", g.Good, g.Till, sum)
		}
		left := new(big.Rat)
		for _, l := range g.Left {
			left.Add(left, l.Quantity)
		}
		if left.Cmp(g.Leftover) != 0 || g.Leftover.Sign() < 0 || value(g.Leftover).Cmp(g.LeftValue) != 0 {
			t.Errorf("%s: left over %s, its lots %s, value %s", g.Good, g.Leftover, left, g.LeftValue)
		}
		if g.Need != nil {
			need := new(big.Rat).Add(g.FromPantry, g.FromCupboard)
			if need.Add(need, g.FromPacks); need.Cmp(g.Need) != 0 {
				t.Errorf("%s: need %s, met by %s", g.Good, g.Need, need)
			}
		}
	}
	if s.Till == nil || s.Portion == nil || s.FromPantry == nil || s.FromCupboard == nil {
		return
	}
	if till.Cmp(s.Till) != 0 {
		t.Errorf("till %s, its goods sum to %s", s.Till, till)
	}
	sum := new(big.Rat).Sub(s.Portion, s.FromPantry)
	sum.Sub(sum, s.FromCupboard)
	sum.Add(sum, s.Leftover)
	if sum.Sub(sum, s.Saving); sum.Cmp(s.Till) != 0 {
		t.Errorf("till %s, portion %s - pantry %s - cupboard %s + leftover %s - saving %s = %s", s.Till, s.Portion, s.FromPantry, s.FromCupboard,
			s.Leftover, s.Saving, sum)
	}
}
