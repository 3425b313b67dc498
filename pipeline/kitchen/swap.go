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

// Swaps are the least sacrifice that brings a shopping to a target, and each
// change by itself.
type Swaps struct {
	Target, Before, After, Least *big.Rat // nil: not known
	Feasible                     bool
	Sacrifice                    int
	Rows                         []result.Swapped
	Tie                          []result.Swapped // another plan that is as good
	Warnings                     []result.Warning
}

// place is a line of a dish that may change, cooked once or more.
type place struct {
	recipe, line string
	lines        []meal.Cost
	options      []good // the first as it stands
	ratio        []*big.Rat
}

// Swap finds the least sacrifice that brings the portion cost of a shopping to a
// target, by default what its allowance gives. The sacrifice of a change is the
// greater of the line's keep and the swap's, each 1 if blank; a line of keep 9
// stays. Swaps follow each other: what may become a, which may become b, may
// become b, for the sum of the keeps, at most 9. Without a target there is none.
func (k *Kitchen) Swap(x *Answer, target *big.Rat) (*Swaps, error) {
	c := x.cooked
	if target == nil {
		target = c.target
	}
	s := &Swaps{Target: target, Before: c.shop.Portion}
	if target == nil || c.shop.Portion == nil {
		return s, nil
	}
	places := k.places(x)
	if len(places) == 0 && len(c.shop.Lines) == 0 {
		return s, nil
	}
	var choices []meal.Choice
	for _, p := range places {
		choice := meal.Choice{Name: p.recipe + ", line " + p.line}
		for i, g := range p.options {
			option := meal.Option{Name: g.text(), Sacrifice: k.sacrifice(p, i)}
			option.Cost = k.costAs(x, p, i)
			choice.Options = append(choice.Options, option)
		}
		choices = append(choices, choice)
	}
	least, err := meal.LeastSacrifice(choices, target)
	if err != nil {
		return nil, err
	}
	s.take(x, places, least)
	return s, nil
}

// take puts an answer into rows.
func (s *Swaps) take(x *Answer, places []place, least *meal.Swap) {
	s.Target, s.Before, s.Feasible, s.After, s.Least, s.Sacrifice = least.Target, least.Before, least.Feasible, least.After, least.Least, least.Sacrifice
	row := func(change string, m meal.Change, enough bool) result.Swapped {
		p := places[m.Choice]
		r := result.Swapped{Shopping: x.Ask.Name, Change: change, Recipe: p.recipe, Line: p.line, From: m.From, To: m.To, Sacrifice: result.Count(m.Sacrifice),
			Saving: num(m.Saving), Target: num(s.Target), Enough: "no", Base: x.Shopping.Base}
		if m.Saving != nil {
			r.After = num(new(big.Rat).Sub(s.Before, m.Saving))
		}
		if enough {
			r.Enough = "yes"
		}
		return r
	}
	for _, m := range least.Changes {
		s.Rows = append(s.Rows, row("least", m, m.Saving != nil && new(big.Rat).Sub(s.Before, m.Saving).Cmp(s.Target) <= 0))
	}
	for _, m := range least.Singles {
		s.Rows = append(s.Rows, row("alone", m.Change, m.Reaches))
	}
	for i := range s.Rows {
		s.Rows[i].Nth = result.Count(i + 1)
	}
	for i, chosen := range least.Tie {
		if chosen > 0 {
			alone := places[i].options
			change := meal.Change{Choice: i, Option: chosen, From: alone[0].text(), To: alone[chosen].text()}
			for _, m := range least.Singles { // the saving of the change by itself, where it is known
				if m.Choice == i && m.Option == chosen {
					change = m.Change
				}
			}
			s.Tie = append(s.Tie, row("least", change, false))
		}
	}
	for _, m := range least.Unpriced {
		s.Warnings = append(s.Warnings, result.Warning{Code: "no_price", Text: fmt.Sprintf("%s instead of %s is left out: it has no price", m.To, m.From), Cure: "note one", Key: m.To})
	}
}

// TillSwaps are swaps by till cost, with how sure they are.
type TillSwaps struct {
	Swaps
	Proven         bool     // there is no less sacrifice, or it is certain that the target cannot be reached
	SacrificeBound int      // no plan within the target has less
	LeastProven    bool     // Least is the least till cost there is
	LeastBound     *big.Rat // no plan has a till cost below it
}

// Till is the least sacrifice by till cost, whole packs over the plan.
func (k *Kitchen) Till(x *Answer, target *big.Rat) (*TillSwaps, error) {
	c := x.cooked
	if target == nil {
		target = c.target
	}
	if target == nil {
		return nil, &workspace.InputError{Code: "swap", Field: "target", Read: "no allowance is known", Instead: "--target with a sum of money"}
	}
	var choices []meal.Choice
	places := k.places(x)
	for _, p := range places {
		choice := meal.Choice{Name: p.recipe + ", line " + p.line}
		for i, g := range p.options {
			option := meal.Option{Name: g.text(), Sacrifice: k.sacrifice(p, i)}
			for _, l := range p.lines {
				option.Lines = append(option.Lines, instead(l, g, p.ratio[i]))
			}
			choice.Options = append(choice.Options, option)
		}
		choices = append(choices, choice)
	}
	plan := c.plan
	plan.Lines = nil
	found, err := meal.LeastSacrificeAtTill(choices, plan, target, 0)
	if err != nil {
		return nil, err
	}
	s := &TillSwaps{Proven: found.Proven, SacrificeBound: found.SacrificeBound, LeastProven: found.LeastProven, LeastBound: found.LeastBound}
	s.take(x, places, &found.Swap)
	return s, nil
}

func (g good) text() string { return strings.TrimSpace(g.item + " " + g.grade) }

// places are the lines of a shopping with what each may become.
func (k *Kitchen) places(x *Answer) (list []place) {
	c := x.cooked
	for _, l := range c.shop.Lines {
		line := lineKey(l.Line)
		i := slices.IndexFunc(list, func(p place) bool { return p.recipe == l.Dish && p.line == line })
		if i < 0 {
			i = len(list)
			p := place{recipe: l.Dish, line: line, options: []good{goodOf(l.Good)}, ratio: []*big.Rat{big.NewRat(1, 1)}}
			if l.Supply != meal.Free && k.keepOn(l.Line) < workspace.MustStay {
				k.reachable(&p)
			}
			list = append(list, p)
		}
		list[i].lines = append(list[i].lines, l)
	}
	for _, p := range list {
		for _, g := range p.options {
			k.offer(x.Ask, c, g)
		}
	}
	return list
}

// reachable adds what swaps lead to, nearest first.
func (k *Kitchen) reachable(p *place) {
	for at := 0; at < len(p.options); at++ {
		for _, s := range k.tables.Swaps {
			from := good{s.Item, cmp.Or(s.Grade, k.settings.Prices.DefaultGrade)}
			to := good{s.ToItem, cmp.Or(s.ToGrade, k.settings.Prices.DefaultGrade)}
			if from == p.options[at] && !slices.Contains(p.options, to) {
				p.options, p.ratio = append(p.options, to), append(p.ratio, new(big.Rat).Mul(p.ratio[at], s.Ratio))
			}
		}
	}
}

// sacrifice of making a line by its i-th option: the least sum of keeps on a way there.
func (k *Kitchen) sacrifice(p place, i int) int {
	if i == 0 {
		return 0
	}
	cost := map[good]int{p.options[0]: 0}
	for range p.options {
		for _, s := range k.tables.Swaps {
			from := good{s.Item, cmp.Or(s.Grade, k.settings.Prices.DefaultGrade)}
			to := good{s.ToItem, cmp.Or(s.ToGrade, k.settings.Prices.DefaultGrade)}
			if have, ok := cost[from]; ok && to != p.options[0] {
				if old, seen := cost[to]; !seen || have+keepOf(s.Keep) < old {
					cost[to] = have + keepOf(s.Keep)
				}
			}
		}
	}
	return min(max(cost[p.options[i]], k.keepOn(p.lines[0].Line)), workspace.MustStay)
}

// keepOn is the greatest keep on the way to a line: of the rows that take in its
// sub-recipes, and of its own.
func (k *Kitchen) keepOn(l meal.Line) int {
	keep, recipe := 0, l.Dish
	greatest := func(is func(r *workspace.Recipe) bool) {
		for i := range k.tables.Recipes {
			if r := &k.tables.Recipes[i]; r.Recipe == recipe && is(r) {
				keep = max(keep, keepOf(r.Keep))
			}
		}
	}
	for _, next := range strings.Split(l.Via, " > ") {
		if next != "" {
			greatest(func(r *workspace.Recipe) bool { return r.SubRecipe == next && r.Keep != nil })
			recipe = next
		}
	}
	greatest(func(r *workspace.Recipe) bool { return r.Line == l.Number })
	return keep
}

func keepOf(k *big.Rat) int {
	if k == nil {
		return 1
	}
	f, _ := k.Float64()
	return int(f)
}

// instead is a line made of another good: its AP quantity times the ratio.
func instead(l meal.Cost, g good, ratio *big.Rat) meal.Line {
	if g.name() == l.Good {
		return l.Line
	}
	to := l.Line
	to.Good, to.Basis, to.Yield, to.Quantity = g.name(), meal.AP, nil, meal.PortionCost(l.APQuantity, ratio)
	if to.Supply == meal.Cupboard {
		to.Supply = meal.Bought // what stands in the cupboard is the other good
	}
	return to
}

// costAs is what all lines of a place cost as an option; nil: no price.
func (k *Kitchen) costAs(x *Answer, p place, i int) *big.Rat {
	if i == 0 {
		sum := new(big.Rat)
		for _, l := range p.lines {
			sum.Add(sum, l.Cost)
		}
		return sum
	}
	offer := x.cooked.prices[p.options[i].name()]
	if offer == nil {
		return nil
	}
	sum := new(big.Rat)
	for _, l := range p.lines {
		part := meal.PortionCost(l.APQuantity, p.ratio[i])
		sum.Add(sum, part.Quo(part.Mul(part, offer.Price), offer.Size))
	}
	return sum
}
