package result

import (
	"fmt"
	"math"
	"math/big"
	"strconv"
	"time"
)

// Num is a number that may be missing. The zero value is missing: it prints as
// nothing in CSV and null in JSON, never as 0.
type Num struct {
	V  float64
	OK bool
}

// Some is a present number. NaN and infinities become missing, so that they
// can not reach a file.
func Some(v float64) Num {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return Num{}
	}
	return Num{v, true}
}

// Or is the number, or NaN where it is missing.
func (n Num) Or() float64 {
	if n.OK {
		return n.V
	}
	return math.NaN()
}

// Fixed prints the number with so many decimals, half away from zero on its
// shortest decimal form (2.675 prints as 2.68), and "" where it is missing.
func (n Num) Fixed(decimals int) string {
	if !n.OK {
		return ""
	}
	return fixed(n.V, decimals)
}

func fixed(v float64, decimals int) string {
	// Well away from a tie the rounded whole number of units is right.
	if scaled := v * math.Pow10(decimals); math.Abs(scaled) < 1e9 {
		whole := math.Round(scaled)
		if math.Abs(math.Abs(scaled-whole)-0.5) > 1e-5 {
			return unit(int64(whole), decimals)
		}
	}
	r, ok := new(big.Rat).SetString(strconv.FormatFloat(v, 'f', -1, 64))
	if !ok {
		return "" // not a number: Some lets none in
	}
	return unsignZero(r.FloatString(decimals))
}

// unit prints n units of the last of so many decimals.
func unit(n int64, decimals int) string {
	var buf [24]byte
	b := buf[:0]
	if n < 0 {
		b, n = append(b, '-'), -n
	}
	one := int64(math.Pow10(decimals))
	b = strconv.AppendInt(b, n/one, 10)
	if decimals > 0 {
		b = append(b, '.')
		rest := strconv.AppendInt(nil, one+n%one, 10)
		b = append(b, rest[1:]...)
	}
	return string(b)
}

// unsignZero turns "-0.00" into "0.00": a rounded nothing has no sign.
func unsignZero(s string) string {
	if len(s) == 0 || s[0] != '-' {
		return s
	}
	for i := 1; i < len(s); i++ {
		if s[i] != '0' && s[i] != '.' {
			return s
		}
	}
	return s[1:]
}

// Exact prints the shortest text that reads back as the same number.
func (n Num) Exact() string {
	if !n.OK {
		return ""
	}
	return unsignZero(strconv.FormatFloat(n.V, 'f', -1, 64))
}

// Int is a count that may be unknown: the number of notes behind a published
// average is unknown, not 0.
type Int struct {
	V  int
	OK bool
}

// Count is a known count.
func Count(n int) Int { return Int{n, true} }

func (n Int) String() string {
	if !n.OK {
		return ""
	}
	return strconv.Itoa(n.V)
}

// Month is a calendar month, counted in months since year 0; it prints as 2024-02.
type Month int

// MonthOf is the month of a day.
func MonthOf(t time.Time) Month { return Month(t.Year()*12 + int(t.Month()) - 1) }

// ParseMonth reads 2024-02.
func ParseMonth(s string) (Month, error) {
	t, err := time.Parse("2006-01", s)
	if err != nil {
		return 0, fmt.Errorf("month %q: write it as 2024-02", s)
	}
	return MonthOf(t), nil
}

func (m Month) String() string { return fmt.Sprintf("%04d-%02d", m.Year(), m.Number()) }

// Year of the month.
func (m Month) Year() int { return int(m) / 12 }

// Number of the month in its year, 1 to 12.
func (m Month) Number() int { return int(m)%12 + 1 }

// Day is a day of the month at midnight UTC; a day past the month's end is its last.
func (m Month) Day(day int) time.Time {
	if last := m.Days(); day > last {
		day = last
	}
	return time.Date(m.Year(), time.Month(m.Number()), day, 0, 0, 0, 0, time.UTC)
}

// Days in the month, 28 to 31.
func (m Month) Days() int {
	return time.Date(m.Year(), time.Month(m.Number())+1, 0, 0, 0, 0, 0, time.UTC).Day()
}

// MarshalText prints the month as in a file.
func (m Month) MarshalText() ([]byte, error) { return []byte(m.String()), nil }

// UnmarshalText reads a month of a file.
func (m *Month) UnmarshalText(b []byte) (err error) {
	*m, err = ParseMonth(string(b))
	return err
}
