package compute

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"farthing/pipeline/result"
	"farthing/pipeline/workspace"
)

func month(s string) result.Month {
	m, err := result.ParseMonth(s)
	if err != nil {
		panic(err)
	}
	return m
}

func day(s string) time.Time {
	t, err := time.Parse(time.DateOnly, s)
	if err != nil {
		panic(err)
	}
	return t
}

// near says whether two numbers agree within a few roundings of a float64.
func near(got, want float64) bool { return math.Abs(got-want) <= 1e-12*math.Max(1, math.Abs(want)) }

func reached(m result.Month, lcu float64, per string, payDay int, perDay float64) result.Reach {
	r := result.Reach{Month: m}
	reach(&r, &amount{region: "here", lcu: lcu, per: per, paidOnDay: payDay}, result.Some(perDay), result.Some(0.5), result.Some(30), 1, 3)
	return r
}

// Whole divisions must not lose a day. Source: the project's check values, topic 08, K14 (decimal arithmetic, recomputed;
// common practice, no publisher); 31 July days from pay day so that nothing is capped but by the division.
func TestWholeDays(t *testing.T) {
	for _, c := range []struct {
		allowance, cost float64
		want            int
		runOut          string
	}{
		{8.1, 0.27, 30, "2024-07-31"},
		{291, 9.7, 30, "2024-07-31"},
		{290.99, 9.7, 29, "2024-07-30"},
		{100.8, 3.36, 30, "2024-07-31"},
	} {
		r := reached(month("2024-07"), c.allowance, "month", 1, c.cost)
		if r.FedDays != result.Count(c.want) || r.RunOutOn != c.runOut {
			t.Errorf("%v at %v a day: got %v fed, out on %s; want %d, %s", c.allowance, c.cost, r.FedDays, r.RunOutOn, c.want, c.runOut)
		}
	}
}

// Source: the project's check values, topic 08, K09 (recomputed; common practice, no publisher). Its days_covered and
// coverage are our reach and adequacy.
func TestReachAsTheBasketGetsDearer(t *testing.T) {
	for _, c := range []struct {
		month                             string
		perDay, days, adequacy, shortfall float64
		fed                               int
		runOut                            string
	}{
		{"2024-05", 9.1, 31.978021978022, 1.03154909606523, 0, 31, ""},
		{"2024-06", 9.45, 30.7936507936508, 1.02645502645503, 0, 30, ""},
		{"2024-07", 9.8, 29.6938775510204, 0.957867017774852, 12.8, 29, "2024-07-30"},
		{"2024-09", 10.4, 27.9807692307692, 0.932692307692308, 21, 27, "2024-09-28"},
	} {
		r := reached(month(c.month), 291, "month", 1, c.perDay)
		for name, x := range map[string][2]float64{"reach": {r.Days.V, c.days}, "adequacy": {r.Adequacy.V, c.adequacy}, "shortfall": {r.Shortfall.V, c.shortfall}} {
			if math.Abs(x[0]-x[1]) > 1e-9 { // as far as the source is printed
				t.Errorf("%s, %s: got %v, want %v", c.month, name, x[0], x[1])
			}
		}
		if r.FedDays != result.Count(c.fed) || r.RunOutOn != c.runOut { // by hand, from the days
			t.Errorf("%s: got %v fed, out on %q; want %d, %q", c.month, r.FedDays, r.RunOutOn, c.fed, c.runOut)
		}
	}
}

// Source: the project's check values, topic 08, K08-allowance-1 to -4 (recomputed; common practice, no publisher).
func TestAllowancePerMeal(t *testing.T) {
	for _, c := range []struct {
		lcu            float64
		month          string
		meals, persons int
		perPersonDay   float64
		perMeal        float64
	}{
		{291, "2024-06", 3, 1, 9.7, 3.23333333333333},
		{291, "2024-07", 3, 1, 9.38709677419355, 3.12903225806452},
		{975, "2024-06", 3, 4, 8.125, 2.70833333333333},
		{546, "2023-02", 2, 2, 9.75, 4.875},
	} {
		r := result.Reach{Month: month(c.month)}
		reach(&r, &amount{lcu: c.lcu, per: "month", paidOnDay: 1}, result.Num{}, result.Num{}, result.Num{}, c.persons, c.meals)
		if got := r.AllowancePerDay.V / float64(c.persons); math.Abs(got-c.perPersonDay) > 1e-12*c.perPersonDay*10 {
			t.Errorf("%v in %s: got %v a person and day, want %v", c.lcu, c.month, got, c.perPersonDay)
		}
		if got := r.AllowancePerMeal.V; math.Abs(got-c.perMeal) > 1e-12*c.perMeal*10 {
			t.Errorf("%v in %s: got %v a meal, want %v", c.lcu, c.month, got, c.perMeal)
		}
		if r.Days.OK || r.FedDays.OK || r.RunOutOn != "" || r.Adequacy.OK || r.Balance.OK || r.Shortfall.OK || r.CatchUp.OK || r.AllowanceReal.OK {
			t.Errorf("without a cost or an index: got %+v, want nothing that needs them", r)
		}
	}
}

func TestReachWithoutAnAmount(t *testing.T) {
	r := result.Reach{Month: month("2024-02")}
	reach(&r, nil, result.Some(4), result.Some(1), result.Some(30), 1, 3)
	if want := (result.Reach{Month: month("2024-02"), DaysInMonth: result.Count(29), PerDay: result.Some(4), CatchUp: result.Some(120)}); r != want {
		t.Errorf("got %+v, want %+v", r, want)
	}
}

// A calendar of its own: days of a month by table and the Gregorian rule.
func daysIn(year, month int) int {
	if month == 2 && (year%4 == 0 && year%100 != 0 || year%400 == 0) {
		return 29
	}
	return []int{31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31}[month-1]
}

// Contracts, section 4, in whole numbers: amounts in cents, costs in hundredths of cents. n days are fed where
// n x cost <= allowance exactly; the slack of 1e-9 is less than the least difference that such amounts can have.
func TestReachLaw(t *testing.T) {
	rnd := rand.New(rand.NewPCG(1, 2))
	capped, whole, leap, late := 0, 0, 0, 0
	for range 30000 {
		year, number := 1999+rnd.IntN(103), 1+rnd.IntN(12)
		if rnd.IntN(4) == 0 {
			number = 2
		}
		per := []string{"month", "month", "4 weeks", "2 weeks", "week"}[rnd.IntN(5)]
		payDay := 1 + rnd.IntN(31)
		if rnd.IntN(3) == 0 {
			payDay = 29 + rnd.IntN(3)
		}
		cents, cost := 1+rnd.Int64N(60000), 1+rnd.Int64N(200000)
		days := daysIn(year, number)
		num, den := cents*100, int64(1) // the allowance of the month in hundredths of cents
		if n := map[string]int64{"4 weeks": 28, "2 weeks": 14, "week": 7}[per]; n > 0 {
			num, den = num*int64(days), n
		}
		if rnd.IntN(3) == 0 { // a cost that divides it, or is the least that is a hair too dear
			n := int64(1 + rnd.IntN(35))
			cost = max(1, (num+n*den-1)/(n*den))
		}
		r := reached(month(fmt.Sprintf("%04d-%02d", year, number)), float64(cents)/100, per, payDay, float64(cost)/10000)
		fail := func(what string, got, want any) {
			t.Helper()
			t.Fatalf("%04d-%02d, %d cents per %s paid on day %d, cost %d/10000: %s: got %v, want %v", year, number, cents, per, payDay, cost, what, got, want)
		}

		pay, nextYear, next := min(payDay, days), year, number+1
		if next > 12 {
			nextYear, next = year+1, 1
		}
		span := days - pay + min(payDay, daysIn(nextYear, next))
		fed := int(min(num/(cost*den), int64(span)))
		runOut := ""
		if fed < span {
			y, m, d := year, number, pay+fed
			for d > daysIn(y, m) {
				d -= daysIn(y, m)
				if m++; m > 12 {
					y, m = y+1, 1
				}
			}
			runOut = fmt.Sprintf("%04d-%02d-%02d", y, m, d)
		}
		if r.FedDays != result.Count(fed) {
			fail("fed_days", r.FedDays, fed)
		}
		if r.RunOutOn != runOut {
			fail("run_out_on", r.RunOutOn, runOut)
		}
		allowance, perDay := float64(num)/float64(den)/10000, float64(cost)/10000
		if r.DaysInMonth != result.Count(days) || !near(r.Allowance.V, allowance) || r.PerDay.V != perDay {
			fail("days, allowance, cost", []any{r.DaysInMonth, r.Allowance, r.PerDay}, []any{days, allowance, perDay})
		}
		for name, x := range map[string][2]float64{
			"reach_days":   {r.Days.V, allowance / perDay},
			"adequacy":     {r.Adequacy.V, allowance / (perDay * float64(days))},
			"balance":      {r.Balance.V, allowance - perDay*float64(days)},
			"shortfall":    {r.Shortfall.V, max(0, perDay*float64(days)-allowance)},
			"per day":      {r.AllowancePerDay.V * float64(days), allowance},
			"per meal":     {r.AllowancePerMeal.V * float64(3*days), allowance},
			"per meal out": {r.ShortfallPerMeal.V * float64(3*days), r.Shortfall.V},
			"real":         {r.AllowanceReal.V, allowance / 2},
			"catch up":     {r.CatchUp.V, 30 * perDay},
		} {
			if !near(x[0], x[1]) {
				fail(name, x[0], x[1])
			}
		}
		// They agree with each other, exactly.
		if got := r.Days.V / float64(days); r.Adequacy.V != got {
			fail("adequacy = reach / days", r.Adequacy.V, got)
		}
		if got := math.Max(0, -r.Balance.V); r.Shortfall.V != got {
			fail("shortfall = what the balance lacks", r.Shortfall.V, got)
		}
		if pay == 1 && (fed == days) != (num >= cost*den*int64(days)) {
			fail("fed all days where the allowance is enough", fed, days)
		}
		capped, late = capped+btoi(fed == span), late+btoi(payDay > days)
		whole, leap = whole+btoi(fed < span && num == cost*den*int64(fed)), leap+btoi(days == 29)
	}
	for name, n := range map[string]int{"capped": capped, "whole divisions": whole, "leap Februaries": leap, "pay days past the month's end": late} {
		if n < 300 {
			t.Errorf("%s: only %d cases", name, n)
		}
	}
}

func btoi(b bool) int {
	if b {
		return 1
	}
	return 0
}

// By hand: paid on the 31st, February pays on its last day, and 31 March is 31 days after 29 February.
func TestPayDayPastTheMonthsEnd(t *testing.T) {
	for _, c := range []struct {
		month  string
		payDay int
		cost   float64
		fed    int
		runOut string
	}{
		{"2024-02", 31, 10, 31, ""},           // 29 February to 31 March, 310 is enough
		{"2024-02", 31, 11, 28, "2024-03-28"}, // 28 x 11 = 308: eaten through the 27th
		{"2023-02", 30, 10, 30, ""},           // 28 February to 30 March
		{"2024-01", 31, 10, 29, ""},           // 31 January to 29 February
		{"2023-01", 29, 10, 30, ""},           // 29 January to 28 February
		{"2023-12", 15, 310, 1, "2023-12-16"},
		{"2023-12", 15, 311, 0, "2023-12-15"}, // not one day
	} {
		r := reached(month(c.month), 310, "month", c.payDay, c.cost)
		if r.FedDays != result.Count(c.fed) || r.RunOutOn != c.runOut {
			t.Errorf("%s paid on %d at %v: got %v, %q; want %d, %q", c.month, c.payDay, c.cost, r.FedDays, r.RunOutOn, c.fed, c.runOut)
		}
	}
}

func steps() *allowances {
	row := func(region string, persons int, from, to string, lcu float64, line int) amount {
		a := amount{programme: "p", kind: "maximum", region: region, persons: persons, from: day(from), lcu: lcu, per: "month", paidOnDay: 1, file: "allowances.csv", line: line}
		if to != "" {
			a.to = day(to)
		}
		return a
	}
	return &allowances{parent: map[string]string{"town": "land", "hamlet": "town"}, rows: []amount{
		row("land", 1, "2022-04-01", "", 156, 2),
		row("land", 1, "2024-04-01", "", 165.36, 3),
		row("land", 2, "2022-04-01", "", 286, 4),
		row("town", 1, "2023-03-01", "2023-06-30", 170, 5),
		row("land", 3, "2024-02-02", "", 400, 6),
		row("town", 2, "2023-01-01", "2023-02-01", 300, 7),
	}}
}

func TestStepFunctionOfAllowances(t *testing.T) {
	a := steps()
	for _, c := range []struct {
		name, region string
		persons      int
		month        string
		want         float64 // 0: none
		from         string
	}{
		{"before the first", "land", 1, "2022-03", 0, ""},
		{"from its month", "land", 1, "2022-04", 156, "land"},
		{"until the next", "land", 1, "2024-03", 156, "land"},
		{"the next", "land", 1, "2024-04", 165.36, "land"},
		{"never interpolated", "land", 1, "2023-04", 156, "land"},
		{"inherited", "hamlet", 2, "2023-04", 286, "land"},
		{"the nearest ancestor's", "hamlet", 1, "2023-03", 170, "town"},
		{"its last month", "town", 1, "2023-06", 170, "town"},
		{"after effective_to the ancestor's", "town", 1, "2023-07", 156, "land"},
		{"still in force on the day of effective_to", "town", 2, "2023-02", 300, "town"},
		{"not after it", "town", 2, "2023-03", 286, "land"},
		{"a part's amount is not the whole's", "land", 1, "2023-05", 156, "land"},
		{"no such person count", "land", 4, "2023-01", 0, ""},
		{"in force the day after pay day", "land", 3, "2024-02", 0, ""},
		{"in force by the next pay day", "land", 3, "2024-03", 400, "land"},
		{"an unknown region", "nowhere", 1, "2023-01", 0, ""},
	} {
		x := a.inForce("p", "maximum", c.region, c.persons, month(c.month))
		if x == nil {
			if c.want != 0 {
				t.Errorf("%s: got none, want %v", c.name, c.want)
			}
		} else if x.lcu != c.want || x.region != c.from {
			t.Errorf("%s: got %v of %s, want %v of %q", c.name, x.lcu, x.region, c.want, c.from)
		}
	}
	for _, key := range [][2]string{{"p", "typical"}, {"q", "maximum"}} {
		if x := a.inForce(key[0], key[1], "land", 1, month("2023-01")); x != nil {
			t.Errorf("%v: got %v, want none", key, x.lcu)
		}
	}
	a.rows[0].paidOnDay = 15
	a.rows[0].from = day("2022-04-15")
	if x := a.inForce("p", "maximum", "land", 1, month("2022-04")); x == nil || x.lcu != 156 {
		t.Errorf("in force on the pay day, the 15th: got %v, want 156", x)
	}
}

func TestTwoAmountsAreRefused(t *testing.T) {
	a := steps()
	if err := a.check(); err != nil {
		t.Errorf("got %v, want no fault", err)
	}
	a.rows = append(a.rows, a.rows[0]) // the same amount twice contradicts nothing
	if err := a.check(); err != nil {
		t.Errorf("said twice: got %v, want no fault", err)
	}
	a.rows[len(a.rows)-1].lcu, a.rows[len(a.rows)-1].line = 157, 9
	var fault *workspace.InputError
	if err := a.check(); !errors.As(err, &fault) || fault.Code != "two_amounts" || fault.Line != 9 || !strings.Contains(fault.Read, "157, but allowances.csv:2 says 156") {
		t.Errorf("two amounts: got %v", err)
	}
}

// By hand: 28 days of 70 in four weeks are 70, and a week's 7 in a month of 31 days are 31.
func TestAmountsOfWeeks(t *testing.T) {
	for _, c := range []struct {
		per   string
		lcu   float64
		month string
		want  float64
	}{{"week", 7, "2024-01", 31}, {"week", 7, "2024-02", 29}, {"2 weeks", 14, "2023-02", 28}, {"4 weeks", 70, "2023-02", 70}, {"4 weeks", 28, "2024-04", 30}, {"month", 70, "2024-02", 70}} {
		if got := (&amount{lcu: c.lcu, per: c.per}).inMonth(month(c.month)); got != c.want {
			t.Errorf("%v per %s in %s: got %v, want %v", c.lcu, c.per, c.month, got, c.want)
		}
	}
}

func TestDeflator(t *testing.T) {
	value := func(region, m string, v float64) indexValue {
		return indexValue{series: "cpi", region: region, month: month(m), value: v, basePeriod: "2020", adjustment: "unadjusted", file: "deflators.csv"}
	}
	list := []indexValue{value("land", "2023-01", 100), value("land", "2023-02", 125), value("town", "2023-01", 50), value("land", "2023-04", 80)}
	parent := map[string]string{"hamlet": "town", "town": "land", "isle": "land"}
	d, err := newDeflator("cpi", append(list, indexValue{series: "other", region: "land", month: month("2023-03"), value: 1}), parent)
	if err != nil {
		t.Fatal(err)
	}
	missing := math.NaN()
	// By hand: money of February buys 100 / 125 of what it did in January.
	for _, c := range []struct {
		name, region, month string
		want                float64
		from                string
	}{
		{"base month", "land", "2023-01", 1, "land"},
		{"dearer", "land", "2023-02", 0.8, "land"},
		{"cheaper", "land", "2023-04", 1.25, "land"},
		{"inherited", "isle", "2023-02", 0.8, "land"},
		{"the nearest ancestor's", "hamlet", "2023-01", 1, "town"},
		{"a region's own gap is not filled from above", "town", "2023-02", missing, "town"},
		{"missing month", "land", "2023-03", missing, "land"},
		{"no index at all", "abroad", "2023-01", missing, ""},
	} {
		got, from := d.factor(c.region, month(c.month), month("2023-01"))
		if got.OK == math.IsNaN(c.want) || got.OK && got.V != c.want || from != c.from {
			t.Errorf("%s: got %v from %q, want %v from %q", c.name, got, from, c.want, c.from)
		}
	}
	if got, _ := d.factor("land", month("2023-01"), month("2022-12")); got.OK {
		t.Errorf("no value in the base month: got %v, want none", got)
	}
	adjusted, rebased, second := value("land", "2023-05", 90), value("land", "2023-05", 90), value("land", "2023-02", 126)
	adjusted.adjustment, rebased.basePeriod = "adjusted", "2015"
	for code, v := range map[string][]indexValue{"mixed_index": {adjusted, rebased}, "two_values": {second}} {
		for _, x := range v {
			var fault *workspace.InputError
			if _, err := newDeflator("cpi", append(list[:4:4], x), parent); !errors.As(err, &fault) || fault.Code != code {
				t.Errorf("%+v: got %v, want %s", x, err, code)
			}
		}
	}
	if _, err := newDeflator("cpi", append(list[:4:4], list[1]), parent); err != nil {
		t.Errorf("a value said twice: got %v, want no fault", err)
	}
}
