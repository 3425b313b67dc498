package index

import "math"

// Changes, deflation and re-referencing of index series. An index or price that is
// not positive, or NaN, gives NaN; nothing is rounded. Sources, where none is named:
// CPI Manual 2020, ch. 9 and 12 (from memory), common practice.

// PercentChange is 100 (to/from - 1), in percent.
func PercentChange(from, to float64) float64 { return 100 * (ratio(to, from) - 1) }

// Points is to - from, in index points: it depends on the reference period, so
// compare series by PercentChange.
func Points(from, to float64) float64 {
	if math.IsNaN(ratio(to, from)) {
		return nan
	}
	return to - from
}

// ratio is a/b, NaN unless both are positive.
func ratio(a, b float64) float64 {
	if !(a > 0 && b > 0) {
		return nan
	}
	return a / b
}

// Real is a nominal amount of a period with price index at, in money of the period
// with index base: nominal x base/at. Regions' parities deflate alike. Source: any
// textbook; BLS, BEA.
func Real(nominal, at, base float64) float64 { return nominal * ratio(base, at) }

// RealSum deflates each component by its own index (base = 100), then adds; to add
// first and deflate by a mean index is another, wrong number unless all indexes
// agree. Panics if lengths differ. Source: BEA, NIPA Handbook, ch. 4 (from memory).
func RealSum(nominal, index []float64) float64 {
	sameLength("index", len(nominal), index)
	s := 0.0
	for i := range nominal {
		s += Real(nominal[i], index[i], 100)
	}
	return s
}

// PowerLoss is the part of its purchasing power, in percent, that a fixed amount
// loses as the index goes from base to at: 100 (1 - base/at). It is less than the
// price rise.
func PowerLoss(base, at float64) float64 { return 100 * (1 - ratio(base, at)) }

// Rebase sets the mean of the reference values (12 months of a year, say) to 100.
// A NaN among them, or none, makes all NaN.
func Rebase(x, reference []float64) []float64 {
	m := sum(reference) / float64(len(reference))
	y := make([]float64, len(x))
	for i := range x {
		y[i] = 100 * ratio(x[i], m)
	}
	return y
}

// LinkSeries continues an old series by a new one; the last old and the first new
// value are of the same period. The new values are multiplied by their ratio. Nil
// if either is empty. Source: CPI Manual 2004, ch. 9.
func LinkSeries(older, newer []float64) []float64 {
	if len(older) == 0 || len(newer) == 0 {
		return nil
	}
	k := ratio(older[len(older)-1], newer[0])
	x := append([]float64{}, older...)
	for _, v := range newer[1:] {
		x = append(x, v*k)
	}
	return x
}

// Annualise is the yearly rate of a change over months, in percent, compounded:
// 100 ((to/from)^(12/months) - 1).
func Annualise(from, to, months float64) float64 {
	return 100 * (math.Pow(ratio(to, from), 12/months) - 1)
}

// AnnualAverageChange is the change of the mean of a year's 12 months on the mean
// of the 12 before, in percent; a NaN or another count than 12 gives NaN. Not the
// December-to-December change.
func AnnualAverageChange(before, year []float64) float64 {
	if len(before) != 12 || len(year) != 12 {
		return nan
	}
	return PercentChange(sum(before), sum(year))
}

// SizeChange parts the change of a unit price when a pack changes price and size.
// In percent; (1 + UnitPrice) = (1 + Price)(1 + Size), each over 100.
type SizeChange struct{ UnitPrice, Price, Size float64 }

// SizeEffect is the change of price/size from one pack to the next: Price =
// price1/price0, Size = size0/size1 (a smaller pack is dearer). Sizes in one unit.
// Common practice.
func SizeEffect(price0, price1, size0, size1 float64) SizeChange {
	p, s := ratio(price1, price0), ratio(size0, size1)
	return SizeChange{100 * (p*s - 1), 100 * (p - 1), 100 * (s - 1)}
}

// CompoundGrowth is the mean rate of growth per period over n periods, as a
// fraction: (to/from)^(1/n) - 1. Source: FAO 2017, Indicator of Food Price
// Anomalies, equation 1 (n in months: 3 and 12).
func CompoundGrowth(from, to, n float64) float64 { return math.Pow(ratio(to, from), 1/n) - 1 }
