package reference

import (
	"cmp"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"maps"
	"math/big"
	"slices"
	"strconv"

	"farthing/pipeline/quantity"
)

// At is where a row of a table stands, for the errors.
type At struct {
	File string
	Line int
}

// Rows of the tables that a user may keep. Their source is printed with what rests on them.
type (
	// FoodRow of tables/foods: food_code*, food_name*, refuse_share, source*. The share is of the weight as bought; nil: unknown.
	FoodRow struct {
		At
		Code, Name string
		Refuse     *big.Rat
		Source     string
	}
	// NutrientRow of tables/nutrients: food_code*, nutrient* | per_100g_edible*, unit*, source*.
	NutrientRow struct {
		At
		FoodCode, Nutrient string
		Per100g            *big.Rat
		Unit, Source       string
	}
	// WeightRow of tables/food_weights: food_code*, measure*, form | count*, grams*, source*; see Weight.
	WeightRow struct {
		At
		FoodCode, Measure, Form string
		Count, Grams            *big.Rat
		Source                  string
	}
)

// RowError is a row that can not be: where it stands, its field, what was read and what to write instead.
type RowError struct {
	At
	Field, Read, Instead string
}

func (e *RowError) Error() string {
	return e.File + ":" + strconv.Itoa(e.Line) + ": " + e.Field + ": " + e.Read + "; " + e.Instead
}

var hundred = big.NewRat(100, 1)

// perHundred says what is wrong with an amount in 100 g, "" if nothing is.
func perHundred(v *big.Rat, unit string) string {
	if v.Sign() < 0 {
		return "below zero"
	}
	if grams, isMass := InUnit(v, unit, "g"); isMass && grams.Cmp(hundred) > 0 {
		return "more than 100 g in 100 g"
	}
	return ""
}

// FromTables are the foods of a user's tables. Amounts of a known nutrient are turned into its unit; a nutrient of the user's own keeps the unit of its
// first row. Every row that can not be is a *RowError in the error: a blank key or source, a double one, an amount below zero or above what 100 g can hold, a
// unit that does not fit, a refuse share above 1, a household weight of nothing, a second volume of one form, a volume that is none of cup_us, tbsp_us, tsp_us, floz_us.
func FromTables(foods []FoodRow, amounts []NutrientRow, weights []WeightRow) (*Foods, error) {
	all := &Foods{map[string]*Food{}}
	var errs []error
	fail := func(at At, field, read, instead string) { errs = append(errs, &RowError{at, field, read, instead}) }
	food := func(at At, code, source string) *Food {
		code = Code(code)
		switch {
		case code == "":
			fail(at, "food_code", "nothing", "the code of the food")
			return nil
		case source == "":
			fail(at, "source", "nothing", "where the figure was read")
			return nil
		case all.byCode[code] == nil:
			all.byCode[code] = &Food{Code: code, Nutrients: map[string]Content{}, Source: source, Status: quantity.Published}
		}
		return all.byCode[code]
	}
	for _, r := range foods {
		f := food(r.At, r.Code, r.Source)
		switch {
		case f == nil:
		case r.Name == "":
			fail(r.At, "food_name", "nothing", "the food's name")
		case f.Name != "":
			fail(r.At, "food_code", r.Code+" stands twice", "one row for a food")
		case r.Refuse != nil && (r.Refuse.Sign() < 0 || r.Refuse.Cmp(big.NewRat(1, 1)) > 0):
			fail(r.At, "refuse_share", r.Refuse.RatString(), "a share of the weight as bought, from 0 to 1, or nothing where it is not known")
		default:
			f.Name, f.Refuse = r.Name, r.Refuse
		}
	}
	units := map[string]string{}
	for _, n := range nutrients {
		units[n.Name] = n.Unit
	}
	for _, r := range amounts {
		f := food(r.At, r.FoodCode, r.Source)
		switch {
		case f == nil:
			continue
		case r.Nutrient == "":
			fail(r.At, "nutrient", "nothing", "a name such as "+nutrients[1].Name)
			continue
		case r.Per100g == nil:
			fail(r.At, "per_100g_edible", "nothing", "an amount, or leave the row out: a nutrient without a row is unknown")
			continue
		}
		unit, known := units[r.Nutrient]
		if !known {
			unit = r.Unit
			units[r.Nutrient] = unit
		}
		v, ok := InUnit(r.Per100g, r.Unit, unit)
		if !ok {
			fail(r.At, "unit", strconv.Quote(r.Unit), cmp.Or(unit, "g, mg, ug, kcal or kJ"))
			continue
		}
		if why := perHundred(v, unit); why != "" {
			fail(r.At, "per_100g_edible", r.Per100g.RatString()+" "+r.Unit+": "+why, "the amount in 100 g, or its right unit")
			continue
		}
		if _, twice := f.Nutrients[r.Nutrient]; twice {
			fail(r.At, "nutrient", r.Nutrient+" of "+f.Code+" stands twice", "one row for a food and nutrient")
			continue
		}
		f.Nutrients[r.Nutrient] = Content{v, unit, r.Source, quantity.Published}
	}
	for _, r := range weights {
		f := food(r.At, r.FoodCode, r.Source)
		if f == nil {
			continue
		}
		w := Weight{r.Measure, r.Form, r.Count, r.Grams, r.Source, quantity.Published}
		switch {
		case w.Measure == "":
			fail(r.At, "measure", "nothing", "a measure such as piece or cup_us")
		case isVolume(w.Measure) && !slices.Contains(volumes, w.Measure):
			fail(r.At, "measure", w.Measure, "one of cup_us, tbsp_us, tsp_us, floz_us, or a measure that does not end in _us")
		case w.Count == nil || w.Count.Sign() <= 0 || w.Grams == nil || w.Grams.Sign() <= 0:
			fail(r.At, "count, grams", "nothing, or not above 0", "how many of the measure weigh how many grams")
		case f.has(w):
			fail(r.At, "measure", w.Measure+" of "+f.Code+" stands twice", "one weight for a measure and form, and of volumes one for a form: it gives the density")
		default:
			f.Weights = append(f.Weights, w)
		}
	}
	return all, errors.Join(errs...)
}

// has says whether a food has a weight of this measure and form; any volume gives the density.
func (f *Food) has(w Weight) bool {
	return slices.ContainsFunc(f.Weights, func(x Weight) bool {
		return x.Form == w.Form && (x.Measure == w.Measure || isVolume(x.Measure) && isVolume(w.Measure))
	})
}

// WriteFoods writes tables/foods.csv: code, name and refuse of each food, by code.
func (f *Foods) WriteFoods(w io.Writer) error {
	return f.table(w, []string{"food_code", "food_name", "refuse_share", "source"}, func(x *Food, row func(...string)) {
		row(x.Code, x.Name, decimalText(x.Refuse), x.Source)
	})
}

// WriteNutrients writes tables/nutrients.csv, by code, nutrients in the order of this package. Figures are decimals; FromTables of what is written gives the same.
func (f *Foods) WriteNutrients(w io.Writer) error {
	order := map[string]int{}
	for i, n := range nutrients {
		order[n.Name] = i - len(nutrients) // before the names that are not known here
	}
	return f.table(w, []string{"food_code", "nutrient", "per_100g_edible", "unit", "source"}, func(x *Food, row func(...string)) {
		for _, name := range slices.SortedFunc(maps.Keys(x.Nutrients), func(a, b string) int { return cmp.Or(cmp.Compare(order[a], order[b]), cmp.Compare(a, b)) }) {
			c := x.Nutrients[name]
			row(x.Code, name, decimalText(c.Per100g), c.Unit, c.Source)
		}
	})
}

// WriteWeights writes tables/food_weights.csv, by code, the weights of a food as they stand.
func (f *Foods) WriteWeights(w io.Writer) error {
	return f.table(w, []string{"food_code", "measure", "form", "count", "grams", "source"}, func(x *Food, row func(...string)) {
		for _, h := range x.Weights {
			row(x.Code, h.Measure, h.Form, decimalText(h.Count), decimalText(h.Grams), h.Source)
		}
	})
}

func (f *Foods) table(w io.Writer, head []string, rows func(x *Food, row func(...string))) error {
	out := csv.NewWriter(w)
	err := out.Write(head)
	for _, code := range f.Codes() {
		rows(f.byCode[code], func(cells ...string) { err = errors.Join(err, out.Write(cells)) })
	}
	out.Flush()
	return errors.Join(err, out.Error())
}

// decimalText is a decimal with the digits that it needs, "" where there is none.
func decimalText(r *big.Rat) string {
	if r == nil {
		return ""
	}
	n, exact := r.FloatPrec()
	if !exact {
		panic(fmt.Sprintf("%s is no decimal", r))
	}
	return r.FloatString(n)
}
