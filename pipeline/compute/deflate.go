package compute

import (
	"fmt"
	"slices"
	"sort"
	"strings"

	"farthing/pipeline/result"
	"farthing/pipeline/workspace"
)

// indexValue is one month of a price index, from a table or an open file.
type indexValue struct {
	series, region string
	month          result.Month
	value          float64
	basePeriod     string
	adjustment     string
	file           string
	line           int
}

// deflator is one index by region; a region without one inherits its nearest
// ancestor's. Nothing is interpolated.
type deflator struct {
	series string
	values map[string]map[result.Month]float64
	parent map[string]string
}

// newDeflator picks one series and refuses what can not deflate: two values
// for one month, adjusted mixed with unadjusted values, two base periods.
func newDeflator(series string, list []indexValue, parent map[string]string) (*deflator, error) {
	d := &deflator{series, map[string]map[result.Month]float64{}, parent}
	sort.SliceStable(list, func(i, j int) bool { return list[i].region < list[j].region })
	first := map[string]indexValue{}
	for _, v := range list {
		if v.series != series {
			continue
		}
		f, ok := first[v.region]
		if !ok {
			first[v.region] = v
			d.values[v.region] = map[result.Month]float64{}
		} else if f.adjustment != v.adjustment || f.basePeriod != v.basePeriod {
			return nil, &workspace.InputError{Code: "mixed_index", File: v.file, Line: v.line, Field: "adjustment, base_period",
				Read:    fmt.Sprintf("%s, %s in series %s of %s, which began as %s, %s", v.adjustment, v.basePeriod, series, v.region, f.adjustment, f.basePeriod),
				Instead: "give each its own series name"}
		}
		if old, dup := d.values[v.region][v.month]; dup && old != v.value {
			return nil, &workspace.InputError{Code: "two_values", File: v.file, Line: v.line, Field: "index_value",
				Read: fmt.Sprintf("%v, but another row says %v for %s %s %s", v.value, old, series, v.region, v.month), Instead: "keep one of the two"}
		}
		d.values[v.region][v.month] = v.value
	}
	return d, nil
}

// rows are the series' values, with where each was read; of a value given twice
// the first place.
func (d *deflator) rows(list []indexValue) (rows []result.DeflatorValue) {
	for _, v := range list {
		if v.series == d.series {
			rows = append(rows, result.DeflatorValue{Series: v.series, Region: v.region, Month: v.month, Value: result.Some(v.value),
				BasePeriod: v.basePeriod, Adjustment: v.adjustment, File: v.file, Line: result.Count(v.line)})
		}
	}
	key := func(v result.DeflatorValue) string { return v.Region + "\x00" + v.Month.String() }
	slices.SortStableFunc(rows, func(a, b result.DeflatorValue) int { return strings.Compare(key(a), key(b)) })
	return slices.CompactFunc(rows, func(a, b result.DeflatorValue) bool { return key(a) == key(b) })
}

// factor turns money of month m into money of the base month: index(base) /
// index(m). It is missing where either month has no value; the region is the
// one whose index it is, "" where none has one.
func (d *deflator) factor(region string, m, base result.Month) (f result.Num, from string) {
	for r := region; r != ""; r = d.parent[r] {
		values, ok := d.values[r]
		if !ok {
			continue
		}
		b, okB := values[base]
		v, okV := values[m]
		if !okB || !okV {
			return result.Num{}, r
		}
		return result.Some(b / v), r
	}
	return result.Num{}, ""
}
