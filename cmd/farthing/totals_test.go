package main

import (
	"math"
	"path/filepath"
	"strings"
	"testing"
)

// TestPublishedTotals takes published totals through the commands. Plan costs:
// USDA CNPP, Thrifty Food Plan, September 2025 (four members of the reference
// family, a month and a week), and its 20 % for a person living alone; maximum
// allotments 292 (FY2025, one person) and 835, 939, 994 (four persons): USDA FNS;
// June food-at-home CPI 257.412, 288.884, 313.028: BLS; a healthy diet's 3.56 and
// 3.96 PPP dollars a day in 2021 and 2022: FAO, SOFI. All read in stored copies
// of what these offices published; the totals were computed a second time in Python.
func TestPublishedTotals(t *testing.T) {
	var notes, items, baskets strings.Builder
	notes.WriteString("observed_on,region,outlet,item,price,pack\n")
	items.WriteString("item,item_name,coicop_code,coicop_version,base_unit\n")
	baskets.WriteString("basket,item,quantity,unit,per,basis,source\n")
	add := func(basket, item, price, per string) {
		items.WriteString(item + "," + item + ",01.1.1,2018,each\n")
		baskets.WriteString(basket + "," + item + ",1,each," + per + ",AP,published\n")
		notes.WriteString("2021-06-15,us,shop," + item + "," + price + ",1 each\n")
	}
	for item, price := range map[string]string{"woman": "248.9", "man": "312.2", "child-6": "204.6", "child-9": "236.5"} {
		add("family-month", item, price, "month")
	}
	for item, price := range map[string]string{"woman-week": "57.4", "man-week": "72.1", "child-6-week": "47.2", "child-9-week": "54.6"} {
		add("family-week", item, price, "week")
	}
	add("alone", "man-alone", "312.2", "month")
	add("healthy", "diet", "3.96", "day")
	items.WriteString("diet-year,diet-year,01.1.2,2018,each\n")
	notes.WriteString("2021-12-15,us,shop,diet-year,3.56,1 each\n2022-01-15,us,shop,diet-year,3.96,1 each\n2025-06-15,us,shop,diet-year,3.96,1 each\n")

	w := workspaceOf(t, map[string]string{
		"farthing.toml":      "name = \"totals\"\nbase_month = \"2021-06\"\ndeflator = \"food\"\n[pages]\ndraw = false\n",
		"tables/regions.csv": "region,region_name,level,currency_code,prices_include_tax\nus,US,country,USD,yes\n",
		"tables/outlets.csv": "outlet,region,outlet_type\nshop,us,other\n",
		"tables/items.csv":   items.String(), "tables/baskets.csv": baskets.String(), "inbox/notes.csv": notes.String(),
		"tables/households.csv": "household,household_name,persons,person_equivalents,source\none,One,1,1,x\nalone,Alone,1,1.2,x\nfour,Four,4,4,x\n",
		"tables/allowances.csv": "programme,region,persons,effective_from,amount_lcu,currency_code,source\n" +
			"snap,us,1,2021-06-01,292,USD,x\nsnap,us,4,2021-06-01,835,USD,x\nsnap,us,4,2022-06-01,939,USD,x\nsnap,us,4,2025-06-01,994,USD,x\n",
		"tables/deflators.csv": "series,region,month,index_value,base_period,adjustment,source\n" +
			"food,us,2021-06,257.412,1982-84 = 100,unadjusted,x\nfood,us,2022-06,288.884,1982-84 = 100,unadjusted,x\nfood,us,2025-06,313.028,1982-84 = 100,unadjusted,x\n",
	})
	farthing(t, exitDone, "run", "--workspace", w)
	cell := func(column string, args ...string) float64 {
		t.Helper()
		rows := rowsOf(t, w, args...)
		if len(rows) != 1 {
			t.Fatalf("%v: %d rows, want 1", args, len(rows))
		}
		return numberIn(t, rows[0], column)
	}
	at := func(month string, args ...string) []string { return append(args, "--month", month) }
	allowance := func(month, column string) float64 {
		return cell(column, at(month, "reach", "--household", "four", "--basket", "healthy")...)
	}
	alone := cell("standard_month_lcu", at("2021-06", "basket", "--household", "alone", "--basket", "alone")...)
	amount := cell("allowance_lcu", at("2021-06", "reach", "--household", "alone", "--basket", "alone")...)
	got := map[string]float64{
		"Z04 the family's month":      cell("standard_month_lcu", at("2021-06", "basket", "--household", "one", "--basket", "family-month")...),
		"Z04 the family's week":       7 * cell("per_day_lcu", at("2021-06", "basket", "--household", "one", "--basket", "family-week")...),
		"Z05 the plan of a man alone": alone,
		"Z05 coverage":                amount / alone,
		"Z05 shortfall":               alone - amount,
		"Z06 allotment, 2021 to 2025": (allowance("2025-06", "allowance_lcu")/allowance("2021-06", "allowance_lcu") - 1) * 100,
		"Z06 prices, 2021 to 2025":    (allowance("2025-06", "allowance_lcu")/allowance("2025-06", "allowance_real_lcu") - 1) * 100,
		"Z06 allotment, 2021 to 2022": (allowance("2022-06", "allowance_lcu")/allowance("2021-06", "allowance_lcu") - 1) * 100,
		"Z06 prices, 2021 to 2022":    (allowance("2022-06", "allowance_lcu")/allowance("2022-06", "allowance_real_lcu") - 1) * 100,
		"Z07 a diet's change":         cell("matched_change_pct", at("2022-01", "item", "--item", "diet-year")...),
		"Z08 a diet's month for four": cell("standard_month_lcu", at("2021-06", "basket", "--household", "four", "--basket", "healthy")...),
	}
	rows := readCSV(t, filepath.Join(published, "totals.csv"))
	for _, r := range rows {
		if x, ok := got[r["check"]]; !ok || !(math.Abs(x-number(t, r["value"])) <= number(t, r["tolerance"])) {
			t.Errorf("%s: got %v, want %s", r["check"], x, r["value"])
		}
	}
	if len(rows) != len(got) {
		t.Errorf("%d totals in the file, %d here", len(rows), len(got))
	}
}
