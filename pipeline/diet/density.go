package diet

import "math"

// Share is an amount of a nutrient in 100 g of the edible part of a food, and the
// amount that it is held against, both in one unit: a Daily Value, or a maximum
// recommended value.
type Share struct{ Per100g, Reference float64 }

// Density is a nutrient-rich foods score for a basis of energy, in percent points.
type Density struct {
	Encouraged float64 // sum of % Daily Value
	Limited    float64 // sum of % maximum
	Score      float64 // Encouraged - Limited
}

// NutrientRich scores nutrients for energy:
//
//	Encouraged = sum of min(100, 100 Per100g (basis/kcal) / Reference), without the cap unless capped
//	Limited    = sum of 100 Per100g (basis/kcal) / Reference, never capped
//
// kcal is of 100 g edible, basis the energy that the score is for, both kcal (100 is
// usual). NRF9.3 takes the nine and three of NRF9 and NRF3. All NaN if kcal or basis
// or a reference is not positive, or any amount is NaN or negative. A density per
// energy ranks water-rich vegetables far above all else: it is no measure of a
// food's worth in a meal. Source: Fulgoni, Keast, Drewnowski, Development and
// validation of the nutrient-rich foods index, J. Nutr. 139, 2009.
func NutrientRich(encourage, limit []Share, kcal, basis float64, capped bool) Density {
	sum := func(list []Share, cap float64) float64 {
		s := 0.0
		for _, n := range list {
			if !(n.Per100g >= 0) {
				return math.NaN()
			}
			s += math.Min(cap, PercentDV(n.Per100g*positive(basis)/positive(kcal), n.Reference))
		}
		return s
	}
	cap := math.Inf(1)
	if capped {
		cap = 100
	}
	d := Density{Encouraged: sum(encourage, cap), Limited: sum(limit, math.Inf(1))}
	d.Score = d.Encouraged - d.Limited
	if math.IsNaN(d.Score) || math.IsInf(d.Score, 0) {
		return Density{math.NaN(), math.NaN(), math.NaN()}
	}
	return d
}

// NRF9 and NRF3 name the nutrients of NRF9.3: encouraged and limited. The first
// index (2009) used the Daily Values of 1993 and vitamins A and E in IU.
var (
	NRF9 = []string{"protein", "fibre", "vitamin A", "vitamin C", "vitamin E", "calcium", "iron", "magnesium", "potassium"}
	NRF3 = []string{"saturated fat", "added sugars", "sodium"}
)

// DensityPerMoney is a score per 100 kcal for one unit of money: score (kcal/100) /
// price, both of 100 g edible. NaN unless kcal and price are positive. Common practice.
func DensityPerMoney(score, kcal, price float64) float64 {
	return score * positive(kcal) / 100 / positive(price)
}

// NutrientPerMoney is how much of a nutrient one unit of money buys: content / price,
// both of one base unit edible. NaN unless price is positive. Common practice.
func NutrientPerMoney(content, price float64) float64 { return content / positive(price) }

// PercentDV is 100 amount/dv, both in one unit; NaN unless dv is positive. Say which
// rule's Daily Value it is.
func PercentDV(amount, dv float64) float64 { return 100 * amount / positive(dv) }

// RDA is the intake that meets the need of 97 or 98 of 100 healthy people, from the
// average requirement and its coefficient of variation (a fraction): EAR (1 + 2 cv).
// Published values are rounded. NaN unless ear > 0 and cv >= 0. Source: Institute of
// Medicine, Dietary Reference Intakes: applications in dietary assessment, 2000.
func RDA(ear, cv float64) float64 {
	if !(cv >= 0) {
		return math.NaN()
	}
	return positive(ear) * (1 + 2*cv)
}

func positive(v float64) float64 {
	if v > 0 && !math.IsInf(v, 1) {
		return v
	}
	return math.NaN()
}
