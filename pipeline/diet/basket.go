package diet

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// Item is a food priced by the pack, for the baskets of cheapest foods.
type Item struct {
	Name, Group string
	Price       float64 // money per pack
	Grams       float64 // in a pack, as bought
	Edible      float64 // share of the weight that is eaten, 0 < Edible; above 1 it swells
	KcalPer100g float64 // of the edible part
}

// PerKcal is the price of one kcal eaten: Price / (Grams Edible KcalPer100g / 100).
// NaN unless all four are positive and finite.
func (f Item) PerKcal() float64 {
	for _, v := range []float64{f.Price, f.Grams, f.Edible, f.KcalPer100g} {
		if !(v > 0) || math.IsInf(v, 1) {
			return math.NaN()
		}
	}
	return f.Price / (f.Grams * f.Edible * f.KcalPer100g / 100)
}

// PricePer1000Kcal is 1000 PerKcal: the price of 1000 kcal eaten.
func (f Item) PricePer1000Kcal() float64 { return 1000 * f.PerKcal() }

// Serving is a part of a basket.
type Serving struct {
	Item
	Kcal  float64 // a day
	Cost  float64 // money a day; Kcal PerKcal
	Grams float64 // as bought a day
}

func serving(f Item, kcal float64) Serving {
	return Serving{f, kcal, kcal * f.PerKcal(), kcal / (f.Edible * f.KcalPer100g / 100)}
}

// cheapest are the items of a group by price per kcal eaten, ties by name. An item
// without one (see PerKcal) is not among them.
func cheapest(items []Item, group string) []Item {
	list := slices.DeleteFunc(slices.Clone(items), func(f Item) bool { return f.Group != group || math.IsNaN(f.PerKcal()) })
	slices.SortStableFunc(list, func(a, b Item) int {
		return cmp.Or(cmp.Compare(a.PerKcal(), b.PerKcal()), cmp.Compare(a.Name, b.Name))
	})
	return list
}

// EnergySufficient is the cost of an energy-sufficient diet (CoCA, cost of caloric
// adequacy): kcal a day from the cheapest starchy staple. ok is false if the group
// has no priced item or kcal is not positive; there is then no cost. Source: Herforth
// et al. 2020 (from memory).
func EnergySufficient(items []Item, staples string, kcal float64) (s Serving, ok bool) {
	list := cheapest(items, staples)
	if len(list) == 0 || !(kcal > 0) {
		return Serving{}, false
	}
	return serving(list[0], kcal), true
}

// Target is a food group of a healthy diet basket: Kcal a day from its Items
// cheapest items.
type Target struct {
	Group string
	Kcal  float64
	Items int
}

// Basket is a healthy diet basket priced.
type Basket []Part

// Part is a food group of a Basket.
type Part struct {
	Target
	Cost     float64 // money a day; NaN if Servings are too few
	Servings []Serving
}

// Healthy prices a healthy diet (CoHD): of each food group the n items with the
// lowest price per kcal eaten, each supplying Kcal/n (equal shares: from memory).
//
//	Cost_g = sum over the n cheapest of (Kcal_g/n) PerKcal
//
// A group with fewer priced items than n has no cost, and the whole has none: see
// Missing. Panics if a target has no item or no energy. Source: Herforth et al.,
// Methods and options to monitor the cost and affordability of a healthy diet
// globally, FAO 2022 (from memory).
func Healthy(items []Item, targets []Target) Basket {
	var b Basket
	for _, g := range targets {
		if g.Items < 1 || !(g.Kcal > 0) {
			panic(fmt.Sprintf("diet: target %+v", g))
		}
		part := Part{Target: g}
		list := cheapest(items, g.Group)
		for _, f := range list[:min(g.Items, len(list))] {
			s := serving(f, g.Kcal/float64(g.Items))
			part.Servings, part.Cost = append(part.Servings, s), part.Cost+s.Cost
		}
		if len(part.Servings) < g.Items {
			part.Cost = math.NaN()
		}
		b = append(b, part)
	}
	return b
}

// Total is the cost of all groups, NaN if one has none.
func (b Basket) Total() float64 {
	sum := 0.0
	for _, p := range b {
		sum += p.Cost
	}
	return sum
}

// KnownPart is the cost of the groups that have one.
func (b Basket) KnownPart() float64 {
	sum := 0.0
	for _, p := range b {
		if !math.IsNaN(p.Cost) {
			sum += p.Cost
		}
	}
	return sum
}

// Missing are the groups without a cost.
func (b Basket) Missing() (groups []string) {
	for _, p := range b {
		if math.IsNaN(p.Cost) {
			groups = append(groups, p.Group)
		}
	}
	return groups
}

// SharePct is a group's part of the total in percent; NaN without a total or such a
// group.
func (b Basket) SharePct(group string) float64 {
	for _, p := range b {
		if p.Group == group {
			return 100 * p.Cost / b.Total()
		}
	}
	return math.NaN()
}
