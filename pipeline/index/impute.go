package index

import "math"

// Fill gives each product without a current price its previous price times the
// elementary index f of the products priced in both periods.
//
//	price1 = price0 x f(matched),  f = Jevons or Dutot
//
// class limits the match to products of the same class (nil: all). The index with
// filled prices then equals the index of the matched products. filled[i] is the
// Result that product i was filled by, with its n; N = 0 where nothing was filled:
// priced already, no previous price, or no matched product in the class (such a
// price stays NaN). A filled price must never be the source of another relative.
// Errors: *ValueError. Panics if lengths differ. Sources: CPI Manual 2020, ch. 6;
// CPI Manual 2004, ch. 9.
func Fill(p0, p1 []float64, class []int, f Elementary) (price []float64, by []Result, err error) {
	sameLength("p1", len(p0), p1)
	if class == nil {
		class = make([]int, len(p0))
	}
	if len(class) != len(p0) {
		panic("index: class and p0 differ in length")
	}
	if err := checkPanel([][]float64{p0, p1}, nil); err != nil {
		return nil, nil, err
	}
	members := map[int][]int{}
	for i, c := range class {
		members[c] = append(members[c], i)
	}
	price, by = make([]float64, len(p1)), make([]Result, len(p1))
	for i := range p1 {
		price[i] = p1[i]
		if !math.IsNaN(p1[i]) || math.IsNaN(p0[i]) {
			continue
		}
		at := members[class[i]]
		r, err := f(take(p0, at), take(p1, at))
		if err == nil {
			price[i], by[i] = p0[i]*r.Index, r
		}
	}
	return price, by, nil
}

// Carry gives each product without a current price its previous one, if its age
// after carrying, age[i] + 1 periods, is within the limit. The index is biased
// towards no change: use it last. Carried prices are marked. Panics if lengths
// differ. Source: CPI Manual 2020, ch. 6; the limit is common practice.
func Carry(p0, p1 []float64, age []int, limit int) (price []float64, carried []bool) {
	sameLength("p1", len(p0), p1)
	if len(age) != len(p0) {
		panic("index: age and p0 differ in length")
	}
	price, carried = make([]float64, len(p1)), make([]bool, len(p1))
	for i := range p1 {
		price[i] = p1[i]
		if math.IsNaN(p1[i]) && !math.IsNaN(p0[i]) && Usable(age[i]+1, limit) {
			price[i], carried[i] = p0[i], true
		}
	}
	return price, carried
}

// Usable says whether a filled price of that age, in periods since the last
// observed one, may still stand: age <= limit. Common practice, no source.
func Usable(age, limit int) bool { return age <= limit }
