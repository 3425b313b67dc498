package reference

import (
	"cmp"
	"maps"
	"math/big"
	"slices"
	"strings"
	"sync"

	"farthing/pipeline/quantity"
)

// Nutrient is what the tables of this package count, under its name there and in its unit per 100 g.
type Nutrient struct {
	Name, Unit string
	sr         string // number in the USDA table
}

// nutrients in the order of a label, then minerals, then vitamins. Energy is in kcal (1 kcal = 4.184 kJ).
var nutrients = []Nutrient{
	{"energy", "kcal", "208"}, {"protein", "g", "203"}, {"fat", "g", "204"}, {"saturated_fat", "g", "606"}, {"carbohydrate", "g", "205"}, {"fibre", "g", "291"},
	{"sugars", "g", "269"}, {"sodium", "mg", "307"},
	{"calcium", "mg", "301"}, {"iron", "mg", "303"}, {"magnesium", "mg", "304"}, {"phosphorus", "mg", "305"}, {"potassium", "mg", "306"}, {"zinc", "mg", "309"},
	{"copper", "mg", "312"}, {"selenium", "ug", "317"},
	{"vitamin_a_rae", "ug", "320"}, {"vitamin_c", "mg", "401"}, {"vitamin_d", "ug", "328"}, {"vitamin_e", "mg", "323"}, {"vitamin_k", "ug", "430"},
	{"thiamin", "mg", "404"}, {"riboflavin", "mg", "405"}, {"niacin", "mg", "406"}, {"vitamin_b6", "mg", "415"}, {"folate_dfe", "ug", "435"}, {"vitamin_b12", "ug", "418"},
}

// Nutrients lists the nutrients of the excerpt in the order in which they are shown.
func Nutrients() []Nutrient { return slices.Clone(nutrients) }

// Content is the amount of a nutrient in 100 g of the edible portion, in the nutrient's unit.
type Content struct {
	Per100g *big.Rat
	Unit    string
	Source  string
	Status  quantity.Status
}

// AsBought is the amount in 100 g as bought, peel and bone with it:
//
//	per 100 g as bought = per 100 g edible x yield
//
// yield is the edible share. nil where either is unknown or the yield is not above zero.
func AsBought(per100gEdible, yield *big.Rat) *big.Rat {
	if per100gEdible == nil || yield == nil || yield.Sign() <= 0 {
		return nil
	}
	return new(big.Rat).Mul(per100gEdible, yield)
}

// Food is what a table says of one food. A nutrient that is not in Nutrients has no figure: its amount is unknown, not zero.
type Food struct {
	Code, Name string
	Refuse     *big.Rat // share of the weight as bought that is not eaten; nil: unknown
	Either     bool     // sold with and without its refuse (shells, pods, husks): Refuse holds for one of the two
	Nutrients  map[string]Content
	Weights    []Weight
	Source     string
	Status     quantity.Status
}

// Weight is a household weight: Count of Measure, in a form, weigh Grams, edible portion.
type Weight struct {
	Measure string // lower case; cup_us, tbsp_us, tsp_us, floz_us are volumes and so give a density
	Form    string // words of a preparation, alternatives parted by "|"; blank: the food as it is
	Count   *big.Rat
	Grams   *big.Rat
	Source  string
	Status  quantity.Status
}

// Foods is a table of foods by code.
type Foods struct{ byCode map[string]*Food }

// Food looks a food up by its code.
func (f *Foods) Food(code string) (*Food, bool) {
	food, ok := f.byCode[Code(code)]
	return food, ok
}

// Codes are all codes, sorted.
func (f *Foods) Codes() []string { return slices.Sorted(maps.Keys(f.byCode)) }

// Suggest lists up to n foods whose names have all these words, in any number, the shortest names first, then by code. It is for a person to
// choose from: no figure may rest on a name alone.
func (f *Foods) Suggest(words string, n int) (list []*Food) {
	split := func(text string) []string {
		return strings.FieldsFunc(strings.ToLower(text), func(r rune) bool { return strings.ContainsRune(" ,()/-_", r) })
	}
	wanted := split(words)
	if len(wanted) == 0 {
		return nil
	}
	for _, code := range f.Codes() {
		food := f.byCode[code]
		has := split(food.Name)
		if !slices.ContainsFunc(wanted, func(w string) bool {
			return !slices.ContainsFunc(has, func(h string) bool { return quantity.SameWord(w, h) })
		}) {
			list = append(list, food)
		}
	}
	slices.SortStableFunc(list, func(a, b *Food) int { return cmp.Compare(len(a.Name), len(b.Name)) })
	return list[:min(n, len(list))]
}

// Over lays a table over another: each nutrient of a food comes from f, and from below where f has none, with its own source. Refuse, name and
// household weights likewise. Neither table is changed.
func (f *Foods) Over(below *Foods) *Foods {
	all := &Foods{maps.Clone(below.byCode)}
	for code, top := range f.byCode {
		merged := *top
		if under := below.byCode[code]; under != nil {
			merged.Nutrients = maps.Clone(under.Nutrients)
			maps.Copy(merged.Nutrients, top.Nutrients)
			merged.Name = cmp.Or(top.Name, under.Name)
			if top.Refuse == nil || under.Refuse != nil && top.Refuse.Cmp(under.Refuse) == 0 {
				merged.Refuse, merged.Either = under.Refuse, under.Either // the same share says nothing new of how it is sold
			}
			if top.Weights == nil {
				merged.Weights = under.Weights
			}
		}
		all.byCode[code] = &merged
	}
	return all
}

// Excerpt is the embedded table of common foods. It must not be changed.
var Excerpt = sync.OnceValue(func() *Foods {
	all := &Foods{map[string]*Food{}}
	for _, r := range rows("foods.csv") {
		f := &Food{Code: r["food_code"], Name: r["food"], Refuse: r.decimal("refuse_share"), Either: r["bought"] == "either",
			Nutrients: map[string]Content{}, Source: r["source"], Status: r.status()}
		for _, n := range nutrients {
			if v := r.decimal(n.Name + "_" + n.Unit); v != nil {
				f.Nutrients[n.Name] = Content{v, n.Unit, f.Source, f.Status}
			}
		}
		all.byCode[f.Code] = f
	}
	for _, r := range rows("measures.csv") {
		f := all.byCode[r["food_code"]]
		f.Weights = append(f.Weights, Weight{r["measure"], r["form"], r.decimal("count"), r.decimal("grams"), r["source"], r.status()})
	}
	return all
})

// massUnits are units of nutrients in grams.
var massUnits = map[string]*big.Rat{"g": big.NewRat(1, 1), "mg": big.NewRat(1, 1_000), "ug": big.NewRat(1, 1_000_000)}

// InUnit turns an amount of a nutrient into another unit of mass or energy, exactly: g, mg, ug (also µg, mcg), kcal, kJ (1 kcal = 4.184 kJ, the
// thermochemical calorie). False where the two do not fit: an international unit (IU) is another amount for each vitamin.
func InUnit(amount *big.Rat, from, to string) (*big.Rat, bool) {
	plain := func(unit string) string {
		switch unit {
		case "µg", "μg", "mcg": // the micro sign, the Greek letter
			return "ug"
		}
		return unit
	}
	from, to = plain(from), plain(to)
	kJ := big.NewRat(4184, 1000)
	switch a, b := massUnits[from], massUnits[to]; {
	case from == to:
		return new(big.Rat).Set(amount), from != ""
	case a != nil && b != nil:
		return new(big.Rat).Quo(new(big.Rat).Mul(amount, a), b), true
	case from == "kJ" && to == "kcal":
		return new(big.Rat).Quo(amount, kJ), true
	case from == "kcal" && to == "kJ":
		return new(big.Rat).Mul(amount, kJ), true
	}
	return nil, false
}
