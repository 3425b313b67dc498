package main

import (
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"math/big"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// allowanceFigure is one figure of testdata/published/allowances.json, which
// says where each was seen.
type allowanceFigure struct {
	Name, Asks, Source, Status, Note string
	Of                               struct {
		ReferenceCost    float64 `json:"reference_cost"`
		Scale            string
		Weekly           any
		WeeksInAMonth    float64        `json:"weeks_in_a_month"`
		IndividualWeekly map[string]any `json:"individual_weekly"`
		IndividualMonth  map[string]any `json:"individual_monthly"`
		Size             int
		Monthly, Days    float64
		Table            map[string]float64
		MaxAllotment     float64 `json:"max_allotment"`
		NetIncome        float64 `json:"net_income"`
		Minimum          float64
		ApplicationDay   int `json:"application_day"`
	}
	Want   map[string]any
	Within struct {
		Abs, Rel float64
		Exact    bool
	}
}

// The household scales of one country: what a household of a size needs, over
// the cost of a reference family of four. Until 2025 n/4 times a factor that
// falls with n; since, the shares of Public Law 119-21 (deduced from its table).
var householdScale = map[string]map[string]string{
	"pre_2025":          {"1": "0.3", "2": "0.55", "3": "0.7875", "4": "1", "5": "1.1875", "6": "1.425", "7": "1.575", "8": "1.8", "additional": "0.225"},
	"public_law_119_21": {"1": "0.30", "2": "0.55", "3": "0.79", "4": "1", "5": "1.19", "6": "1.43", "7": "1.58", "8": "1.80", "additional": "0.22"},
}

// TestPublishedAllowances takes published tables through the commands. A table of
// maxima is the cost of a basket (the reference family's) for households of each
// size, cents dropped. A household's plan is a basket of its members' plans. A
// week's plan becomes a month by a basket that holds 52/12 of it, the way to match
// a published table; `per = week` would make it 30.4375 / 7. The rules on who gets
// what part of a maximum are of one country and date and no part of the program:
// they stand at the end of this file, as examples.
func TestPublishedAllowances(t *testing.T) {
	text, err := os.ReadFile(filepath.Join(published, "allowances.json"))
	if err != nil {
		t.Fatal(err)
	}
	var file struct {
		Sources map[string]string
		Figures []allowanceFigure
	}
	if err := json.Unmarshal(text, &file); err != nil {
		t.Fatal(err)
	}
	if len(file.Figures) != 54 {
		t.Fatalf("%d figures, want 54", len(file.Figures))
	}

	w := &planWorkspace{price: map[string]string{}}
	for _, f := range file.Figures {
		f.fill(w)
	}
	ws := w.write(t)
	cost := map[string]map[string]any{}
	for _, row := range rowsOf(t, ws, "basket", "--month", "2023-02") {
		cost[row["household"].(string)+"/"+row["basket"].(string)] = row
	}
	at := func(household, basket, column string) float64 {
		t.Helper()
		row, ok := cost[household+"/"+basket]
		if !ok {
			t.Fatalf("no basket %s of household %s", basket, household)
		}
		return numberIn(t, row, column)
	}
	perDay := map[float64]float64{} // of the month's amount, by days in the month
	for _, row := range rowsOf(t, ws, "reach", "--household", "one", "--basket", "amount-day") {
		perDay[numberIn(t, row, "days_in_month")] = numberIn(t, row, "allowance_per_day_lcu")
	}

	asked := map[string]int{}
	for _, f := range file.Figures {
		t.Run(f.Name, func(t *testing.T) {
			asked[f.Asks]++
			if file.Sources[f.Source] == "" {
				t.Errorf("source %q is not in the file", f.Source)
			}
			f.compare(t, "", f.answer(at, perDay), f.Want)
		})
	}
	t.Logf("figures by kind: %v", asked)

	// The other ways of counting a month do not fit the table of October 2015.
	i := slices.IndexFunc(file.Figures, func(f allowanceFigure) bool { return f.Name == "H02-week-to-month" })
	f := file.Figures[i]
	for _, weeks := range []float64{30.4375 / 7, 30. / 7, 4} {
		off := 0.0
		for group, list := range f.Of.Weekly.(map[string]any) {
			for k, v := range list.([]any) {
				off = max(off, math.Abs(v.(float64)*weeks-f.Want["monthly"].(map[string]any)[group].([]any)[k].(float64)))
			}
		}
		if off <= f.Within.Abs {
			t.Errorf("%v weeks a month fit the table too", weeks)
		}
	}
}

// planWorkspace gathers prices and baskets.
type planWorkspace struct {
	price   map[string]string // by item
	baskets []string          // rows of tables/baskets
}

func (w *planWorkspace) add(basket, item string, price any, amount, per string) {
	w.price[item] = strconv.FormatFloat(price.(float64), 'f', -1, 64)
	w.baskets = append(w.baskets, fmt.Sprintf("%s,%s,%s,each,%s,AP,published\n", basket, item, amount, per))
}

func (w *planWorkspace) write(t *testing.T) string {
	var notes, items, households strings.Builder
	for _, item := range slices.Sorted(maps.Keys(w.price)) {
		items.WriteString(item + "," + item + ",01.1.1,2018,each\n")
		notes.WriteString("2023-02-15,us,shop," + item + "," + w.price[item] + ",1 each\n")
	}
	notes.WriteString("2023-04-15,us,shop,amount,291,1 each\n")
	households.WriteString("household,household_name,persons,person_equivalents,source\none,One,1,1,x\nalone,Alone,1,1.2,x\ncouple,Couple,2,1.1,x\n")
	for scale, sizes := range householdScale {
		for size, share := range sizes {
			persons := size
			if size == "additional" {
				persons = "1"
			}
			households.WriteString(slug(scale+"-"+size) + ",H," + persons + "," + share + ",x\n")
		}
	}
	ws := workspaceOf(t, map[string]string{
		"farthing.toml":         "name = \"plans\"\nbase_month = \"2023-02\"\n[pages]\ndraw = false\n[[publish]]\nprogramme = \"p\"\nregion = \"us\"\nhousehold = \"one\"\nbasket = \"amount-day\"\n",
		"tables/regions.csv":    "region,region_name,level,currency_code,prices_include_tax\nus,US,country,USD,yes\n",
		"tables/outlets.csv":    "outlet,region,outlet_type\nshop,us,other\n",
		"tables/items.csv":      "item,item_name,coicop_code,coicop_version,base_unit\n" + items.String(),
		"tables/baskets.csv":    "basket,item,quantity,unit,per,basis,source\n" + strings.Join(w.baskets, ""),
		"tables/households.csv": households.String(),
		"tables/allowances.csv": "programme,region,persons,effective_from,amount_lcu,currency_code,source\np,us,1,2020-01-01,291,USD,x\n",
		"inbox/notes.csv":       "observed_on,region,outlet,item,price,pack\n" + notes.String(),
	})
	farthing(t, exitDone, "run", "--workspace", ws)
	return ws
}

func slug(s string) string {
	return strings.NewReplacer("_", "-", "+", "-up").Replace(strings.ToLower(s))
}

// each walks a published list: plans of one member, or one value.
func each(v any, do func(plan int, v any)) {
	if list, ok := v.([]any); ok {
		for i := range list {
			do(i, list[i])
		}
		return
	}
	do(0, v)
}

// basket and item names of a figure.
func (f *allowanceFigure) id(parts ...any) string {
	return slug(f.Name + "-" + strings.TrimSuffix(fmt.Sprintln(parts...), "\n"))
}

func (f *allowanceFigure) of(what string, plan int) string {
	return strings.ReplaceAll(f.id(what, plan), " ", "-")
}

// fill adds what the figure is computed from.
func (f *allowanceFigure) fill(w *planWorkspace) {
	weeks := strconv.FormatFloat(f.Of.WeeksInAMonth, 'f', 12, 64)
	switch f.Asks {
	case "table_of_maxima":
		w.add(f.of("reference", 0), f.of("reference", 0), f.Of.ReferenceCost, "1", "month")
	case "week_to_table":
		w.add(f.of("reference", 0), f.of("reference", 0), f.Of.Weekly, weeks, "month")
	case "week_in_a_month":
		for group, list := range f.Of.Weekly.(map[string]any) {
			each(list, func(plan int, v any) { w.add(f.of(group, plan), f.of(group, plan), v, weeks, "month") })
		}
	case "cost_of_a_household":
		for per, members := range map[string]map[string]any{"week": f.Of.IndividualWeekly, "month": f.Of.IndividualMonth} {
			for member, list := range members {
				each(list, func(plan int, v any) { w.add(f.of(per, plan), f.of(member+"-"+per, plan), v, "1", per) })
			}
		}
	case "amount_a_day":
		switch f.Of.Days {
		case 30.4375: // all months alike
			w.add("amount-day", "amount", f.Of.Monthly, "1", "month")
		case 31, 30, 28:
		default: // 52/12 weeks in a month: 12/52 months in a week
			w.add("amount-week", "amount", f.Of.Monthly, "0.230769230769", "week")
		}
	}
}

// answer computes the figure's values from what the commands say.
func (f *allowanceFigure) answer(at func(household, basket, column string) float64, perDay map[float64]float64) map[string]any {
	got := map[string]any{}
	table := func(scale string) {
		for size := range f.Want {
			got[size] = math.Floor(at(slug(scale+"-"+size), f.of("reference", 0), "standard_month_lcu"))
		}
	}
	switch f.Asks {
	case "table_of_maxima", "week_to_table":
		table(f.Of.Scale)
	case "is_there_a_reference_cost":
		got["feasible"] = hasReferenceCost(f.Of.Table, householdScale[f.Of.Scale])
	case "household_factor":
		size := strconv.Itoa(f.Of.Size)
		whole := at("pre-2025-"+size, "s01-fy2016-reference-0", "standard_month_lcu")
		got["factor"] = whole / (at("one", "s01-fy2016-reference-0", "standard_month_lcu") * float64(f.Of.Size) / 4)
	case "week_in_a_month":
		months := map[string]any{}
		for group, list := range f.Of.Weekly.(map[string]any) {
			var all []any
			each(list, func(plan int, _ any) { all = append(all, at("one", f.of(group, plan), "standard_month_lcu")) })
			if months[group] = any(all); len(all) == 1 {
				months[group] = all[0]
			}
		}
		got["monthly"] = months
	case "cost_of_a_household":
		household := "one" // of four: the factor is 1
		switch n := max(len(f.Of.IndividualWeekly), len(f.Of.IndividualMonth)); n {
		case 1:
			household = "alone"
		case 2:
			household = "couple"
		}
		for column, want := range f.Want {
			var all []any
			each(want, func(plan int, _ any) {
				if column == "weekly" {
					all = append(all, 7*at(household, f.of("week", plan), "per_day_lcu"))
				} else {
					all = append(all, at(household, f.of("month", plan), "standard_month_lcu"))
				}
			})
			if got[column] = any(all); len(all) == 1 {
				got[column] = all[0]
			}
		}
	case "amount_a_day":
		switch f.Of.Days {
		case 31, 30, 28:
			got["per_day"] = perDay[f.Of.Days]
		case 30.4375:
			got["per_day"] = at("one", "amount-day", "per_day_lcu")
		default:
			got["per_day"] = at("one", "amount-week", "per_day_lcu")
		}
	case "benefit":
		got["benefit"] = benefit(f.Of.MaxAllotment, f.Of.NetIncome, f.Of.Minimum)
	case "benefit_of_a_first_month":
		got["benefit"] = firstMonth(f.Of.Monthly, f.Of.ApplicationDay)
	}
	return got
}

func (f *allowanceFigure) compare(t *testing.T, what string, got, want any) {
	t.Helper()
	switch want := want.(type) {
	case map[string]any:
		g, _ := got.(map[string]any)
		for k := range want {
			f.compare(t, what+"."+k, g[k], want[k])
		}
	case []any:
		g, _ := got.([]any)
		if len(g) != len(want) {
			t.Fatalf("%s: got %v, want %v", what, got, want)
		}
		for i := range want {
			f.compare(t, fmt.Sprintf("%s[%d]", what, i), g[i], want[i])
		}
	case float64:
		g, ok := got.(float64)
		// What is exact in decimals is a quotient of float64 here.
		tol := math.Max(math.Max(f.Within.Abs, f.Within.Rel*math.Abs(want)), 1e-12)
		if !ok || !(math.Abs(g-want) <= tol) {
			t.Errorf("%s: got %v, want %v within %v", what, got, want, tol)
		}
	default:
		if got != want {
			t.Errorf("%s: got %v, want %v", what, got, want)
		}
	}
}

// Examples of one country's rules, as of the dates in the sources; no advice on
// who may get what, and no part of the program.

// hasReferenceCost says whether one cost, scaled and cut to whole money, gives a
// table: cost x share in [amount, amount + 1) for every size.
func hasReferenceCost(table map[string]float64, share map[string]string) bool {
	lo, hi := 0.0, math.Inf(1)
	for size, amount := range table {
		s, _ := strconv.ParseFloat(share[size], 64)
		lo, hi = math.Max(lo, amount/s), math.Min(hi, (amount+1)/s)
	}
	return lo < hi
}

// benefit is the maximum less 30 % of net income, that rounded up to whole money,
// and not below the minimum: 7 CFR 273.10(e)(2)(ii).
func benefit(most, income, least float64) float64 {
	part := exact(income)
	part.Mul(part, big.NewRat(3, 10))
	up := new(big.Int).Div(new(big.Int).Sub(new(big.Int).Add(part.Num(), part.Denom()), big.NewInt(1)), part.Denom())
	return math.Max(math.Max(most-float64(up.Int64()), least), 0)
}

// firstMonth is the part of a month's benefit from the day of application on, in
// 30ths, cents dropped, nothing below 10: 7 CFR 273.10(a)(1)(ii).
func firstMonth(monthly float64, day int) float64 {
	part := exact(monthly)
	part.Mul(part, big.NewRat(int64(31-min(day, 30)), 30))
	down := float64(new(big.Int).Div(part.Num(), part.Denom()).Int64())
	if down < 10 {
		return 0
	}
	return down
}

// exact is the decimal that a float64 was written as.
func exact(f float64) *big.Rat {
	r, _ := new(big.Rat).SetString(strconv.FormatFloat(f, 'f', -1, 64))
	return r
}
