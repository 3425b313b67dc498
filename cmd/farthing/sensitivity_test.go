package main

import (
	"math"
	"path/filepath"
	"strings"
	"testing"
)

// TestSensitivity holds each variant of sensitivity.csv to a run of the same
// workspace by that choice, and two shops to a working by hand.
func TestSensitivity(t *testing.T) {
	type cells = map[string]string
	runWith := func(change, to string) string {
		dir := filepath.Join(t.TempDir(), "demo")
		call(t, []int{exitDone}, "init", dir, "--with", "demo")
		replaceText(t, filepath.Join(dir, "farthing.toml"), "[panel]", "[pages]\ndraw = false\n\n[panel]")
		if change != "" {
			replaceText(t, filepath.Join(dir, "farthing.toml"), change, to)
		}
		call(t, []int{exitQuarantined}, "run", "--quiet", "--workspace", dir)
		return dir
	}
	key := func(r cells) string {
		return strings.Join([]string{r["programme"], r["amount_kind"], r["region"], r["household"], r["basket"], r["month"]}, "/")
	}
	rows := map[string]map[string]cells{} // by variant and key
	dir := runWith("", "")
	for _, r := range readCells(t, filepath.Join(dir, "site", "data", "sensitivity.csv")) {
		if rows[r["variant"]] == nil {
			rows[r["variant"]] = map[string]cells{}
		}
		rows[r["variant"]][key(r)] = r
	}
	published := map[string]string{}
	for _, r := range readCells(t, filepath.Join(dir, "site", "data", "reach.csv")) {
		published[key(r)] = r["reach_days"]
	}
	for variant, set := range map[string][2]string{
		"sample as_found":    {"[panel]", "[panel]\nsample = \"as_found\""},
		"regular price only": {"[prices]", "[prices]\nprice_types = [\"regular\"]"},
	} {
		differ, n := 0, 0
		for _, r := range readCells(t, filepath.Join(runWith(set[0], set[1]), "site", "data", "reach.csv")) {
			x, ok := rows[variant][key(r)]
			if !ok {
				continue
			}
			n++
			if x["reach_days"] != r["reach_days"] {
				t.Errorf("%s, %s: got %q days, a run by that choice %q", variant, key(r), x["reach_days"], r["reach_days"])
			}
			if x["reach_days"] != published[key(r)] {
				differ++
			}
		}
		if n != len(rows[variant]) || n == 0 || differ == 0 {
			t.Errorf("%s: %d of %d rows compared, %d differ from the published", variant, n, len(rows[variant]), differ)
		}
	}
	for variant, list := range rows {
		for k, r := range list {
			if r["reach_days"] == "" || published[k] == "" {
				if r["difference_days"] != "" {
					t.Errorf("%s, %s: a difference of what is not there", variant, k)
				}
				continue
			}
			// Three roundings to two decimals.
			if d := number(t, r["reach_days"]) - number(t, published[k]); math.Abs(d-number(t, r["difference_days"])) > .0151 {
				t.Errorf("%s, %s: difference %s, want about %v", variant, k, r["difference_days"], d)
			}
		}
	}

	// By hand: oats at 2 and 8 have a mean of 4, rice at 4 is seen in the dear shop
	// alone. One of each a day: 8; cheapest 2 + 4 = 6; without the cheap shop 8 + 4 =
	// 12, without the dear one 2 + 4 = 6, for rice stays. 120 reaches 15, 20, 10, 20 days.
	// In the second month rice is not noted and imputed: oats alone, which were half
	// of the base month's cost, 4 / 0.5 = 8.
	w := workspaceOf(t, map[string]string{
		"farthing.toml":         "name = \"x\"\n[pages]\ndraw = false\n",
		"tables/regions.csv":    "region,region_name,level,currency_code,prices_include_tax\nwest,West,country,XTS,yes\n",
		"tables/outlets.csv":    "outlet,region,outlet_type,publish_name\ncheap,west,other,yes\ndear,west,other,yes\n",
		"tables/items.csv":      "item,item_name,coicop_code,coicop_version,base_unit\noats,Oats,01.1.1,2018,kg\nrice,Rice,01.1.1,2018,kg\n",
		"tables/baskets.csv":    "basket,item,quantity,unit,per,basis,source\nb,oats,1,kg,day,AP,x\nb,rice,1,kg,day,AP,x\n",
		"tables/households.csv": "household,household_name,persons,person_equivalents,source\none,One,1,1,x\n",
		"tables/allowances.csv": "programme,region,persons,effective_from,amount_lcu,currency_code,source\np,west,1,2020-01-01,120,XTS,x\n",
		"inbox/notes.csv": "observed_on,region,outlet,item,price,pack\n2024-01-05,west,cheap,oats,2,1 kg\n2024-01-05,west,dear,oats,8,1 kg\n2024-01-05,west,dear,rice,4,1 kg\n" +
			"2024-02-05,west,cheap,oats,2,1 kg\n2024-02-05,west,dear,oats,8,1 kg\n",
	})
	farthing(t, exitDone, "run", "--workspace", w)
	want := map[string]string{
		"2024-01 cheapest": "20.00", "2024-01 without outlet cheap": "10.00", "2024-01 without outlet dear": "20.00",
		"2024-01 without imputed": "15.00", "2024-01 sample as_found": "15.00", "2024-02 without imputed": "15.00", "2024-02 cheapest": "20.00",
	}
	for _, r := range readCells(t, filepath.Join(w, "site", "data", "sensitivity.csv")) {
		k := r["month"] + " " + r["variant"]
		if v, ok := want[k]; ok && v != r["reach_days"] {
			t.Errorf("%s: got %s days, want %s", k, r["reach_days"], v)
		}
		delete(want, k)
		if r["variant"] == "regular price only" {
			t.Error("regular price only: a row where no other price counts")
		}
	}
	for k := range want {
		t.Errorf("%s: no row", k)
	}
}
