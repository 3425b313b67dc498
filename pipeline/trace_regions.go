package pipeline

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"farthing/pipeline/result"
)

// regionLevel traces a basket's level in one region beside the others of a month.
func (t *tracer) regionLevel(x result.RegionLevel, column string) (*Node, error) {
	lines := t.linesOf(x.Region, x.Basket, x.Month)
	switch column {
	case "per_day_lcu":
		nodes, sum, err := t.perDay(lines)
		if err != nil {
			return nil, err
		}
		return computed(x.PerDay, sum, "sum of the lines, one person's", nodes...)
	case "parity_lowe", "parity_cpd", "common_share":
	default:
		return &Node{Formula: "read off the row"}, nil
	}
	var ranked []string
	for _, l := range t.e.Levels {
		if l.Basket == x.Basket && l.Month == x.Month && l.RankLo.OK {
			ranked = append(ranked, l.Region)
		}
	}
	at := slices.Index(ranked, x.Region)
	if at < 0 {
		return &Node{Formula: "no value: the region is not ranked, or nothing is ranked beside it"}, nil
	}
	common := t.common(lines, ranked)
	if column == "common_share" {
		var share float64
		for _, l := range t.linesOf(t.top(x.Region), x.Basket, x.Month) {
			if slices.ContainsFunc(common, sameGood(l)) {
				share += l.Weight.Or()
			}
		}
		return computed(x.CommonShare, share, "sum of the weights of the items observed in every ranked region")
	}
	if column == "parity_lowe" {
		return t.parityLowe(x, ranked, at, common)
	}
	return t.parityCPD(x, ranked, at, lines)
}

func sameGood(l result.BasketLine) func(result.BasketLine) bool {
	return func(o result.BasketLine) bool { return o.Item == l.Item && o.Grade == l.Grade }
}

// linesOf are the lines of a basket in a region and month.
func (t *tracer) linesOf(region, basket string, m result.Month) (lines []result.BasketLine) {
	for _, l := range t.e.Lines {
		if l.Region == region && l.Basket == basket && l.Month == m {
			lines = append(lines, l)
		}
	}
	return lines
}

func (t *tracer) top(region string) string {
	for up := t.parent(region); up != ""; up = t.parent(region) {
		region = up
	}
	return region
}

// perDay traces lines and adds them up; NaN where one has no price.
func (t *tracer) perDay(lines []result.BasketLine) (nodes []*Node, sum float64, err error) {
	for _, l := range lines {
		n, err := t.line(l, "per_day_lcu")
		if err != nil {
			return nil, 0, err
		}
		n.Key = keyOf("basket_lines", append(result.Key(l), "per_day_lcu")...)
		nodes, sum = append(nodes, n), sum+l.PerDay.Or()
	}
	return nodes, sum, nil
}

// common are the lines whose item was observed in every one of the regions.
func (t *tracer) common(lines []result.BasketLine, regions []string) (list []result.BasketLine) {
	for _, l := range lines {
		n := 0
		for _, r := range regions {
			i := slices.IndexFunc(t.linesOf(r, l.Basket, l.Month), func(o result.BasketLine) bool { return sameGood(l)(o) && o.UnitPrice.OK && o.FilledBy == "" })
			n += min(i+1, 1)
		}
		if n == len(regions) {
			list = append(list, l)
		}
	}
	return list
}

// parityLowe is the cost of the common items in a region / the geometric mean of
// their costs in all ranked regions.
func (t *tracer) parityLowe(x result.RegionLevel, ranked []string, at int, common []result.BasketLine) (*Node, error) {
	var nodes []*Node
	var logs []float64
	for _, r := range ranked {
		lines := slices.DeleteFunc(t.linesOf(r, x.Basket, x.Month), func(l result.BasketLine) bool { return !slices.ContainsFunc(common, sameGood(l)) })
		var in []*Node
		var cost float64
		for _, l := range lines {
			n, ln, err := t.found(l)
			if err != nil {
				return nil, err
			}
			in, cost = append(in, n), cost+l.APQuantity.V*math.Exp(ln)
		}
		nodes = append(nodes, &Node{Value: cost, Formula: "cost a day in " + r + ", at the prices found, of the items observed in every ranked region", Inputs: in})
		logs = append(logs, math.Log(cost))
	}
	again := math.NaN()
	if len(common) > 0 {
		again = math.Exp(logs[at] - average(logs))
	}
	return computed(x.ParityLowe, again, "cost of the common items / geometric mean of the ranked regions' costs", nodes...)
}

// found is the price of a line as it was found in its month, whatever the sample.
func (t *tracer) found(l result.BasketLine) (*Node, float64, error) {
	ln, formula, inputs, err := t.observedLn(l.Region, l.Item, l.Grade, l.Month)
	return &Node{Value: math.Exp(ln), Formula: l.Item + " as found: " + formula, Inputs: inputs}, ln, err
}

// parityCPD is the country product dummy by turns: a region's level is the mean
// over its items of ln price less the item's, an item's the mean over regions of
// ln price less the region's, until nothing moves. That is the least-squares
// fit of ln price = region + item.
func (t *tracer) parityCPD(x result.RegionLevel, ranked []string, at int, lines []result.BasketLine) (*Node, error) {
	const formula = "country product dummy: least-squares fit of ln price = region + item; geometric mean of the ranked regions = 1"
	if !x.ParityCPD.OK {
		return &Node{Formula: formula + "; no value: the regions have no items in common"}, nil
	}
	level, item := make([]float64, len(ranked)), make([]float64, len(lines))
	prices := make([][]float64, len(ranked))
	var nodes []*Node
	for r, name := range ranked {
		prices[r] = make([]float64, len(lines))
		of := t.linesOf(name, x.Basket, x.Month)
		for i, l := range lines {
			prices[r][i] = math.NaN()
			if k := slices.IndexFunc(of, sameGood(l)); k >= 0 && of[k].UnitPrice.OK && of[k].FilledBy == "" {
				n, ln, err := t.found(of[k])
				if err != nil {
					return nil, err
				}
				prices[r][i], nodes = ln, append(nodes, n)
			}
		}
	}
	const turns = 100_000
	for turn := range turns {
		moved := 0.0
		for i := range item {
			var rest []float64
			for r := range level {
				if p := prices[r][i]; !math.IsNaN(p) {
					rest = append(rest, p-level[r])
				}
			}
			item[i] = average(rest)
		}
		for r := range level {
			var rest []float64
			for i := range item {
				if p := prices[r][i]; !math.IsNaN(p) {
					rest = append(rest, p-item[i])
				}
			}
			now := average(rest)
			moved, level[r] = max(moved, math.Abs(now-level[r])), now
		}
		if moved < 1e-13 {
			break
		}
		if turn == turns-1 {
			return nil, errors.New("trace: parity_cpd does not settle")
		}
	}
	if len(level) == 0 {
		return nil, fmt.Errorf("trace: no region is ranked in %s", x.Month)
	}
	return computed(x.ParityCPD, math.Exp(level[at]-average(level)), formula, nodes...)
}
