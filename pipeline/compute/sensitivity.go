package compute

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"farthing/pipeline/result"
	"farthing/pipeline/workspace"
)

// The variants of sensitivity.csv: what reach would be by another choice.
const (
	otherSample  = "sample " // + as_found or matched, whichever is not published
	regularPrice = "regular price only"
	observedOnly = "without imputed"
	cheapestShop = "cheapest"
	withoutShop  = "without outlet " // + its published name
)

// maxLeftOut is how many outlets are left out in turn: of more, those that
// move the cost most.
const maxLeftOut = 40

// variants is what another panel is made from.
type variants struct {
	settings workspace.Settings
	tables   *workspace.Tables
	o        *observed
	base     result.Month
}

// panel is the panel of a variant, without its warnings: the published one's stand.
func (v *variants) panel(p *panel, s workspace.Settings, o *observations) *panel {
	return newPanel(v.tables, s, o, p.first, p.last, v.base, v.o.asOf, func(_, _, _, _ string) {})
}

// varied is one person's basket by another choice.
type varied struct {
	variant string
	perDay  result.Num
	base    result.Base
}

// sensitivityRows says of each published combination and month how reach hangs
// on the choices behind the cost; the amount is the published one.
//
//	sample X            the other sample: as_found or matched
//	regular price only  no other price type counts
//	without imputed     cost of the lines with an observed price / their share of
//	                    the basket, so that the rest moved as they did
//	cheapest            each item at the outlet of the region where its mean is
//	                    lowest beside the price found; imputed and published
//	                    prices as they are
//	without outlet X    each outlet left out in turn, as the range has it: a price
//	                    that rests on that outlet alone stays
//
// Reach is nominal: no deflator changes it, so none is varied.
func sensitivityRows(e *result.Edition, p *panel, v *variants, list []basket, costs map[costKey]costed) {
	if len(e.Publish) == 0 {
		return
	}
	other := v.settings
	other.Panel.Sample = pick(other.Panel.Sample == "matched", "as_found", "matched")
	type alternative struct {
		name string
		*panel
	}
	panels := []alternative{{otherSample + other.Panel.Sample, v.panel(p, other, &v.o.observations)}}
	if regular := v.o.regular; regular != nil {
		panels = append(panels, alternative{regularPrice, v.panel(p, v.settings, regular)})
	}
	lines := map[costKey][]*result.BasketLine{}
	for i := range e.Lines {
		l := &e.Lines[i]
		k := costKey{l.Region, l.Basket, l.Month}
		lines[k] = append(lines[k], l)
	}
	byName := map[string]basket{}
	for _, b := range list {
		byName[b.name] = b
	}
	newest := map[string]result.Month{}
	for _, r := range e.Reach {
		newest[r.Region+"/"+r.Basket] = max(newest[r.Region+"/"+r.Basket], r.Month)
	}
	done := map[costKey][]varied{}
	all := func(k costKey) []varied {
		if _, ok := done[k]; !ok {
			b, c := byName[k.basket], costs[k]
			var rows []varied
			for _, x := range panels {
				var unused []result.BasketLine
				weights := x.weights(b, k.region, v.base)
				y := x.cost(b, k.region, k.month, weights, c.base.CurrencyCode, &unused)
				rows = append(rows, varied{x.name, y.perDay, y.base})
				if key := k.region + "/" + k.basket; x.name == otherSample+"as_found" && k.month == newest[key] {
					p.drifted(key, k, y.perDay.Or()/c.perDay.Or())
				}
			}
			rows = append(rows, p.observedOnly(lines[k], c), varied{cheapestShop, p.cheapest(b, k), c.base})
			done[k] = append(rows, p.withoutOutlets(b, k, c, v.o)...)
		}
		return done[k]
	}
	heads := map[string]float64{}
	for _, h := range v.tables.Households {
		heads[h.Household] = float(h.Equivalents)
	}
	published := map[result.Combination]bool{}
	for _, c := range e.Publish {
		published[c] = true
	}
	for _, r := range e.Reach {
		if !published[result.Combination{Programme: r.Programme, AmountKind: r.AmountKind, Region: r.Region, Household: r.Household, Basket: r.Basket}] {
			continue
		}
		for _, x := range all(costKey{r.Region, r.Basket, r.Month}) {
			row := result.Sensitivity{Programme: r.Programme, AmountKind: r.AmountKind, Region: r.Region, Household: r.Household, Basket: r.Basket,
				Month: r.Month, Variant: x.variant, Days: result.Some(r.Allowance.Or() / (x.perDay.Or() * heads[r.Household])), Base: x.base}
			row.Difference = result.Some(row.Days.Or() - r.Days.Or())
			e.Sensitivity = append(e.Sensitivity, row)
		}
	}
	slices.SortStableFunc(e.Sensitivity, func(a, b result.Sensitivity) int {
		return cmp.Or(strings.Compare(a.Programme, b.Programme), strings.Compare(a.AmountKind, b.AmountKind), strings.Compare(a.Region, b.Region),
			strings.Compare(a.Household, b.Household), strings.Compare(a.Basket, b.Basket), cmp.Compare(a.Month, b.Month), strings.Compare(a.Variant, b.Variant))
	})
}

// observedOnly is a basket by its lines with an observed price alone.
func (p *panel) observedOnly(lines []*result.BasketLine, c costed) varied {
	var cost, share float64
	for _, l := range lines {
		if l.PerDay.OK && l.ImputedShare.V == 0 && l.Weight.OK {
			cost, share = cost+l.PerDay.V, share+l.Weight.V
		}
	}
	x := varied{observedOnly, result.Some(cost / share), c.base} // 0/0: nothing observed, no cost
	x.base.ImputedShare, x.base.MissingShare = result.Some(0), result.Some(c.base.MissingShare.Or()+c.base.ImputedShare.Or())
	low := strings.Contains(c.base.ObsStatusAll, "U") || share < p.settings.Panel.MinObservedShare
	x.base.ObsStatus, x.base.ObsStatusAll = statuses(pick(!x.perDay.OK, pick(strings.Contains(c.base.ObsStatusAll, "Q"), "Q", "O"), pick(low, "U", "A")) + pick(strings.Contains(c.base.ObsStatusAll, "P"), "P", ""))
	return x
}

// drifted warns where the prices found are so far from the level that the matched
// sample follows that other shops are seen than at first: a level that leaves them
// out says what the same goods cost, and no longer what food costs there.
func (p *panel) drifted(key string, k costKey, ratio float64) {
	if math.Abs(math.Log(ratio)) > mostDrift { // never of what is missing
		p.warn("sample_drift", fmt.Sprintf("basket %s in %s: the prices found in %s come to %s %% of the cost by the matched sample", k.basket, k.region, k.month, strconv.FormatFloat(100*ratio, 'f', 1, 64)),
			"other shops are seen now than at first: look at the row of the sample as_found in sensitivity.csv, and choose [panel] sample", key)
	}
}

// mostDrift is how far, in logs, the two samples may part without a word.
const mostDrift = 0.05

// cheapest is a basket with each item bought where its outlet mean is lowest.
func (p *panel) cheapest(b basket, k costKey) result.Num {
	var cost float64
	r := p.shops.region[k.region]
	for _, l := range b.lines {
		cell := p.at(k.region, l.good, k.month)
		if cell == nil {
			return result.Num{}
		}
		price := cell.price // NaN where there is none, and so is the cost
		if g, ok := p.shops.good[l.good]; ok && cell.observed() && cell.outlets.OK {
			if ln := p.shops.lowest(r, p.shops.at(g, k.month)); !math.IsInf(ln, 1) {
				price *= math.Exp(ln - p.shops.ln[r][p.shops.at(g, k.month)]) // as a part of the price found, whatever the sample makes of its level
			}
		}
		cost += l.perDay * price
	}
	return result.Some(cost)
}

// lowest is the lowest log price at an outlet of a region, or of its parts
// where it has no outlets; +Inf where nothing was seen.
func (s *shops) lowest(r, at int) float64 {
	low := math.Inf(1)
	for _, x := range s.own[r][at] {
		low = math.Min(low, x.ln)
	}
	if len(s.own[r][at]) == 0 {
		for _, c := range s.children[r] {
			low = math.Min(low, s.lowest(c, at))
		}
	}
	return low
}

// withoutOutlets leaves out each outlet behind a basket in turn.
func (p *panel) withoutOutlets(b basket, k costKey, c costed, o *observed) []varied {
	if !c.perDay.OK {
		return nil
	}
	x := p.spread(b.lines, k.region, k.month)
	outlets := slices.Clone(x.outlets)
	if len(outlets) > maxLeftOut {
		slices.SortStableFunc(outlets, func(a, b int32) int {
			return cmp.Compare(math.Abs(x.without[b]-x.cost), math.Abs(x.without[a]-x.cost))
		})
		outlets = outlets[:maxLeftOut]
	}
	var rows []varied
	for _, outlet := range outlets {
		base, cost := c.base, result.Some(x.without[outlet])
		base.NObservations, base.NOutlets = result.Int{}, result.Count(len(x.outlets)-1)
		if base.NOutlets.V < minOutlets {
			base.ObsStatus, base.ObsStatusAll = statuses(base.ObsStatusAll + "U")
		}
		if len(x.outlets) == 1 { // without it nothing was seen
			cost, base.ObsStatus, base.ObsStatusAll = result.Num{}, "O", "O"
		}
		rows = append(rows, varied{withoutShop + o.outletName[o.ranked[outlet]], cost, base})
	}
	return rows
}
