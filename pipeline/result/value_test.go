package result

import (
	"math"
	"math/big"
	"strconv"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// By hand: half away from zero on the number as it is written.
func TestFixed(t *testing.T) {
	for _, c := range []struct {
		v        float64
		decimals int
		want     string
	}{
		{2.675, 2, "2.68"}, // the float is 2.67499999999999982236431605997495353221893310546875
		{-2.675, 2, "-2.68"},
		{1.005, 2, "1.01"},
		{2.665, 2, "2.67"},
		{0.125, 2, "0.13"}, // a tie in binary too: to even would be 0.12
		{0.375, 2, "0.38"},
		{2.6749, 2, "2.67"},
		{2.67500001, 2, "2.68"},
		{0.5, 0, "1"},
		{1.5, 0, "2"},
		{-0.5, 0, "-1"},
		{0.45, 0, "0"},
		{0.00005, 4, "0.0001"},
		{0.000049, 4, "0.0000"},
		{-0.00004, 4, "0.0000"}, // a rounded nothing has no sign
		{math.Copysign(0, -1), 2, "0.00"},
		{5e-324, 4, "0.0000"},
		{1e15 + 0.5, 0, "1000000000000001"},
		{12, 4, "12.0000"},
		{99.995, 2, "100.00"},
		{4.2486, 4, "4.2486"},
	} {
		if got := Some(c.v).Fixed(c.decimals); got != c.want {
			t.Errorf("%v with %d decimals: got %s, want %s", c.v, c.decimals, got, c.want)
		}
	}
	for _, v := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		if n := Some(v); n.OK || n.Fixed(2) != "" || n.Exact() != "" || !math.IsNaN(n.Or()) {
			t.Errorf("%v: got %+v, want it missing", v, n)
		}
	}
	if got := (Num{}).Fixed(2) + (Num{}).Exact() + (Int{}).String(); got != "" {
		t.Errorf("missing: got %q, want nothing", got)
	}
}

// The second way: exact fractions of the shortest text.
func TestFixedLaw(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.Float64Range(-1e12, 1e12).Draw(t, "v")
		if rapid.Bool().Draw(t, "short") { // where ties are
			places := rapid.IntRange(0, 7).Draw(t, "places")
			v = float64(rapid.Int64Range(-1e9, 1e9).Draw(t, "n")) / math.Pow10(places)
		}
		decimals := rapid.IntRange(0, 6).Draw(t, "decimals")
		r, _ := new(big.Rat).SetString(strconv.FormatFloat(v, 'f', -1, 64))
		want := r.FloatString(decimals) // rounds half away from zero
		if strings.Trim(want, "-0.") == "" {
			want = strings.TrimPrefix(want, "-")
		}
		if got := Some(v).Fixed(decimals); got != want {
			t.Fatalf("%v with %d decimals: got %s, want %s", v, decimals, got, want)
		}
	})
}

func TestMonth(t *testing.T) {
	// By hand: 2024 and 2000 are leap years, 2023 and 1900 are not.
	for _, c := range []struct {
		text  string
		days  int
		day31 string
		next  string
	}{
		{"2024-02", 29, "2024-02-29", "2024-03"},
		{"2023-02", 28, "2023-02-28", "2023-03"},
		{"2000-02", 29, "2000-02-29", "2000-03"},
		{"1900-02", 28, "1900-02-28", "1900-03"},
		{"2023-04", 30, "2023-04-30", "2023-05"},
		{"2023-12", 31, "2023-12-31", "2024-01"},
		{"0001-01", 31, "0001-01-31", "0001-02"},
	} {
		m, err := ParseMonth(c.text)
		if err != nil {
			t.Fatal(err)
		}
		if m.String() != c.text || m.Days() != c.days || m.Day(31).Format(time.DateOnly) != c.day31 || (m+1).String() != c.next {
			t.Errorf("%s: got %s, %d days, last %s, next %s; want %d, %s, %s", c.text, m, m.Days(), m.Day(31).Format(time.DateOnly), m+1, c.days, c.day31, c.next)
		}
		if got := m.Day(1); MonthOf(got) != m || got.Day() != 1 || got.Location() != time.UTC {
			t.Errorf("%s: got day 1 %v", c.text, got)
		}
	}
	for _, s := range []string{"", "2024", "2024-13", "2024-00", "2024-1", "24-01", "2024-01-01", "2024/01", " 2024-01", "2024-01 "} {
		if m, err := ParseMonth(s); err == nil || !strings.Contains(err.Error(), "write it as 2024-02") {
			t.Errorf("%q: got %v, %v, want an error that says what to type", s, m, err)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		m := Month(rapid.IntRange(12, 9999*12+11).Draw(t, "month"))
		got, err := ParseMonth(m.String())
		if err != nil || got != m {
			t.Fatalf("%s: got %v, %v", m, got, err)
		}
		// The days of a month reach to the next one's first.
		if after := m.Day(1).AddDate(0, 0, m.Days()); !after.Equal((m + 1).Day(1)) {
			t.Fatalf("%s has %d days: got %v after them", m, m.Days(), after)
		}
	})
}
