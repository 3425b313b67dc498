package intake

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"farthing/pipeline/result"
)

// seriesOf is a monthly series from January of a year.
func seriesOf(label, base string, year int, f func(i int) float64, n int) *indexSeries {
	first, _ := result.ParseMonth(fmt.Sprintf("%d-01", year))
	x := &indexSeries{name: "x", region: "cove", base: base, adjustment: "unadjusted", label: label}
	for i := range n {
		x.rows = append(x.rows, indexRow{month: first + result.Month(i), value: f(i)})
	}
	return x
}

func TestImplausible(t *testing.T) {
	steady := func(start, rate float64) func(int) float64 {
		return func(i int) float64 { return start * math.Pow(1+rate, float64(i)) }
	}
	for _, c := range []struct {
		name string
		x    *indexSeries
		says string // part of the reason, "" where it is plausible
	}{
		{"slow prices, base in the middle", seriesOf("", "2001 = 100", 2000, func(i int) float64 { return 100 + (float64(i)-17.5)*.2 }, 36), ""},
		{"three years of base", seriesOf("", "1982-84 = 100", 1982, func(i int) float64 { return 100 + (float64(i)-17.5)*.15 }, 36), ""},
		{"base before the first value", seriesOf("", "1967 = 100", 1990, steady(380, .003), 60), ""},
		{"base in words that are not known", seriesOf("", "previous year", 2000, steady(100, .003), 24), ""},
		{"one month of base", seriesOf("", "December 1999 = 100", 1999, func(i int) float64 { return 90 + float64(i)*10/11 }, 12), ""},
		{"another base value", seriesOf("", "2000-01 = 1000", 2000, steady(1000, .01), 12), ""},
		{"a base that may be a month or two years, the month", seriesOf("", "2001-02 = 100", 2001, func(i int) float64 { return 98 + 2*float64(i) }, 6), ""},
		{"prices that double every two months", seriesOf("", "", 2000, steady(100, .4), 24), ""},
		{"vegetables of a season", seriesOf("", "", 2000, func(i int) float64 { return 100 + 35*math.Sin(float64(i)*math.Pi/6) }, 36), ""},
		// World Bank inflation rates under the label "2005 = 100", the README of the files.
		{"rates under the label of an index", seriesOf("", "2005 = 100", 2005, func(i int) float64 { return 3.39 }, 12), "its mean is 3.39 and not 100"},
		{"a rate below 0", seriesOf("", "", 2008, func(i int) float64 { return 2 - float64(i) }, 4), "above 0"},
		{"0", seriesOf("", "", 2008, func(i int) float64 { return float64(i) }, 4), "above 0"},
		{"rates that jump about", seriesOf("", "", 2000, func(i int) float64 { return []float64{1, 1.9, 1.05, 2}[i%4] }, 24), "half of its steps"},
		{"a fall as none is", seriesOf("", "", 2000, func(i int) float64 { return []float64{4, 1}[i%2] }, 4), "from 2000-01 to 2000-02"},
		{"its own words: inflation", seriesOf("Food price inflation", "", 2000, steady(100, .01), 12), `"inflation"`},
		{"its own words: a rate of exchange", seriesOf("Local currency units per USD", "2015 = 100", 2015, steady(98, .002), 12), "no price index"},
		{"its own words: purchasing power", seriesOf("PPP conversion factor", "", 2015, steady(98, .002), 12), "no price index"},
		{"mean off the base by 3 %", seriesOf("", "2000 = 100", 2000, steady(103, 0), 12), "and not 100"},
		{"a year as its base, begun again each January", seriesOf("", "2018-01 = 100", 2018, func(i int) float64 { return 106.2 - float64(i%12) }, 24), "and not 100"},
		{"part of the base year, beyond all inflation", seriesOf("", "2000 = 100", 2000, steady(4, 0), 3), "and not 100"},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := implausible(c.x); (got == "") != (c.says == "") || !strings.Contains(got, c.says) {
				t.Errorf("got %q, want it to say %q", got, c.says)
			}
		})
	}
}

func TestParseBase(t *testing.T) {
	for text, want := range map[string]string{
		"1982-84 = 100": "1982-01 1984-12", "1982-84=100": "1982-01 1984-12", "1982-1984": "1982-01 1984-12", "2005 = 100": "2005-01 2005-12", "2015": "2015-01 2015-12",
		"December 1986 = 100": "1986-12 1986-12", "2023-01 = 100": "2023-01 2023-01", "2001-02": "2001-02 2001-02, 2001-01 2002-12", "base year 2015": "2015-01 2015-12",
		"": "", "previous month": "", "2005 = 0": "", "1984-82 = 100": "",
	} {
		var got []string
		for _, p := range parseBase(text) {
			got = append(got, p.from.String()+" "+p.to.String())
		}
		if strings.Join(got, ", ") != want {
			t.Errorf("%q: got %q, want %q", text, got, want)
		}
	}
}

// TestMixedIndex: adjusted beside unadjusted values, other money, other bases.
func TestMixedIndex(t *testing.T) {
	src := sourceOf(t, `gives = "index"
columns = { month = "month", value = "value", adjustment = "adjustment", base_period = "base", currency = "money" }
fixed = { region = "cove", index = "food" }`)
	for _, c := range []struct{ name, rows, code string }{
		{"one kind", "2020-01,100,unadjusted,2019 = 100,\n2020-02,101,unadjusted,2019 = 100,USD\n", ""},
		{"adjusted among unadjusted", "2020-01,100,unadjusted,2019 = 100,\n2020-02,101,adjusted,2019 = 100,\n", "mixed_index"},
		{"two bases", "2020-01,100,unadjusted,2019 = 100,\n2020-02,101,unadjusted,2018 = 100,\n", "mixed_index"},
		{"neither", "2020-01,100,,2019 = 100,\n", "series"},
		{"other money", "2020-01,100,unadjusted,2019 = 100,EUR\n", "currency"},
		{"parities", "2020-01,100,unadjusted,2019 = 100,PPP\n", "currency"},
	} {
		o := readBytes(t, []byte("month,value,adjustment,base,money\n"+c.rows), src)
		got := ""
		if len(o.aside) > 0 {
			got = o.aside[0].code
		}
		if got != c.code || c.code == "mixed_index" && len(o.aside) != 2 {
			t.Errorf("%s: got %q for %d rows, want %q", c.name, got, len(o.aside), c.code)
		}
	}
}
