package main

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
)

// A figure that must come out of the demo, under the key by which a published value is traced. The decimals of want
// are the precision meant; a blank want is "no value".
type figure struct{ key, want, got, source string }

const (
	given    = "demo definition"                            // fixed by the demo's description: the data are made to meet it
	followed = "second computation in the demo's generator" // follows from the data by the same definitions
)

// expected figures. Each is computed twice, with the open file's means and with the districts' quotes as the price of
// Tavrin: one that depends on the choice is no fixed figure.
func expected(t tables, notes []note) []figure {
	e, other := newEconomy(t, notes), newEconomy(t, notes)
	other.childrenFirst = true
	var out []figure
	add := func(key, want, source string, value func(*economy) string) {
		got := value(e)
		if source == followed {
			want = got
		}
		if x := value(other); x != got {
			got = got + " or " + x
		}
		out = append(out, figure{key, want, got, source})
	}
	number := func(key, want string, source string, decimals int, value func(*economy) float64) {
		add(key, want, source, func(e *economy) string {
			if x := value(e); !math.IsNaN(x) {
				return strconv.FormatFloat(x, 'f', decimals, 64)
			}
			return ""
		})
	}
	fixedNumber := func(key, want string, value func(*economy) float64) {
		_, decimals, _ := strings.Cut(want, ".")
		number(key, want, given, len(decimals), value)
	}
	unitPrice := func(region, item, grade string, m int) func(*economy) float64 {
		return func(e *economy) float64 { return math.Exp(e.price(cell{region, item, grade, m}).ln) }
	}
	perDay := func(region, household string, m int) func(*economy) float64 {
		return func(e *economy) float64 {
			if cost, complete := e.week(region, m); complete {
				return t.households[household].equivalents * cost / 7
			}
			return math.NaN()
		}
	}
	itemKey := func(region, item, grade string, m int, column string) string {
		return strings.Join([]string{"item", region, item, grade, monthText(m), column}, "/")
	}
	basketKey := func(region, household string, m int) string {
		return strings.Join([]string{"basket", region, household, "staples", monthText(m), "per_day_lcu"}, "/")
	}

	for _, line := range t.basket {
		for _, g := range goods {
			if g.item == line.item && g.grade == "" {
				fixedNumber(itemKey(t.top, g.item, standard, jan23, "unit_price_lcu"), fmt.Sprintf("%.4f", g.base), unitPrice(t.top, g.item, standard, jan23))
			}
		}
	}
	fixedNumber(itemKey(t.top, "tinned-fish", "line-caught", jan23, "unit_price_lcu"), "24.0000", unitPrice(t.top, "tinned-fish", "line-caught", jan23))
	// 29.74 a week is 4.2486 a day; 1.20, 2.20, 2.90 and 4 times that.
	for _, h := range []struct{ household, want string }{{"single", "5.0983"}, {"couple", "9.3469"}, {"adult-two-children", "12.3209"}, {"four", "16.9943"}} {
		fixedNumber(basketKey(t.top, h.household, jan23), h.want, perDay(t.top, h.household, jan23))
	}
	for _, r := range []struct {
		household, allowance, days, fed, out string
		month                                int
	}{
		{"single", "156.00", "30.60", "30", "2023-01-31", jan23},
		{"adult-two-children", "409.50", "33.24", "31", "", jan23},
		{"single", "156.00", "27.08", "27", "2024-02-28", feb24},
		{"single", "156.00", "26.84", "26", "2024-03-27", mar24},
		{"single", "165.36", "28.33", "28", "2024-04-29", apr24},
	} {
		key := strings.Join([]string{"reach/food-support/maximum", t.top, r.household, "staples", monthText(r.month), ""}, "/")
		fixedNumber(key+"allowance_lcu", r.allowance, func(*economy) float64 { return t.allowance(t.households[r.household].persons, r.month) })
		fixedNumber(key+"reach_days", r.days, func(e *economy) float64 { d, _ := e.reach(t.top, r.household, r.month); return d })
		fixedNumber(key+"fed_days", r.fed, func(e *economy) float64 { _, fed := e.reach(t.top, r.household, r.month); return float64(fed) })
		add(key+"run_out_on", r.out, given, func(e *economy) string {
			_, fed := e.reach(t.top, r.household, r.month)
			if fed == daysIn(r.month) {
				return ""
			}
			return time.Date(firstYear, time.Month(r.month+1), 1+fed, 0, 0, 0, 0, time.UTC).Format(time.DateOnly)
		})
		if r.month == apr24 {
			fixedNumber(key+"catch_up_lcu", "178.62", func(e *economy) float64 {
				days, _ := e.reach(t.top, r.household, jan23)
				return days * perDay(t.top, r.household, r.month)(e)
			})
		}
	}
	matched := func(region, item string, m int) func(*economy) float64 {
		return func(e *economy) float64 {
			x, ok := e.change(cell{region, item, standard, m})
			if !ok {
				return math.NaN()
			}
			return 100 * math.Expm1(x)
		}
	}
	fixedNumber(itemKey("mirrow-bay", "oats", standard, sep23, "matched_change_pct"), "5.41", matched("mirrow-bay", "oats", sep23))
	fixedNumber(itemKey(t.top, "milk", standard, feb24, "matched_change_pct"), "0.000", matched(t.top, "milk", feb24))
	for m := jan23; m <= jun23; m++ {
		fixedNumber(basketKey("oddel-skerries", "single", m), "", perDay("oddel-skerries", "single", m))
	}

	status := func(region, item, want string, m int) {
		add(itemKey(region, item, standard, m, "obs_status"), want, given, func(e *economy) string { return e.price(cell{region, item, standard, m}).status })
		number(itemKey(region, item, standard, m, "unit_price_lcu"), "", followed, 4, unitPrice(region, item, standard, m))
	}
	status("oddel-skerries", "barley", "M", jun23)
	for m := nov23; m <= jan24; m++ {
		status("oddel-skerries", "oil", "I", m)
	}
	for _, region := range append([]string{t.top}, t.children[t.top]...) {
		status(region, "oil", "I", feb24)
		status(region, "plums", "I", feb24)
	}
	status(t.top, "milk", "A", jan24)
	for _, c := range []cell{{item: "milk", month: feb24}, {item: "barley", month: jul23}, {item: "oil", month: dec23}} { // where the samples differ
		number(itemKey(t.top, c.item, standard, c.month, "unit_price_lcu"), "", followed, 4, unitPrice(t.top, c.item, standard, c.month))
	}
	status("mirrow-bay", "oats", "A", sep23)
	for _, region := range t.children[t.top] {
		for _, m := range []int{jan23, jul23, feb24, apr24, dec24} {
			if region != "oddel-skerries" || m > jun23 {
				number(basketKey(region, "single", m), "", followed, 4, perDay(region, "single", m))
			}
		}
	}
	return out
}
