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

// packPrice is the log unit price of a pack of a variety at one outlet in a month.
type packPrice struct {
	outlet, variety, pack int32 // ranks of their words
	size, ln              float64
}

// shops holds, for the goods of baskets, the outlets behind each price, in
// arrays: a range asks for them thousands of times.
type shops struct {
	first    result.Month
	region   map[string]int
	good     map[good]int
	children [][]int   // of each region
	weight   []float64 // of each region in its parent; NaN where it has none
	own      [][][]outletPrice
	ln       [][]float64 // as (*panel).sourced has it from quotes; NaN where there is none
	months   int
}

func newShops(p *panel, o *observations) *shops {
	s := &shops{first: p.first, region: map[string]int{}, good: map[good]int{}, months: p.months()}
	for k := range o.atOutlet {
		if _, ok := s.good[k.good]; !ok {
			s.good[k.good] = len(s.good)
		}
	}
	for i, r := range p.regions {
		s.region[r.Region] = i
	}
	for _, r := range p.regions {
		var below []int
		for _, c := range p.children[r.Region] {
			below = append(below, s.region[c.Region])
		}
		s.children, s.weight = append(s.children, below), append(s.weight, p.weight(r))
		s.own = append(s.own, make([][]outletPrice, len(s.good)*s.months))
		s.ln = append(s.ln, make([]float64, len(s.good)*s.months))
	}
	for k, list := range o.atOutlet {
		if k.month >= p.first && k.month <= p.last {
			s.own[s.region[k.region]][s.at(s.good[k.good], k.month)] = list
		}
	}
	for r := range p.regions { // parents after their children
		for at := range s.ln[r] {
			s.ln[r][at] = s.level(r, at, -1, 0)
		}
	}
	return s
}

func (s *shops) at(good int, m result.Month) int { return good*s.months + int(m-s.first) }

// level is a region's log price: the mean over its own outlets, else that of
// its parts by weight; the part numbered except has the value instead.
func (s *shops) level(r, at, except int, instead float64) float64 {
	if own := s.own[r][at]; len(own) > 0 {
		var m mean
		for _, x := range own {
			m.add(x.ln)
		}
		return m.value()
	}
	var sumW, sum float64
	for _, c := range s.children[r] {
		ln := s.ln[c][at]
		if c == except {
			ln = instead
		}
		if w := s.weight[c]; !math.IsNaN(ln) && w != 0 {
			sumW, sum = sumW+w, sum+w*ln
		}
	}
	return sum / sumW // NaN where no part has a price
}

// leftOut is what a price is without one of the outlets behind it.
type leftOut struct {
	outlet int32
	line   int
	ln     float64 // of the price found; NaN where that outlet was the only one
}

// without lists a region's log price of one line's good without each of its
// outlets in turn.
func (s *shops) without(r, at, line int, list []leftOut) []leftOut {
	if own := s.own[r][at]; len(own) > 0 {
		var all mean
		for _, x := range own {
			all.add(x.ln)
		}
		for _, x := range own {
			list = append(list, leftOut{x.outlet, line, all.without(x.ln)})
		}
		return list
	}
	for _, c := range s.children[r] {
		if math.IsNaN(s.ln[c][at]) || s.weight[c] == 0 {
			continue
		}
		from := len(list)
		list = s.without(c, at, line, list)
		for i := from; i < len(list); i++ {
			list[i].ln = s.level(r, at, c, list[i].ln)
		}
	}
	return list
}

// confidence of the range across the shops seen.
const confidence = 0.95

// spread is a cost and what it is without each outlet: what was not observed
// at outlets (a filled price, a published average) is held at its value, and
// so is a price that rests on one outlet alone: it has no spread to see.
type spread struct {
	cost    float64
	outlets []int32 // in order
	without map[int32]float64
}

func (p *panel) spread(b []line, region string, m result.Month) spread {
	return p.spreadAt(b, region, m, func(c *cell) float64 { return c.price })
}

// spreadAt is spread at prices of the caller's choice.
func (p *panel) spreadAt(b []line, region string, m result.Month, price func(*cell) float64) spread {
	x := spread{without: map[int32]float64{}}
	r := p.shops.region[region]
	var left []leftOut
	for i, l := range b {
		cell := p.at(region, l.good, m)
		if cell == nil || math.IsNaN(cell.price) {
			continue
		}
		x.cost += l.perDay * price(cell)
		if g, ok := p.shops.good[l.good]; ok && cell.observed() && cell.outlets.OK {
			at, from := p.shops.at(g, m), len(left)
			left = p.shops.without(r, at, i, left)
			for k := from; k < len(left); k++ {
				left[k].ln -= p.shops.ln[r][at] // as a part of the price, whatever the sample makes of its level
			}
		}
	}
	for _, l := range left {
		if _, ok := x.without[l.outlet]; !ok {
			x.outlets, x.without[l.outlet] = append(x.outlets, l.outlet), x.cost
		}
		if !math.IsNaN(l.ln) {
			line := b[l.line]
			x.without[l.outlet] += line.perDay * price(p.at(region, line.good, m)) * math.Expm1(l.ln)
		}
	}
	slices.Sort(x.outlets)
	return x
}

// ln is the log of the cost without an outlet; of the whole where it is none of these.
func (x spread) ln(outlet int32) float64 {
	if cost, ok := x.without[outlet]; ok {
		return math.Log(cost)
	}
	return math.Log(x.cost)
}

// jackknife is the range of a statistic over outlets, with Student t
// (index.JackknifeOf); NaN with fewer than three.
func jackknife(outlets []int32, stat func(left int32) float64) (lo, hi float64) {
	if len(outlets) < minOutlets {
		return math.NaN(), math.NaN()
	}
	values := make([]float64, len(outlets))
	for i, id := range outlets {
		values[i] = stat(id)
	}
	x := index.JackknifeOf(stat(-1), values, confidence)
	return x.Lo, x.Hi
}

// shopRange is the range of a cost across the shops seen: the jackknife over
// outlets on the log of the cost. Missing with fewer than three; n is how many
// there are.
func (p *panel) shopRange(b []line, region string, m result.Month) (lo, hi result.Num, n int) {
	x := p.spread(b, region, m)
	l, h := jackknife(x.outlets, x.ln)
	return result.Some(math.Exp(l)), result.Some(math.Exp(h)), len(x.outlets)
}

// differenceRange is the range of the log difference of two costs, jackknifed
// over the outlets of both at once; NaN with fewer than three.
func differenceRange(x, y spread) (lo, hi float64) {
	outlets := append(slices.Clone(x.outlets), y.outlets...)
	slices.Sort(outlets)
	return jackknife(slices.Compact(outlets), func(left int32) float64 { return x.ln(left) - y.ln(left) })
}
