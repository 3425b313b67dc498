package kitchen

import (
	"cmp"
	"fmt"
	"math/big"
	"slices"
	"strings"

	"farthing/pipeline/meal"
	"farthing/pipeline/result"
	"farthing/pipeline/workspace"
)

// PlanBaskets gives the tables with each plan that a [[publish]] names, as
// plan:NAME, for a basket among the others:
//
//	AP quantity of an item and grade a person and day = sum over the plan's lines / (persons x days)
//
// Persons are those of the household that [meals], else the front page, names;
// days run from the plan's first to its last. A quantity that is not known is
// nil in the basket. What the figures leave open is in the warnings.
func PlanBaskets(s workspace.Settings, t *workspace.Tables, foods Foods) (*workspace.Tables, []result.Warning, error) {
	with := *t
	with.Baskets = slices.Clone(t.Baskets)
	k := open(s, t, foods)
	_, plans := k.Names()
	x := new(Answer) // its warnings
	done := map[string]bool{}
	for i, c := range s.Publish {
		name, ok := strings.CutPrefix(c.Basket, workspace.PlanPrefix)
		if !ok || done[name] {
			continue
		}
		done[name] = true
		fail := func(field, read, instead string) error {
			return &workspace.InputError{Code: "settings", File: workspace.SettingsFile, Line: s.PublishLine(i, field), Field: "publish." + field, Read: read, Instead: instead}
		}
		if !slices.Contains(plans, name) {
			advice := "the name of a plan of tables/plans after " + workspace.PlanPrefix
			if near := workspace.Nearest(name, plans); near != "" {
				advice = fmt.Sprintf("did you mean %q?", workspace.PlanPrefix+near)
			}
			return nil, nil, fail("basket", fmt.Sprintf("%q: no plan has this name", c.Basket), advice)
		}
		h, ok := k.fed()
		if !ok {
			return nil, nil, fail("basket", fmt.Sprintf("%q: whom the plan feeds is not known", c.Basket), "household under [meals]: the persons that share the plan's servings")
		}
		rows, err := k.planBasket(x, name, h)
		if err != nil {
			return nil, nil, err
		}
		with.Baskets = append(with.Baskets, rows...)
		with.Off = slices.DeleteFunc(slices.Clone(with.Off), func(o workspace.Off) bool { return o.Table == "baskets" })
	}
	return &with, x.Warnings, nil
}

// front is the first [[publish]], the front page's.
func front(s workspace.Settings) (c workspace.Combination) {
	if len(s.Publish) > 0 {
		c = s.Publish[0]
	}
	return c
}

// fed is the household that plans are for.
func (k *Kitchen) fed() (workspace.Household, bool) {
	name := cmp.Or(k.settings.Meals.Household, front(k.settings).Household)
	i := slices.IndexFunc(k.tables.Households, func(h workspace.Household) bool { return h.Household == name })
	if i < 0 {
		return workspace.Household{}, false
	}
	h := k.tables.Households[i]
	h.MealsPerDay = cmp.Or(h.MealsPerDay, workspace.MealsPerDay)
	return h, true
}

// cooksIn is the region whose measures a plan is read by: that of [meals], of
// the front page, or the first without a parent.
func (k *Kitchen) cooksIn() string {
	var tops []string
	for _, r := range k.tables.Regions {
		if r.Parent == "" {
			tops = append(tops, r.Region)
		}
	}
	slices.Sort(tops)
	return cmp.Or(append([]string{k.settings.Meals.Region, front(k.settings).Region}, tops...)...)
}

func (k *Kitchen) planBasket(x *Answer, name string, h workspace.Household) ([]workspace.Basket, error) {
	a := Ask{Name: name, Region: k.cooksIn()}
	b, err := k.book(a)
	if err != nil {
		return nil, err
	}
	plan, _ := k.plan(a)
	lines, days, err := b.planned(plan)
	if err != nil {
		return nil, err
	}
	basket := workspace.PlanPrefix + name
	c := &cooked{book: b}
	sums := map[good]*big.Rat{}
	var goods []good
	var free, cupboard []string
	for _, l := range lines {
		g := goodOf(l.Good)
		switch l.Supply {
		case meal.Free:
			free = append(free, g.item)
			continue
		case meal.Cupboard:
			cupboard = append(cupboard, g.item)
		}
		ap, err := l.AP()
		if err != nil {
			return nil, badRecipes(err)
		}
		sum, seen := sums[g]
		if !seen {
			goods, sum = append(goods, g), new(big.Rat)
		}
		if ap == nil {
			lack := meal.LacksQuantity
			if l.Quantity != nil {
				lack = meal.LacksYield
			}
			x.warn("plan_incomplete", fmt.Sprintf("%s has no total: %s, line %s, %s: %s", basket, l.Dish, lineKey(l), g.item, c.lacks(meal.Cost{Line: l, Lacks: lack})),
				"without it only the known part of the basket has a cost", basket+"/"+l.Dish+"/"+lineKey(l))
		}
		if ap == nil || sum == nil {
			sums[g] = nil
			continue
		}
		sums[g] = sum.Add(sum, ap)
	}
	listed := func(items []string) string {
		slices.Sort(items)
		return strings.Join(slices.Compact(items), ", ")
	}
	if len(free) > 0 {
		x.warn("plan_free", fmt.Sprintf("%s is without what its recipes take as free, which costs nothing: %s", basket, listed(free)), "write another supply in the recipe, if it is paid for", basket)
	}
	if len(cupboard) > 0 {
		x.warn("plan_cupboard", fmt.Sprintf("%s counts what its recipes take from the cupboard as bought: %s", basket, listed(cupboard)), "write free in the recipe, if it costs nothing", basket)
	}
	if said := absent(plan, days, h); said != "" {
		x.warn("plan_meals", fmt.Sprintf("%s is made of %s", basket, said), "plan these meals too: the basket is what is planned, not a whole day", basket)
	}
	at := k.tables.Plans[slices.IndexFunc(k.tables.Plans, func(p workspace.Plan) bool { return p.Plan == name })].At
	persons := big.NewRat(int64(h.Persons*days), 1)
	var rows []workspace.Basket
	for _, g := range goods {
		r := workspace.Basket{At: at, Basket: basket, Item: g.item, Grade: g.grade, Unit: k.items[g.item].BaseUnit, Per: "day", Basis: "AP",
			Source: fmt.Sprintf("plan %s: %d persons, %d days", name, h.Persons, days)}
		if sum := sums[g]; sum != nil {
			if sum.Sign() == 0 {
				continue // named with a quantity of 0: not in the basket
			}
			r.Quantity = new(big.Rat).Quo(sum, persons)
		}
		rows = append(rows, r)
	}
	return rows, nil
}

// absent says which meals of which days a plan has not, of those that a
// household eats; "" where it has all.
func absent(plan []meal.Serving, days int, h workspace.Household) string {
	var names []string
	planned := map[int][]string{}
	for _, s := range plan {
		if !slices.Contains(names, s.Meal) {
			names = append(names, s.Meal)
		}
		if !slices.Contains(planned[s.Day], s.Meal) {
			planned[s.Day] = append(planned[s.Day], s.Meal)
		}
	}
	var said []string
	all, lacking := days*h.MealsPerDay, 0
	for day := plan[0].Day; day < plan[0].Day+days; day++ {
		n := h.MealsPerDay - len(planned[day])
		if n <= 0 {
			continue
		}
		lacking += n
		var which []string
		for _, name := range names {
			if !slices.Contains(planned[day], name) {
				which = append(which, name)
			}
		}
		list := strings.Join(which, ", ")
		switch {
		case len(which) == 0:
			list = fmt.Sprintf("%d more", n)
		case len(which) < n:
			list += fmt.Sprintf(" and %d more", n-len(which))
		case len(which) > n:
			list = fmt.Sprintf("%d of %s", n, list)
		}
		said = append(said, fmt.Sprintf("day %d: %s", day, list))
	}
	if lacking == 0 {
		return ""
	}
	return fmt.Sprintf("%d of the %d meals of its days %d to %d; absent are %s", all-lacking, all, plan[0].Day, plan[0].Day+days-1, strings.Join(said, "; "))
}
