package pipeline

import (
	"math"

	"farthing/pipeline/result"
)

// diet traces a least-cost diet to its lines. That no cheaper one will do is
// proved where it is computed (package lp), and not walked again here.
func (t *tracer) diet(d result.Diet, column string) (*Node, error) {
	var lines []*Node
	var sum float64
	for _, l := range t.e.DietLines {
		if l.Region != d.Region || l.Month != d.Month || l.PersonGroup != d.PersonGroup || l.Diet != d.Diet {
			continue
		}
		n, err := find(t, t.e.DietLines, "diet_lines", result.Key(l), "per_day_lcu", t.dietLine)
		if err != nil {
			return nil, err
		}
		lines, sum = append(lines, n), sum+l.PerDay.V
	}
	if lines == nil {
		sum = math.NaN()
	}
	whole := func() (*Node, error) {
		if !d.PerDay.OK {
			return computed(d.PerDay, math.NaN(), "no diet was found: "+d.Lacks, lines...)
		}
		return computed(d.PerDay, sum, "sum of the lines", lines...)
	}
	switch column {
	case "per_day_lcu":
		return whole()
	case "known_part_lcu":
		return computed(d.KnownPart, sum, "sum of the lines", lines...)
	case "allowance_per_person_day_lcu", "cost_to_allowance":
		per, err := t.perMeal(result.Shopping{Programme: d.Programme, AmountKind: d.AmountKind, Household: d.Household, Region: d.Region, Month: d.Month})
		if err != nil {
			return nil, err
		}
		day, err := computed(d.AllowancePerDay, per.day, "allowance / (days x persons)", per.inputs...)
		if err != nil || column != "cost_to_allowance" {
			return day, err
		}
		cost, err := whole()
		if err != nil {
			return nil, err
		}
		day.Key, cost.Key = keyOf("diets", append(result.Key(d), "allowance_per_person_day_lcu")...), keyOf("diets", append(result.Key(d), "per_day_lcu")...)
		return computed(d.Ratio, d.PerDay.Or()/d.AllowancePerDay.Or(), "cost of a day / allowance of a person's day", cost, day)
	}
	return &Node{Formula: "read off the row", Inputs: lines}, nil
}

func (t *tracer) dietLine(l result.DietLine, column string) (*Node, error) {
	price, err := find(t, t.e.Items, "item", []string{l.Region, l.Item, t.then.Prices.DefaultGrade, l.Month.String()}, "unit_price_lcu", t.item)
	if err != nil {
		return nil, err
	}
	switch column {
	case "unit_price_lcu":
		return computed(l.UnitPrice, price.number(), "elementary price", price)
	case "per_day_lcu":
		return computed(l.PerDay, l.APQuantity.Or()*price.number(), "quantity as bought x unit price", price)
	}
	return &Node{Formula: "read off the row", Inputs: []*Node{price}}, nil
}
