package main

import (
	"math"
	"slices"
	"strings"
)

// This file computes the definitions of prices (sample "matched"), basket and reach a second time, plainly and without a database, so
// that the demo's fixed figures can be met and the program can be compared with them. It knows of observations,
// imputation and allowances only what the demo needs.

type cell struct {
	region, item, grade string
	month               int
}

// A price of an item in a region and month: its logarithm, status and the rule that filled it.
type price struct {
	ln     float64
	status string // A observed, I imputed, E carried, O none, M not sold
	by     string // matched, class, overall, carry
}

type economy struct {
	t             tables
	notes         map[cell]map[string]map[string][]float64 // outlet -> variety, pack -> ln unit prices
	average       map[cell]float64                         // ln of published means
	notSold       map[cell]bool
	kinds         []cell // item x grade, sorted; region and month blank
	childrenFirst bool   // a parent's own published mean does not displace its children's quotes

	priceMemo  map[cell]price
	changeMemo map[cell]float64 // NaN: none
	levelMemo  map[cell]float64 // NaN: none
}

func newEconomy(t tables, notes []note) *economy {
	e := &economy{t: t, notes: map[cell]map[string]map[string][]float64{}, average: map[cell]float64{}, notSold: map[cell]bool{},
		priceMemo: map[cell]price{}, changeMemo: map[cell]float64{}, levelMemo: map[cell]float64{}}
	for _, n := range notes {
		c := cell{n.region, n.item, n.gradeOr(standard), n.month()}
		switch {
		case n.priceType == "not_sold":
			e.notSold[c] = true
		case n.average:
			e.average[c] = math.Log(n.unitPrice())
		case n.priceType == "" || n.priceType == "promo":
			if e.notes[c] == nil {
				e.notes[c] = map[string]map[string][]float64{}
			}
			if e.notes[c][n.outlet] == nil {
				e.notes[c][n.outlet] = map[string][]float64{}
			}
			k := n.variety + "|" + n.pack
			e.notes[c][n.outlet][k] = append(e.notes[c][n.outlet][k], math.Log(n.unitPrice()))
		default:
			continue
		}
		if k := (cell{item: c.item, grade: c.grade}); !slices.Contains(e.kinds, k) {
			e.kinds = append(e.kinds, k)
		}
	}
	slices.SortFunc(e.kinds, func(a, b cell) int { return strings.Compare(a.item+"|"+a.grade, b.item+"|"+b.grade) })
	return e
}

// observed is the elementary price: means of logs over days, then varieties and packs, then outlets; a published mean
// where there is no quote; for a parent without prices of its own the children's, weighted.
func (e *economy) observed(c cell) (float64, bool) {
	own, published := e.average[c]
	switch {
	case e.notes[c] != nil:
		return nested(e.notes[c], func(string) string { return "" }), true
	case published && !(e.childrenFirst && len(e.t.children[c.region]) > 0):
		return own, true
	}
	return e.overChildren(c, e.observed)
}

// nested means: days, then the keys of one outlet and group, then outlets and groups.
func nested(outlets map[string]map[string][]float64, group func(key string) string) float64 {
	var top []float64
	for _, o := range sortedKeys(outlets) {
		groups := map[string][]float64{}
		for _, k := range sortedKeys(outlets[o]) {
			groups[group(k)] = append(groups[group(k)], mean(outlets[o][k]))
		}
		for _, g := range sortedKeys(groups) {
			top = append(top, mean(groups[g]))
		}
	}
	return mean(top)
}

func (e *economy) overChildren(c cell, f func(cell) (float64, bool)) (float64, bool) {
	var sum, weight float64
	for _, child := range e.t.children[c.region] {
		c.region = child
		if x, ok := f(c); ok {
			sum += e.t.weight[child] * x
			weight += e.t.weight[child]
		}
	}
	return sum / weight, weight > 0
}

// level is ln price in the matched sample; NaN where nothing was observed. Each series goes on from the month in which it
// was last noted, at that month's level: a variety at an outlet, a published mean, of a parent each of its children. Their
// mean, children by weight, is the level; where none was noted before it moves as found. The first month keeps what was found.
func (e *economy) level(c cell) float64 {
	if x, known := e.levelMemo[c]; known {
		return x
	}
	x := math.NaN()
	if found, ok := e.observed(c); ok {
		x = e.goneOn(c)
		if before, ok := e.lastObserved(c, func(cell) bool { return true }); ok && math.IsNaN(x) {
			then, _ := e.observed(before)
			x = e.level(before) + found - then
		}
		if math.IsNaN(x) {
			x = found
		}
	}
	e.levelMemo[c] = x
	return x
}

// goneOn is the mean over the series that were noted before; NaN where there is none.
func (e *economy) goneOn(c cell) float64 {
	var levels []float64
	for _, o := range sortedKeys(e.notes[c]) {
		now := byGroup(e.notes[c][o], variety)
		for _, v := range sortedKeys(now) {
			then := 0.0
			before, ok := e.lastObserved(c, func(s cell) (had bool) {
				then, had = byGroup(e.notes[s][o], variety)[v]
				return had
			})
			if ok {
				levels = append(levels, e.level(before)+now[v]-then)
			}
		}
	}
	children := len(e.t.children[c.region]) > 0
	if x, ok := e.average[c]; ok && len(levels) == 0 && !(e.childrenFirst && children) {
		if before, had := e.lastObserved(c, func(s cell) bool { _, had := e.average[s]; return had }); had {
			return e.level(before) + x - e.average[before]
		}
	}
	if !children {
		return mean(levels)
	}
	x, _ := e.overChildren(c, func(child cell) (float64, bool) {
		now := e.level(child)
		at := func(s cell) cell { return cell{child.region, s.item, s.grade, s.month} }
		before, ok := e.lastObserved(c, func(s cell) bool { return !math.IsNaN(e.level(at(s))) })
		if !ok || math.IsNaN(now) {
			return 0, false
		}
		return e.level(before) + now - e.level(at(before)), true
	})
	return x
}

// lastObserved is the last month before c with a price that passes.
func (e *economy) lastObserved(c cell, pass func(cell) bool) (cell, bool) {
	for c.month--; c.month >= 0; c.month-- {
		if _, ok := e.observed(c); ok && pass(c) {
			return c, true
		}
	}
	return c, false
}

func variety(key string) string { v, _, _ := strings.Cut(key, "|"); return v }

// change is the matched change of ln price from the month before.
func (e *economy) change(c cell) (float64, bool) {
	x, known := e.changeMemo[c]
	if !known {
		var ok bool
		if x, ok = e.matched(c); !ok {
			x = math.NaN()
		}
		e.changeMemo[c] = x
	}
	return x, !math.IsNaN(x)
}

func (e *economy) matched(c cell) (float64, bool) {
	before := c
	before.month--
	p, ok := e.average[c]
	q, had := e.average[before]
	children := len(e.t.children[c.region]) > 0
	if ok && had && !(e.childrenFirst && children) {
		return p - q, true
	}
	if children {
		return e.overChildren(c, e.change)
	}
	var changes []float64
	for _, o := range sortedKeys(e.notes[c]) {
		now, then := byGroup(e.notes[c][o], variety), byGroup(e.notes[before][o], variety)
		for _, v := range sortedKeys(now) {
			if x, ok := then[v]; ok {
				changes = append(changes, now[v]-x)
			}
		}
	}
	return mean(changes), len(changes) > 0
}

func byGroup(keys map[string][]float64, group func(string) string) map[string]float64 {
	all := map[string][]float64{}
	for _, k := range sortedKeys(keys) {
		all[group(k)] = append(all[group(k)], mean(keys[k]))
	}
	out := map[string]float64{}
	for g, xs := range all {
		out[g] = mean(xs)
	}
	return out
}

// meanChange is the mean of the matched changes of other kinds in the region, of one class or of all.
func (e *economy) meanChange(c cell, class string) (float64, bool) {
	var xs []float64
	for _, k := range e.kinds {
		if class != "" && (e.t.class(k.item) != class || k.item == c.item && k.grade == c.grade) {
			continue
		}
		if x, ok := e.change(cell{c.region, k.item, k.grade, c.month}); ok {
			xs = append(xs, x)
		}
	}
	return mean(xs), len(xs) > 0
}

// price is the observed price, else the first rule of the ladder that covers every month since the last observed one.
func (e *economy) price(c cell) price {
	p, known := e.priceMemo[c]
	if !known {
		p = e.fill(c)
		e.priceMemo[c] = p
	}
	return p
}

func (e *economy) fill(c cell) price {
	if ln := e.level(c); !math.IsNaN(ln) {
		return price{ln, "A", ""}
	}
	last, ok := e.lastObserved(c, func(cell) bool { return true })
	from := e.level(last)
	if !ok {
		if e.notSold[c] {
			return price{math.NaN(), "M", ""}
		}
		return price{math.NaN(), "O", ""}
	}
	age, outOfSeason := c.month-last.month, !e.t.inSeason(c.item, c.month)
	for _, rule := range []struct {
		name   string
		limit  int
		status string
		step   func(cell) (float64, bool)
	}{
		{"matched", 6, "I", func(s cell) (float64, bool) {
			for s.region = e.t.parent[s.region]; s.region != ""; s.region = e.t.parent[s.region] {
				if x, ok := e.change(s); ok {
					return x, true
				}
			}
			return 0, false
		}},
		{"class", 6, "I", func(s cell) (float64, bool) { return e.meanChange(s, e.t.class(s.item)) }},
		{"overall", 3, "I", func(s cell) (float64, bool) { return e.meanChange(s, "") }},
		{"carry", 2, "E", func(cell) (float64, bool) { return 0, true }},
	} {
		if outOfSeason && rule.name != "overall" || age > rule.limit && !outOfSeason {
			continue
		}
		ln, all := from, true
		for s := last; s.month < c.month && all; {
			var x float64
			s.month++
			x, all = rule.step(s)
			ln += x
		}
		if all {
			return price{ln, rule.status, rule.name}
		}
	}
	return price{math.NaN(), "O", ""}
}

// week is the basket's cost for one person and week and its known part; complete is false if a price is missing.
func (e *economy) week(region string, month int) (cost float64, complete bool) {
	complete = true
	for _, line := range e.t.basket {
		p := e.price(cell{region, line.item, standard, month})
		if math.IsNaN(p.ln) {
			complete = false
			continue
		}
		cost += line.quantity * math.Exp(p.ln)
	}
	return cost, complete
}

// reach of an allowance for a household in days, and the days fed of the month.
func (e *economy) reach(region, household string, month int) (days float64, fed int) {
	h := e.t.households[household]
	cost, _ := e.week(region, month)
	perDay := h.equivalents * cost / 7
	allowance := e.t.allowance(h.persons, month)
	for fed < daysIn(month) && float64(fed+1)*perDay <= allowance*(1+1e-9) {
		fed++
	}
	return allowance / perDay, fed
}

// held tells which notes the edit rule keeps out: own history where there are three others, else the peers.
func held(notes []note) (out []int) {
	type series struct{ outlet, item, variety, grade, pack string }
	type peer struct{ item, grade string }
	own, peers := map[series][]int{}, map[peer][]int{}
	for i, n := range notes {
		if n.cents == 0 {
			continue
		}
		s := series{n.outlet, n.item, n.variety, n.grade, n.canonical()}
		own[s] = append(own[s], i)
		p := peer{n.item, n.gradeOr(standard)}
		peers[p] = append(peers[p], i)
	}
	for i, n := range notes {
		if n.cents == 0 {
			continue
		}
		var others []float64
		for _, j := range own[series{n.outlet, n.item, n.variety, n.grade, n.canonical()}] {
			if d := notes[j].date().Sub(n.date()).Hours() / 24; j != i && math.Abs(d) <= 183 {
				others = append(others, notes[j].unitPrice())
			}
		}
		limit, centre := 2.0, 0.0
		if len(others) >= 3 {
			centre = median(others)
		} else {
			limit = math.Sqrt(10)
			monthly, count := map[int][]float64{}, 0
			for _, j := range peers[peer{n.item, n.gradeOr(standard)}] {
				if m := notes[j].month(); m-n.month() <= 6 && n.month()-m <= 6 {
					monthly[m] = append(monthly[m], notes[j].unitPrice())
					count++
				}
			}
			if count < 6 {
				continue
			}
			var medians []float64
			for _, xs := range monthly {
				medians = append(medians, median(xs))
			}
			centre = median(medians)
		}
		if r := n.unitPrice() / centre; r > limit || r < 1/limit {
			out = append(out, i)
		}
	}
	return out
}

func mean(xs []float64) float64 {
	var sum float64
	for _, x := range xs {
		sum += x
	}
	return sum / float64(len(xs))
}

func median(xs []float64) float64 {
	xs = slices.Clone(xs)
	slices.Sort(xs)
	return (xs[(len(xs)-1)/2] + xs[len(xs)/2]) / 2
}
