package compute

import (
	"errors"
	"math"
	"slices"

	"farthing/pipeline/index"
	"farthing/pipeline/result"
	"farthing/pipeline/workspace"
)

// regionRows compares the regions that can be ranked, in each basket and
// month: the leaves of the tree whose whole basket is priced reliably. An
// ancestor is never ranked with its parts.
//
//	parity_lowe  one basket at the prices found in each region, over the items
//	             observed in all of them (index.CommonBasket); parity_cpd with
//	             gaps, by the country product dummy (index.CPD); both with the
//	             regions' geometric mean = 1
//	rank         from rank_lo to rank_hi: below it stand only regions that are
//	             cheaper for sure. Two regions tie unless the range of their
//	             difference, jackknifed over the outlets of both, excludes none,
//	             and both parities order them alike.
//
// They are levels of one month, not changes: whatever the sample, the prices are
// those found in the month, for a level that follows the same goods since the base
// month is a change as well.
func (p *panel) regionRows(e *result.Edition, regions []workspace.Region, list []basket, costs map[costKey]costed, kind func(outlet int32) string, weights map[costKey][]float64) {
	for _, b := range list {
		for m := p.first; m <= p.last; m++ {
			var ranked []string
			for _, r := range regions {
				if c := costs[costKey{r.Region, b.name, m}]; len(p.children[r.Region]) == 0 && c.perDay.OK && c.base.ObsStatus != "U" {
					ranked = append(ranked, r.Region)
				}
			}
			cmp := p.compare(b, ranked, m)
			for _, r := range regions {
				c := costs[costKey{r.Region, b.name, m}]
				row := result.RegionLevel{Basket: b.name, Month: m, Region: r.Region, PerDay: c.perDay, Base: c.base}
				row.MainOutletTypeShare = mainType(p.spread(b.lines, r.Region, m).outlets, kind)
				if i := slices.Index(ranked, r.Region); i >= 0 && len(ranked) > 1 {
					row.ParityLowe, row.ParityCPD = cmp.lowe[i], cmp.cpd[i]
					row.RankLo, row.RankHi = cmp.lo[i], cmp.hi[i]
					if w := weights[costKey{region: p.top(r.Region), basket: b.name}]; w != nil {
						var share float64
						for _, k := range cmp.common {
							share += w[k]
						}
						row.CommonShare = result.Some(share)
					}
				}
				e.Levels = append(e.Levels, row)
			}
		}
	}
}

// comparison is one basket across the ranked regions of a month.
type comparison struct {
	lowe, cpd []result.Num
	lo, hi    []result.Int
	common    []int // lines observed in every ranked region
}

func (p *panel) compare(b basket, ranked []string, m result.Month) comparison {
	n := len(ranked)
	c := comparison{make([]result.Num, n), make([]result.Num, n), make([]result.Int, n), make([]result.Int, n), nil}
	if n < 2 {
		return c
	}
	prices, quantities := make([][]float64, n), make([]float64, len(b.lines))
	for k, l := range b.lines {
		quantities[k] = l.perDay
		everywhere := true
		for i, r := range ranked {
			if prices[i] == nil {
				prices[i] = make([]float64, len(b.lines))
			}
			prices[i][k] = math.NaN()
			if cell := p.at(r, l.good, m); cell != nil && cell.observed() {
				prices[i][k] = cell.asFound()
			} else {
				everywhere = false
			}
		}
		if everywhere {
			c.common = append(c.common, k)
		}
	}
	if rows, err := index.CommonBasket(prices, quantities); err == nil {
		c.lowe = aroundMean(rows)
	}
	rows, err := index.CPD(prices, nil)
	var apart *index.Unconnected
	if errors.As(err, &apart) {
		p.warn("unconnected", "basket "+b.name+": some regions have no priced item in common, so that their levels can not be compared", "note the same items in each region", b.name)
	} else if err == nil {
		c.cpd = aroundMean(rows)
	}
	spreads := make([]spread, n)
	for i, r := range ranked {
		spreads[i] = p.spreadAt(b.lines, r, m, (*cell).asFound)
	}
	below, above := make([]int, n), make([]int, n)
	for i := range n {
		for j := range i {
			switch dearer(spreads[i], spreads[j], c.lowe[i].Or()/c.lowe[j].Or(), c.cpd[i].Or()/c.cpd[j].Or()) {
			case 1:
				below[i], above[j] = below[i]+1, above[j]+1
			case -1:
				below[j], above[i] = below[j]+1, above[i]+1
			}
		}
	}
	for i := range n {
		c.lo[i], c.hi[i] = result.Count(1+below[i]), result.Count(n-above[i])
	}
	return c
}

func aroundMean(rows []index.Result) []result.Num {
	levels := index.Levels(rows)
	var ln mean
	for _, x := range levels {
		ln.add(math.Log(x))
	}
	list := make([]result.Num, len(levels))
	for i, x := range levels {
		list[i] = result.Some(x / math.Exp(ln.value()))
	}
	return list
}

// dearer says for sure that a costs more than b (1) or less (-1); 0 where the
// outlets seen or the two parities leave it open.
func dearer(a, b spread, lowe, cpd float64) int {
	lo, hi := differenceRange(a, b)
	switch {
	case lo > 0 && lowe > 1 && cpd > 1:
		return 1
	case hi < 0 && lowe < 1 && cpd < 1:
		return -1
	}
	return 0
}

// mainType is the share of the outlets seen that are of the most frequent type.
func mainType(outlets []int32, kind func(int32) string) result.Num {
	count := map[string]int{}
	n, most := 0, 0
	for _, id := range outlets {
		if k := kind(id); k != "" {
			n++
			count[k]++
			most = max(most, count[k])
		}
	}
	return result.Some(float64(most) / float64(n)) // missing where no type is known
}
