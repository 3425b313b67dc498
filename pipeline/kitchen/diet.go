package kitchen

import (
	"cmp"
	"errors"
	"fmt"
	"math/big"
	"slices"
	"strings"

	"farthing/pipeline/diet"
	"farthing/pipeline/reference"
	"farthing/pipeline/result"
	"farthing/pipeline/workspace"
)

// DietAsk says which least-cost diet: at the typical prices of a region and
// month, for one person and day.
type DietAsk struct {
	Kind    string // energy, nutrients or healthy
	Region  string
	Month   result.Month
	Group   string              // of tables/requirements, else of the reference intakes
	Kcal    *big.Rat            // the energy of kind energy and nutrients; nil: the group's
	AtMost  map[string]*big.Rat // base units a day of an item that are acceptable
	Without []string            // items left out
	Brief   bool                // without what one more of a nutrient costs
}

// DietKinds are the diets whose cost is published internationally: enough
// energy, the nutrients too, a healthy diet by food groups.
var DietKinds = []string{"energy", "nutrients", "healthy"}

// DietAnswer is a diet in rows. Cost is missing where there is no diet.
type DietAnswer struct {
	Ask       DietAsk
	Cost      result.Num
	KnownPart result.Num // of a healthy diet: the food groups that have a cost
	Currency  string
	Priced    int // items with a price, but for what seasons
	Usable    int // of them, those the diet could choose from: their contents are known
	Foods     []DietFood
	Levels    []DietLevel
	Conflict  []string // in words: no diet meets all of them together
	Missing   []string // in words: why a healthy diet has no cost
	LeftOut   []string // in words
	Groups    []DietGroup
}

// DietFood is an item of the diet; the columns serve the text too.
type DietFood struct {
	Item     string     `col:"item"`
	Amount   result.Num `col:"ap_quantity_per_day,quantity"`
	BaseUnit string     `col:"base_unit"`
	Cost     result.Num `col:"cost_lcu,money"`
	Least    result.Num `col:"least_quantity,quantity"` // over all diets of the same cost
	Most     result.Num `col:"most_quantity,quantity"`
	Limit    string     `col:"at_its_limit"`
	OneMore  result.Num `col:"one_more_lcu,index"` // what one unit more of its limit would change the cost by, where it is at it
}

// DietLevel is a nutrient of the diet.
type DietLevel struct {
	Nutrient string     `col:"nutrient"`
	Unit     string     `col:"unit"`
	Amount   result.Num `col:"amount,quantity"`
	Lower    result.Num `col:"lower,quantity"`
	Upper    result.Num `col:"upper,quantity"`
	Binding  string     `col:"binding"`
	OneMore  result.Num `col:"one_more_lcu,index"`
}

// DietGroup is a food group of the healthy diet.
type DietGroup struct {
	Group string     `col:"group"`
	Kcal  result.Num `col:"kcal,days"`
	Items string     `col:"items"`
	Cost  result.Num `col:"cost_lcu,money"`

	parts []diet.Serving
}

// priced is an item with its price and what a base unit of it, as bought, holds.
type priced struct {
	item *workspace.Item
	unit *big.Rat // price of a base unit
	Composition
}

// Diet computes a least-cost diet from the items that have a typical price in
// the default grade. It is a yardstick of prices, no advice on what to eat.
func (k *Kitchen) Diet(a DietAsk) (*DietAnswer, error) {
	if !slices.Contains(DietKinds, a.Kind) {
		return nil, unknown("kind", a.Kind, DietKinds)
	}
	var regions, items []string
	for _, r := range k.tables.Regions {
		regions = append(regions, r.Region)
	}
	for _, it := range k.tables.Items {
		items = append(items, it.Item)
	}
	if !slices.Contains(regions, a.Region) {
		return nil, unknown("region", a.Region, regions)
	}
	for item := range a.AtMost {
		if !slices.Contains(items, item) {
			return nil, unknown("at-most", item, items)
		}
	}
	for _, item := range a.Without {
		if !slices.Contains(items, item) {
			return nil, unknown("without", item, items)
		}
	}
	if a.Kind == "healthy" && (len(a.AtMost) > 0 || a.Kcal != nil) {
		return nil, &workspace.InputError{Code: "diet", Field: "kind", Read: "healthy with --at-most or --kcal", Instead: "these with --kind energy or nutrients: the healthy diet has amounts of its own"}
	}
	if a.Kind != "healthy" && a.Group == "" {
		var err error
		if a.Group, err = k.onlyGroup(); err != nil {
			return nil, err
		}
	}
	x := &DietAnswer{Ask: a, Currency: k.currency(a.Region)}
	var list []priced
	for i := range k.tables.Items {
		it := &k.tables.Items[i]
		if slices.Contains(a.Without, it.Item) {
			continue
		}
		row := k.typical[typicalKey{a.Region, it.Item, k.settings.Prices.DefaultGrade, a.Month}]
		if row == nil || !row.UnitPrice.OK {
			x.LeftOut = append(x.LeftOut, it.Item+": no price in "+a.Region+" in "+a.Month.String())
			continue
		}
		if seasoning(it.COICOP) {
			x.LeftOut = append(x.LeftOut, it.Item+": salt, sauces and spices season a diet and do not make one")
			continue
		}
		x.Priced++
		p := priced{it, rat(row.UnitPrice), k.foods.Composition(it)}
		if p.lacks != "" {
			x.LeftOut = append(x.LeftOut, it.Item+": "+p.lacks)
			continue
		}
		list = append(list, p)
	}
	if a.Kind == "healthy" {
		return x, k.healthy(x, list)
	}
	return x, k.leastCost(x, list)
}

// onlyGroup is the person group of the settings, else the only one of tables/requirements.
func (k *Kitchen) onlyGroup() (string, error) {
	if group := k.settings.Meals.PersonGroup; group != "" {
		return group, nil
	}
	var groups []string
	for _, r := range k.tables.Requirements {
		if !slices.Contains(groups, r.Group) {
			groups = append(groups, r.Group)
		}
	}
	if len(groups) == 1 {
		return groups[0], nil
	}
	return "", &workspace.InputError{Code: "diet", Field: "person-group", Read: "no person group", Instead: "--person-group with one of " + strings.Join(append(groups, reference.Groups("DRI")...), ", ")}
}

// dietNeeds are the bounds of a person group: from tables/requirements, else the reference intakes.
func (k *Kitchen) dietNeeds(group string) (list []diet.Nutrient, err error) {
	if err := k.checkRequirements(); err != nil {
		return nil, err
	}
	var groups []string
	byName := map[string]*diet.Nutrient{}
	add := func(name, unit string, lower, upper *big.Rat) {
		n := byName[name]
		if n == nil {
			n = &diet.Nutrient{Name: name, Unit: unit}
			byName[name] = n
		}
		if lower != nil && (n.Lower == nil || lower.Cmp(n.Lower) > 0) {
			n.Lower = lower
		}
		if upper != nil && (n.Upper == nil || upper.Cmp(n.Upper) < 0) {
			n.Upper = upper
		}
	}
	units := map[string]string{}
	for _, n := range reference.Nutrients() {
		units[n.Name] = n.Unit
	}
	for _, r := range k.tables.Requirements {
		if !slices.Contains(groups, r.Group) {
			groups = append(groups, r.Group)
		}
		if r.Group == group {
			convert := func(b *big.Rat) *big.Rat {
				if b == nil {
					return nil
				}
				b, _ = reference.InUnit(b, r.Unit, units[r.Nutrient])
				return b
			}
			add(r.Nutrient, units[r.Nutrient], convert(r.Lower), convert(r.Upper))
		}
	}
	if len(byName) == 0 {
		// The average requirement where there is one, else the adequate or
		// recommended intake, and the upper level: as the published cost of a
		// nutrient-adequate diet takes them (harmonised average requirements).
		for _, kinds := range [][]string{{"EAR", "UL", "reference"}, {"AI"}, {"RDA"}} {
			for _, n := range reference.Needs("DRI", group) {
				if !slices.Contains(kinds, n.Kind) || units[n.Nutrient] == "" {
					continue
				}
				lower, okL := convertOr(n.Lower, n.Unit, units[n.Nutrient])
				upper, okU := convertOr(n.Upper, n.Unit, units[n.Nutrient])
				if have := byName[n.Nutrient]; have != nil && have.Lower != nil {
					lower = nil
				}
				if okL && okU {
					add(n.Nutrient, units[n.Nutrient], lower, upper)
				}
			}
		}
	}
	if len(byName) == 0 {
		return nil, unknown("person-group", group, append(groups, reference.Groups("DRI")...))
	}
	for _, n := range reference.Nutrients() {
		if b := byName[n.Name]; b != nil {
			list = append(list, *b)
		}
	}
	return list, nil
}

func convertOr(b *big.Rat, from, to string) (*big.Rat, bool) {
	if b == nil {
		return nil, true
	}
	return reference.InUnit(b, from, to)
}

func (k *Kitchen) leastCost(x *DietAnswer, list []priced) error {
	a := x.Ask
	needs, err := k.dietNeeds(a.Group)
	if err != nil {
		return err
	}
	energy := slices.IndexFunc(needs, func(n diet.Nutrient) bool { return n.Name == "energy" })
	kcal := a.Kcal
	if kcal == nil && energy >= 0 {
		kcal = needs[energy].Lower
	}
	if kcal == nil {
		return &workspace.InputError{Code: "diet", Field: "kcal", Read: "no energy is known for " + a.Group, Instead: "--kcal with a person's energy need a day; local guidance has it"}
	}
	if energy < 0 {
		needs = append([]diet.Nutrient{{Name: "energy", Unit: "kcal"}}, needs...)
		energy = 0
	}
	if a.Kind == "energy" {
		needs = []diet.Nutrient{{Name: "energy", Unit: "kcal", Lower: kcal}}
		list = slices.DeleteFunc(list, func(p priced) bool { return groupOf(p.item.COICOP) != "starchy_staples" })
	} else {
		needs[energy].Lower, needs[energy].Upper = kcal, kcal
	}
	problem := diet.Problem{Nutrients: needs, Brief: a.Brief}
	for _, p := range list {
		f := diet.Food{Name: p.item.Item, Price: p.unit, Largest: a.AtMost[p.item.Item]}
		for _, n := range needs {
			content, _ := p.Content(n.Name)
			f.Content = append(f.Content, content)
		}
		problem.Foods = append(problem.Foods, f)
	}
	d, err := diet.LeastCost(problem)
	if conflict, ok := err.(*diet.Conflict); ok {
		x.Usable = len(list) - len(conflict.LeftOut)
		x.leaveOut(conflict.LeftOut)
		for _, l := range conflict.Limits {
			word := map[diet.LimitKind]string{diet.AtLeast: "at least", diet.AtMost: "at most", diet.FoodAtMost: "at most"}[l.Kind]
			unit := l.Unit
			if l.Kind == diet.FoodAtMost {
				unit = k.items[l.Name].BaseUnit
			}
			x.Conflict = append(x.Conflict, fmt.Sprintf("%s %s %s of %s", word, l.Bound.FloatString(2), unit, l.Name))
		}
		return nil
	}
	if errors.Is(err, diet.ErrNoFood) {
		return &workspace.InputError{Code: "diet", Field: "items", Read: "no item has a price and a known content", Instead: "fill food_code in tables/items: " + strings.Join(x.LeftOut, "; ")}
	}
	if err != nil {
		return err
	}
	x.Cost, x.KnownPart, x.Usable = num(d.Cost), num(d.Cost), len(list)-len(d.LeftOut)
	for _, f := range d.Foods {
		if f.Amount.Sign() == 0 && (f.Most == nil || f.Most.Sign() == 0) {
			continue
		}
		row := DietFood{f.Food, num(f.Amount), k.items[f.Food].BaseUnit, num(f.Cost), num(f.Least), num(f.Most), "no", result.Num{}}
		if f.AtItsLimit {
			row.Limit, row.OneMore = "yes", num(f.Extra)
		}
		x.Foods = append(x.Foods, row)
	}
	for i, n := range d.Nutrients {
		x.Levels = append(x.Levels, DietLevel{n.Nutrient, n.Unit, num(n.Amount), num(needs[i].Lower), num(needs[i].Upper), string(n.Binding), num(n.OneMore)})
	}
	x.leaveOut(d.LeftOut)
	return nil
}

// leaveOut says which foods were no choice, and why.
func (x *DietAnswer) leaveOut(foods []diet.LeftOut) {
	for _, l := range foods {
		x.LeftOut = append(x.LeftOut, strings.TrimSuffix(l.Food+": content of "+l.Nutrient+" is not known", "content of  is not known"))
	}
}

// seasoning says whether an item is of COICOP 2018 01.1.9.3 or 01.1.9.4, salt,
// condiments, spices (titles from memory): a program of nutrients alone would
// take them by the kilogram.
func seasoning(coicop string) bool {
	return strings.HasPrefix(coicop, "01.1.9.3") || strings.HasPrefix(coicop, "01.1.9.4")
}

// groupOf is the food group of an item by its code: COICOP 2018 divisions 01.1.1
// cereals, 01.1.2 to 01.1.4 meat, fish, dairy and eggs, 01.1.5 oils, 01.1.6 fruit
// and nuts, 01.1.7 vegetables, tubers and pulses (class titles from memory).
func groupOf(coicop string) string {
	switch {
	case strings.HasPrefix(coicop, "01.1.1"), strings.HasPrefix(coicop, "01.1.7.5"):
		return "starchy_staples"
	case strings.HasPrefix(coicop, "01.1.2"), strings.HasPrefix(coicop, "01.1.3"), strings.HasPrefix(coicop, "01.1.4"):
		return "animal_source"
	case strings.HasPrefix(coicop, "01.1.5"):
		return "oils_fats"
	case strings.HasPrefix(coicop, "01.1.7.6"):
		return "legumes_nuts_seeds"
	case strings.HasPrefix(coicop, "01.1.6"):
		return "fruits"
	case strings.HasPrefix(coicop, "01.1.7"):
		return "vegetables"
	}
	return ""
}

func (k *Kitchen) healthy(x *DietAnswer, list []priced) error {
	var items []diet.Item
	for _, p := range list {
		energy, ok := p.food.Nutrients["energy"]
		group := groupOf(p.item.COICOP)
		if !ok || group == "" {
			continue
		}
		price, _ := p.unit.Float64()
		kg, _ := p.kg.Float64()
		kcal, _ := energy.Per100g.Float64()
		items = append(items, diet.Item{Name: p.item.Item, Group: group, Price: price, Grams: kg * 1000, Edible: 1, KcalPer100g: kcal})
	}
	b := diet.Healthy(items, diet.HealthyDietBasket)
	x.Cost, x.Usable = result.Some(b.Total()), len(items)
	if known := b.KnownPart(); known > 0 {
		x.KnownPart = result.Some(known)
	}
	for _, part := range b {
		var names []string
		for _, it := range part.Servings {
			names = append(names, it.Name)
		}
		x.Groups = append(x.Groups, DietGroup{part.Group, result.Some(part.Kcal), strings.Join(names, ", "), result.Some(part.Cost), part.Servings})
	}
	for _, g := range b.Missing() {
		x.Missing = append(x.Missing, fmt.Sprintf("%s: fewer priced items than the diet asks for", g))
	}
	x.LeftOut = append(x.LeftOut, x.Missing...)
	slices.SortStableFunc(x.Groups, func(a, b DietGroup) int { return cmp.Compare(a.Group, b.Group) })
	return nil
}
