package pipeline

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"farthing/pipeline/result"
)

// planned traces how much of an item a plan uses a person and day: to the lines
// of its recipes, as they were costed.
func (t *tracer) planned(l result.BasketLine, plan string) (*Node, error) {
	i := slices.IndexFunc(t.e.Shoppings, func(s result.Shopping) bool { return s.Shopping == plan })
	if i < 0 {
		return nil, fmt.Errorf("trace: plan %s is not in the edition", plan)
	}
	s := t.e.Shoppings[i]
	sum := 0.0
	var inputs []*Node
	for _, m := range t.e.MealLines {
		if m.Shopping != plan || m.Item != l.Item || m.Grade != l.Grade || m.Supply == "free" {
			continue
		}
		n := &Node{Key: keyOf("meal_lines", append(result.Key(m), "ap_quantity")...), Formula: "to buy for all its servings, in " + m.BaseUnit + ": " + m.AsWritten + ", " + m.Basis}
		if m.APQuantity.OK {
			n.Value = m.APQuantity.V
		}
		path := strings.Split(m.Line, " > ") // a line of a recipe within it: NAME > 2
		recipe, number := m.Recipe, path[len(path)-1]
		if len(path) > 1 {
			recipe = path[len(path)-2]
		}
		for _, row := range t.tables.Recipes {
			if row.Recipe == recipe && strconv.Itoa(row.Line) == number {
				if err := t.fileLine(n, row.File, row.At.Line); err != nil {
					return nil, err
				}
			}
		}
		inputs = append(inputs, n)
		sum += n.number()
	}
	return computed(l.APQuantity, sum/float64(s.Persons.V*s.Days.V), fmt.Sprintf("sum of the plan's lines / (%d persons x %d days)", s.Persons.V, s.Days.V), inputs...)
}
