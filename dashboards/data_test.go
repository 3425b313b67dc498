package dashboards

import (
	"bytes"
	"encoding/csv"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"farthing/dashboards/draw"
	"farthing/pipeline/result"
)

// source says where a table's columns come from: its file, and the headings
// with their columns. A column of another file stands as "file.column".
type source struct {
	file    string
	columns map[string]string
}

// own are headings of what stands in no file: each is a count or a sum of what
// does, or words. The tests of the page hold them.
var own = map[string]string{
	"Month": "the row", "Region": "the row", "Item": "the row",
	"How priced": "words for filled_by and n_observations", "Why": "words for the status",
	"Rank": "the order of the levels", "Regions": "how many have the item", "Quantity a day": "ap_quantity_per_day in kitchen units",
	"Pay day to pay day": "days of the calendar", "A year before": "the same column of another month",
	"Dish": "the row", "Plan": "the row", "No.": "the row", "Nutrient": "the row", "Diet": "the row", "Change": "words for change",
}

var (
	reachColumns = map[string]string{"Allowance": "allowance_lcu", "Cost a day": "per_day_lcu", "Reach, days": "reach_days", "Low": "reach_lo_days", "High": "reach_hi_days", "Days fed": "fed_days",
		"Days in month": "days_in_month", "Ran out": "run_out_on", "Short by": "shortfall_lcu", "Short per meal": "shortfall_per_meal_lcu", "Imputed": "imputed_share", "Prices seen": "n_observations", "Status": "obs_status_all"}
	itemColumns = map[string]string{"Price": "unit_price_lcu", "Low": "lo_lcu", "High": "hi_lcu", "Per": "base_unit", "Matched change, %": "matched_change_pct",
		"Prices": "n_observations", "Shops": "n_outlets", "Oldest": "oldest_on", "Newest": "newest_on", "Held": "n_held", "Held from": "held_lo_lcu", "Held to": "held_hi_lcu", "Status": "obs_status_all"}
)

// dietColumns are those of the rows of a diet, which stands before the colon.
var dietColumns = map[string]string{"Enough energy": "energy:per_day_lcu", "All nutrients": "nutrients:per_day_lcu", "Healthy diet": "healthy:per_day_lcu", "Allowance a person and day": "allowance_per_person_day_lcu"}

// tables say where each table comes from, by the word of its page and its
// part; "" holds parts of any other page of the word.
var tables = map[string]source{
	"reach days": {"reach", reachColumns}, "sheet days": {"reach", reachColumns},
	"reach cost": {"reach", map[string]string{"Allowance": "allowance_lcu", "Basket": "basket.standard_month_lcu"}},
	"basket nominal": {"basket", map[string]string{"Cost a day": "per_day_lcu", "Low": "lo_lcu", "High": "hi_lcu", "Standard month": "standard_month_lcu", "Observed": "observed_share", "Imputed": "imputed_share",
		"Prices seen": "n_observations", "Status": "obs_status_all"}},
	"basket real":  {"basket", map[string]string{"Real cost a day": "real_per_day_lcu"}},
	"basket lines": {"basket_lines", map[string]string{"Unit price": "unit_price_lcu", "Cost a day": "per_day_lcu", "Weight": "weight_share"}},
	"basket seen":  {"basket", map[string]string{"Share": "*_share"}}, // the row says which
	"regions ranks": {"regions", map[string]string{"From": "rank_lo", "To": "rank_hi", "Cost a day": "per_day_lcu", "Level, items in all": "parity_lowe", "Level, with gaps": "parity_cpd",
		"Items in all": "common_share", "Of one type": "main_outlet_type_share", "Shops": "n_outlets", "Prices": "n_observations", "Status": "obs_status_all"}},
	"regions unranked": {"regions", map[string]string{"Cost a day": "per_day_lcu", "Shops": "n_outlets", "Prices": "n_observations"}},
	"regions levels":   {"regions", map[string]string{"Cost a day": "per_day_lcu", "Level, items in all": "parity_lowe", "Rank from": "rank_lo", "To": "rank_hi", "Status": "obs_status_all"}},
	"moved from": {"moved", map[string]string{"": "price_from_lcu", "Dec 2024": "price_to_lcu", "Change, %": "change_pct", "Price, %": "pure_pct", "Size, %": "size_pct", "Mix, %": "mix_pct",
		"Adds, pp": "contribution_pp", "Rank by price": "rank", "Varieties seen in both": "n_matched", "Status": "obs_status_all"}},
	"meals dishes": {"shoppings", map[string]string{"From stock": "from_pantry_lcu", "From cupboard": "from_cupboard_lcu", "Servings": "servings", "A serving": "meals.per_serving_lcu", "A meal’s share": "allowance_per_meal_lcu", "Balance": "balance_lcu", "Portion": "portion_lcu",
		"Till": "till_lcu", "Left over": "leftover_lcu", "Spoils": "stranded_lcu", "Status": "obs_status_all"}},
	"meals plans": {"shoppings", map[string]string{"From stock": "from_pantry_lcu", "From cupboard": "from_cupboard_lcu", "Days": "days", "Servings": "servings", "A person and day": "per_person_day_lcu", "Allowance a person and day": "allowance_per_person_day_lcu", "Balance": "balance_lcu",
		"Portion": "portion_lcu", "Till": "till_lcu", "Left over": "leftover_lcu", "Spoils": "stranded_lcu", "Status": "obs_status_all"}},
	"meal workings": {"meal_lines", map[string]string{"Line": "line", "As written": "as_written", "Part used": "quantity", "Yield": "yield", "Part paid for": "ap_quantity", "Unit": "base_unit", "Shelf price": "pack_price_lcu", "Pack": "pack",
		"Unit price": "unit_price_lcu", "Cost": "portion_lcu", "Supply": "supply", "Where": "outlet", "Oldest price": "observed_on"}},
	"meal goods": {"shopping_lines", map[string]string{"Pack": "pack", "Needed": "ap_quantity", "Unit": "base_unit", "From stock": "from_pantry_quantity", "From cupboard": "from_cupboard_quantity", "Packs": "packs",
		"Pack price": "pack_price_lcu", "Till": "till_lcu", "Left": "leftover_quantity", "Used late": "late_quantity", "Its value": "leftover_lcu", "Used next": "used_next_quantity", "Spoils": "stranded_quantity", "Spoils, value": "stranded_lcu", "Use by": "use_by_on"}},
	"meal swaps":     {"swaps", map[string]string{"From": "from", "To": "to", "Sacrifice": "sacrifice", "Saves": "saving_lcu", "Cost then": "after_lcu", "Target": "target_lcu", "Enough": "enough"}},
	"meal nutrients": {"meal_nutrients", map[string]string{"A serving": "per_serving", "A person and day": "per_serving", "Unit": "unit", "Weight with a figure": "known_share", "At least": "is_at_least", "At least a day": "reference_lower", "At most a day": "reference_upper", "Share, %": "reference_pct"}},
	"diets months":   {"diets", dietColumns}, "diets places": {"diets", dietColumns},
	"diets lines":      {"diet_lines", map[string]string{"Quantity": "ap_quantity_per_day", "Unit": "base_unit", "Unit price": "unit_price_lcu", "Cost a day": "per_day_lcu", "Status": "obs_status_all"}},
	"items items":      {"item", itemColumns},
	"item prices":      {"item", itemColumns},
	"grounds coverage": {"basket", map[string]string{"Observed": "observed_share", "Imputed": "imputed_share", "Missing": "missing_share", "Prices": "n_observations", "Shops": "n_outlets", "Status": "obs_status_all"}},
	// The edition's own lists, of which the site has no file.
	"grounds sources": {}, "grounds files": {}, "grounds aside": {}, "grounds statuses": {},
}

// records are the rows of a data file, each by column.
func records(t *testing.T, b []byte) (list []map[string]string) {
	t.Helper()
	rows, err := csv.NewReader(bytes.NewReader(b)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range rows[1:] {
		record := map[string]string{}
		for i, name := range rows[0] {
			record[name] = r[i]
		}
		list = append(list, record)
	}
	return list
}

// TestTableIsData compares every cell of every table of every page with the
// published files: the same digits, shares as percentages; where a cell is
// words, the file has nothing. A table or a heading that is not known here fails.
func TestTableIsData(t *testing.T) {
	s := typical()
	s.ranged = true
	s.regions = append(s.regions, result.Region{Region: "far_cove", Name: "Far Cove", Parent: "tavrin", Level: "district"})
	price := s.price
	s.price = func(r, m int) result.Num {
		if r == 3 && m > 20 { // the newest months without a rank
			return result.Num{}
		}
		return price(r, m)
	}
	e := s.edition()
	dir := write(t, e, "")
	data := filepath.Join(dir, "data")
	if err := os.MkdirAll(data, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := e.WriteData(data); err != nil {
		t.Fatal(err)
	}
	all := files(t, dir)
	file := map[string][]map[string]string{}
	for _, name := range []string{"reach", "basket", "basket_lines", "item", "regions", "moved", "shoppings", "meals", "meal_lines", "shopping_lines", "swaps", "meal_nutrients", "diets", "diet_lines"} {
		file[name] = records(t, all["data/"+name+".csv"])
	}
	compared, done := map[string]int{}, map[string]bool{}
	check := func(page string, word string, same map[string]string) {
		if done[page] {
			return
		}
		done[page] = true
		root := parse(t, all[page+".html"])
		for _, table := range root.one(t, "main").all("table") {
			id := strings.TrimSuffix(table.attr["id"], "-table")
			part, rest, _ := strings.Cut(id, "-")
			kind := word + " " + part
			from, ok := tables[kind]
			if !ok {
				t.Errorf("%s: got a table %s, want it to say here which file has its numbers", page, id)
			}
			keys := map[string]string{}
			for k, v := range same {
				keys[k] = v
			}
			if from.file == "basket_lines" || from.file == "item" {
				delete(keys, "household")
			}
			switch kind {
			case "moved from":
				keys["from_month"] = rest
			case "meal nutrients":
				if keys["recipe"] = keys["shopping"]; keys["shopping"] == "two-dishes" {
					keys["recipe"] = ""
				}
			case "diets places":
				delete(keys, "region")
				keys["month"] = "2024-12"
			case "diets lines", "basket lines", "basket seen", "regions ranks", "regions unranked", "items items":
				keys["month"] = "2024-12"
			}
			for _, cells := range tableRows(t, all[page+".html"], id+"-table") {
				if cells["tr"].attr["class"] == "sum" {
					continue
				}
				found := matching(file[from.file], keys, cells, e)
				if len(found) == 0 && from.file != "" {
					t.Errorf("%s, %s: got a row %q, want one of %s.csv", page, id, cells[""].text, from.file)
				}
				for head, cell := range cells {
					if head == "" || head == "tr" {
						continue
					}
					column, ok := from.columns[head]
					if from_, err := result.ParseMonth(keys["from_month"]); !ok && err == nil && head == en.shortMonth(from_) {
						column, ok = from.columns[""], true
					}
					if !ok {
						if own[head] == "" && from.file != "" && cell != cells[""] {
							t.Errorf("%s, %s: got a heading %q, want it to say here which column has its numbers", page, id, head)
						}
						continue
					}
					diet, name, ofDiet := strings.Cut(column, ":")
					if ofDiet {
						column = name
					}
					for _, record := range found {
						if ofDiet && record["diet"] != diet {
							continue
						}
						want := record[strings.Replace(column, "*", cells[""].text, 1)]
						if other, name, ok := strings.Cut(column, "."); ok {
							for _, o := range file[other] {
								same := []string{"region", "household", "basket", "month"}
								if other == "meals" { // of the dish that the shopping is
									same = []string{"shopping"}
								}
								if !slices.ContainsFunc(same, func(k string) bool { return o[k] != record[k] }) && (other != "meals" || o["recipe"] == record["shopping"]) {
									want = o[name]
								}
							}
						}
						if why := differs(cell, column, want, record); why != "" {
							t.Errorf("%s, %s, %s, %s: got %q, want %q as in %s.csv", page, id, cells[""].text, head, cell.text, why, from.file)
						}
						compared[kind]++
					}
				}
			}
		}
	}
	for _, c := range e.Publish {
		for _, k := range kinds() {
			same := map[string]string{}
			for _, a := range k.by {
				switch a.name {
				case "Allowance":
					same["programme"], same["amount_kind"] = c.Programme, c.AmountKind
				case "Region":
					same["region"] = c.Region
				case "Household":
					same["household"] = c.Household
				case "Basket":
					same["basket"] = c.Basket
				}
			}
			switch k.word {
			case "items":
				same["region"] = e.Publish[0].Region
			case "grounds":
				same["region"], same["household"], same["basket"] = e.Publish[0].Region, e.Publish[0].Household, e.Publish[0].Basket
			}
			check(k.file(c), k.word, same)
		}
	}
	for _, it := range items {
		check("item-"+it.id, "item", map[string]string{"item": it.id})
	}
	for _, sh := range e.Shoppings {
		check(mealFile(sh.Shopping), "meal", map[string]string{"shopping": sh.Shopping})
	}
	for _, region := range []string{"tavrin", "far_cove"} {
		check(dietFile(region), "diets", map[string]string{"region": region})
	}
	for kind, from := range tables {
		if from.file != "" && compared[kind] == 0 {
			t.Errorf("%s: got no cell compared, want some", kind)
		}
	}
}

// differs says what a cell should say, where it says something else than its
// record: digits as the file has them, a share shifted to a percentage, a date
// and statuses in short; words where the file has nothing.
func differs(cell *node, column, text string, record map[string]string) string {
	want := text
	switch {
	case column == "obs_status_all":
		want = letters(result.Base{ObsStatusAll: text})
	case column == "per_person_day_lcu" && record["balance_lcu"] == "" && record["allowance_per_person_day_lcu"] != "":
		text, want = "", "" // a plan for a part of the meals has no day to cost
	case column == "run_out_on" && text == "":
		want = "lasted"
	case column == "use_by_on":
		want = en.day(text, 2023, true) // of the month of the prices
	case strings.HasSuffix(column, "_on"):
		m, err := result.ParseMonth(record["month"])
		if want = en.day(text, m.Year(), true); err != nil {
			want = en.day(text, 0, true)
		}
	case column == "from", column == "to":
		want, _, _ = strings.Cut(text, " ")
		for _, it := range items {
			if it.id == want {
				want = it.name + strings.TrimSuffix(strings.TrimPrefix(text, it.id), " plain")
			}
		}
	case strings.HasSuffix(column, "quantity"), strings.HasSuffix(column, "quantity_per_day"), column == "yield", column == "servings", column == "per_serving", column == "reference_lower", column == "reference_upper":
		if strings.Contains(text, ".") {
			want = strings.TrimRight(strings.TrimRight(text, "0"), ".")
		}
	case strings.HasSuffix(column, "_share") && text != "":
		want = shifted(text) + "\u202f%"
	case text == "-0" || strings.HasPrefix(text, "-"):
		want = strings.Replace(text, "-", minus, 1)
	}
	switch {
	case cell.attr["class"] == "miss" && text == "", cell.attr["class"] != "miss" && cell.text == want:
		return ""
	case want == "":
		return "nothing"
	}
	return want
}

// tableRows gives the cells of each row of a table by heading; the first cell
// also stands under "", and the row under "tr". A cell of words that spans
// columns stands under the first.
func tableRows(t *testing.T, page []byte, id string) (rows []map[string]*node) {
	t.Helper()
	for _, table := range parse(t, page).all("table") {
		if table.attr["id"] != id {
			continue
		}
		var heads []string
		for _, th := range table.one(t, "thead").all("th") {
			heads = append(heads, th.text)
		}
		for _, tr := range table.one(t, "tbody").all("tr") {
			cells := map[string]*node{"": tr.kids[0], "tr": tr}
			at := 0
			for _, cell := range tr.kids {
				span, err := strconv.Atoi(cell.attr["colspan"])
				if err != nil {
					span = 1
				}
				cells[heads[at]] = cell
				at += span
			}
			rows = append(rows, cells)
		}
	}
	return rows
}

// matching are the records that a row of a page is about: of its region and
// item, and of its month or each of its run of months.
func matching(list []map[string]string, same map[string]string, cells map[string]*node, e *result.Edition) (found []map[string]string) {
	var first, last result.Month
	if m, err := result.ParseMonth(cells["tr"].attr["data-month"]); err == nil {
		first, last = m, m
		if n, err := strconv.Atoi(cells["tr"].attr["data-spans"]); err == nil {
			last += result.Month(n - 1)
		}
	}
next:
	for _, record := range list {
		for column, want := range same {
			if record[column] != want {
				continue next
			}
		}
		if m, err := result.ParseMonth(record["month"]); first > 0 && (err != nil || m < first || m > last) {
			continue
		}
		if c := cells["Region"]; c != nil && regionName(e, record["region"]) != c.text {
			continue
		}
		if c := cells["Item"]; c != nil && (&site{tongue: en, e: e}).itemName(record["item"]) != c.text {
			continue
		}
		if c := cells["Diet"]; c != nil && !strings.HasPrefix(dietColumns[c.text], record["diet"]+":") {
			continue
		}
		if c := cells["Dish"]; c != nil && dishName(record["shopping"]) != c.text && dishName(record["recipe"]) != c.text {
			continue
		}
		if c := cells["Plan"]; c != nil && dishName(record["shopping"]) != c.text {
			continue
		}
		if c := cells["No."]; c != nil && record["nth"] != c.text {
			continue
		}
		if c := cells["Nutrient"]; c != nil && record["nutrient"] != c.text {
			continue
		}
		found = append(found, record)
	}
	return found
}

// shifted moves a share's point two digits to the right: 0.8924 is 89.24 %.
func shifted(share string) string {
	digits := strings.TrimLeft(strings.Replace(share, ".", "", 1), "0")
	for len(digits) < 3 {
		digits = "0" + digits
	}
	return digits[:len(digits)-2] + "." + digits[len(digits)-2:]
}

// TestFigureIsData: the figures beside the marks of a strip and of a rank are
// those of the tables below them.
func TestFigureIsData(t *testing.T) {
	s := typical()
	s.ranged, s.sure = true, true
	e := s.edition()
	all := files(t, write(t, e, ""))
	page := all["reach-food__support-maximum-oddel_-skerries-four-plain.html"]
	want := map[string]string{}
	for _, cells := range tableRows(t, page, "days-table") {
		if c := cells["Reach, days"]; c != nil && c.attr["class"] != "miss" {
			want[cells[""].text] = c.text
		}
	}
	strips := 0
	for _, svg := range parse(t, page).all("svg") {
		if svg.attr["class"] != "drawn" || svg.attr["viewBox"] == "" || !strings.Contains(svg.text, "Oddel") {
			continue
		}
		strips++
		var got []string
		for _, text := range svg.all("text") {
			if len(text.text) == 5 && text.text[2] == '.' { // a reach of days
				got = append(got, text.text)
			}
		}
		var rows []string
		for m := jan2023; m < jan2023+24; m++ {
			if w := want[en.shortMonth(m)]; w != "" {
				rows = append(rows, w)
			}
		}
		if !slices.Equal(got, rows) {
			t.Errorf("got the figures %v beside the marks, want those of the table, %v", got, rows)
		}
	}
	if strips != 2 || len(want) != 20 {
		t.Errorf("got %d strips and %d months, want 2 and 20", strips, len(want))
	}
	ranks := 0
	for _, svg := range parse(t, all["regions-plain.html"]).all("svg") {
		if svg.attr["width"] != strconv.Itoa(draw.Wide) || !strings.Contains(svg.text, "rank, cheapest 1") {
			continue
		}
		for _, cells := range tableRows(t, all["regions-plain.html"], "ranks-table") {
			level, err := strconv.ParseFloat(cells["Level, items in all"].text, 64)
			if err != nil {
				t.Fatal(err)
			}
			if words := strconv.FormatFloat(level*100, 'f', 1, 64); !strings.Contains(svg.text, cells["Region"].text+words) {
				t.Errorf("got no %s beside %s in the figure, want it", words, cells["Region"].text)
			}
			ranks++
		}
	}
	if ranks != 2 {
		t.Errorf("got %d ranks compared, want 2", ranks)
	}
}
