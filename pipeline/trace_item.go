package pipeline

import (
	"cmp"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"

	"farthing/pipeline/result"
	"farthing/pipeline/workspace"
)

// item traces an elementary price: to its observations, to the parts of the
// region, or along the rule that filled it.
func (t *tracer) item(x result.Item, column string) (*Node, error) {
	switch column {
	case "unit_price_lcu":
	case "n_held", "held_lo_lcu", "held_hi_lcu":
		return t.held(x, column)
	default:
		return &Node{Formula: "read off the row; unit_price_lcu walks to the observations"}, nil
	}
	if !x.UnitPrice.OK && strings.Contains(x.ObsStatusAll, "Q") {
		n, err := t.held(x, "n_held")
		if err != nil {
			return nil, err
		}
		return &Node{Formula: "no price: what was observed is held for a check, and no rule reaches this month", Inputs: n.Inputs}, nil
	}
	if !x.UnitPrice.OK {
		return &Node{Formula: "no price: nothing was observed, and no rule reaches this month"}, nil
	}
	if x.FilledBy != "" {
		return t.filled(x)
	}
	if t.then.Panel.Sample == "matched" {
		return t.matched(x)
	}
	ln, formula, inputs, err := t.observedLn(x.Region, x.Item, x.Grade, x.Month)
	if err != nil {
		return nil, err
	}
	return computed(x.UnitPrice, math.Exp(ln), formula, inputs...)
}

// held traces the prices of a month that an edit rule holds, of a region and its
// parts: those that would count.
func (t *tracer) held(x result.Item, column string) (*Node, error) {
	var inputs []*Node
	var prices []float64
	var failed error
	err := result.EachObservation(t.e.Dir, func(o result.Observation) {
		switch {
		case !o.IsHeld() || !strings.HasPrefix(o.Get("observed_on"), x.Month.String()) || o.Get("market") == "wholesale",
			o.Get("item") != x.Item || cmp.Or(o.Get("grade"), t.then.Prices.DefaultGrade) != x.Grade || o.Get("region") != x.Region && !t.above(x.Region, o.Get("region")),
			o.Get("kind") == "quote" && !(slices.Contains(t.then.Prices.PriceTypes, o.Get("price_type")) && t.then.Prices.Counts(o.Get("outlet_type"))):
			return
		}
		price, errP := strconv.ParseFloat(o.Get("price_lcu"), 64)
		quantity, errQ := strconv.ParseFloat(o.Get("quantity"), 64)
		if errP != nil || errQ != nil || price <= 0 {
			return
		}
		n := &Node{ObservationID: strings.Clone(o.Get("observation_id")), Value: price / quantity, Formula: "held by " + o.Get("held") + "; price / quantity: " + o.Get("price_lcu") + " / " + o.Get("quantity") + " " + o.Get("base_unit")}
		if s, ok := t.source(o.Get("archive_file")); ok {
			line, _ := strconv.Atoi(o.Get("line"))
			failed = errors.Join(failed, t.fileLine(n, "archive/"+s.SHA256+"/"+s.Name, line))
		}
		inputs, prices = append(inputs, n), append(prices, price/quantity)
	})
	if err = errors.Join(err, failed); err != nil {
		return nil, err
	}
	switch {
	case column == "n_held":
		return computed(result.Num{V: float64(x.NHeld.V), OK: x.NHeld.OK}, float64(len(prices)), "number of the prices held", inputs...)
	case prices == nil:
		return &Node{Formula: "no price is held"}, nil
	case column == "held_lo_lcu":
		return computed(x.HeldLo, slices.Min(prices), "lowest of the unit prices held", inputs...)
	}
	return computed(x.HeldHi, slices.Max(prices), "highest of the unit prices held", inputs...)
}

// filled traces an imputed price: the last observed one times the changes since.
func (t *tracer) filled(x result.Item) (*Node, error) {
	seen := x.Month - result.Month(x.MonthsSinceSeen.V)
	from, err := find(t, t.e.Items, "item", []string{x.Region, x.Item, x.Grade, seen.String()}, "unit_price_lcu", t.item)
	if err != nil {
		return nil, err
	}
	n := &Node{Value: x.UnitPrice.V, Formula: "imputed, " + x.FilledBy + ": the price last observed x the changes of each month since", Inputs: []*Node{from}}
	var sum float64
	var region string
	for m := seen + 1; m <= x.Month; m++ {
		var logs []float64
		for _, c := range t.e.Items {
			if c.Month != m || !c.MatchedChange.OK {
				continue
			}
			switch x.FilledBy {
			case "ancestor_change":
				if c.Item != x.Item || c.Grade != x.Grade || !t.above(c.Region, x.Region) || region != "" && c.Region != region {
					continue
				}
				if region == "" { // the nearest that has the whole span
					if region = t.nearest(x, seen); c.Region != region {
						continue
					}
				}
			case "class_change":
				if c.Region != x.Region || t.class(c.Item) != t.class(x.Item) || c.Item == x.Item && c.Grade == x.Grade {
					continue
				}
			case "region_change":
				if c.Region != x.Region {
					continue
				}
			default: // carried
				continue
			}
			logs = append(logs, math.Log(1+c.MatchedChange.V/100))
			n.Inputs = append(n.Inputs, &Node{Key: keyOf("item", append(result.Key(c), "matched_change_pct")...), Value: c.MatchedChange.V})
		}
		sum += average(logs)
	}
	if v, ok := from.Value.(float64); !ok || !same(v*math.Exp(sum), x.UnitPrice.V) {
		return nil, fmt.Errorf("trace: %s computed again %v, published %v", x.FilledBy, v*math.Exp(sum), x.UnitPrice.V)
	}
	return n, nil
}

func (t *tracer) parent(region string) string {
	for _, r := range t.e.Regions {
		if r.Region == region {
			return r.Parent
		}
	}
	return ""
}

func (t *tracer) above(up, region string) bool {
	for r := t.parent(region); r != ""; r = t.parent(r) {
		if r == up {
			return true
		}
	}
	return false
}

// nearest is the nearest ancestor with a change of the item in every month after seen.
func (t *tracer) nearest(x result.Item, seen result.Month) string {
	for r := t.parent(x.Region); r != ""; r = t.parent(r) {
		n := 0
		for _, c := range t.e.Items {
			if c.Region == r && c.Item == x.Item && c.Grade == x.Grade && c.Month > seen && c.Month <= x.Month && c.MatchedChange.OK {
				n++
			}
		}
		if n == int(x.Month-seen) {
			return r
		}
	}
	return ""
}

func (t *tracer) class(item string) string {
	for _, it := range t.e.ItemNames {
		if it.Item == item {
			parts := strings.Split(it.COICOP, ".")
			return strings.Join(parts[:min(3, len(parts))], ".")
		}
	}
	return ""
}

func average(list []float64) float64 {
	if len(list) == 0 {
		return 0
	}
	var sum float64
	for _, x := range list {
		sum += x
	}
	return sum / float64(len(list))
}

// observedLn computes the log of an elementary price from the observations that count.
func (t *tracer) observedLn(region, item, grade string, m result.Month) (ln float64, formula string, inputs []*Node, err error) {
	for _, kind := range t.then.Panel.SourceOrder {
		ln, formula, inputs, err = t.fromKind(strings.TrimSuffix(kind, "s"), region, item, grade, m)
		if err != nil || inputs != nil {
			return ln, formula, inputs, err
		}
	}
	return 0, "", nil, fmt.Errorf("trace: no observation behind %s %s %s %s", region, item, grade, m)
}

// note is an observation that counts: its log unit price and its line.
type note struct {
	outlet, variety, pack, source string
	size, ln                      float64 // what one price buys in base units, 1 of what was weighed; log unit price
	node                          *Node
}

// notes are the observations of a good in a month.
func (t *tracer) notes(g goods, m result.Month) (list []note, err error) {
	all, err := t.counting(m)
	if err != nil {
		return nil, err
	}
	for _, o := range all {
		if o["region"] != g.region || o["item"] != g.item || cmp.Or(o["grade"], t.then.Prices.DefaultGrade) != g.grade || o["kind"] != g.kind {
			continue
		}
		price, errP := strconv.ParseFloat(o["price_used_lcu"], 64)
		quantity, errQ := strconv.ParseFloat(o["quantity"], 64)
		if errP != nil || errQ != nil {
			return nil, fmt.Errorf("trace: observation %s has no price", o["observation_id"])
		}
		n := note{o["outlet"], o["variety"], o["pack"], "", quantity, math.Log(price / quantity),
			&Node{ObservationID: o["observation_id"], Value: price / quantity, Formula: "price / quantity: " + o["price_used_lcu"] + " / " + o["quantity"] + " " + o["base_unit"]}}
		if o["measured"] != "" {
			n.size = 1
		}
		s, ok := t.source(o["archive_file"])
		if ok {
			n.source = s.Source
			line, _ := strconv.Atoi(o["line"])
			if err := t.fileLine(n.node, "archive/"+s.SHA256+"/"+s.Name, line); err != nil {
				return nil, err
			}
		}
		list = append(list, n)
	}
	return list, nil
}

// source is the archived file whose hash begins so.
func (t *tracer) source(hash string) (result.Source, bool) {
	i := slices.IndexFunc(t.e.Sources, func(s result.Source) bool { return strings.HasPrefix(s.SHA256, hash) })
	if i < 0 {
		return result.Source{}, false
	}
	return t.e.Sources[i], true
}

// means averages logs by key: over days, where each note is an offer of its own.
func means(list []note, key func(note) string) map[string]float64 {
	logs := map[string][]float64{}
	for _, n := range list {
		logs[key(n)] = append(logs[key(n)], n.ln)
	}
	out := map[string]float64{}
	for k, x := range logs {
		out[k] = average(x)
	}
	return out
}

func nodesOf(list []note) (nodes []*Node) {
	for _, n := range list {
		nodes = append(nodes, n.node)
	}
	return nodes
}

func (t *tracer) fromKind(kind, region, item, grade string, m result.Month) (ln float64, formula string, inputs []*Node, err error) {
	list, err := t.notes(goods{kind, region, item, grade}, m)
	if err != nil {
		return 0, "", nil, err
	}
	if kind == "average" && len(list) > 0 {
		list = t.ofFirstSource(list)
		var logs []float64
		for _, n := range list {
			logs = append(logs, n.ln)
		}
		return average(logs), "published average of source " + list[0].source, nodesOf(list), nil
	}
	if len(list) > 0 {
		packs := means(list, func(n note) string { return n.outlet + "\x00" + n.variety + "\x00" + n.pack })
		outlets := map[string][]float64{}
		for _, k := range slices.Sorted(maps.Keys(packs)) {
			outlet, _, _ := strings.Cut(k, "\x00")
			outlets[outlet] = append(outlets[outlet], packs[k])
		}
		var all []float64
		for _, o := range slices.Sorted(maps.Keys(outlets)) {
			all = append(all, average(outlets[o]))
		}
		return average(all), "geometric mean: over days of a pack, over varieties and packs of an outlet, over outlets", nodesOf(list), nil
	}
	var sum, sumW float64
	for _, c := range t.tables.Regions {
		if c.Parent != region {
			continue
		}
		x, f, in, err := t.fromKind(kind, c.Region, item, grade, m)
		if err != nil {
			return 0, "", nil, err
		}
		if in == nil {
			continue
		}
		w, err := t.weight(c)
		if err != nil {
			return 0, "", nil, err
		}
		weight := w.number()
		inputs = append(inputs, &Node{Key: keyOf("item", c.Region, item, grade, m.String(), "unit_price_lcu"), Value: math.Exp(x), Formula: f, Inputs: append([]*Node{w}, in...)})
		sum, sumW = sum+weight*x, sumW+weight
	}
	if sumW == 0 {
		return 0, "", nil, nil
	}
	return sum / sumW, "exp(sum(weight x ln price) / sum(weight)) over the region's parts that have a price", inputs, nil
}

// weight is a region's weight among the parts of its parent, 1 where it has none.
func (t *tracer) weight(r workspace.Region) (*Node, error) {
	n := &Node{Value: 1.0, Formula: "population_weight of " + r.Region}
	if r.Weight != nil {
		n.Value, _ = r.Weight.Float64()
	}
	return n, t.fileLine(n, r.File, r.Line)
}

// ofFirstSource are the averages of the one source that stands.
func (t *tracer) ofFirstSource(list []note) []note {
	var names []string
	for _, n := range list {
		names = append(names, n.source)
	}
	slices.Sort(names)
	first := t.firstSource(names)
	return slices.DeleteFunc(list, func(n note) bool { return n.source != first })
}

// firstSource is the one of several that the settings name first.
func (t *tracer) firstSource(names []string) string {
	best, at := "", math.MaxInt
	for _, n := range names {
		i := slices.IndexFunc(t.then.Sources, func(s workspace.Source) bool { return s.Name == n })
		if best == "" || i < at {
			best, at = n, i
		}
	}
	return best
}

// counting are the observations of a month that count.
func (t *tracer) counting(m result.Month) ([]map[string]string, error) {
	if list, ok := t.months[m.String()]; ok {
		return list, nil
	}
	var list []map[string]string
	err := result.EachObservation(t.e.Dir, func(o result.Observation) {
		if strings.HasPrefix(o.Get("observed_on"), m.String()) && o.Get("counts") == "yes" {
			list = append(list, o.Clone())
		}
	})
	t.months[m.String()] = list
	return list, err
}
