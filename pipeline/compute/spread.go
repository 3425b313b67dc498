package compute

import (
	"math"
	"slices"

	"farthing/pipeline/index"
	"farthing/pipeline/result"
)

// outletPrice is the log price of a good at one outlet in a month.
type outletPrice struct {
	outlet int32
	ln     float64
}

// without is a region's log price of a good in a month with one outlet left
// out, by the rules of (*panel).sourced; NaN where nothing is left. Outlet -1
// leaves none out.
func (p *panel) without(o *observations, region string, g good, m result.Month, outlet int32) float64 {
	if own := o.atOutlet[place{region, g, m}]; len(own) > 0 {
		var left mean
		for _, x := range own {
			if x.outlet != outlet {
				left.add(x.ln)
			}
		}
		if left.n > 0 {
			return left.value()
		}
		return math.NaN()
	}
	var sumW, sum float64
	for _, c := range p.children[region] {
		ln := p.without(o, c.Region, g, m, outlet)
		w := 1.0
		if c.Weight != nil {
			w = float(c.Weight)
		}
		if !math.IsNaN(ln) && w > 0 {
			sumW, sum = sumW+w, sum+w*ln
		}
	}
	return sum / sumW // NaN where no part has a price
}

// outletsOf are the outlets behind a good's price in a region and month.
func (p *panel) outletsOf(o *observations, region string, g good, m result.Month) (list []int32) {
	if own := o.atOutlet[place{region, g, m}]; len(own) > 0 {
		for _, x := range own {
			list = append(list, x.outlet)
		}
		return list
	}
	for _, c := range p.children[region] {
		list = append(list, p.outletsOf(o, c.Region, g, m)...)
	}
	return list
}

// confidence of the range across the shops seen.
const confidence = 0.95

// observedCost is a basket's cost in a region and month from what was observed
// at outlets; what was not is held at its value.
type observedCost struct {
	p      *panel
	o      *observations
	region string
	month  result.Month
	seen   []line
	full   []float64 // log prices of seen, all outlets in
	fixed  float64   // what the other lines cost
}

func (p *panel) observedCost(o *observations, b []line, region string, m result.Month) observedCost {
	c := observedCost{p: p, o: o, region: region, month: m}
	for _, l := range b {
		cell := p.at(region, l.good, m)
		if cell == nil || math.IsNaN(cell.price) {
			continue
		}
		ln := p.without(o, region, l.good, m, -1)
		if !cell.observed() || !cell.outlets.OK || math.IsNaN(ln) {
			c.fixed += l.perDay * cell.price // filled, or a published average: no outlets to leave out
			continue
		}
		c.seen, c.full = append(c.seen, l), append(c.full, ln)
	}
	return c
}

func (c observedCost) outlets() (list []int32) {
	for _, l := range c.seen {
		list = append(list, c.p.outletsOf(c.o, c.region, l.good, c.month)...)
	}
	slices.Sort(list)
	return slices.Compact(list)
}

// ln is the log of the cost with one outlet left out, -1 for none. A price
// that rests on that outlet alone stays as it is: it has no spread to see.
func (c observedCost) ln(left int32) float64 {
	cost := c.fixed
	for i, l := range c.seen {
		ln := c.full[i]
		if left >= 0 {
			if w := c.p.without(c.o, c.region, l.good, c.month, left); !math.IsNaN(w) {
				ln = w
			}
		}
		cost += l.perDay * math.Exp(ln)
	}
	return math.Log(cost)
}

// jackknife is the range of a statistic over outlets; missing with fewer than three.
func jackknife(outlets []int32, stat func(left int32) float64) (lo, hi float64) {
	if len(outlets) < minOutlets {
		return math.NaN(), math.NaN()
	}
	x := index.Jackknife(len(outlets), confidence, func(kept []int) float64 {
		for i, id := range outlets {
			if i >= len(kept) || kept[i] != i {
				return stat(id) // the one that is not kept
			}
		}
		return stat(-1)
	})
	return x.Lo, x.Hi
}

// shopRange is the range of a cost across the outlets seen: the jackknife over
// outlets on the log of the cost, with Student t (index.Jackknife). Missing
// with fewer than three outlets; n is how many there are.
func (p *panel) shopRange(o *observations, b []line, region string, m result.Month) (lo, hi result.Num, n int) {
	c := p.observedCost(o, b, region, m)
	outlets := c.outlets()
	l, h := jackknife(outlets, c.ln)
	return result.Some(math.Exp(l)), result.Some(math.Exp(h)), len(outlets)
}

// differenceRange is the range of the log difference of one basket's cost
// between two regions or months, jackknifed over the outlets of both at once;
// NaN with fewer than three.
func (p *panel) differenceRange(o *observed, b basket, regions [2]string, months [2]result.Month) (lo, hi float64) {
	x := p.observedCost(&o.observations, b.lines, regions[0], months[0])
	y := p.observedCost(&o.observations, b.lines, regions[1], months[1])
	outlets := append(x.outlets(), y.outlets()...)
	slices.Sort(outlets)
	return jackknife(slices.Compact(outlets), func(left int32) float64 { return x.ln(left) - y.ln(left) })
}
