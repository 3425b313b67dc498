package pipeline

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"

	"farthing/pipeline/result"
)

// wayOn is how a series, or a part of a region, reached a month: from the month in
// which it was last priced, by its own change.
type wayOn struct {
	from   result.Month
	weight float64
	change float64 // log
	inputs []*Node
}

// matched traces a level of the matched sample: in one month, the base month
// unless the good was better seen in another, that is the price found; in any
// other month the mean of where its series arrived, each from the level
// published for the month in which it was last priced. A first month before that
// month follows from it through each month between.
func (t *tracer) matched(x result.Item) (*Node, error) {
	row := map[result.Month]result.Item{} // months in which it was observed
	for _, c := range t.e.Items {
		if c.Region == x.Region && c.Item == x.Item && c.Grade == x.Grade && observed(c) {
			row[c.Month] = c
		}
	}
	months := slices.Sorted(maps.Keys(row))
	keeps := t.keeps(months, row)
	if x.Month == keeps || x.Month != months[0] {
		return t.levelOf(x, row, keeps)
	}
	n := &Node{Value: x.UnitPrice.V, Formula: "level of the matched sample: the price found in " + keeps.String() + ", taken back through each month between"}
	for _, m := range months[1:] {
		if m > keeps {
			break
		}
		const none = result.Month(-1) // also the base month must be where its series arrive
		for _, at := range []result.Month{none, keeps} {
			if at == keeps && m != keeps {
				continue
			}
			in, err := t.levelOf(row[m], row, at)
			if err != nil {
				return nil, err
			}
			in.Key = keyOf("item", append(result.Key(row[m]), "unit_price_lcu")...)
			n.Inputs = append(n.Inputs, in)
		}
	}
	return n, nil
}

// keeps is the month whose price found stands: of those best seen, by the share of
// the parts and then by shops, as far as the settings and a range ask for either,
// the nearest to the base month, the earlier of two.
func (t *tracer) keeps(months []result.Month, row map[result.Month]result.Item) result.Month {
	rank := func(m result.Month) (share float64, shops, away int) {
		x, base := row[m], months[0]
		if b, err := result.ParseMonth(t.e.BaseMonth); err == nil {
			base = b
		}
		shops = 3
		if x.NOutlets.OK {
			shops = min(x.NOutlets.V, 3)
		}
		return math.Round(1e9 * min(1-x.MissingShare.V, t.then.Panel.MinObservedShare)), shops, max(int(m-base), int(base-m))
	}
	return slices.MinFunc(months, func(a, b result.Month) int {
		shareA, shopsA, awayA := rank(a)
		shareB, shopsB, awayB := rank(b)
		return cmp.Or(cmp.Compare(shareB, shareA), cmp.Compare(shopsB, shopsA), cmp.Compare(awayA, awayB))
	})
}

func observed(x result.Item) bool { return x.UnitPrice.OK && x.FilledBy == "" }

// levelOf traces one month, whose price found stands if it is the month that keeps it.
func (t *tracer) levelOf(x result.Item, row map[result.Month]result.Item, keeps result.Month) (*Node, error) {
	found, formula, inputs, err := t.observedLn(x.Region, x.Item, x.Grade, x.Month)
	if err != nil {
		return nil, err
	}
	if x.Month == keeps {
		return computed(x.UnitPrice, math.Exp(found), formula, inputs...)
	}
	var ways []wayOn
	for _, kind := range t.then.Panel.SourceOrder {
		if ways, err = t.seriesOn(strings.TrimSuffix(kind, "s"), x, row); err == nil && len(ways) == 0 {
			ways, err = t.partsOn(strings.TrimSuffix(kind, "s"), x, row)
		}
		if err != nil {
			return nil, err
		}
		if len(ways) > 0 {
			break
		}
	}
	level := func(m result.Month) *Node {
		return &Node{Key: keyOf("item", append(result.Key(row[m]), "unit_price_lcu")...), Value: row[m].UnitPrice.V, Formula: "level of the month in which it was last priced"}
	}
	if len(ways) == 0 {
		before := result.Month(0)
		for m := range row {
			if m < x.Month {
				before = max(before, m)
			}
		}
		earlier, formula2, inputs2, err := t.observedLn(x.Region, x.Item, x.Grade, before)
		if err != nil {
			return nil, err
		}
		return computed(x.UnitPrice, row[before].UnitPrice.V*math.Exp(found-earlier), "level of the matched sample: all that is priced is new, so the last level x the change as found",
			level(before), &Node{Value: math.Exp(earlier), Formula: formula2, Inputs: inputs2}, &Node{Value: math.Exp(found), Formula: formula, Inputs: inputs})
	}
	var sum, weight float64
	var nodes []*Node
	told := map[result.Month]bool{}
	for _, w := range ways {
		if !told[w.from] {
			told[w.from] = true
			nodes = append(nodes, level(w.from))
		}
		sum, weight = sum+w.weight*(math.Log(row[w.from].UnitPrice.V)+w.change), weight+w.weight
		nodes = append(nodes, &Node{Value: math.Exp(w.change), Formula: "change since " + w.from.String(), Inputs: w.inputs})
	}
	return computed(x.UnitPrice, math.Exp(sum/weight), "level of the matched sample: geometric mean of (level of the month in which a series was last priced x its change since)", nodes...)
}

// seriesLogs are the logs of what is followed from month to month, by name: a
// variety at an outlet with its packs averaged, or a published average.
func seriesLogs(list []note) (logs map[string]float64, nodes map[string][]*Node) {
	nodes = map[string][]*Node{}
	for _, n := range list {
		nodes[n.series()] = append(nodes[n.series()], n.node)
	}
	packs := means(list, func(n note) string { return n.series() + "\x01" + n.pack })
	all := map[string][]float64{}
	for _, k := range slices.Sorted(maps.Keys(packs)) {
		name, _, _ := strings.Cut(k, "\x01")
		all[name] = append(all[name], packs[k])
	}
	logs = map[string]float64{}
	for k, x := range all {
		logs[k] = average(x)
	}
	return logs, nodes
}

func (n note) series() string {
	if n.outlet == "" { // an average has no outlet
		return n.source
	}
	return n.outlet + "\x00" + n.variety
}

// seriesOf are a good's series of a month.
func (t *tracer) seriesOf(g goods, m result.Month) (map[string]float64, map[string][]*Node, error) {
	list, err := t.notes(g, m)
	if g.kind == "average" && len(list) > 0 {
		list = t.ofFirstSource(list)
	}
	logs, nodes := seriesLogs(list)
	return logs, nodes, err
}

// seriesOn are the ways of a region's own series to a month.
func (t *tracer) seriesOn(kind string, x result.Item, row map[result.Month]result.Item) (ways []wayOn, err error) {
	g := goods{kind, x.Region, x.Item, x.Grade}
	now, nodes, err := t.seriesOf(g, x.Month)
	if err != nil {
		return nil, err
	}
	if err := t.readHistory(); err != nil {
		return nil, err
	}
	for _, k := range slices.Sorted(maps.Keys(now)) {
		months := t.noted[g][k]
		for i := len(months) - 1; i >= 0; i-- {
			s := months[i]
			if s >= x.Month || !observed(row[s]) {
				continue
			}
			then, before, err := t.seriesOf(g, s)
			if err != nil {
				return nil, err
			}
			if ln, ok := then[k]; ok { // else another source stands in that month
				ways = append(ways, wayOn{s, 1, now[k] - ln, append(slices.Clone(before[k]), nodes[k]...)})
				break
			}
		}
	}
	return ways, nil
}

// partsOn are the ways of a region's parts to a month, by their published levels.
func (t *tracer) partsOn(kind string, x result.Item, row map[result.Month]result.Item) (ways []wayOn, err error) {
	for _, c := range t.tables.Regions {
		if c.Parent != x.Region || c.Weight == nil && !t.then.Panel.Pooled || c.Weight != nil && c.Weight.Sign() == 0 {
			continue
		}
		_, _, priced, err := t.fromKind(kind, c.Region, x.Item, x.Grade, x.Month)
		if err != nil {
			return nil, err
		}
		if priced == nil {
			continue
		}
		var last result.Item
		for _, i := range t.e.Items {
			if i.Region == c.Region && i.Item == x.Item && i.Grade == x.Grade && i.Month < x.Month && i.Month > last.Month && observed(i) && observed(row[i.Month]) {
				last = i
			}
		}
		if !observed(last) {
			continue
		}
		w, err := t.weight(c)
		if err != nil {
			return nil, err
		}
		now, err := find(t, t.e.Items, "item", []string{c.Region, x.Item, x.Grade, x.Month.String()}, "unit_price_lcu", t.item)
		if err != nil {
			return nil, err
		}
		then := &Node{Key: keyOf("item", append(result.Key(last), "unit_price_lcu")...), Value: last.UnitPrice.V}
		ways = append(ways, wayOn{last.Month, w.number(), math.Log(now.number() / last.UnitPrice.V), []*Node{w, now, then}})
	}
	return ways, nil
}

// readHistory notes, once, in which months each series of a good was noted.
func (t *tracer) readHistory() error {
	if t.noted != nil {
		return nil
	}
	t.noted = map[goods]map[string][]result.Month{}
	files := map[string]string{}
	var bad error
	err := result.EachObservation(t.e.Dir, func(o result.Observation) {
		if o.Get("counts") != "yes" {
			return
		}
		hash := o.Get("archive_file")
		name, ok := files[hash]
		if !ok {
			s, _ := t.source(hash)
			name = s.Source
			files[strings.Clone(hash)] = name
		}
		on := o.Get("observed_on")
		m, err := result.ParseMonth(on[:min(7, len(on))])
		if err != nil {
			bad = fmt.Errorf("trace: observed_on %s: %w", strconv.Quote(on), err)
			return
		}
		g := goods{o.Get("kind"), o.Get("region"), o.Get("item"), cmp.Or(o.Get("grade"), t.then.Prices.DefaultGrade)}
		k := note{outlet: o.Get("outlet"), variety: o.Get("variety"), source: name}.series()
		if t.noted[g] == nil {
			g = goods{strings.Clone(g.kind), strings.Clone(g.region), strings.Clone(g.item), strings.Clone(g.grade)}
			t.noted[g] = map[string][]result.Month{}
		}
		if list := t.noted[g][k]; !slices.Contains(list, m) {
			t.noted[g][strings.Clone(k)] = append(list, m)
		}
	})
	for _, all := range t.noted {
		for _, months := range all {
			slices.Sort(months)
		}
	}
	return cmp.Or(err, bad)
}
