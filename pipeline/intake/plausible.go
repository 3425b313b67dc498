package intake

import (
	"context"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"farthing/pipeline/quantity"
	"farthing/pipeline/result"
)

// indexRow is one value of a price index as read.
type indexRow struct {
	line  int
	raw   []byte
	month result.Month
	value float64
}

// indexSeries are the values of one index in one region of a file.
type indexSeries struct {
	name, region, base, adjustment, label string
	rows                                  []indexRow
	mixed                                 *fault
}

// index reads the values of price indices. A series that can not be what its
// label says is refused whole.
func (r *reader) index(ctx context.Context, s *shape, t *text, fileID int32) (outcome, error) {
	d := newDates(s.src, t.day0)
	var list []*indexSeries
	at := map[[2]string]*indexSeries{}
	w := &walker{shape: s}
	var o outcome
	err := t.each(func(rec *record) {
		w.row(rec, func(_ int, raw []byte, c *cells, bad *fault) {
			o.read++
			if bad == nil {
				bad = r.indexValue(s, d, w.label, c, func(x *indexSeries, row indexRow) {
					k := [2]string{x.name, x.region}
					if at[k] == nil {
						at[k] = x
						list = append(list, x)
					}
					if was := at[k]; was.mixed == nil && (was.base != x.base || was.adjustment != x.adjustment) {
						was.mixed = &fault{"mixed_index", "base_period, adjustment", x.base + ", " + x.adjustment,
							fmt.Sprintf("the series %s of %s began as %s, %s: adjusted and unadjusted values, or two bases, are no one index; give each its own name", x.name, x.region, was.base, was.adjustment)}
					}
					row.line, row.raw = rec.line, slices.Clone(raw)
					at[k].rows = append(at[k].rows, row)
				})
			}
			if bad != nil {
				o.aside = append(o.aside, aside(rec.line, raw, bad))
			}
		})
	})
	if err != nil {
		return o, err
	}
	var rows [][]any
	for _, x := range list {
		bad := x.mixed
		if bad == nil {
			if why := implausible(x); why != "" {
				bad = &fault{"implausible_index", "index_value", x.name + " of " + x.region, why + ": it deflates nothing; correct what the profile says it is, or leave it out"}
			}
		}
		for _, row := range x.rows {
			if bad != nil {
				o.aside = append(o.aside, aside(row.line, row.raw, bad))
			} else {
				rows = append(rows, []any{fileID, int32(row.line), x.name, x.region, int32(row.month), row.value, x.base, x.adjustment})
			}
		}
	}
	slices.SortStableFunc(o.aside, func(a, b setAside) int { return a.line - b.line })
	return o, r.st.Append(ctx, "obs_index", rows)
}

// indexValue reads one value and takes it; where the file says that there is none, it takes nothing.
func (r *reader) indexValue(s *shape, d *dates, label []byte, c *cells, take func(*indexSeries, indexRow)) *fault {
	reg, _, bad := r.region(s.src.Name, string(c[region]))
	if bad != nil {
		return bad
	}
	x := &indexSeries{name: string(c[indexName]), region: reg, base: string(c[basePeriod]), adjustment: string(c[adjustment]), label: string(label)}
	if x.base == "" {
		if m := baseInLabel.FindStringSubmatch(x.label); m != nil {
			x.base = m[1]
		}
	}
	if x.name == "" || x.base == "" || (x.adjustment != "adjusted" && x.adjustment != "unadjusted") {
		return &fault{"series", "index, base_period, adjustment", strings.Join([]string{x.name, x.base, x.adjustment}, ", "),
			"say its index, base_period and adjustment (adjusted or unadjusted) under [[source.series]], [source.columns] or [source.fixed]"}
	}
	if money := string(c[currency]); money != "" && money != r.regions[reg].Currency {
		return &fault{"currency", "currency", money, "the region counts in " + r.regions[reg].Currency + ": an index of other money, or of purchasing power parities, deflates none of it"}
	}
	day := d.read(string(c[observedOn]))
	if day.fault != nil {
		f := *day.fault
		f.field = "month"
		return &f
	}
	if len(c[price]) == 0 {
		return nil
	}
	v, err := quantity.ParseDecimal(string(c[price]), s.src.Decimal == ",")
	if err != nil {
		return &fault{"index_value", "index_value", string(c[price]), "an index is a number above 0"}
	}
	value, _ := v.Float64()
	take(x, indexRow{month: day.month, value: value})
	return nil
}

var (
	baseInLabel = regexp.MustCompile(`\(\s*([^()]*\d{4}[^()]*=\s*100[^()]*?)\s*\)`)
	noIndex     = regexp.MustCompile(`(?i)inflation|change|growth|rate\b|per ?cent|%|exchange|currency unit|per (usd|us dollar|dollar|euro)|parit|\bppp\b`)
)

// The limits of what a price index does; common practice, wide enough for the
// fastest inflations on record but the last months of a few.
const (
	baseTolerance = 0.02 // of the mean over a base period that the file has in full
	partTolerance = 0.25 // where it has only part of it
	largestFall   = 0.4  // of a value to the next
	largestRise   = 20.0 // a month
	usualStep     = 1.5  // the median step a month, up or down
	fewestSteps   = 6    // to speak of a usual step
)

// implausible says why a series can be no price index of its label and base
// period, or "". Its own words, its sign, its steps and its mean over the base
// period are looked at; a series whose base period is not in the file, or in no
// form that is known, is judged by the rest.
func implausible(x *indexSeries) string {
	if said := noIndex.FindString(x.label); said != "" {
		return fmt.Sprintf("its label %q speaks of %q, and that is no price index", clip(x.label, 80), said)
	}
	rows := slices.Clone(x.rows)
	slices.SortStableFunc(rows, func(a, b indexRow) int { return int(a.month) - int(b.month) })
	for _, r := range rows {
		if !(r.value > 0) {
			return fmt.Sprintf("%s has %v, and an index is above 0", r.month, r.value)
		}
	}
	if why := offBase(x.base, rows); why != "" {
		return why
	}
	var steps []float64
	for i := 1; i < len(rows); i++ {
		a, b := rows[i-1], rows[i]
		n := float64(b.month - a.month)
		if n < 1 {
			continue
		}
		ratio := b.value / a.value
		if ratio < largestFall || ratio > math.Pow(largestRise, n) {
			return fmt.Sprintf("from %s to %s it goes from %v to %v, as prices together do not", a.month, b.month, a.value, b.value)
		}
		steps = append(steps, math.Abs(math.Log(ratio))/n)
	}
	slices.Sort(steps)
	if len(steps) >= fewestSteps && steps[len(steps)/2] > math.Log(usualStep) {
		return fmt.Sprintf("half of its steps are more than %v-fold a month, as prices together do not move", usualStep)
	}
	return ""
}

// offBase says how the mean over the base period misses its base value, or "".
func offBase(base string, rows []indexRow) string {
	why := ""
	for _, p := range parseBase(base) {
		var sum float64
		seen := map[result.Month]bool{}
		n := 0
		for _, r := range rows {
			if r.month >= p.from && r.month <= p.to {
				sum += r.value
				n++
				seen[r.month] = true
			}
		}
		tolerance := partTolerance
		if len(seen) == int(p.to-p.from)+1 {
			tolerance = baseTolerance
		}
		if n == 0 || math.Abs(sum/float64(n)/p.value-1) <= tolerance {
			return "" // some reading of the base period holds
		}
		why = fmt.Sprintf("over its base period, %s, its mean is %.4g and not %v", base, sum/float64(n), p.value)
	}
	return why
}

// period is a base period and the value of the index over it.
type period struct {
	from, to result.Month
	value    float64
}

var (
	baseText  = regexp.MustCompile(`^(?:base(?: year| period)?:? *)?(.*?)(?:\s*=\s*(\d+(?:\.\d+)?))?$`)
	baseYears = regexp.MustCompile(`^(\d{4})(?:\s*(?:-|–|/|to)\s*(\d{4}|\d{2}))?$`)
)

// parseBase reads "1982-84 = 100", "2005=100", "December 1986 = 100" or
// "2023-01 = 100", all readings that the text allows; none where it allows none.
func parseBase(s string) (list []period) {
	m := baseText.FindStringSubmatch(strings.TrimSpace(s))
	if m == nil {
		return nil
	}
	text, value := strings.TrimSpace(m[1]), 100.0
	if m[2] != "" {
		value, _ = strconv.ParseFloat(m[2], 64)
	}
	if value <= 0 {
		return nil
	}
	d := &dates{names: englishMonths()}
	if when, isMonth, bad := d.find(text); bad == nil && isMonth {
		list = append(list, period{result.MonthOf(when), result.MonthOf(when), value})
	}
	if y := baseYears.FindStringSubmatch(text); y != nil {
		from, _ := strconv.Atoi(y[1])
		to := from
		if y[2] != "" {
			to, _ = strconv.Atoi(y[2])
			if len(y[2]) == 2 {
				to += from / 100 * 100
			}
		}
		if from > 0 && to >= from && to < from+20 {
			first, _ := result.ParseMonth(fmt.Sprintf("%04d-01", from))
			last, _ := result.ParseMonth(fmt.Sprintf("%04d-12", to))
			list = append(list, period{first, last, value})
		}
	}
	return list
}
