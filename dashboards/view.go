package dashboards

import (
	"fmt"
	"sort"
	"strings"

	"farthing/dashboards/draw"
	"farthing/dashboards/layout"
	"farthing/pipeline/result"
)

// noFigures is the headline of a combination without rows.
const noFigures = "No figures yet for this household and place"

// view is the rows of one combination. Its months are complete: a month of
// which the edition has no row stands in it without values.
type view struct {
	e         *result.Edition
	c         result.Combination
	household result.Household
	reach     []result.Reach
	baskets   []result.Basket
	allowance map[result.Month]result.Allowance
	lines     []result.BasketLine // of the newest month that has any
	currency  string
}

func newView(e *result.Edition, c result.Combination) *view {
	v := &view{e: e, c: c, household: household(e, c.Household), allowance: map[result.Month]result.Allowance{}}
	reach := map[result.Month]result.Reach{}
	for _, r := range e.Reach {
		if r.Programme == c.Programme && r.AmountKind == c.AmountKind && r.Region == c.Region && r.Household == c.Household && r.Basket == c.Basket {
			reach[r.Month] = r
		}
	}
	v.reach = complete(reach, func(m result.Month) result.Reach {
		return result.Reach{Month: m, DaysInMonth: result.Count(m.Days()), Base: result.Base{ObsStatus: "O"}}
	})
	baskets := map[result.Month]result.Basket{}
	for _, b := range e.Baskets {
		if b.Region == c.Region && b.Household == c.Household && b.Basket == c.Basket {
			baskets[b.Month] = b
		}
	}
	v.baskets = complete(baskets, func(m result.Month) result.Basket {
		return result.Basket{Month: m, Base: result.Base{ObsStatus: "O"}}
	})
	for _, a := range e.Allowances {
		if a.Programme == c.Programme && a.AmountKind == c.AmountKind && a.Region == c.Region && a.Persons == v.household.Persons {
			v.allowance[a.Month] = a
		}
	}
	var newest result.Month
	for _, l := range e.Lines {
		if l.Region != c.Region || l.Basket != c.Basket || l.Month < newest {
			continue
		}
		if l.Month > newest {
			newest, v.lines = l.Month, nil
		}
		v.lines = append(v.lines, l)
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

func (v *view) region() string { return regionName(v.e, v.c.Region) }

func (v *view) householdName() string { return clean(v.household.Name) }

// about says whom and where the page is about.
func (v *view) about() string {
	return fmt.Sprintf("%s in %s · basket %s · %s", v.householdName(), v.region(), label(v.c.Basket), allowanceName(v.c))
}

func allowanceName(c result.Combination) string {
	return strings.TrimSpace(fmt.Sprintf("allowance %s %s", label(c.Programme), label(c.AmountKind)))
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

// source names what a figure is of.
func (v *view) source() string {
	s := fmt.Sprintf("%s, edition %s. %s, %s, basket %s.", clean(v.e.Name), v.e.Hash, v.householdName(), v.region(), label(v.c.Basket))
	if v.e.Invented {
		s = "Invented demo data. " + s
	}
	return s
}

// mark is the source as a drawing of a width carries it, in at most two lines.
func (v *view) mark(width float64) []string {
	lines := draw.Wrap(v.source(), width, 12)
	if len(lines) > 2 {
		lines = []string{lines[0], strings.TrimSuffix(lines[1], ".") + "…"}
	}
	return lines
}

// hatched says whether more than a quarter of the cost is imputed.
func hatched(b result.Base) bool { return b.ImputedShare.OK && b.ImputedShare.V > 0.25 }

// linePlots draws a line figure for both widths; without a chart library there
// are none, and the part says so. Nor are there for lines without a value.
func (s *site) linePlots(p *layout.Part, v *view, file string, l draw.Lines, words string, data ...string) error {
	if !l.Any() {
		p.Source, p.Open, p.Links = v.source(), true, dataLinks(data...)
		return nil
	}
	if s.engine == nil {
		p.Foot = append(p.Foot, "The line is not drawn, because the pages were made without the chart library; the table has all its numbers.")
		p.Source, p.Open, p.Links = v.source(), true, dataLinks(data...)
		return nil
	}
	if from, _, _ := l.Scale(); from != 0 {
		p.Subtitle += fmt.Sprintf(" The scale starts at %s, not at zero.", num(result.Some(from), decimalsOf(from)))
	}
	var plots []layout.Plot
	var wide draw.Drawing
	for _, size := range []struct {
		class string
		width float64
	}{{"wide", draw.Wide}, {"slim", draw.Slim}} {
		d, err := s.engine.Draw(l, size.width, p.ID+"-"+size.class, v.mark(size.width))
		if err != nil {
			return err
		}
		option, err := l.Option(size.width, v.mark(size.width))
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
