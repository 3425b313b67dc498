package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// TestLaws holds the whole program, by both samples, to what must be so whatever
// the formula. Prices (1, 2) -> (2, 1) -> (1, 2) of two shops give exactly 1. Prices
// and an allowance that do not move give the same cost a day, reach and amount a day
// in every month, leap and short ones too.
func TestLaws(t *testing.T) {
	for _, sample := range []string{"as_found", "matched"} {
		var notes strings.Builder
		notes.WriteString("observed_on,region,outlet,item,price,pack\n")
		first := time.Date(2023, 1, 1, 0, 0, 0, 0, time.UTC)
		const months = 27
		for m := range months {
			day := first.AddDate(0, m, 9).Format(time.DateOnly)
			a, b := "1.00", "2.00"
			if m%2 == 1 {
				a, b = b, a
			}
			fmt.Fprintf(&notes, "%s,west,shop,oats,%s,1 kg\n%s,west,stall,oats,%s,1 kg\n", day, a, day, b)
			for i, shop := range []string{"shop", "stall"} {
				fmt.Fprintf(&notes, "%s,west,%s,rice,%.2f,500 g\n", day, shop, 1.13+float64(i)/3)
			}
		}
		w := workspaceOf(t, map[string]string{
			// A price that doubles is a slip for the edit rule: here it is the law that is looked at.
			"farthing.toml":         "name = \"x\"\n[edit]\nown_ratio = 5\npeer_ratio = 5\n[panel]\nsample = \"" + sample + "\"\n[pages]\ndraw = false\n",
			"tables/regions.csv":    "region,region_name,level,currency_code,prices_include_tax\nwest,West,country,XTS,yes\n",
			"tables/outlets.csv":    "outlet,region,outlet_type\nshop,west,other\nstall,west,other\n",
			"tables/items.csv":      "item,item_name,coicop_code,coicop_version,base_unit\noats,Oats,01.1.1,2018,kg\nrice,Rice,01.1.1,2018,kg\n",
			"tables/baskets.csv":    "basket,item,quantity,unit,per,basis,source\nturning,oats,1,kg,week,AP,x\nstill,rice,2,kg,month,AP,x\nstill,oats,1,kg,week,AP,x\n",
			"tables/households.csv": "household,household_name,persons,person_equivalents,source\none,One,1,1.2,x\n",
			"tables/allowances.csv": "programme,region,persons,effective_from,amount_lcu,currency_code,per,source\nmonthly,west,1,2020-01-01,25.25,XTS,month,x\nweekly,west,1,2020-01-01,5.05,XTS,week,x\n",
			"inbox/notes.csv":       notes.String(),
		})
		farthing(t, exitDone, "run", "--workspace", w)
		for _, x := range []struct {
			column string
			rows   []string
			n      int
		}{
			{"unit_price_lcu", []string{"item", "--item", "oats"}, months},
			{"matched_change_pct", []string{"item", "--item", "oats", "--from", "2023-02"}, months - 1},
			{"per_day_lcu", []string{"basket", "--basket", "turning"}, months},
			{"per_day_lcu", []string{"basket", "--basket", "still"}, months},
			{"standard_month_lcu", []string{"basket", "--basket", "still"}, months},
			{"reach_days", []string{"reach", "--basket", "still", "--programme", "monthly"}, months},
			{"allowance_per_day_lcu", []string{"reach", "--basket", "still", "--programme", "weekly"}, months},
			{"adequacy", []string{"reach", "--basket", "still", "--programme", "weekly"}, months},
		} {
			args, programme := x.rows, ""
			if i := len(args) - 2; args[i] == "--programme" {
				args, programme = args[:i], args[i+1]
			}
			var values []any
			for _, r := range rowsOf(t, w, args...) {
				if programme == "" || r["programme"] == programme {
					values = append(values, r[x.column])
				}
			}
			if len(values) != x.n {
				t.Fatalf("%s, %v: %d rows, want %d", sample, x.rows, len(values), x.n)
			}
			for i, v := range values {
				// An amount a week is multiplied by the month's days and divided again: the last bit may differ.
				if same := v == values[0]; v == nil || !same && !(programme == "weekly" && near(float(t, v), float(t, values[0]))) {
					t.Errorf("%s, %v, month %d: %s is %v, in the first %v", sample, x.rows, i+1, x.column, v, values[0])
				}
			}
		}
	}
}

// TestDearestItemGone takes the dearest line's notes out of the demo, from some
// months on: a published total may fall only where its row says more of it is not
// observed, and by how much.
func TestDearestItemGone(t *testing.T) {
	basketRows := func(dir string) map[string]map[string]string {
		rows := map[string]map[string]string{}
		for _, r := range readCells(t, filepath.Join(dir, "site", "data", "basket.csv")) {
			rows[r["region"]+"/"+r["household"]+"/"+r["basket"]+"/"+r["month"]] = r
		}
		return rows
	}
	var before map[string]map[string]string
	for _, gone := range []string{"", "2024-06", "2023-02", "2023-01"} {
		dir := filepath.Join(t.TempDir(), "demo")
		call(t, []int{exitDone}, "init", dir, "--with", "demo")
		replaceText(t, filepath.Join(dir, "farthing.toml"), "[panel]", "[pages]\ndraw = false\n\n[panel]")
		names, _ := filepath.Glob(filepath.Join(dir, "inbox", "*.csv"))
		out := 0
		for _, name := range names {
			text, err := os.ReadFile(name)
			if err != nil {
				t.Fatal(err)
			}
			var kept []string
			for _, line := range strings.SplitAfter(string(text), "\n") {
				if gone != "" && len(line) > 7 && line[:7] >= gone && strings.Contains(line, ",tinned-fish,") {
					out++
					continue
				}
				kept = append(kept, line)
			}
			if err := os.WriteFile(name, []byte(strings.Join(kept, "")), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		call(t, []int{exitQuarantined}, "run", "--quiet", "--workspace", dir)
		after := basketRows(dir)
		if gone == "" {
			before = after
			continue
		}
		lower, blank, flagged := 0, 0, 0
		for k, b := range before {
			a := after[k]
			if b["month"] < gone || b["per_day_lcu"] == "" {
				continue
			}
			notObserved := func(r map[string]string) float64 {
				return number(t, r["imputed_share"]) + number(t, r["missing_share"])
			}
			unknown := a["missing_share"] == "" // no price in any month: no weights either
			says := strings.ContainsAny(a["obs_status_all"], "IEOM") && (unknown || notObserved(a) > notObserved(b))
			switch {
			case a["per_day_lcu"] == "":
				blank++
			case number(t, a["per_day_lcu"]) < number(t, b["per_day_lcu"]):
				lower++
			}
			if says {
				flagged++
			} else {
				t.Errorf("from %s on, %s: total %q was %q, status %s, imputed %s, missing %s: nothing says so", gone, k, a["per_day_lcu"], b["per_day_lcu"], a["obs_status_all"], a["imputed_share"], a["missing_share"])
			}
		}
		t.Logf("without fish from %s on: %d notes out, %d totals flagged, %d blank, %d lower", gone, out, flagged, blank, lower)
		if out == 0 || flagged == 0 {
			t.Errorf("from %s on: %d notes out, %d rows looked at", gone, out, flagged)
		}
	}
}

func float(t *testing.T, v any) float64 {
	t.Helper()
	return numberIn(t, map[string]any{"": v}, "")
}

// TestOutletTypes: with one kind of outlet that counts, prices are those that the
// notes of these outlets give alone; the others are kept, and do not count.
func TestOutletTypes(t *testing.T) {
	note := func(outlets ...string) string {
		var notes strings.Builder
		notes.WriteString("observed_on,region,outlet,item,price,pack\n")
		for m := range 3 {
			for i, outlet := range outlets {
				fmt.Fprintf(&notes, "2024-%02d-10,west,%s,oats,%.2f,1 kg\n", m+1, outlet, 1.25+float64(m)/8+float64(i)/4)
			}
		}
		return notes.String()
	}
	made := func(settings, notes string) string {
		w := workspaceOf(t, map[string]string{
			"farthing.toml":      "name = \"x\"\n[prices]\n" + settings + "\n[pages]\ndraw = false\n",
			"tables/regions.csv": "region,region_name,level,currency_code,prices_include_tax\nwest,West,country,XTS,yes\n",
			"tables/outlets.csv": "outlet,region,outlet_type\nhall,west,large\nbarn,west,large\nstall,west,market\n",
			"tables/items.csv":   "item,item_name,coicop_code,coicop_version,base_unit\noats,Oats,01.1.1,2018,kg\n",
			"inbox/notes.csv":    notes,
		})
		farthing(t, exitDone, "run", "--workspace", w)
		return w
	}
	items := func(w string) string {
		return farthing(t, exitDone, "show", "item", "--item", "oats", "--workspace", w)
	}
	some, alone := made(`outlet_types = ["large"]`, note("hall", "barn", "stall")), made("", note("hall", "barn"))
	if got, want := items(some), items(alone); got != want || strings.Contains(items(made("", note("hall", "barn", "stall"))), want) {
		t.Errorf("got\n%swant\n%s", got, want)
	}
	counts := map[string]int{}
	for _, r := range readCells(t, filepath.Join(some, "site", "data", "observations.csv")) {
		counts[r["outlet_type"]+" "+r["counts"]]++
	}
	if len(counts) != 2 || counts["large yes"] != 6 || counts["market no"] != 3 {
		t.Errorf("got %v, want 6 of large outlets that count and 3 of a market that do not", counts)
	}
	if code, _, said := called("run", "--workspace", workspaceOf(t, map[string]string{"farthing.toml": "name = \"x\"\n[prices]\noutlet_types = [\"big\"]\n"})); code != exitFailed || !strings.Contains(said, "outlet_types") {
		t.Errorf("an unknown kind: got exit %d, %s", code, said)
	}
}
