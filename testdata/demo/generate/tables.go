package main

import (
	"encoding/csv"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strconv"
)

// tables hold what the generator needs of the demo's own tables, which are written by hand.
type tables struct {
	top      string // the region without a parent
	children map[string][]string
	parent   map[string]string
	weight   map[string]float64
	currency map[string]string
	outlets  []struct{ name, region string }
	item     map[string]map[string]string
	basket   []struct {
		item     string
		quantity float64
	}
	households map[string]struct {
		persons     int
		equivalents float64
	}
	allowances []map[string]string
}

func readTables(dir string) (t tables, err error) {
	number := func(s string) float64 {
		x, bad := strconv.ParseFloat(s, 64)
		if bad != nil && err == nil {
			err = fmt.Errorf("%s: %w", dir, bad)
		}
		return x
	}
	read := func(name string) []map[string]string {
		rows, bad := readCSV(filepath.Join(dir, name+".csv"))
		if bad != nil && err == nil {
			err = bad
		}
		return rows
	}
	t.children, t.parent, t.weight, t.currency = map[string][]string{}, map[string]string{}, map[string]float64{}, map[string]string{}
	for _, r := range read("regions") {
		t.currency[r["region"]] = r["currency_code"]
		if r["parent"] == "" {
			t.top = r["region"]
			continue
		}
		t.parent[r["region"]] = r["parent"]
		t.children[r["parent"]] = append(t.children[r["parent"]], r["region"])
		t.weight[r["region"]] = number(r["population_weight"])
	}
	for _, r := range read("outlets") {
		t.outlets = append(t.outlets, struct{ name, region string }{r["outlet"], r["region"]})
	}
	t.item = map[string]map[string]string{}
	for _, r := range read("items") {
		t.item[r["item"]] = r
	}
	for _, r := range read("baskets") {
		t.basket = append(t.basket, struct {
			item     string
			quantity float64
		}{r["item"], number(r["quantity"])})
	}
	t.households = map[string]struct {
		persons     int
		equivalents float64
	}{}
	for _, r := range read("households") {
		t.households[r["household"]] = struct {
			persons     int
			equivalents float64
		}{int(number(r["persons"])), number(r["person_equivalents"])}
	}
	t.allowances = read("allowances")
	return t, err
}

func readCSV(path string) ([]map[string]string, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	lines, err := csv.NewReader(f).ReadAll()
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	var rows []map[string]string
	for _, line := range lines[1:] {
		row := map[string]string{}
		for i, name := range lines[0] {
			row[name] = line[i]
		}
		rows = append(rows, row)
	}
	return rows, nil
}

// class is the first three levels of the item's COICOP code, 01.1.5.
func (t tables) class(item string) string { return t.item[item]["coicop_code"][:6] }

func (t tables) inSeason(item string, month int) bool {
	from, _ := strconv.Atoi(t.item[item]["season_from_month"])
	to, _ := strconv.Atoi(t.item[item]["season_to_month"])
	return from == 0 || month%12+1 >= from && month%12+1 <= to
}

// allowance in force on the first day of the month; every household of the demo has one.
func (t tables) allowance(persons, month int) float64 {
	for _, r := range t.allowances {
		day := dayText(month, 1)
		if r["persons"] == strconv.Itoa(persons) && r["effective_from"] <= day && (r["effective_to"] == "" || day <= r["effective_to"]) {
			x, _ := strconv.ParseFloat(r["amount_lcu"], 64)
			return x
		}
	}
	panic("no allowance for " + strconv.Itoa(persons))
}

func sortedKeys[V any](m map[string]V) []string { return slices.Sorted(maps.Keys(m)) }
