package compute

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"

	"farthing/pipeline/quantity"
	"farthing/pipeline/result"
	"farthing/pipeline/workspace"
)

// A mean month has 365.25 / 12 days.
const daysInMeanMonth = 30.4375

// line is one good of a basket: what one person uses of it in a day.
type line struct {
	good
	perDay      float64 // AP quantity in the item's base unit; NaN where it is not known
	baseUnit    string
	yield       result.Num
	yieldSource string
}

// basket is a list of goods and amounts for one person.
type basket struct {
	name  string
	lines []line
}

// baskets turns the table into amounts a day in base units. An edible amount
// becomes one to buy: AP = EP / yield.
func baskets(t *workspace.Tables, s workspace.Settings, items map[string]workspace.Item, warn func(code, text, cure, key string)) ([]basket, error) {
	byName := map[string]*basket{}
	var names []string
	for _, row := range t.Baskets {
		it := items[row.Item]
		bad := func(field, read string, err error) error {
			instead := err.Error()
			return &workspace.InputError{Code: "basket", File: row.File, Line: row.Line, Field: field, Read: read, Instead: instead}
		}
		unit, err := quantity.ParseUnit(row.Unit)
		if err != nil {
			return nil, bad("unit", fmt.Sprintf("%q", row.Unit), err)
		}
		l := line{good: good{row.Item, row.Grade}, perDay: math.NaN(), baseUnit: it.BaseUnit}
		if row.Quantity != nil { // a plan may use an amount that is not known
			dim, _ := quantity.DimensionOf(it.BaseUnit)
			amount, err := unit.Times(row.Quantity).To(dim, quantity.Bridge{DensityKgPerL: it.Density, PieceKg: it.PieceKg, Source: row.Source})
			if err != nil {
				return nil, bad("unit", fmt.Sprintf("%q", row.Unit), err)
			}
			l.perDay = amount.Float()
		}
		if l.grade == "" {
			l.grade = s.Prices.DefaultGrade
		}
		switch row.Per {
		case "week":
			l.perDay /= 7
		case "month":
			l.perDay /= daysInMeanMonth
		}
		if row.Basis == "EP" {
			if it.EdibleYield == nil {
				l.yield, l.yieldSource = result.Some(1), "assumed 100 %"
				warn("yield_assumed", "yield assumed 100 %: "+it.Name+" in basket "+row.Basket, "give its edible_yield in tables/items", row.Basket+"/"+row.Item)
			} else {
				l.yield, l.yieldSource = result.Some(float(it.EdibleYield)), it.Source
				l.perDay /= l.yield.V
			}
		}
		if byName[row.Basket] == nil {
			byName[row.Basket] = &basket{name: row.Basket}
			names = append(names, row.Basket)
		}
		b := byName[row.Basket]
		for _, other := range b.lines {
			if other.good == l.good {
				return nil, &workspace.InputError{Code: "basket", File: row.File, Line: row.Line, Field: "grade", Read: fmt.Sprintf("%q", row.Grade),
					Instead: "the basket has this item in this grade already (a blank grade is the default grade): add the quantities up"}
			}
		}
		b.lines = append(b.lines, l)
	}
	sort.Strings(names)
	var list []basket
	for _, n := range names {
		b := byName[n]
		sort.Slice(b.lines, func(i, j int) bool {
			if b.lines[i].item != b.lines[j].item {
				return b.lines[i].item < b.lines[j].item
			}
			return b.lines[i].grade < b.lines[j].grade
		})
		list = append(list, *b)
	}
	return list, nil
}

// weights are the shares of a basket's base-month cost, in the region at the
// top. Where that has no price for a line, the next region down towards the
// one asked about, then the first month with a price, stands in, with a warning.
// nil where a line has no price at all, or no known quantity.
func (p *panel) weights(b basket, region string, base result.Month) []float64 {
	var path []string
	for r := region; r != ""; r = p.parent[r] {
		path = append([]string{r}, path...)
	}
	w := make([]float64, len(b.lines))
	var sum float64
	if slices.ContainsFunc(b.lines, func(l line) bool { return math.IsNaN(l.perDay) }) {
		return nil // told where the quantity was read
	}
	for i, l := range b.lines {
		price, from := p.weightPrice(l.good, path, base)
		if math.IsNaN(price) {
			words, cure := "basket %s in %s: no price of %s in any month, so shares are not known", "note a price of it, or take it out of the basket"
			if p.anyHeld(l.good, path) {
				words, cure = "basket %s in %s: every price of %s is held, so shares are not known", "look at each: farthing quarantine --held gives the lines for tables/corrections"
			}
			p.warn("no_weights", fmt.Sprintf(words, b.name, region, l.item), cure, b.name+"/"+region)
			return nil
		}
		if from != "" {
			p.warn("weight_stands_in", fmt.Sprintf("basket %s: no price of %s in %s in the base month; its weight is from %s", b.name, l.item, path[0], from),
				"note or enter a price for the base month", b.name+"/"+l.item)
		}
		w[i] = l.perDay * price
		sum += w[i]
	}
	for i := range w {
		w[i] /= sum
	}
	return w
}

// anyHeld says whether a price of a good is held in one of some regions.
func (p *panel) anyHeld(g good, regions []string) bool {
	return slices.ContainsFunc(regions, func(r string) bool {
		return slices.ContainsFunc(p.cells[r][g], func(c cell) bool { return c.held != nil })
	})
}

func (p *panel) weightPrice(g good, path []string, base result.Month) (price float64, from string) {
	for _, r := range path {
		if c := p.at(r, g, base); c != nil && !math.IsNaN(c.price) {
			if r == path[0] {
				return c.price, ""
			}
			return c.price, r
		}
	}
	for _, r := range path {
		for m := p.first; m <= p.last; m++ {
			if c := p.at(r, g, m); c != nil && !math.IsNaN(c.price) {
				return c.price, r + " in " + m.String()
			}
		}
	}
	return math.NaN(), ""
}

// costed is one person's basket in one region and month.
type costed struct {
	perDay    result.Num // missing where a line has no price or no known quantity
	lo, hi    result.Num // the range of perDay across the shops seen
	knownPart result.Num
	observed  result.Num
	base      result.Base
}

// cost prices a basket and appends its lines' rows.
func (p *panel) cost(b basket, region string, m result.Month, weights []float64, currency string, rows *[]result.BasketLine) costed {
	var c costed
	var total, known, observed, imputed, missing float64
	n, nKnown, seen, status := 0, false, false, ""
	for i, l := range b.lines {
		row := result.BasketLine{Region: region, Basket: b.name, Item: l.item, Grade: l.grade, Month: m,
			APQuantity: result.Some(l.perDay), BaseUnit: l.baseUnit, Yield: l.yield, YieldSource: l.yieldSource,
			Base: result.Base{CurrencyCode: currency, ObsStatus: "O"}}
		var weight float64
		if weights != nil {
			weight = weights[i]
			row.Weight = result.Some(weight)
		}
		cell := p.at(region, l.good, m)
		var share [3]float64
		switch {
		case cell == nil || math.IsNaN(cell.price*l.perDay):
			missing += weight
			total = math.NaN()
			share[2] = 1
		case cell.observed():
			seen = true
			observed += weight
			share[0] = 1
		default:
			imputed += weight
			share[1] = 1
		}
		if cell != nil {
			row.FilledBy = cell.filledBy
			row.NObservations, row.NOutlets = cell.n, cell.outlets
			letters := cell.status
			if math.IsNaN(l.perDay) {
				letters += "O"
			}
			row.ObsStatus, row.ObsStatusAll = statuses(letters)
			if !math.IsNaN(cell.price) {
				row.UnitPrice, row.PerDay = result.Some(cell.price), result.Some(l.perDay*cell.price)
				total += l.perDay * cell.price
				known += row.PerDay.V // 0 where it is missing
			}
			if cell.n.OK {
				n, nKnown = n+cell.n.V, true
			}
			status += strings.Trim(letters, "UP")
			if strings.Contains(cell.status, "P") {
				c.base.ObsStatusAll = "P"
			}
		} else {
			row.ObsStatus, row.ObsStatusAll = "O", "O"
			status += "O"
		}
		row.ImputedShare, row.MissingShare = result.Some(share[1]), result.Some(share[2])
		*rows = append(*rows, row)
	}
	c.perDay = result.Some(total)
	if known > 0 {
		c.knownPart = result.Some(known)
	}
	lo, hi, nOutlets := p.shopRange(b.lines, region, m)
	if c.perDay.OK {
		c.lo, c.hi = lo, hi
	}
	provisional := c.base.ObsStatusAll
	c.base = result.Base{CurrencyCode: currency, NOutlets: result.Count(nOutlets)}
	if nKnown || !seen { // where nothing was seen the count is 0, not unknown
		c.base.NObservations = result.Count(n)
	} else {
		c.base.NOutlets = result.Int{}
	}
	low := nKnown && nOutlets < minOutlets
	if weights != nil {
		c.observed = result.Some(observed)
		c.base.ImputedShare, c.base.MissingShare = result.Some(imputed), result.Some(missing)
		low = low || observed < p.settings.Panel.MinObservedShare
	}
	if low {
		status += "U"
	}
	c.base.ObsStatus, c.base.ObsStatusAll = statuses(status + provisional)
	return c
}

// statusOrder is the order in which one status outranks another.
const statusOrder = "QMOLBUEIPA"

// statuses gives the strongest of the letters, and all of them without
// repeats, strongest first. A value that is only as it was seen is "A".
func statuses(letters string) (strongest, all string) {
	for _, r := range statusOrder {
		if strings.ContainsRune(letters, r) {
			all += string(r)
		}
	}
	if len(all) > 1 {
		all = strings.TrimSuffix(all, "A")
	}
	if all == "" {
		return "", ""
	}
	return all[:1], all
}
