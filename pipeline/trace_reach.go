package pipeline

import (
	"strings"

	"math"
	"strconv"

	"farthing/pipeline/result"
	"farthing/pipeline/workspace"
)

func (t *tracer) household(name string) (h result.Household, n *Node, err error) {
	n = new(Node)
	for _, h = range t.e.Households {
		if h.Household == name {
			n = &Node{Value: h.Equivalents.V, Formula: "person_equivalents of household " + name}
			break
		}
	}
	for _, row := range t.tables.Households {
		if row.Household == name {
			err = t.fileLine(n, row.File, row.Line)
		}
	}
	return h, n, err
}

// reachFormulas say how each column follows from the allowance A of the month,
// the cost C of a day, the days D in the month, and the meals M eaten in it.
var reachFormulas = map[string]struct {
	text string
	f    func(a, c, d, m float64) float64
}{
	"allowance_lcu":          {"amount in force on the pay day, for the month", func(a, c, d, m float64) float64 { return a }},
	"per_day_lcu":            {"cost of the household's basket a day", func(a, c, d, m float64) float64 { return c }},
	"reach_days":             {"allowance / per_day", func(a, c, d, m float64) float64 { return a / c }},
	"adequacy":               {"allowance / (per_day x days in the month)", func(a, c, d, m float64) float64 { return a / (c * d) }},
	"balance_lcu":            {"allowance - per_day x days in the month", func(a, c, d, m float64) float64 { return a - c*d }},
	"shortfall_lcu":          {"max(0, per_day x days in the month - allowance)", func(a, c, d, m float64) float64 { return max(0, c*d-a) }},
	"shortfall_per_meal_lcu": {"shortfall / (days x persons x meals a day)", func(a, c, d, m float64) float64 { return max(0, c*d-a) / m }},
	"allowance_per_day_lcu":  {"allowance / days in the month", func(a, c, d, m float64) float64 { return a / d }},
	"allowance_per_meal_lcu": {"allowance / (days x persons x meals a day)", func(a, c, d, m float64) float64 { return a / m }},
	"fed_days":               {"greatest whole n with n x per_day <= allowance, at most the days to the next pay day", nil},
	"run_out_on":             {"pay day + fed_days; blank where the allowance lasts to the next pay day", nil},
	"catch_up_lcu":           {"reach_days of the base month x per_day", nil},
}

func (t *tracer) reach(r result.Reach, column string) (*Node, error) {
	h, _, err := t.household(r.Household)
	if err != nil {
		return nil, err
	}
	allowance, err := t.allowanceOf(r.Programme, r.AmountKind, r.Region, h.Persons, r.Month)
	if err != nil {
		return nil, err
	}
	perDay, err := find(t, t.e.Baskets, "basket", []string{r.Region, r.Household, r.Basket, r.Month.String()}, "per_day_lcu", t.basket)
	if err != nil {
		return nil, err
	}
	if column == "allowance_real_lcu" {
		return t.real(r.AllowanceReal, allowance, r.Region, r.Month)
	}
	f, ok := reachFormulas[column]
	if !ok {
		return &Node{Formula: "read off the row"}, nil
	}
	inputs := []*Node{allowance, perDay}
	if f.f == nil {
		return &Node{Formula: f.text, Inputs: inputs}, nil
	}
	a, okA := allowance.Value.(float64)
	c, okC := perDay.Value.(float64)
	if !okA || !okC {
		return &Node{Formula: f.text, Inputs: inputs}, nil
	}
	text, _ := result.Field(r, column)
	v, err := strconv.ParseFloat(text, 64)
	published := result.Num{V: v, OK: err == nil}
	days := float64(r.Month.Days())
	return computed(published, f.f(a, c, days, days*float64(h.Persons.V*h.MealsPerDay.V)), f.text, inputs...)
}

func (t *tracer) allowanceOf(programme, kind, region string, persons result.Int, m result.Month) (*Node, error) {
	return find(t, t.e.Allowances, "allowances", []string{programme, kind, region, persons.String(), m.String()}, "allowance_lcu", t.allowance)
}

func (t *tracer) allowance(a result.Allowance, column string) (*Node, error) {
	n := &Node{Formula: "row of the allowance table in force on the pay day"}
	if a.Per != "" && a.Per != "month" {
		n.Formula = "amount x days in the month / days of " + a.Per
	}
	return n, t.fileLine(n, a.File, a.Line.V)
}

func (t *tracer) basket(b result.Basket, column string) (*Node, error) {
	_, heads, err := t.household(b.Household)
	if err != nil {
		return nil, err
	}
	sum, known := 0.0, math.NaN()
	inputs := []*Node{heads}
	for _, l := range t.e.Lines {
		if l.Region != b.Region || l.Basket != b.Basket || l.Month != b.Month {
			continue
		}
		n, err := t.line(l, "per_day_lcu")
		if err != nil {
			return nil, err
		}
		n.Key = keyOf("basket_lines", append(result.Key(l), "per_day_lcu")...)
		inputs = append(inputs, n)
		sum += l.PerDay.Or()
		if l.PerDay.OK {
			known = l.PerDay.V + notNaN(known)
		}
	}
	equivalents := heads.number()
	switch column {
	case "per_day_lcu":
		return computed(b.PerDay, sum*equivalents, "person_equivalents x sum of the lines", inputs...)
	case "known_part_lcu":
		return computed(b.KnownPart, known*equivalents, "person_equivalents x sum of the lines that have a price", inputs...)
	case "standard_month_lcu":
		return computed(b.StandardMonth, sum*equivalents*30.4375, "per_day x 30.4375", inputs...)
	case "real_per_day_lcu":
		perDay, err := computed(b.PerDay, sum*equivalents, "person_equivalents x sum of the lines", inputs...)
		if err != nil {
			return nil, err
		}
		perDay.Key = keyOf("basket", append(result.Key(b), "per_day_lcu")...)
		return t.real(b.RealPerDay, perDay, b.Region, b.Month)
	}
	return &Node{Formula: "from the status and weights of the lines", Inputs: inputs}, nil
}

func (t *tracer) line(l result.BasketLine, column string) (*Node, error) {
	price, err := find(t, t.e.Items, "item", []string{l.Region, l.Item, l.Grade, l.Month.String()}, "unit_price_lcu", t.item)
	if err != nil && l.UnitPrice.OK {
		return nil, err
	}
	if err != nil {
		price = &Node{Formula: "no price of it in this region"} // never noted there
	}
	quantity := &Node{Formula: "quantity to buy a day, in " + l.BaseUnit}
	if l.APQuantity.OK {
		quantity.Value = l.APQuantity.V
	}
	if plan, ok := strings.CutPrefix(l.Basket, workspace.PlanPrefix); ok {
		if quantity, err = t.planned(l, plan); err != nil {
			return nil, err
		}
	}
	for _, row := range t.tables.Baskets {
		if row.Basket == l.Basket && row.Item == l.Item && (row.Grade == l.Grade || row.Grade == "") {
			if err := t.fileLine(quantity, row.File, row.Line); err != nil {
				return nil, err
			}
		}
	}
	switch column {
	case "per_day_lcu":
		return computed(l.PerDay, quantity.number()*price.number(), "quantity a day x unit price", quantity, price)
	case "unit_price_lcu":
		return computed(l.UnitPrice, price.number(), "the item's price", price)
	}
	return &Node{Formula: "read off the row", Inputs: []*Node{quantity, price}}, nil
}
