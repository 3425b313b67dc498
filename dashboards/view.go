package dashboards

import (
	"maps"
	"slices"
	"sort"
	"strings"

	"farthing/dashboards/catalogue"
	"farthing/dashboards/draw"
	"farthing/dashboards/layout"
	"farthing/pipeline/result"
)

// noFigures is the headline of a combination without rows.
const noFigures catalogue.Key = "No figures yet for this household and place"

// view is the rows of one combination. Its months are complete: a month of
// which the edition has no row stands in it without values.
type view struct {
	*site
	c         result.Combination
	household result.Household
	reach     []result.Reach
	baskets   []result.Basket
	allowance map[result.Month]result.Allowance
	currency  string
}

// place is a basket in a region and month.
type place struct {
	region, basket string
	month          result.Month
}

func newView(s *site, c result.Combination) *view {
	e := s.e
	v := &view{site: s, c: c, household: household(e, c.Household), allowance: map[result.Month]result.Allowance{}}
	reach := map[result.Month]result.Reach{}
	for _, r := range s.reach[c] {
		reach[r.Month] = *r
	}
	v.reach = complete(reach, func(m result.Month) result.Reach {
		return result.Reach{Month: m, DaysInMonth: result.Count(m.Days()), Base: result.Base{ObsStatus: "O"}}
	})
	baskets := map[result.Month]result.Basket{}
	for _, b := range s.baskets[result.Combination{Region: c.Region, Household: c.Household, Basket: c.Basket}] {
		baskets[b.Month] = *b
	}
	v.baskets = complete(baskets, func(m result.Month) result.Basket {
		return result.Basket{Month: m, Base: result.Base{ObsStatus: "O"}}
	})
	for _, a := range e.Allowances {
		if a.Programme == c.Programme && a.AmountKind == c.AmountKind && a.Region == c.Region && a.Persons == v.household.Persons {
			v.allowance[a.Month] = a
		}
	}
	for _, b := range v.baskets {
		if b.CurrencyCode != "" {
			v.currency = clean(b.CurrencyCode)
		}
	}
	for _, r := range v.reach {
		if r.CurrencyCode != "" {
			v.currency = clean(r.CurrencyCode)
		}
	}
	return v
}

// complete sorts rows by month and puts a blank one where a month has none.
func complete[T any](rows map[result.Month]T, blank func(result.Month) T) []T {
	var months []result.Month
	for m := range rows {
		months = append(months, m)
	}
	if months == nil {
		return nil
	}
	sort.Slice(months, func(i, j int) bool { return months[i] < months[j] })
	var all []T
	for m := months[0]; m <= months[len(months)-1]; m++ {
		row, ok := rows[m]
		if !ok {
			row = blank(m)
		}
		all = append(all, row)
	}
	return all
}

// household gives a household's row, with the key as name where it has none.
func household(e *result.Edition, key string) result.Household {
	for _, h := range e.Households {
		if h.Household == key {
			if h.Name == "" {
				h.Name = key
			}
			return h
		}
	}
	return result.Household{Household: key, Name: key}
}

func regionName(e *result.Edition, key string) string {
	for _, r := range e.Regions {
		if r.Region == key && r.Name != "" {
			return clean(r.Name)
		}
	}
	return clean(key)
}

// leaf says whether a region has no parts: an ancestor is never set beside them.
func leaf(e *result.Edition, key string) bool {
	return !slices.ContainsFunc(e.Regions, func(r result.Region) bool { return r.Parent == key })
}

// regionOrder are the regions as a tree is read: each before its parts. One
// whose parent is not known stands as a root.
func regionOrder(e *result.Edition) []string {
	known := map[string]bool{}
	for _, r := range e.Regions {
		known[r.Region] = true
	}
	var order []string
	var add func(parent string)
	add = func(parent string) {
		for _, r := range e.Regions {
			if r.Parent == parent || parent == "" && !known[r.Parent] {
				order = append(order, r.Region)
				if r.Region != "" {
					add(r.Region)
				}
			}
		}
	}
	add("")
	return order
}

// mostRows is how many rows a page prints at most of a long table: the rest
// stand in the data file.
const mostRows = 1000

// newest leaves out the oldest months of rows that are too many for a page,
// and says so.
func newest[T any](t tongue, rows []T, month func(T) result.Month, file string) (kept []T, note string) {
	if len(rows) <= mostRows {
		return rows, ""
	}
	months := map[result.Month]int{}
	for _, r := range rows {
		months[month(r)]++
	}
	order := slices.Sorted(maps.Keys(months))
	n, from := 0, order[len(order)-1]
	for i := len(order) - 1; i >= 0 && n+months[order[i]] <= mostRows; i-- {
		n, from = n+months[order[i]], order[i]
	}
	for _, r := range rows {
		if month(r) >= from {
			kept = append(kept, r)
		}
	}
	return kept, " " + t.T("Months before %s are in %s.", t.shortMonth(from), file)
}

func (v *view) region() string { return regionName(v.e, v.c.Region) }

func (v *view) householdName() string { return clean(v.household.Name) }

// about says whom and where the page is about.
func (v *view) about() string {
	return v.T("%s in %s · basket %s · %s", v.householdName(), v.region(), label(v.c.Basket), v.allowanceName(v.c))
}

func (t tongue) allowanceName(c result.Combination) string {
	return strings.TrimSpace(t.T("allowance %s %s", label(c.Programme), label(c.AmountKind)))
}

// basketOf is the basket's row of a month; its values are missing where there is none.
func (v *view) basketOf(m result.Month) result.Basket {
	for _, b := range v.baskets {
		if b.Month == m {
			return b
		}
	}
	return result.Basket{Month: m}
}

// linesThat are the names of a basket's lines that fit.
func (s *site) linesThat(at place, fits func(*result.BasketLine) bool) (names []string) {
	for _, l := range s.lines[at] {
		if fits(l) {
			names = append(names, s.lineName(*l))
		}
	}
	return names
}

// lacking are the items of a basket that have no price in a region and month.
func (s *site) lacking(at place) []string {
	return s.linesThat(at, func(l *result.BasketLine) bool { return !l.UnitPrice.OK })
}

// filled are the items of a basket whose price was filled in by rule.
func (s *site) filled(at place) []string {
	return s.linesThat(at, func(l *result.BasketLine) bool { return l.UnitPrice.OK && l.FilledBy != "" })
}

// noTotal says why a basket has no full price in a month: what it lacks, if
// that is little, and how much of the cost it is.
func (s *site) noTotal(at place, b result.Base) string {
	why, status, _ := strings.Cut(s.noPrice(b), " [")
	if names := s.lacking(at); len(names) > 0 {
		what := s.list(names, 4)
		if n := len(s.lines[at]); len(names) > 4 {
			what = s.T("%d of %d items", len(names), n)
		}
		if why += ": " + what; b.MissingShare.OK {
			why += s.T(", %s of the cost", s.percent(b.MissingShare, 2))
		}
	}
	if status != "" {
		why += " [" + status
	}
	return why
}

func (s *site) itemName(item string) string {
	for _, n := range s.e.ItemNames {
		if n.Item == item && n.Name != "" {
			return clean(n.Name)
		}
	}
	return label(item)
}

func (s *site) lineName(l result.BasketLine) string {
	return s.graded(l.Item, l.Grade, slices.ContainsFunc(s.lines[place{l.Region, l.Basket, l.Month}], func(o *result.BasketLine) bool {
		return o.Item == l.Item && o.Grade != l.Grade
	}))
}

// noneSeen is said of a month in which every price was filled in.
const noneSeen catalogue.Key = "no price was seen this month; all are filled by rule"

// unseen says whether a row is known to rest on no price seen in its month.
func unseen(b result.Base) bool { return b.NObservations.OK && b.NObservations.V == 0 }

// basis says on what kind of prices a row rests.
func (t tongue) basis(b result.Base) string {
	if unseen(b) {
		return t.T("by rule alone")
	}
	switch {
	case b.NOutlets.OK && b.NOutlets.V == 1:
		return t.T("as seen in one shop")
	case b.NObservations.OK:
		return t.T("as seen in these shops")
	}
	return t.T("by published averages")
}

// source names what a figure is of.
func (s *site) source(of string) string {
	text := s.T("%s, edition %s. %s.", clean(s.e.Name), s.e.Hash, of)
	if s.e.Invented {
		text = s.T("Invented demo data.") + " " + text
	}
	return text
}

func (v *view) source() string {
	return v.site.source(v.T("%s, %s, basket %s", v.householdName(), v.region(), label(v.c.Basket)))
}

// mark is a source as a drawing of a width carries it, in at most three lines.
func mark(source string, width float64) []string {
	lines := draw.Wrap(source, width, 12)
	if len(lines) > 3 {
		lines = append(lines[:2:2], strings.TrimSuffix(lines[2], ".")+"…")
	}
	return lines
}

func (v *view) mark(width float64) []string { return mark(v.source(), width) }

func (v *view) at(m result.Month) place { return place{v.c.Region, v.c.Basket, m} }

// hatched says whether more than a quarter of the cost is imputed.
func hatched(b result.Base) bool { return b.ImputedShare.OK && b.ImputedShare.V > 0.25 }

// change is a basket's change between two months with its range; ok is false where it has none.
func (v *view) change(from, to result.Month) (c result.BasketChange, ok bool) {
	i := slices.IndexFunc(v.e.Changes, func(c result.BasketChange) bool {
		return c.Region == v.c.Region && c.Basket == v.c.Basket && c.From == from && c.To == to && c.Lo.OK && c.Hi.OK
	})
	if i < 0 {
		return c, false
	}
	return v.e.Changes[i], true
}

// linePlots draws a line figure for both widths; without a chart library there
// are none, and the part says so. Nor are there for lines without a value.
func (s *site) linePlots(p *layout.Part, source, file string, l draw.Lines, words string, data ...string) error {
	p.Source = source
	if !l.Any() {
		p.Open, p.Links = true, dataLinks(data...)
		return nil
	}
	if s.engine == nil {
		p.Foot = append(p.Foot, s.T("The line is not drawn, because the pages were made without the chart library; the table has all its numbers."))
		p.Open, p.Links = true, dataLinks(data...)
		return nil
	}
	l.Words = s.drawing()
	if from, _, _ := l.Scale(); from != 0 {
		p.Subtitle += " " + s.T("The scale starts at %s, not at zero.", s.num(result.Some(from), decimalsOf(from)))
	}
	var plots []layout.Plot
	var wide draw.Drawing
	for _, size := range []struct {
		class string
		width float64
	}{{"wide", draw.Wide}, {"slim", draw.Slim}} {
		foot := mark(source, size.width)
		d, err := s.engine.Draw(l, size.width, p.ID+"-"+size.class, foot)
		if err != nil {
			return err
		}
		option, err := l.Option(size.width, foot)
		if err != nil {
			return err
		}
		if size.class == "wide" {
			wide = d
		}
		plots = append(plots, plot(size.class, d, words, option))
	}
	return s.figure(p, file, wide, plots, data...)
}

func decimalsOf(x float64) int {
	s := result.Some(x).Exact()
	if i := strings.IndexByte(s, '.'); i >= 0 {
		return len(s) - i - 1
	}
	return 0
}
