package pipeline

import (
	"bytes"
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"math"
	"net/url"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"farthing/pipeline/intake"
	"farthing/pipeline/result"
	"farthing/pipeline/workspace"
)

// Node is one published value and what it was made from, down to lines of files.
type Node struct {
	Key           string  `json:"key,omitempty"`
	ObservationID string  `json:"observation_id,omitempty"`
	Value         any     `json:"value"` // a number, a text, or null
	Formula       string  `json:"formula,omitempty"`
	File          string  `json:"file,omitempty"`
	SHA256        string  `json:"sha256,omitempty"`
	Line          int     `json:"line,omitempty"`
	Text          string  `json:"text,omitempty"`
	Inputs        []*Node `json:"inputs,omitempty"`
}

// Trace walks a published value back to the lines behind it and computes it
// again on the way: a value that does not come out again is an error. The key
// is table/key columns/column, each percent-encoded. It reads an edition's
// files and the archive, and shares no formula with package compute. Amounts,
// costs, prices and what follows from them by one division are computed again;
// days, dates, shares, ranges and real values show what they are made from.
func Trace(w *workspace.Workspace, key string) (*Node, error) {
	dir, err := w.CurrentEdition()
	if err != nil {
		return nil, err
	}
	e, err := result.Load(dir)
	if err != nil {
		return nil, err
	}
	then, err := workspace.Open(dir) // the settings and tables of the edition, not those edited since
	if err != nil {
		return nil, err
	}
	t, err := then.Tables()
	if err != nil {
		return nil, err
	}
	tr := &tracer{w: w, then: then, e: e, tables: t, months: map[string][]map[string]string{}, texts: map[string][][]byte{}}
	return tr.trace(key)
}

// same says whether a value computed again is the published one: both are
// rounded float64 arithmetic on logs kept to 1e-12.
func same(a, b float64) bool { return math.Abs(a-b) <= 1e-9*math.Max(1, math.Abs(b)) }

type tracer struct {
	w      *workspace.Workspace
	e      *result.Edition
	then   *workspace.Workspace
	tables *workspace.Tables
	months map[string][]map[string]string // observations that count, by month
	texts  map[string][][]byte            // lines of archived files, by hash
}

func (t *tracer) trace(key string) (*Node, error) {
	parts := strings.Split(key, "/")
	for i, p := range parts {
		s, err := url.PathUnescape(p)
		if err != nil {
			return nil, badKey(key, "percent-encode each part")
		}
		parts[i] = s
	}
	if len(parts) < 2 {
		return nil, badKey(key, "write table/key/…/column, as reach/PROGRAMME/KIND/REGION/HOUSEHOLD/BASKET/2024-02/reach_days")
	}
	table, keys, column := parts[0], parts[1:len(parts)-1], parts[len(parts)-1]
	switch table {
	case "reach":
		return find(t.e.Reach, table, keys, column, t.reach)
	case "basket":
		return find(t.e.Baskets, table, keys, column, t.basket)
	case "basket_lines":
		return find(t.e.Lines, table, keys, column, t.line)
	case "item":
		return find(t.e.Items, table, keys, column, t.item)
	case "allowances":
		return find(t.e.Allowances, table, keys, column, t.allowance)
	}
	return nil, badKey(key, "the tables are reach, basket, basket_lines, item, allowances")
}

func badKey(key, instead string) error {
	return &workspace.InputError{Code: "unknown_name", Field: "key", Read: fmt.Sprintf("%q", key), Instead: instead}
}

// find looks a row up by its key and traces one of its columns.
func find[T any](rows []T, table string, keys []string, column string, trace func(T, string) (*Node, error)) (*Node, error) {
	full := keyOf(table, append(slices.Clone(keys), column)...)
	if want := result.Keys[T](); len(want) != len(keys) {
		return nil, badKey(full, "the key of "+table+" is "+strings.Join(want, "/"))
	}
	if known := result.Columns[T](); !slices.Contains(known, column) {
		return nil, badKey(full, workspace.DidYouMean(column, known, "the columns are "+strings.Join(known, ", ")))
	}
	for _, row := range rows {
		if slices.Equal(result.Key(row), keys) {
			n, err := trace(row, column)
			if n != nil {
				n.Key = full
				if text, _ := result.Field(row, column); n.Value == nil && text != "" {
					n.Value = asValue(row, column)
				}
			}
			return n, err
		}
	}
	return nil, badKey(full, "no such row in edition; farthing show "+table+" lists them")
}

// asValue is a column's value as JSON would have it.
func asValue[T any](row T, column string) any {
	var all map[string]any
	if json.Unmarshal(result.JSONRow(row), &all) != nil {
		return nil
	}
	return all[column]
}

func keyOf(table string, parts ...string) string {
	var b strings.Builder
	b.WriteString(table)
	for _, p := range parts {
		b.WriteString("/" + url.PathEscape(p))
	}
	return b.String()
}

// computed is a node whose value was computed again from its inputs.
func computed(published result.Num, again float64, formula string, inputs ...*Node) (*Node, error) {
	if !published.OK {
		if !math.IsNaN(again) {
			return nil, fmt.Errorf("trace: computed again %v, published as missing (%s)", again, formula)
		}
		return &Node{Formula: formula, Inputs: inputs}, nil
	}
	if !same(again, published.V) {
		return nil, fmt.Errorf("trace: computed again %v, published %v (%s)", again, published.V, formula)
	}
	return &Node{Value: published.V, Formula: formula, Inputs: inputs}, nil
}

// number is the node's value, NaN where it has none.
func (n *Node) number() float64 {
	if v, ok := n.Value.(float64); ok {
		return v
	}
	return math.NaN()
}

func notNaN(x float64) float64 {
	if math.IsNaN(x) {
		return 0
	}
	return x
}

func (t *tracer) household(name string) (h result.Household, n *Node, err error) {
	n = new(Node)
	for _, h = range t.e.Households {
		if h.Household == name {
			n = &Node{Value: h.Equivalents.V, Formula: "person_equivalents of household " + name}
			break
		}
	}
	for _, row := range t.tables.Households {
		if row.Household == name {
			err = t.fileLine(n, row.File, row.Line)
		}
	}
	return h, n, err
}

// reachFormulas say how each column follows from the allowance A of the month,
// the cost C of a day, the days D in the month, and the meals M eaten in it.
var reachFormulas = map[string]struct {
	text string
	f    func(a, c, d, m float64) float64
}{
	"allowance_lcu":          {"amount in force on the pay day, for the month", func(a, c, d, m float64) float64 { return a }},
	"per_day_lcu":            {"cost of the household's basket a day", func(a, c, d, m float64) float64 { return c }},
	"reach_days":             {"allowance / per_day", func(a, c, d, m float64) float64 { return a / c }},
	"adequacy":               {"allowance / (per_day x days in the month)", func(a, c, d, m float64) float64 { return a / (c * d) }},
	"balance_lcu":            {"allowance - per_day x days in the month", func(a, c, d, m float64) float64 { return a - c*d }},
	"shortfall_lcu":          {"max(0, per_day x days in the month - allowance)", func(a, c, d, m float64) float64 { return max(0, c*d-a) }},
	"shortfall_per_meal_lcu": {"shortfall / (days x persons x meals a day)", func(a, c, d, m float64) float64 { return max(0, c*d-a) / m }},
	"allowance_per_day_lcu":  {"allowance / days in the month", func(a, c, d, m float64) float64 { return a / d }},
	"allowance_per_meal_lcu": {"allowance / (days x persons x meals a day)", func(a, c, d, m float64) float64 { return a / m }},
	"fed_days":               {"greatest whole n with n x per_day <= allowance, at most the days to the next pay day", nil},
	"run_out_on":             {"pay day + fed_days; blank where the allowance lasts to the next pay day", nil},
	"allowance_real_lcu":     {"allowance x index(base month) / index(month)", nil},
	"catch_up_lcu":           {"reach_days of the base month x per_day", nil},
}

func (t *tracer) reach(r result.Reach, column string) (*Node, error) {
	h, _, err := t.household(r.Household)
	if err != nil {
		return nil, err
	}
	allowance, err := t.allowanceOf(r.Programme, r.AmountKind, r.Region, h.Persons, r.Month)
	if err != nil {
		return nil, err
	}
	perDay, err := find(t.e.Baskets, "basket", []string{r.Region, r.Household, r.Basket, r.Month.String()}, "per_day_lcu", t.basket)
	if err != nil {
		return nil, err
	}
	f, ok := reachFormulas[column]
	if !ok {
		return &Node{Formula: "read off the row"}, nil
	}
	inputs := []*Node{allowance, perDay}
	if f.f == nil {
		return &Node{Formula: f.text, Inputs: inputs}, nil
	}
	a, okA := allowance.Value.(float64)
	c, okC := perDay.Value.(float64)
	if !okA || !okC {
		return &Node{Formula: f.text, Inputs: inputs}, nil
	}
	text, _ := result.Field(r, column)
	v, err := strconv.ParseFloat(text, 64)
	published := result.Num{V: v, OK: err == nil}
	days := float64(r.Month.Days())
	return computed(published, f.f(a, c, days, days*float64(h.Persons.V*h.MealsPerDay.V)), f.text, inputs...)
}

func (t *tracer) allowanceOf(programme, kind, region string, persons result.Int, m result.Month) (*Node, error) {
	return find(t.e.Allowances, "allowances", []string{programme, kind, region, persons.String(), m.String()}, "allowance_lcu", t.allowance)
}

func (t *tracer) allowance(a result.Allowance, column string) (*Node, error) {
	n := &Node{Formula: "row of the allowance table in force on the pay day"}
	if a.Per != "" && a.Per != "month" {
		n.Formula = "amount x days in the month / days of " + a.Per
	}
	return n, t.fileLine(n, a.File, a.Line.V)
}

// fileLine sets where a value stands and the text there: a table of the
// edition, or a file of the archive.
func (t *tracer) fileLine(n *Node, file string, line int) error {
	if file == "" {
		return nil
	}
	n.File, n.Line = file, line
	path := filepath.Join(t.e.Dir, filepath.FromSlash(file))
	if sha, ok := strings.CutPrefix(file, "archive/"); ok {
		n.SHA256, _, _ = strings.Cut(sha, "/")
		path = filepath.Join(t.w.Dir, filepath.FromSlash(file))
	}
	if strings.HasSuffix(file, ".xlsx") {
		return nil // a spreadsheet's row has no text of its own
	}
	var err error
	n.Text, err = t.text(path, n.SHA256, line)
	return err
}

// text is one line of a file, which is archived where its sha256 is given.
func (t *tracer) text(path, sha256 string, line int) (string, error) {
	lines, ok := t.texts[path]
	if !ok {
		src, err := workspace.Source{}, error(nil)
		if sha256 != "" {
			if path, src, err = intake.ArchivedFile(t.w, sha256); err != nil {
				return "", err
			}
		}
		u, err := intake.Unpack(path, src)
		if err != nil {
			return "", err
		}
		b, err := io.ReadAll(u)
		if err := errors.Join(err, u.Close()); err != nil {
			return "", err
		}
		lines = bytes.Split(b, []byte{'\n'})
		t.texts[path] = lines
	}
	if line < 1 || line > len(lines) {
		return "", fmt.Errorf("trace: %s has no line %d", path, line)
	}
	return strings.TrimRight(string(lines[line-1]), "\r"), nil
}

func (t *tracer) basket(b result.Basket, column string) (*Node, error) {
	_, heads, err := t.household(b.Household)
	if err != nil {
		return nil, err
	}
	sum, known := 0.0, math.NaN()
	inputs := []*Node{heads}
	for _, l := range t.e.Lines {
		if l.Region != b.Region || l.Basket != b.Basket || l.Month != b.Month {
			continue
		}
		n, err := t.line(l, "per_day_lcu")
		if err != nil {
			return nil, err
		}
		n.Key = keyOf("basket_lines", append(result.Key(l), "per_day_lcu")...)
		inputs = append(inputs, n)
		sum += l.PerDay.Or()
		if l.PerDay.OK {
			known = l.PerDay.V + notNaN(known)
		}
	}
	equivalents := heads.number()
	switch column {
	case "per_day_lcu":
		return computed(b.PerDay, sum*equivalents, "person_equivalents x sum of the lines", inputs...)
	case "known_part_lcu":
		return computed(b.KnownPart, known*equivalents, "person_equivalents x sum of the lines that have a price", inputs...)
	case "standard_month_lcu":
		return computed(b.StandardMonth, sum*equivalents*30.4375, "per_day x 30.4375", inputs...)
	case "real_per_day_lcu":
		return &Node{Formula: "per_day x index(base month) / index(month), of " + b.Deflator + " in " + b.DeflatorRegion, Inputs: inputs}, nil
	}
	return &Node{Formula: "from the status and weights of the lines", Inputs: inputs}, nil
}

func (t *tracer) line(l result.BasketLine, column string) (*Node, error) {
	price, err := find(t.e.Items, "item", []string{l.Region, l.Item, l.Grade, l.Month.String()}, "unit_price_lcu", t.item)
	if err != nil && l.UnitPrice.OK {
		return nil, err
	}
	if err != nil {
		price = &Node{Formula: "no price of it in this region"} // never noted there
	}
	quantity := &Node{Formula: "quantity to buy a day, in " + l.BaseUnit}
	if l.APQuantity.OK {
		quantity.Value = l.APQuantity.V
	}
	if plan, ok := strings.CutPrefix(l.Basket, workspace.PlanPrefix); ok {
		if quantity, err = t.planned(l, plan); err != nil {
			return nil, err
		}
	}
	for _, row := range t.tables.Baskets {
		if row.Basket == l.Basket && row.Item == l.Item && (row.Grade == l.Grade || row.Grade == "") {
			if err := t.fileLine(quantity, row.File, row.Line); err != nil {
				return nil, err
			}
		}
	}
	switch column {
	case "per_day_lcu":
		return computed(l.PerDay, quantity.number()*price.number(), "quantity a day x unit price", quantity, price)
	case "unit_price_lcu":
		return computed(l.UnitPrice, price.number(), "the item's price", price)
	}
	return &Node{Formula: "read off the row", Inputs: []*Node{quantity, price}}, nil
}

// planned traces how much of an item a plan uses a person and day: to the lines
// of its recipes, as they were costed.
func (t *tracer) planned(l result.BasketLine, plan string) (*Node, error) {
	i := slices.IndexFunc(t.e.Shoppings, func(s result.Shopping) bool { return s.Shopping == plan })
	if i < 0 {
		return nil, fmt.Errorf("trace: plan %s is not in the edition", plan)
	}
	s := t.e.Shoppings[i]
	sum := 0.0
	var inputs []*Node
	for _, m := range t.e.MealLines {
		if m.Shopping != plan || m.Item != l.Item || m.Grade != l.Grade || m.Supply == "free" {
			continue
		}
		n := &Node{Key: keyOf("meal_lines", append(result.Key(m), "ap_quantity")...), Formula: "to buy for all its servings, in " + m.BaseUnit + ": " + m.AsWritten + ", " + m.Basis}
		if m.APQuantity.OK {
			n.Value = m.APQuantity.V
		}
		path := strings.Split(m.Line, " > ") // a line of a recipe within it: NAME > 2
		recipe, number := m.Recipe, path[len(path)-1]
		if len(path) > 1 {
			recipe = path[len(path)-2]
		}
		for _, row := range t.tables.Recipes {
			if row.Recipe == recipe && strconv.Itoa(row.Line) == number {
				if err := t.fileLine(n, row.File, row.At.Line); err != nil {
					return nil, err
				}
			}
		}
		inputs = append(inputs, n)
		sum += n.number()
	}
	return computed(l.APQuantity, sum/float64(s.Persons.V*s.Days.V), fmt.Sprintf("sum of the plan's lines / (%d persons x %d days)", s.Persons.V, s.Days.V), inputs...)
}

// item traces an elementary price: to its observations, to the parts of the
// region, or along the rule that filled it.
func (t *tracer) item(x result.Item, column string) (*Node, error) {
	if column != "unit_price_lcu" {
		return &Node{Formula: "read off the row; unit_price_lcu walks to the observations"}, nil
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

// matched traces a level of the matched sample: the level observed before
// times the matched change, or across a gap the change as it was found.
func (t *tracer) matched(x result.Item) (*Node, error) {
	found, formula, inputs, err := t.observedLn(x.Region, x.Item, x.Grade, x.Month)
	if err != nil {
		return nil, err
	}
	n := &Node{Value: x.UnitPrice.V, Formula: "level of the matched sample: in the base month the price found", Inputs: []*Node{{Value: math.Exp(found), Formula: formula, Inputs: inputs}}}
	var before *result.Item
	for i := range t.e.Items {
		c := &t.e.Items[i]
		if c.Region == x.Region && c.Item == x.Item && c.Grade == x.Grade && c.Month < x.Month && c.UnitPrice.OK && c.FilledBy == "" {
			before = c
		}
	}
	if before == nil {
		return n, nil
	}
	change, how := math.Log(1+x.MatchedChange.V/100), "x its matched change"
	if before.Month != x.Month-1 || !x.MatchedChange.OK {
		earlier, _, _, err := t.observedLn(x.Region, x.Item, x.Grade, before.Month)
		if err != nil {
			return nil, err
		}
		change, how = found-earlier, "x the change as found, across a gap"
	}
	if again := before.UnitPrice.V * math.Exp(change); !same(again, x.UnitPrice.V) {
		return nil, fmt.Errorf("trace: matched level computed again %v, published %v", again, x.UnitPrice.V)
	}
	n.Formula = "level of the matched sample: the level last observed " + how
	n.Inputs = append(n.Inputs, &Node{Key: keyOf("item", append(result.Key(*before), "unit_price_lcu")...), Value: before.UnitPrice.V})
	if before.Month == x.Month-1 && x.MatchedChange.OK {
		n.Inputs = append(n.Inputs, &Node{Key: keyOf("item", append(result.Key(x), "matched_change_pct")...), Value: x.MatchedChange.V})
	}
	return n, nil
}

// filled traces an imputed price: the last observed one times the changes since.
func (t *tracer) filled(x result.Item) (*Node, error) {
	seen := x.Month - result.Month(x.MonthsSinceSeen.V)
	from, err := find(t.e.Items, "item", []string{x.Region, x.Item, x.Grade, seen.String()}, "unit_price_lcu", t.item)
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

func (t *tracer) fromKind(kind, region, item, grade string, m result.Month) (ln float64, formula string, inputs []*Node, err error) {
	all, err := t.counting(m)
	if err != nil {
		return 0, "", nil, err
	}
	packs := map[[3]string][]float64{} // outlet, variety, pack
	bySource := map[string][]float64{}
	nodes := map[string][]*Node{}
	for _, o := range all {
		if o["region"] != region || o["item"] != item || cmp.Or(o["grade"], t.then.Prices.DefaultGrade) != grade || o["kind"] != kind {
			continue
		}
		price, errP := strconv.ParseFloat(o["price_used_lcu"], 64)
		quantity, errQ := strconv.ParseFloat(o["quantity"], 64)
		if errP != nil || errQ != nil {
			return 0, "", nil, fmt.Errorf("trace: observation %s has no price", o["observation_id"])
		}
		x := math.Log(price / quantity)
		n := &Node{ObservationID: o["observation_id"], Value: price / quantity, Formula: "price / quantity: " + o["price_used_lcu"] + " / " + o["quantity"] + " " + o["base_unit"]}
		source := ""
		for _, s := range t.e.Sources {
			if strings.HasPrefix(s.SHA256, o["archive_file"]) {
				line, _ := strconv.Atoi(o["line"])
				source = s.Source
				if err := t.fileLine(n, "archive/"+s.SHA256+"/"+s.Name, line); err != nil {
					return 0, "", nil, err
				}
			}
		}
		k := [3]string{o["outlet"], o["variety"], o["pack"]}
		packs[k] = append(packs[k], x)
		bySource[source] = append(bySource[source], x)
		nodes[source] = append(nodes[source], n)
		nodes[""] = append(nodes[""], n)
	}
	if kind == "average" && len(packs) > 0 {
		first := t.firstSource(slices.Sorted(maps.Keys(bySource)))
		return average(bySource[first]), "published average of source " + first, nodes[first], nil
	}
	if len(packs) > 0 {
		outlets := map[string][]float64{}
		for _, k := range slices.SortedFunc(maps.Keys(packs), func(a, b [3]string) int { return slices.Compare(a[:], b[:]) }) {
			outlets[k[0]] = append(outlets[k[0]], average(packs[k]))
		}
		var means []float64
		for _, o := range slices.Sorted(maps.Keys(outlets)) {
			means = append(means, average(outlets[o]))
		}
		return average(means), "geometric mean: over days of a pack, over varieties and packs of an outlet, over outlets", nodes[""], nil
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
		weight := 1.0
		if c.Weight != nil {
			weight, _ = c.Weight.Float64()
		}
		w := &Node{Value: weight, Formula: "population_weight of " + c.Region}
		if err := t.fileLine(w, c.File, c.Line); err != nil {
			return 0, "", nil, err
		}
		inputs = append(inputs, &Node{Key: keyOf("item", c.Region, item, grade, m.String(), "unit_price_lcu"), Value: math.Exp(x), Formula: f, Inputs: append([]*Node{w}, in...)})
		sum, sumW = sum+weight*x, sumW+weight
	}
	if sumW == 0 {
		return 0, "", nil, nil
	}
	return sum / sumW, "exp(sum(weight x ln price) / sum(weight)) over the region's parts that have a price", inputs, nil
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
