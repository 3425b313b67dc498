package compute

import (
	"math"
	"slices"
	"sort"
	"strings"

	"farthing/pipeline/index"
	"farthing/pipeline/result"
	"farthing/pipeline/workspace"
)

// Moved says what moved each basket between two months, in every region: a row
// a line, from the rows of an edition.
//
//	contribution_pp = quantity x (price_to - price_from) / cost_from x 100;
//	the lines' add up to the basket's change
//	ln(1 + change) = ln(1 + pure) + ln(1 + size) + ln(1 + mix), exactly
//	                 (index.Part; of a parent region the weighted means of its parts)
//
// Ranked is by the contribution of the pure change alone, the most first, and
// only where three or more varieties were seen in both months: a small base
// says little. An imputed price has a contribution and no parts.
func Moved(e *result.Edition, from, to result.Month) []result.Moved {
	x := newMovement(e, from, to)
	type basketKey struct{ region, basket string }
	byBasket := map[basketKey][]result.Moved{}
	var order []basketKey
	for _, l := range e.Lines {
		if l.Month != to {
			continue
		}
		before, ok := x.before[lineKey(l)]
		if !ok {
			continue
		}
		k := basketKey{l.Region, l.Basket}
		if byBasket[k] == nil {
			order = append(order, k)
		}
		byBasket[k] = append(byBasket[k], x.row(before, l))
	}
	var rows []result.Moved
	for _, k := range order {
		list := byBasket[k]
		var cost float64
		for _, r := range list {
			cost += x.costFrom[movedKey(r)]
			if math.IsNaN(x.costTo[movedKey(r)]) {
				cost = math.NaN() // where a line has no price in one of the months no line has a share in the change
			}
		}
		for i := range list {
			r := &list[i]
			r.Contribution = result.Some((x.costTo[movedKey(*r)] - x.costFrom[movedKey(*r)]) / cost * 100)
		}
		rank(list, func(r result.Moved) float64 {
			return x.costFrom[movedKey(r)] * r.Pure.Or() / cost
		})
		rows = append(rows, list...)
	}
	return rows
}

// rank numbers the rows that may be ranked by the size of what is measured; rows
// of one size share the rank of the first.
func rank(list []result.Moved, measure func(result.Moved) float64) {
	var ranked []int
	for i, r := range list {
		if m := measure(r); r.NMatched.OK && r.NMatched.V >= minMatched && !math.IsNaN(m) {
			ranked = append(ranked, i)
		}
	}
	sort.SliceStable(ranked, func(i, j int) bool {
		return math.Abs(measure(list[ranked[i]])) > math.Abs(measure(list[ranked[j]]))
	})
	for place, i := range ranked {
		list[i].Rank = result.Count(place + 1)
		if before := place - 1; before >= 0 && math.Abs(measure(list[i])) == math.Abs(measure(list[ranked[before]])) {
			list[i].Rank = list[ranked[before]].Rank
		}
	}
}

// minMatched is the fewest varieties seen in both months that a rank rests on.
const minMatched = 3

// movement is what Moved looks up.
type movement struct {
	from, to         result.Month
	before           map[string]result.BasketLine
	costFrom, costTo map[string]float64
	packs            map[place][]index.Quote
	children         map[string][]result.Region
}

func newMovement(e *result.Edition, from, to result.Month) *movement {
	x := &movement{from, to, map[string]result.BasketLine{}, map[string]float64{}, map[string]float64{}, map[place][]index.Quote{}, map[string][]result.Region{}}
	for _, l := range e.Lines {
		switch l.Month {
		case from:
			x.before[lineKey(l)] = l
			x.costFrom[lineKey(l)] = l.PerDay.Or()
		case to:
			x.costTo[lineKey(l)] = l.PerDay.Or()
		}
	}
	if from == to {
		x.costTo = x.costFrom
	}
	for _, p := range e.Packs {
		if p.Month == from || p.Month == to {
			k := place{p.Region, good{p.Item, p.Grade}, p.Month}
			x.packs[k] = append(x.packs[k], index.Quote{Outlet: p.Outlet, Variety: p.Variety, Size: p.Size.V, Price: p.UnitPrice.V * p.Size.V})
		}
	}
	for _, r := range e.Regions {
		x.children[r.Parent] = append(x.children[r.Parent], r)
	}
	return x
}

func lineKey(l result.BasketLine) string {
	return strings.Join([]string{l.Region, l.Basket, l.Item, l.Grade}, "\x00")
}

func movedKey(r result.Moved) string {
	return strings.Join([]string{r.Region, r.Basket, r.Item, r.Grade}, "\x00")
}

// row is one line's movement, without its share in the basket's.
func (x *movement) row(a, b result.BasketLine) result.Moved {
	r := result.Moved{Region: b.Region, Basket: b.Basket, Item: b.Item, Grade: b.Grade, From: x.from, To: x.to,
		PriceFrom: a.UnitPrice, PriceTo: b.UnitPrice, Base: b.Base}
	total := math.Log(b.UnitPrice.Or() / a.UnitPrice.Or())
	r.Change = percent(total)
	r.ObsStatus, r.ObsStatusAll = statuses(a.ObsStatusAll + b.ObsStatusAll)
	r.ImputedShare = result.Some(math.Max(a.ImputedShare.Or(), b.ImputedShare.Or()))
	r.MissingShare = result.Some(math.Max(a.MissingShare.Or(), b.MissingShare.Or()))
	if a.FilledBy != "" || b.FilledBy != "" || math.IsNaN(total) {
		return r
	}
	if !a.NObservations.OK || !b.NObservations.OK { // a published average has one series and no packs; beside quotes it says nothing of parts
		if !a.NObservations.OK && !b.NObservations.OK {
			r.Pure, r.Size, r.Mix = percent(total), result.Some(0), result.Some(0)
		}
		return r
	}
	p, ok := x.parts(b.Region, good{b.Item, b.Grade})
	if !ok {
		return r
	}
	r.Pure, r.Size, r.Mix, r.NMatched = percent(p.Pure), percent(p.Size), percent(total-p.Pure-p.Size), result.Count(p.N)
	return r
}

// parts are the pure and size change of a good in a region: of its own
// quotes, else the means of its parts', weighted.
func (x *movement) parts(region string, g good) (p index.Parts, ok bool) {
	before, after := x.packs[place{region, g, x.from}], x.packs[place{region, g, x.to}]
	if len(before) > 0 || len(after) > 0 {
		p, err := index.Part(before, after)
		return p, err == nil
	}
	var sumW float64
	for _, c := range x.children[region] {
		q, some := x.parts(c.Region, g)
		w := 1.0
		if c.Weight.OK {
			w = c.Weight.V
		}
		if !some || w == 0 {
			continue
		}
		sumW += w
		p.Pure, p.Size, p.N = p.Pure+w*q.Pure, p.Size+w*q.Size, p.N+q.N
	}
	if sumW == 0 {
		return p, false
	}
	p.Pure, p.Size = p.Pure/sumW, p.Size/sumW
	return p, true
}

// movedRows publishes the last month beside the month before, the same month
// a year before, and the base month.
func (p *panel) movedRows(e *result.Edition, regions []workspace.Region, list []basket, costs map[costKey]costed, base result.Month) {
	var before []result.Month
	for _, from := range []result.Month{base, p.last - 12, p.last - 1} {
		if from >= p.first && from < p.last && !slices.Contains(before, from) {
			before = append(before, from)
			e.Moved = append(e.Moved, Moved(e, from, p.last)...)
		}
	}
	slices.Sort(before)
	sort.SliceStable(e.Moved, func(i, j int) bool {
		a, b := e.Moved[i], e.Moved[j]
		return a.Region < b.Region || a.Region == b.Region && (a.Basket < b.Basket || a.Basket == b.Basket && (a.Item < b.Item || a.Item == b.Item && (a.Grade < b.Grade || a.Grade == b.Grade && a.From < b.From)))
	})
	for _, r := range regions {
		for _, b := range list {
			for _, from := range before {
				e.Changes = append(e.Changes, p.change(b, r.Region, from, p.last, costs))
			}
		}
	}
}

// change is what a basket's cost did between two months, with the range of the
// difference, jackknifed over the outlets of both months at once. The basket rose
// or fell only where that range leaves no change out.
func (p *panel) change(b basket, region string, from, to result.Month, costs map[costKey]costed) result.BasketChange {
	x, y := costs[costKey{region, b.name, from}], costs[costKey{region, b.name, to}]
	row := result.BasketChange{Region: region, Basket: b.name, From: from, To: to, PerDayFrom: x.perDay, PerDayTo: y.perDay, Base: y.base}
	row.ObsStatus, row.ObsStatusAll = statuses(x.base.ObsStatusAll + y.base.ObsStatusAll)
	row.ImputedShare = result.Some(math.Max(x.base.ImputedShare.Or(), y.base.ImputedShare.Or()))
	row.MissingShare = result.Some(math.Max(x.base.MissingShare.Or(), y.base.MissingShare.Or()))
	row.Change = percent(math.Log(y.perDay.Or() / x.perDay.Or()))
	if !row.Change.OK {
		return row
	}
	lo, hi := differenceRange(p.spread(b.lines, region, to), p.spread(b.lines, region, from))
	row.Lo, row.Hi = percent(lo), percent(hi)
	switch {
	case !row.Lo.OK:
	case lo > 0:
		row.Finding = "rose"
	case hi < 0:
		row.Finding = "fell"
	default:
		row.Finding = "no_clear_difference"
	}
	return row
}

// packRows keeps the packs behind the baskets' prices in the edition, so that
// any two months can be compared without the database.
func packRows(e *result.Edition, o *observed, first, last result.Month) {
	for k, packs := range o.packs {
		if k.month < first || k.month > last {
			continue
		}
		for _, x := range packs {
			e.Packs = append(e.Packs, result.Pack{Region: k.region, Item: k.item, Grade: k.grade, Outlet: o.outletName[o.ranked[x.outlet]],
				Variety: o.ranked[x.variety], Pack: o.ranked[x.pack], Month: k.month, Size: result.Some(x.size), UnitPrice: result.Some(math.Exp(x.ln))})
		}
	}
	sort.Slice(e.Packs, func(i, j int) bool {
		a, b := &e.Packs[i], &e.Packs[j]
		for _, c := range [...][2]string{{a.Region, b.Region}, {a.Item, b.Item}, {a.Grade, b.Grade}, {a.Outlet, b.Outlet}, {a.Variety, b.Variety}, {a.Pack, b.Pack}} {
			if c[0] != c[1] {
				return c[0] < c[1]
			}
		}
		return a.Month < b.Month
	})
}
