package pipeline

import (
	"fmt"
	"maps"
	"math"
	"slices"

	"farthing/pipeline/result"
)

// moved traces what one line of a basket did between two months.
func (t *tracer) moved(x result.Moved, column string) (*Node, error) {
	price := func(m result.Month) (*Node, error) {
		return find(t, t.e.Items, "item", []string{x.Region, x.Item, x.Grade, m.String()}, "unit_price_lcu", t.item)
	}
	from, err := price(x.From)
	if err != nil && x.PriceFrom.OK {
		return nil, err
	}
	to, err := price(x.To)
	if err != nil && x.PriceTo.OK {
		return nil, err
	}
	if from == nil || to == nil {
		return &Node{Formula: "no price of it in this region"}, nil // never noted there
	}
	total := math.Log(to.number() / from.number())
	switch column {
	case "price_from_lcu":
		return computed(x.PriceFrom, from.number(), "the item's price", from)
	case "price_to_lcu":
		return computed(x.PriceTo, to.number(), "the item's price", to)
	case "change_pct":
		return computed(x.Change, 100*math.Expm1(total), "(price_to / price_from - 1) x 100", from, to)
	case "contribution_pp":
		return t.contribution(x)
	case "pure_pct", "size_pct", "mix_pct", "n_matched":
		return t.movedPart(x, column, total, from, to)
	}
	return &Node{Formula: "read off the row", Inputs: []*Node{from, to}}, nil
}

// basketChange traces what a basket's cost did between two months.
func (t *tracer) basketChange(x result.BasketChange, column string) (*Node, error) {
	var costs []*Node
	for _, m := range []result.Month{x.From, x.To} {
		lines, sum, err := t.perDay(t.linesOf(x.Region, x.Basket, m))
		if err != nil {
			return nil, err
		}
		costs = append(costs, &Node{Value: sum, Formula: "sum of the lines in " + m.String() + ", one person's", Inputs: lines})
	}
	from, to := costs[0].number(), costs[1].number()
	switch column {
	case "per_day_from_lcu":
		return computed(x.PerDayFrom, from, costs[0].Formula, costs[0].Inputs...)
	case "per_day_to_lcu":
		return computed(x.PerDayTo, to, costs[1].Formula, costs[1].Inputs...)
	case "change_pct":
		return computed(x.Change, (to/from-1)*100, "(per_day_to / per_day_from - 1) x 100", costs...)
	}
	return &Node{Formula: "read off the row", Inputs: costs}, nil
}

// contribution is a line's part in the change of its basket's cost.
func (t *tracer) contribution(x result.Moved) (*Node, error) {
	before, cost, err := t.perDay(t.linesOf(x.Region, x.Basket, x.From))
	if err != nil {
		return nil, err
	}
	after, then, err := t.perDay(t.linesOf(x.Region, x.Basket, x.To))
	if err != nil {
		return nil, err
	}
	own := func(nodes []*Node, m result.Month) *Node {
		key := keyOf("basket_lines", x.Region, x.Basket, x.Item, x.Grade, m.String(), "per_day_lcu")
		return nodes[slices.IndexFunc(nodes, func(n *Node) bool { return n.Key == key })]
	}
	a, b := own(before, x.From), own(after, x.To)
	again := (b.number() - a.number()) / cost * 100
	if math.IsNaN(then) {
		again = math.NaN() // a basket without a total has no change to part
	}
	return computed(x.Contribution, again, "(its cost a day in to_month - in from_month) / the basket's in from_month x 100", append([]*Node{a, b}, before...)...)
}

// parted is ln of the pure and the size change of a good, and the series behind them.
type parted struct {
	pure, size float64
	n          int
	inputs     []*Node
}

func (t *tracer) movedPart(x result.Moved, column string, total float64, from, to *Node) (*Node, error) {
	published := map[string]result.Num{"pure_pct": x.Pure, "size_pct": x.Size, "mix_pct": x.Mix, "n_matched": {V: float64(x.NMatched.V), OK: x.NMatched.OK}}[column]
	items := map[result.Month]result.Item{}
	for _, i := range t.e.Items {
		if i.Region == x.Region && i.Item == x.Item && i.Grade == x.Grade {
			items[i.Month] = i
		}
	}
	a, b := items[x.From], items[x.To]
	switch {
	case !observed(a) || !observed(b):
		return computed(published, math.NaN(), "no parts: a price is imputed, or missing", from, to)
	case !a.NObservations.OK && !b.NObservations.OK: // published averages
		part := map[string]float64{"pure_pct": total, "size_pct": 0, "mix_pct": 0, "n_matched": math.NaN()}[column]
		return computed(published, 100*math.Expm1(part), "of published averages all is pure change", from, to)
	case !a.NObservations.OK || !b.NObservations.OK:
		return computed(published, math.NaN(), "no parts: one of the prices is a published average", from, to)
	}
	p, err := t.parts(x.Region, x)
	if err != nil {
		return nil, err
	}
	if p == nil {
		return computed(published, math.NaN(), "no parts: no variety was seen at one outlet in both months", from, to)
	}
	switch column {
	case "n_matched":
		return computed(published, float64(p.n), "varieties seen at one outlet in both months", p.inputs...)
	case "pure_pct":
		return computed(published, 100*math.Expm1(p.pure), "mean ln change of what a pack costs, where it stayed or another took its place", p.inputs...)
	case "size_pct":
		return computed(published, 100*math.Expm1(p.size), "mean ln of the old pack's size / the size of the one that took its place", p.inputs...)
	}
	return computed(published, 100*math.Expm1(total-p.pure-p.size), "ln(price_to / price_from) - ln pure - ln size", append([]*Node{from, to}, p.inputs...)...)
}

// parts are those of a region's own quotes, else the means of its parts' by
// weight; nil where no series is in both months.
func (t *tracer) parts(region string, x result.Moved) (*parted, error) {
	g := goods{"quote", region, x.Item, x.Grade}
	before, err := t.notes(g, x.From)
	if err != nil {
		return nil, err
	}
	after, err := t.notes(g, x.To)
	if err != nil {
		return nil, err
	}
	if len(before) > 0 || len(after) > 0 {
		return ownParts(before, after), nil
	}
	var p parted
	var weights float64
	for _, c := range t.tables.Regions {
		if c.Parent != region {
			continue
		}
		q, err := t.parts(c.Region, x)
		if err != nil {
			return nil, err
		}
		w, err := t.weight(c)
		if err != nil {
			return nil, err
		}
		if q == nil || w.number() == 0 {
			continue
		}
		weights += w.number()
		p.pure, p.size, p.n = p.pure+w.number()*q.pure, p.size+w.number()*q.size, p.n+q.n
		p.inputs = append(p.inputs, &Node{Value: fmt.Sprintf("pure %.6f, size %.6f", q.pure, q.size), Formula: "ln changes of " + c.Region, Inputs: append([]*Node{w}, q.inputs...)})
	}
	if weights == 0 {
		return nil, nil
	}
	p.pure, p.size = p.pure/weights, p.size/weights
	return &p, nil
}

// ownParts follows each variety at an outlet. A size of pack sold in both months
// gives its own change; sizes gone pair off with sizes that came, by their means.
func ownParts(before, after []note) *parted {
	was, is := sizes(before), sizes(after)
	_, was0 := seriesLogs(before)
	_, is0 := seriesLogs(after)
	var pure, size []float64
	p := &parted{}
	for _, k := range slices.Sorted(maps.Keys(was)) {
		if is[k] == nil {
			continue
		}
		var stayed, gonePrice, goneSize, camePrice, cameSize []float64
		for _, s := range slices.Sorted(maps.Keys(was[k])) {
			if ln, both := is[k][s]; both {
				stayed = append(stayed, ln-was[k][s])
				continue
			}
			gonePrice, goneSize = append(gonePrice, was[k][s]), append(goneSize, math.Log(s))
		}
		for _, s := range slices.Sorted(maps.Keys(is[k])) {
			if _, both := was[k][s]; !both {
				camePrice, cameSize = append(camePrice, is[k][s]), append(cameSize, math.Log(s))
			}
		}
		pairs := float64(min(len(goneSize), len(cameSize)))
		links := float64(len(stayed)) + pairs
		pure = append(pure, (average(stayed)*float64(len(stayed))+pairs*(average(camePrice)-average(gonePrice)))/links)
		size = append(size, pairs*(average(goneSize)-average(cameSize))/links)
		p.n++
		p.inputs = append(p.inputs, was0[k]...)
		p.inputs = append(p.inputs, is0[k]...)
	}
	if p.n == 0 {
		return nil
	}
	p.pure, p.size = average(pure), average(size)
	return p
}

// sizes are ln of what a pack costs, by series and size of the pack.
func sizes(list []note) map[string]map[float64]float64 {
	type pack struct {
		series, pack string
		size         float64
	}
	days := map[pack][]float64{}
	for _, n := range list {
		k := pack{n.series(), n.pack, n.size}
		days[k] = append(days[k], n.ln+math.Log(n.size))
	}
	packs := map[string]map[float64][]float64{}
	for k, logs := range days {
		if packs[k.series] == nil {
			packs[k.series] = map[float64][]float64{}
		}
		packs[k.series][k.size] = append(packs[k.series][k.size], average(logs))
	}
	out := map[string]map[float64]float64{}
	for k, bySize := range packs {
		out[k] = map[float64]float64{}
		for s, logs := range bySize {
			slices.Sort(logs) // so that nothing hangs on the order of a map
			out[k][s] = average(logs)
		}
	}
	return out
}
