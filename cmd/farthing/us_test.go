package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"farthing/pipeline/intake"
)

// usWorkspace makes a workspace of the US example; the settings are changed by the pairs old, new.
func usWorkspace(t *testing.T, change ...string) string {
	t.Helper()
	w := filepath.Join(t.TempDir(), "us")
	call(t, []int{exitDone}, "init", w, "--with", "us")
	path := filepath.Join(w, "farthing.toml")
	was, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	is := strings.NewReplacer(change...).Replace(string(was))
	if len(change) > 0 && is == string(was) {
		t.Fatalf("farthing.toml has none of %q", change)
	}
	if err := os.WriteFile(path, []byte(is), 0o666); err != nil {
		t.Fatal(err)
	}
	return w
}

// importFiles imports files and returns the report, and its files by name.
func importFiles(t *testing.T, code int, w string, files ...string) (intake.Report, map[string]intake.FileReport) {
	t.Helper()
	var rep intake.Report
	if err := json.Unmarshal(call(t, []int{code}, append([]string{"import", "--json", "--quiet", "--workspace", w}, files...)...), &rep); err != nil {
		t.Fatal(err)
	}
	byName := map[string]intake.FileReport{}
	for _, f := range rep.Files {
		byName[filepath.Base(f.Path)] = f
		if f.Read != f.Accepted+f.Quarantined+f.Duplicate {
			t.Errorf("%s: got %d read, %d accepted, %d quarantined, %d duplicate; want a sum", f.Path, f.Read, f.Accepted, f.Quarantined, f.Duplicate)
		}
	}
	return rep, byName
}

func sources(t *testing.T, pattern ...string) []string {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(pattern...))
	if err != nil || len(files) == 0 {
		t.Fatalf("no files %s: %v", filepath.Join(pattern...), err)
	}
	return files
}

// dataRows are the rows of a published data file whose cells have the given values, "column=value".
func dataRows(t *testing.T, w, name string, where ...string) (rows []cells) {
	t.Helper()
	for _, row := range readCells(t, filepath.Join(w, "site", "data", name+".csv")) {
		if !slices.ContainsFunc(where, func(s string) bool { k, v, _ := strings.Cut(s, "="); return row[k] != v }) {
			rows = append(rows, row)
		}
	}
	return rows
}

// oneRow is the only row of a published data file that has the given values.
func oneRow(t *testing.T, w, name string, where ...string) cells {
	t.Helper()
	rows := dataRows(t, w, name, where...)
	if len(rows) != 1 {
		t.Fatalf("%s %q: got %d rows, want 1", name, where, len(rows))
	}
	return rows[0]
}

// wantCells compares cells with "column=value".
func wantCells(t *testing.T, row cells, want ...string) {
	t.Helper()
	for _, s := range want {
		if k, v, _ := strings.Cut(s, "="); row[k] != v {
			t.Errorf("%s %s %s: got %s %q, want %q", row["region"], row["item"], row["month"], k, row[k], v)
		}
	}
}

// TestUSExcerpts imports files in the layouts of the open sources, their values invented.
func TestUSExcerpts(t *testing.T) {
	files := sources(t, "../../testdata/sources/us/*.csv")
	for name, change := range map[string][]string{"as it is": nil, "notes with a decimal comma": {"[panel]", "[prices]\ndecimal = \",\"\n\n[panel]"}} {
		t.Run(name, func(t *testing.T) {
			w := usWorkspace(t, change...)
			_, rep := importFiles(t, exitQuarantined, w, files...)
			for _, want := range []struct {
				file                       string
				read, accepted, quarantine int
				code                       string
			}{
				{"series_index.csv", 5, 5, 0, ""},
				{"APU0000701111.csv", 5, 5, 0, ""}, // one is the row that says NA
				{"APU0000708111.csv", 5, 5, 0, ""},
				{"APU0400709112.csv", 5, 5, 0, ""},
				{"APU0000709111.csv", 5, 0, 5, "unknown_item"},   // in the catalogue, in no alias
				{"APU0000FJ1101.csv", 2, 0, 2, "unknown_series"}, // the catalogue does not say what it is
				{"CUUR0000SAF11.csv", 5, 5, 0, ""},
				{"CUSR0000SAF11.csv", 2, 0, 2, "unknown_column"},  // seasonally adjusted: no profile reads it
				{"snap_max_allotment.csv", 4, 3, 1, "amount_lcu"}, // another region and "each_additional" are no rows of ours; 0 is no amount
			} {
				f := rep[want.file]
				code := ""
				if len(f.Reasons) > 0 {
					code = f.Reasons[0].Code
				}
				if f.Read != want.read || f.Accepted != want.accepted || f.Quarantined != want.quarantine || f.Held != 0 || code != want.code {
					t.Errorf("%s: got %d read, %d accepted, %d quarantined %q, %d held; want %d, %d, %d %q, 0", want.file,
						f.Read, f.Accepted, f.Quarantined, code, f.Held, want.read, want.accepted, want.quarantine, want.code)
				}
			}

			// The cure names the alias to add, up to what it means. With it the series is read.
			_, line, ok := strings.Cut(rep["APU0000709111.csv"].Reasons[0].Cure, "tables/aliases the line ")
			line, end := strings.CutSuffix(line, "…")
			if !ok || !end {
				t.Fatalf("got the cure %q, want a line for tables/aliases", rep["APU0000709111.csv"].Reasons[0].Cure)
			}
			f, err := os.OpenFile(filepath.Join(w, "tables", "aliases.csv"), os.O_APPEND|os.O_WRONLY, 0)
			if err != nil {
				t.Fatal(err)
			}
			fmt.Fprintf(f, "%smilk,,,\n", line)
			f.Close()
			call(t, []int{exitDone}, "run", "--quiet", "--workspace", w)

			// Values and units as they were read stand beside those in base units. By hand: an international pound is
			// 0.45359237 kg, a US gallon 231 cubic inches of 2.54 cm, 3.785411784 L (NIST Handbook 44, Appendix C).
			for _, want := range []struct{ series, month, cells string }{
				{"APU0000701111", "2018-01", "item=flour|region=us|pack_as_read=lb. (453.6 gm)|price_lcu=0.5|quantity=0.45359237|base_unit=kg|unit_price_lcu=1.1023|kind=average|counts=yes"},
				{"APU0000701111", "2018-03", "item=flour|price_type=missing|price_lcu=|unit_price_lcu=|counts=no"}, // NA is not 0
				{"APU0000708111", "2018-01", "item=eggs|pack_as_read=doz.|price_lcu=1.8|quantity=12|base_unit=each|unit_price_lcu=0.1500"},
				{"APU0000709111", "2018-01", "item=milk|region=us|pack_as_read=1/2 gal. (1.9 lit)|price_lcu=2|quantity=1.892705892|base_unit=L|unit_price_lcu=1.0567"},
				{"APU0400709112", "2018-01", "item=milk|region=west|pack_as_read=gal. (3.8 lit)|price_lcu=4|quantity=3.785411784|base_unit=L|unit_price_lcu=1.0567"},
			} {
				wantCells(t, oneRow(t, w, "observations", "source_series="+want.series, "observed_on="+want.month+"-01"), strings.Split(want.cells, "|")...)
			}
			if got := len(dataRows(t, w, "observations")); got != 20 {
				t.Errorf("got %d observations, want 20: four series of five months", got)
			}
			for _, want := range []struct{ persons, month, cells string }{
				{"1", "2018-01", "allowance_lcu=100.0000|effective_from=2017-10-01|source=invented (invented note)"},
				{"4", "2018-01", "allowance_lcu=320.0000|effective_from=2017-10-01|source=invented, for the tests"},
				{"1", "2018-10", "allowance_lcu=|obs_status=O"}, // no row for the year after: no amount
				{"1", "2020-10", "allowance_lcu=110.0000|effective_from=2020-10-01"},
				{"4", "2020-10", "allowance_lcu=|obs_status=O"}, // set aside: no amount, and not the old one
			} {
				for _, region := range []string{"us", "west"} { // a part of the country has the country's
					wantCells(t, oneRow(t, w, "allowances", "region="+region, "persons="+want.persons, "month="+want.month), strings.Split(want.cells, "|")...)
				}
			}
			wantCells(t, oneRow(t, w, "basket", "region=us", "household=one", "month=2018-01"), "per_day_lcu=", "deflator_region=us")
		})
	}
}

// TestUSSettings: a rule on a column that the profile does not have is refused, not ignored.
func TestUSSettings(t *testing.T) {
	w := usWorkspace(t, `region = ["CONTIGUOUS_US"]`, `regoin = ["CONTIGUOUS_US"]`)
	var out, errOut bytes.Buffer
	code := run(context.Background(), []string{"import", "--workspace", w}, nil, &out, &errOut, time.Now)
	if want := `source.only: "regoin" in source snap-maximum`; code != exitFailed || !strings.Contains(errOut.String(), want) {
		t.Errorf("got exit %d, %q; want %d, %q", code, errOut.String(), exitFailed, want)
	}
}

// TestUSOpenData runs the example on the published files, where they are.
func TestUSOpenData(t *testing.T) {
	const dir = "../../../shared/data"
	if _, err := os.Stat(filepath.Join(dir, "bls-ap-fred", "series_index.csv")); err != nil {
		t.Skip("the open data is not beside the repository, in ../shared/data: the US example is tested on its excerpts alone")
	}
	w := usWorkspace(t)
	files := append(sources(t, dir, "bls-ap-fred/series_index.csv"), sources(t, dir, "cpi-us-regions/CUUR0[0-4]00SAF11.csv")...)
	files = append(files, sources(t, dir, "snap-allotments/snap_max_allotment.csv")...)
	// Item codes of the average price survey, by our names.
	codes := map[string]string{"flour": "701111", "rice": "701312", "pasta": "701322", "bread": "702111", "ground-beef": "703112",
		"chicken": "706111", "pork-chops": "FD3101", "eggs": "708111", "milk": "709112", "cheese": "710211", "bananas": "711211",
		"potatoes": "712112", "tomatoes": "712311", "beans": "714233", "sugar": "715211"}
	for _, code := range codes {
		files = append(files, sources(t, dir, "bls-ap-fred/series/APU0[0-4]00"+code+".csv")...)
	}
	rep, _ := importFiles(t, exitDone, w, files...)
	t.Logf("%d files, %d rows read, %d accepted, %d quarantined, %d duplicate", len(rep.Files), rep.Read, rep.Accepted, rep.Quarantined, rep.Duplicate)
	for _, f := range rep.Files {
		if f.Accepted == 0 || f.Held != 0 {
			t.Errorf("%s: got %d accepted, %d held; want some, 0", f.Path, f.Accepted, f.Held)
		}
	}
	call(t, []int{exitDone}, "run", "--quiet", "--workspace", w)

	// Every observed price of the panel is its series' figure over the pack; where the figure is NA or the row absent there is
	// no observed one. 0.45359237 kg to the pound, 3.785411784 L to the gallon: NIST Handbook 44, Appendix C.
	pack := map[string]float64{"kg": 0.45359237, "L": 3.785411784, "each": 12}
	area := map[string]string{"us": "0000", "northeast": "0100", "midwest": "0200", "south": "0300", "west": "0400"}
	published := func(region, item string) map[string]string {
		values, id := map[string]string{}, "APU"+area[region]+codes[item]
		path := filepath.Join(dir, "bls-ap-fred", "series", id+".csv")
		if !slices.Contains(files, path) {
			return nil
		}
		for _, row := range readCells(t, path) {
			if row[id] != "NA" {
				values[row["Date"][:7]] = row[id]
			}
		}
		return values
	}
	counts := map[string]*[3]int{} // observed, imputed, gaps
	for region := range area {
		n := new([3]int)
		counts[region] = n
		for item := range codes {
			values, national := published(region, item), published("us", item)
			for _, row := range dataRows(t, w, "item", "region="+region, "item="+item) {
				// Published with four decimals, so a value may differ by half of the last.
				is := func(value string) bool {
					return math.Abs(number(t, row["unit_price_lcu"])-number(t, value)/pack[row["base_unit"]]) <= 0.5e-4+1e-9
				}
				value, ok := values[row["month"]]
				us, okUS := national[row["month"]]
				switch price := row["unit_price_lcu"]; {
				case ok:
					n[0]++
					if !is(value) {
						t.Errorf("%s %s %s: got %s, want %s / %v", region, item, row["month"], price, value, pack[row["base_unit"]])
					}
					wantCells(t, row, "filled_by=", "imputed_share=0.0000", "missing_share=0.0000")
				case price == "":
					n[2]++
					wantCells(t, row, "obs_status=O", "missing_share=1.0000")
				case len(values) == 0 || row["filled_by"] == "" || row["imputed_share"] != "1.0000":
					t.Errorf("%s %s %s: got %s, filled by %q; the series has no figure", region, item, row["month"], price, row["filled_by"])
				case okUS && is(us):
					t.Errorf("%s %s %s: got the US price %s in a gap", region, item, row["month"], price)
				default:
					n[1]++
				}
			}
		}
		t.Logf("%s: %d prices as published, %d imputed, %d gaps", region, n[0], n[1], n[2])
	}
	// Of 15 items in 71 months the US series say NA, or nothing, ten times; each is filled by rule, from other US series.
	if got, want := *counts["us"], [3]int{1055, 10, 0}; got != want {
		t.Errorf("us: got %v observed, imputed, gaps; want %v", got, want)
	}

	// Figures read in the files, over the pack, by hand.
	for _, want := range []struct{ item, month, price string }{
		{"flour", "2018-01", "1.0384"}, // 0.471 a pound
		{"flour", "2023-06", "1.2147"}, // 0.551 a pound
		{"eggs", "2023-01", "0.4019"},  // 4.823 a dozen
		{"milk", "2023-06", "1.0527"},  // 3.985 a gallon
	} {
		wantCells(t, oneRow(t, w, "item", "region=us", "item="+want.item, "month="+want.month), "unit_price_lcu="+want.price, "obs_status=A")
	}

	// The largest allotments of fiscal year 2023 (USDA FNS), and none for the two years that the file lacks.
	for _, want := range []struct{ household, month, allowance string }{
		{"one", "2023-01", "281.0000"}, {"four", "2023-01", "939.0000"}, {"one", "2018-09", "192.0000"},
		{"one", "2018-10", ""}, {"four", "2019-12", ""}, {"one", "2020-09", ""}, {"one", "2020-10", "204.0000"}, {"one", "2021-01", "234.0000"},
	} {
		row := oneRow(t, w, "reach", "region=us", "household="+want.household, "month="+want.month)
		wantCells(t, row, "allowance_lcu="+want.allowance)
		if (row["reach_days"] == "") != (want.allowance == "") || row["per_day_lcu"] == "" {
			t.Errorf("%s %s: got a cost of %q and a reach of %q; want a cost, a reach with an allowance only", want.household, want.month, row["per_day_lcu"], row["reach_days"])
		}
	}

	// No part of the country has every price: shares and the part known, no total, no reach.
	for region := range area {
		for _, row := range dataRows(t, w, "basket", "region="+region) {
			known, lacks := number(t, row["known_part_lcu"]), number(t, row["missing_share"])
			sum := number(t, row["observed_share"]) + number(t, row["imputed_share"]) + lacks
			switch {
			case math.Abs(sum-1) > 2e-4: // three shares of four decimals
				t.Errorf("%s %s: got shares that add to %v, want 1", region, row["month"], sum)
			case region == "us" && (row["per_day_lcu"] == "" || lacks != 0):
				t.Errorf("us %s: got %q a day, missing share %v; want a cost, 0", row["month"], row["per_day_lcu"], lacks)
			case region != "us" && (row["per_day_lcu"] != "" || row["real_per_day_lcu"] != "" || !(lacks > 0 && lacks < 1 && known > 0)):
				t.Errorf("%s %s: got %q a day, missing share %v, known part %v; want no total, a share, a part", region, row["month"], row["per_day_lcu"], lacks, known)
			}
		}
		if region != "us" {
			for _, row := range dataRows(t, w, "reach", "region="+region) {
				wantCells(t, row, "reach_days=", "fed_days=", "run_out_on=", "shortfall_lcu=")
			}
		}
	}

	// By hand, from the files: sum of amount a week x figure / pack, over 7. Money of 2018-01: x 239.828 / 302.335, the index
	// of food at home, not seasonally adjusted, of the two months.
	wantCells(t, oneRow(t, w, "basket", "region=us", "household=one", "month=2018-01"), "per_day_lcu=3.9175", "real_per_day_lcu=3.9175")
	wantCells(t, oneRow(t, w, "basket", "region=us", "household=one", "month=2023-06"), "per_day_lcu=4.8986", "real_per_day_lcu=3.8859", "deflator=food-at-home")
	wantCells(t, oneRow(t, w, "basket", "region=us", "household=four", "month=2023-06"), "per_day_lcu=16.6554") // x 3.40
}
