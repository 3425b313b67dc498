package intake

import (
	"regexp"
	"strconv"
	"strings"
	"time"

	"farthing/pipeline/result"
	"farthing/pipeline/workspace"

	"github.com/apache/arrow/go/v17/arrow"
)

// dates reads the dates of a source. Beyond a day as 2024-02-29 it takes the
// day with a time or a month's name, 20240229, and months as 2024-02, 202402,
// 2024M02, 2024 M02, 2024 7002, Feb 2024, February 2024, 2/2024; days with
// slashes or points in a declared order; day numbers of a spreadsheet; numbers
// of weeks and years where the profile says what they stand for.
type dates struct {
	order     string
	average   bool // the first of the month stands for all of it
	day0      time.Time
	weekOne   time.Time
	yearMonth int
	names     map[string]time.Month
}

func newDates(src workspace.Source, day0 time.Time) *dates {
	d := &dates{order: src.DateOrder, average: src.Gives != "quotes", day0: day0, yearMonth: src.MonthOfYear, names: englishMonths()}
	for i, n := range src.MonthNames {
		d.names[strings.ToLower(n)] = time.Month(i + 1)
	}
	d.weekOne, _ = time.Parse("2006-01-02", src.WeekOneOn)
	return d
}

func englishMonths() map[string]time.Month {
	names := map[string]time.Month{"sept": time.September}
	for m := time.January; m <= time.December; m++ {
		names[strings.ToLower(m.String())] = m
		names[strings.ToLower(m.String()[:3])] = m
	}
	return names
}

var (
	timeOfDay  = regexp.MustCompile(`^(\S*\d)(?:T|\s+)\d{1,2}:\d\d(:\d\d(\.\d+)?)?(Z|\s*[AP]M)?$`)
	eightDigit = regexp.MustCompile(`^(\d{4})(\d\d)(\d\d)$`)
	sixDigit   = regexp.MustCompile(`^(\d{4})(\d\d)$`)
	yearFirst  = regexp.MustCompile(`^(\d{4})[\s./-]*(M?\d{1,2}|70[012]\d|[\pL]+\.?)$`)
	yearLast   = regexp.MustCompile(`^(\d{1,2}|[\pL]+)\.?[\s./-]+(\d{4})$`)
	dayNamed   = regexp.MustCompile(`^(\d{1,2})[\s.-]+([\pL]+)\.?[\s.-]+(\d{4})$`)
	noMonth    = regexp.MustCompile(`(?i)^(\d{4})[\s./-]*(M13|A\d*|S\d+|H\d|Q\d+|7021|annual.*|year.*)$`)
	slashed    = regexp.MustCompile(`^\d{1,2}([./-])\d{1,2}([./-])\d{4}$|^\d{4}([./])\d{1,2}([./])\d{1,2}$`)
	plainYear  = regexp.MustCompile(`^\d{4}$`)
	serialDay  = regexp.MustCompile(`^(\d{5})(\.\d+)?$`)
	weekNumber = regexp.MustCompile(`^\d{1,5}$`)
)

// find reads a date as the first day that it may mean; a month or a year alone
// is its first day.
func (d *dates) find(s string) (when time.Time, isMonth bool, bad *fault) {
	fail := func(code, cure string) (time.Time, bool, *fault) {
		return when, false, &fault{code, "observed_on", s, cure}
	}
	if m := timeOfDay.FindStringSubmatch(s); m != nil {
		s = m[1]
	}
	day := func(y, m, dd string) (time.Time, bool) {
		t, err := time.Parse("2006-1-2", y+"-"+m+"-"+dd)
		return t, err == nil
	}
	month := func(y, m string) (time.Time, bool) {
		m = strings.TrimSuffix(m, ".")
		if n, ok := d.names[strings.ToLower(m)]; ok {
			m = strconv.Itoa(int(n))
		} else if len(m) == 4 {
			m = m[2:] // 7002
		}
		return day(y, strings.TrimPrefix(strings.ToUpper(m), "M"), "1")
	}
	var ok bool
	if t, err := workspace.ParseDay(s); err == nil {
		return t, false, nil
	}
	switch {
	case !d.weekOne.IsZero() && weekNumber.MatchString(s):
		n, _ := strconv.Atoi(s)
		return d.weekOne.AddDate(0, 0, 7*(n-1)), false, nil
	case plainYear.MatchString(s):
		if d.yearMonth == 0 {
			return fail("year_only", "a year says no month, and a price of a year stands in none: fix one with [source.fixed] observed_on, or with month_of_year put the figures to one month")
		}
		when, ok = day(s, strconv.Itoa(d.yearMonth), "1")
		return when, true, nil
	case noMonth.MatchString(s):
		return fail("left_out", "a figure of more than one month, as the file marks it, is none of a month")
	}
	if t, is := serial(d.day0, s); is {
		return t, false, nil
	}
	if m := eightDigit.FindStringSubmatch(s); m != nil {
		when, ok = day(m[1], m[2], m[3])
	} else if m := sixDigit.FindStringSubmatch(s); m != nil {
		when, isMonth = month(m[1], m[2])
		ok = isMonth
	} else if m := yearFirst.FindStringSubmatch(s); m != nil {
		when, isMonth = month(m[1], m[2])
		ok = isMonth
	} else if m := yearLast.FindStringSubmatch(s); m != nil {
		when, isMonth = month(m[2], m[1])
		ok = isMonth
	} else if m := dayNamed.FindStringSubmatch(s); m != nil {
		if n, known := d.names[strings.ToLower(m[2])]; known {
			when, ok = day(m[3], strconv.Itoa(int(n)), m[1])
		}
	} else if slashed.MatchString(s) {
		layout, known := slashes[d.order]
		if !known {
			return fail("date_order", "day or month first? Declare date_order = \"DMY\", \"MDY\" or \"YMD\" for the source")
		}
		t, err := time.Parse(layout, strings.NewReplacer(".", "/", "-", "/").Replace(s))
		when, ok = t, err == nil
	}
	if !ok {
		return fail("date", "a day as 2024-02-29 or a month as 2024-02; see date_order, month_names, week_one_on and month_of_year of a source")
	}
	return when, isMonth, nil
}

func (d *dates) read(s string) dayRead {
	when, _, bad := d.find(s)
	if bad != nil {
		return dayRead{fault: bad}
	}
	return dayOf(s, when, d.average)
}

// readDay reads the date of a price note; of an average a month alone, too.
func readDay(s, order string, isAverage bool) dayRead {
	bad := func(code, cure string) dayRead { return dayRead{fault: &fault{code, "observed_on", s, cure}} }
	when, err := workspace.ParseDay(s)
	if err != nil && isAverage {
		when, err = time.Parse("2006-01", s)
	}
	if err != nil && strings.Count(s, "/")+strings.Count(s, ".") == 2 {
		layout, known := slashes[order]
		if !known {
			return bad("date_order", "day or month first? Write it as 2024-02-29, or declare [prices] date_order = \"DMY\" or \"MDY\" in farthing.toml")
		}
		when, err = time.Parse(layout, strings.ReplaceAll(s, ".", "/"))
	}
	if err != nil {
		return bad("date", "write the day as 2024-02-29")
	}
	return dayOf(s, when, isAverage)
}

// slashes are the layouts of a day with slashes, by its declared order.
var slashes = map[string]string{"DMY": "2/1/2006", "MDY": "1/2/2006", "YMD": "2006/1/2"}

// serial is the day that a spreadsheet counts from its day 0; other files have none.
func serial(day0 time.Time, s string) (day time.Time, is bool) {
	m := serialDay.FindStringSubmatch(s)
	if m == nil || day0.IsZero() {
		return day, false
	}
	n, _ := strconv.Atoi(m[1])
	return day0.AddDate(0, 0, n), true
}

// dayOf is what was read as a day, or as the month that it stands in.
func dayOf(s string, when time.Time, month bool) dayRead {
	if when.Year() < 1800 || when.Year() > 2200 {
		return dayRead{fault: &fault{"date", "observed_on", s, "a year between 1800 and 2200"}}
	}
	if month {
		when = when.AddDate(0, 0, 1-when.Day())
	}
	return dayRead{arrow.Date32FromTime(when), result.MonthOf(when), when.Format("2006-01-02"), nil}
}

// last reads a date as the last day that it may mean.
func (d *dates) last(s string) (time.Time, *fault) {
	when, isMonth, bad := d.find(s)
	if isMonth {
		when = when.AddDate(0, 1, -1)
	}
	return when, bad
}
