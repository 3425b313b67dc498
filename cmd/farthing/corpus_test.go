package main

import (
	"archive/zip"
	"bytes"
	"compress/gzip"
	"context"
	"database/sql"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"image"
	"image/png"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode"
	"unicode/utf16"

	"farthing/pipeline/intake"

	"github.com/xuri/excelize/v2"
)

// This file throws hostile input at import: whatever a file holds, each of its
// rows is accepted, set aside with a cure, or a duplicate, and nothing breaks.

var townTables = map[string]string{
	"regions":    "region,region_name,parent,level,population_weight,weight_source,currency_code,prices_include_tax\ncove,Cove,,district,,,XTS,yes\nfell,Fell,,district,,,XTS,yes\n",
	"outlets":    "outlet,region,outlet_type,publish_name,open_from_on,open_to_on\nhall,cove,large,yes,,\nbarn,fell,market,yes,,\n",
	"items":      "item,item_name,coicop_code,coicop_version,base_unit,food_code,density_kg_per_l,piece_kg,edible_yield,season_from_month,season_to_month,keeps_sealed_days,keeps_opened_days,source\noats,Oats,01.1.1,2018,kg,,,,,,,,,made\nmilk,Milk,01.1.4,2018,L,,,,,,,,,made\neggs,Eggs,01.1.4,2018,each,,,,,,,,,made\n",
	"measures":   "measure,item,region,quantity,unit,source\nscoop,oats,,0.05,kg,made\n",
	"aliases":    "source,kind,as_read,means,grade,variety,pack\n*,item,Rolled oats,oats,,,\n",
	"baskets":    "basket,item,grade,quantity,unit,per,basis,price_rule,source\nbread,oats,,1,kg,week,AP,typical,made\n",
	"households": "household,household_name,persons,person_equivalents,meals_per_day,source\nsingle,One,1,1,3,made\n",
	"allowances": "programme,region,persons,amount_kind,effective_from,effective_to,amount_lcu,currency_code,per,paid_on_day,source\naid,cove,1,,2023-01-01,,10,XTS,month,1,made\n",
}

// town is a new workspace of two regions, two outlets and three items.
func town(t testing.TB, settings string) string {
	t.Helper()
	dir := t.TempDir()
	put := func(name, text string) {
		path := filepath.Join(dir, name)
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	for name, text := range townTables {
		put("tables/"+name+".csv", text)
	}
	put("farthing.toml", "name = \"Town\"\ninvented = true\n[pages]\ndraw = false\n"+settings)
	return dir
}

var anyDay = func() time.Time { return time.Date(2025, 1, 15, 9, 0, 0, 0, time.UTC) }

// called runs a command and gives its exit code and what it printed.
func called(args ...string) (code int, out, errOut string) {
	var o, e bytes.Buffer
	code = run(context.Background(), args, nil, &o, &e, anyDay)
	return code, o.String(), e.String()
}

const shortHeader = "observed_on,region,outlet,item,price,pack\n"

var noteColumns = strings.Split("observed_on,region,outlet,item,price,pack,variety,grade,gtin,packs,price_type,currency,weighed,pieces,shelf_unit_price,kind,market,row_id,note", ",")

// noteFile is a file of good notes on different days, and between the two one
// with other cells, given as column, value, column, value ...
func noteFile(cells ...string) string {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	row := map[string]string{"region": "cove", "outlet": "hall", "item": "oats", "price": "2.40", "pack": "1 kg"}
	write := func() {
		var list []string
		for _, c := range noteColumns {
			list = append(list, row[c])
		}
		w.Write(list)
	}
	w.Write(noteColumns)
	row["observed_on"] = "2024-01-01"
	write()
	good := map[string]string{}
	for k, v := range row {
		good[k] = v
	}
	row["observed_on"] = "2024-01-02"
	for i := 0; i < len(cells); i += 2 {
		row[cells[i]] = cells[i+1]
	}
	write()
	row = good
	row["observed_on"] = "2024-01-03"
	write()
	w.Flush()
	return b.String()
}

// hostile is one file and what must become of it.
type hostile struct {
	name                               string
	file                               string // its name, notes.csv if blank
	text                               string
	read, quarantined, duplicate, held int
	code, field, says                  string // of its one reason; says: what its cure must name
	line                               int    // of its first row set aside
	uncounted                          bool   // its rows can not be counted as lines
}

func hostileFiles(t testing.TB) (list []hostile) {
	good := "2024-01-01,cove,hall,oats,2.40,1 kg\n"
	day := func(n int) string { return fmt.Sprintf("2024-01-%02d,cove,hall,oats,2.40,1 kg\n", n) }
	three := day(1) + day(2) + day(3)
	wide := func(s string, big bool) string {
		b := []byte{}
		for _, u := range append([]uint16{0xfeff}, utf16.Encode([]rune(s))...) {
			if big {
				b = append(b, byte(u>>8), byte(u))
			} else {
				b = append(b, byte(u), byte(u>>8))
			}
		}
		return string(b)
	}
	binary := func(write func(*bytes.Buffer) error) string {
		var b bytes.Buffer
		if err := write(&b); err != nil {
			t.Fatal(err)
		}
		return b.String()
	}
	list = []hostile{
		// The file as such.
		{name: "empty", text: ""},
		{name: "blank lines only", text: "\n\r\n,,\n", uncounted: true},
		{name: "header only", text: shortHeader},
		{name: "blank lines above the header", text: "\n,,,\r\n" + shortHeader + day(1) + "2024-01-02,cove,hall,oats,x,1 kg\n", read: 2, quarantined: 1, line: 5, code: "price", uncounted: true},
		{name: "header only, no line break", text: strings.TrimSpace(shortHeader)},
		{name: "one line, no header", text: good, read: 1, quarantined: 1, line: 1, code: "unknown_column", says: "observed_on,region,outlet", uncounted: true},
		{name: "byte order mark", text: "\ufeff" + shortHeader + three, read: 3},
		{name: "CRLF", text: strings.ReplaceAll(shortHeader+three, "\n", "\r\n"), read: 3},
		{name: "lone CR", text: strings.ReplaceAll(shortHeader+three, "\n", "\r"), read: 3, uncounted: true},
		{name: "no last line break", text: shortHeader + strings.TrimSpace(three), read: 3},
		{name: "blank rows between", text: shortHeader + day(1) + "\n,,,,,\n  \t\n" + day(2), read: 2, uncounted: true},
		{name: "Latin-1", text: shortHeader + day(1) + "2024-01-02,cove,caf\xe9,oats,2.40,1 kg\n", read: 2, quarantined: 1, line: 3, code: "text", field: "outlet", says: "UTF-8"},
		{name: "Latin-1 header", text: "observed_on,r\xe9gion\n" + day(1), read: 1, quarantined: 1, line: 2, code: "header", says: "UTF-8"},
		{name: "UTF-16, little end first", text: wide(shortHeader+three, false), read: 3, uncounted: true},
		{name: "UTF-16, big end first", text: wide(shortHeader+three, true), read: 3, uncounted: true},
		{name: "UTF-16 without its mark", text: wide(shortHeader+three, true)[2:], read: 3, quarantined: 3, line: 2, code: "header", says: "UTF-8", uncounted: true},
		{name: "NUL in a name", text: shortHeader + "2024-01-01,cove,ha\x00ll,oats,2.40,1 kg\n" + day(2), read: 2, quarantined: 1, line: 2, code: "text", field: "outlet", says: "U+0000"},
		{name: "NUL in a pack", text: shortHeader + "2024-01-01,cove,hall,oats,2.40,1 \x00kg\n" + day(2), read: 2, quarantined: 1, line: 2, code: "text", field: "pack", says: "U+0000"},
		{name: "NULs only", text: strings.Repeat("\x00", 5000), read: 1, quarantined: 1, line: 1, code: "header", says: "UTF-8", uncounted: true},
		{name: "1 MB line", text: shortHeader + day(1) + strings.Repeat("x", 1<<20) + "\n" + day(2), read: 3, quarantined: 1, line: 3, code: "row", says: "64 KiB"},
		{name: "1 MB line of quotes", text: shortHeader + day(1) + strings.Repeat(`"`, 1<<20) + "\n" + day(2), read: 3, quarantined: 1, line: 3, code: "row", says: "64 KiB"},
		{name: "1 MB header", text: strings.Repeat("x", 1<<20) + "\n" + day(1), read: 2, quarantined: 2, line: 1, code: "missing_column", field: "observed_on", says: "header", uncounted: true},
		{name: "100 000 columns", text: shortHeader + day(1) + strings.Repeat("x,", 100_000) + "\n" + day(2), read: 3, quarantined: 1, line: 3, code: "row", says: "64 KiB"},
		{name: "20 000 columns", text: shortHeader + day(1) + strings.Repeat("x,", 20_000) + "\n" + day(2), read: 3, quarantined: 1, line: 3, code: "cells", says: "the row has 20001 cells, the header 6"},
		{name: "20 000 columns in the header", text: strings.Repeat("x,", 20_000) + "\n" + day(2), read: 1, quarantined: 1, line: 2, code: "unknown_column", field: "x", says: "observed_on"},
		{name: "quote never closed", text: shortHeader + day(1) + "2024-01-02,cove,\"hall,oats,2.40,1 kg\n" + day(3) + day(4), read: 4, quarantined: 1, line: 3, code: "row", says: "quote"},
		{name: "quote closed by a later row", text: shortHeader + "2024-01-02,cove,\"hall,oats,2.40,1 kg\n" + day(3) + "2024-01-04,cove,\"hall\",oats,2.40,1 kg\n" + day(5), read: 4, quarantined: 1, line: 2, code: "row", says: "quote"},
		{name: "quote in a plain field", text: shortHeader + day(1) + "2024-01-02,cove,hall\",oats,2.40,1 kg\n", read: 2, quarantined: 1, line: 3, code: "unknown_outlet", says: `did you mean "hall"`},
		{name: "quote not doubled", text: "observed_on,region,outlet,item,price,pack,variety\n2024-01-01,cove,hall,oats,2.40,1 kg,\"5\" flakes\"\n2024-01-02,cove,hall,oats,2.40,1 kg,\"b\"\n", read: 2},
		{name: "line break in a name", text: shortHeader + "2024-01-01,cove,\"ha\nll\",oats,2.40,1 kg\n" + day(2), read: 2, quarantined: 1, line: 2, code: "text", field: "outlet", says: "U+000A", uncounted: true},
		{name: "line break in a note", text: "observed_on,region,outlet,item,price,pack,note\n2024-01-01,cove,hall,oats,2.40,1 kg,\"a\nb\"\n2024-01-02,cove,hall,oats,x,1 kg,\n", read: 2, quarantined: 1, line: 4, code: "price", field: "price", says: "12.50", uncounted: true},
		{name: "semicolons", text: strings.ReplaceAll(shortHeader+three, ",", ";"), read: 3},
		{name: "tabs", text: strings.ReplaceAll(shortHeader+three, ",", "\t"), read: 3},
		{name: "bars", text: strings.ReplaceAll(shortHeader+three, ",", "|"), read: 3, quarantined: 3, line: 2, code: "unknown_column", says: "observed_on,region,outlet"},
		{name: "columns in another order", text: "pack,price,item,outlet,region,observed_on\n1 kg,2.40,oats,hall,cove,2024-01-01\n", read: 1},
		{name: "unknown column", text: "observed_on,region,outlet,item,price,pack,colour\n" + three, read: 3, quarantined: 3, line: 2, code: "unknown_column", field: "colour", says: "known columns: observed_on"},
		{name: "near-miss column", text: "observed_on,region,outlet,item,prise,pack\n" + three, read: 3, quarantined: 3, line: 2, code: "unknown_column", field: "prise", says: `did you mean "price"?`},
		{name: "missing column", text: "observed_on,region,outlet,item,price\n2024-01-01,cove,hall,oats,2.40\n", read: 1, quarantined: 1, line: 2, code: "missing_column", field: "pack", says: "header"},
		{name: "no outlet column", text: "observed_on,region,item,price,pack\n2024-01-01,cove,oats,2.40,1 kg\n", read: 1, quarantined: 1, line: 2, code: "blank", field: "outlet", says: "name the outlet"},
		{name: "doubled column", text: "observed_on,region,outlet,item,price,pack,price\n2024-01-01,cove,hall,oats,2.40,1 kg,2.40\n", read: 1, quarantined: 1, line: 2, code: "two_columns", field: "price", says: "keep one"},
		{name: "more cells than columns", text: shortHeader + "2024-01-01,cove,hall,oats,1,234.50,1 kg\n" + day(2), read: 2, quarantined: 1, line: 2, code: "cells", says: "quotes round a cell that holds a comma"},
		{name: "fewer cells than columns", text: shortHeader + "2024-01-01,cove,hall\n" + day(2), read: 2, quarantined: 1, line: 2, code: "blank", field: "item", says: "fill"},
		{name: "the header twice", text: shortHeader + day(1) + shortHeader + day(2), read: 3, quarantined: 1, line: 3, code: "date", field: "observed_on", says: "2024-02-29"},
		{name: "exact duplicates", text: shortHeader + day(1) + day(1) + day(2) + day(1), read: 4, duplicate: 2},
		{name: "duplicates in other words", text: shortHeader + "2024-01-01,cove,hall,Rolled oats,2.4,1000 g\n" + day(1), read: 2, duplicate: 1},
		{name: "one key, two prices", text: shortHeader + day(1) + "2024-01-01,cove,hall,oats,2.60,1 kg\n" + day(2), read: 3, held: 2},
		// Not a text at all, or named as if it were somewhere else.
		{name: "gzip", text: binary(func(b *bytes.Buffer) error {
			w := gzip.NewWriter(b)
			w.Write([]byte(shortHeader + three))
			return w.Close()
		}), read: 3, uncounted: true},
		{name: "gzip that breaks off", text: binary(func(b *bytes.Buffer) error {
			w := gzip.NewWriter(b)
			w.Write([]byte(shortHeader + three))
			err := w.Close()
			b.Truncate(b.Len() - 9)
			return err
		}), read: 1, quarantined: 1, line: 1, code: "file", says: "fetch it again", uncounted: true},
		{name: "zip", text: binary(func(b *bytes.Buffer) error {
			w := zip.NewWriter(b)
			f, err := w.Create("notes.csv")
			if err != nil {
				return err
			}
			f.Write([]byte(shortHeader + three))
			return w.Close()
		}), read: 1, quarantined: 1, line: 1, code: "file", says: "spreadsheet", uncounted: true},
		{name: "PNG", text: binary(func(b *bytes.Buffer) error { return png.Encode(b, image.NewGray(image.Rect(0, 0, 40, 40))) }),
			read: -1, quarantined: -1, code: "header", says: "UTF-8", uncounted: true},
		{name: "XLSX named .csv", text: binary(func(b *bytes.Buffer) error {
			f := excelize.NewFile()
			defer f.Close()
			f.SetSheetRow("Sheet1", "A1", &[]string{"observed_on"})
			return f.Write(b)
		}), read: 1, quarantined: 1, line: 1, code: "missing_column", field: "region", says: "header", uncounted: true},
		{name: "a page", text: "<!doctype html>\n<script>alert(1)</script>\n", read: 1, quarantined: 1, line: 2, code: "unknown_column", says: "observed_on,region,outlet"},
		{name: "a name that climbs", file: `..\..\climb.csv`, text: shortHeader + day(1), read: 1},
		{name: "a name with a bidi mark", file: "a\u202egnp.csv", text: shortHeader + day(1), read: 1},
		{name: "a name like the descriptor's", file: "descriptor.json", text: shortHeader + day(1), read: 1},
		{name: "a hidden name", file: ".hidden.csv", text: shortHeader + day(1), read: 1},
		{name: "a name of 255 bytes", file: strings.Repeat("n", 251) + ".csv", text: shortHeader + day(1), read: 1},
		{name: "a name that is not text", file: "n\xff\n.csv", text: shortHeader + day(1), read: 1},
	}

	// One cell of the middle note: what it holds, and the reason and cure, or
	// no reason where it is taken.
	long := strings.Repeat("9", 200)
	for _, c := range []struct {
		name            string
		cells           []string
		code, says      string
		duplicate, held int
	}{
		{"day before month", []string{"observed_on", "31/12/2024"}, "date_order", "date_order", 0, 0},
		{"day and month swapped", []string{"observed_on", "2024-31-12"}, "date", "2024-02-29", 0, 0},
		{"no such day", []string{"observed_on", "2024-02-30"}, "date", "2024-02-29", 0, 0},
		{"leap day of a plain year", []string{"observed_on", "2023-02-29"}, "date", "2024-02-29", 0, 0},
		{"a month", []string{"observed_on", "2024-01"}, "date", "2024-02-29", 0, 0},
		{"a spreadsheet's day", []string{"observed_on", "45293"}, "date", "2024-02-29", 0, 0},
		{"year 0", []string{"observed_on", "0000-01-01"}, "date", "1800", 0, 0},
		{"year 99999", []string{"observed_on", "99999-01-01"}, "date", "2024-02-29", 0, 0},
		{"no day", []string{"observed_on", ""}, "date", "2024-02-29", 0, 0},
		{"two points", []string{"price", "1.2.3"}, "price", "12.50", 0, 0},
		{"below zero", []string{"price", "-1"}, "price", "without the minus", 0, 0},
		{"zero", []string{"price", "0"}, "price", "not_sold", 0, 0},
		{"zero with decimals", []string{"price", "0.000000"}, "price", "not_sold", 0, 0},
		{"exponent", []string{"price", "1e400"}, "price", "12.50", 0, 0},
		{"NaN", []string{"price", "NaN"}, "price", "12.50", 0, 0},
		{"Inf", []string{"price", "Inf"}, "price", "12.50", 0, 0},
		{"hexadecimal", []string{"price", "0x10"}, "price", "12.50", 0, 0},
		{"Arabic digit", []string{"price", "٣"}, "price", "12.50", 0, 0},
		{"thousands mark", []string{"price", "1,234.50"}, "price", "no thousands marks", 0, 0},
		{"decimal comma", []string{"price", "2,40"}, "price", "2.40", 0, 0},
		{"currency sign", []string{"price", "$2.40"}, "price", "12.50", 0, 0},
		{"blank price", []string{"price", ""}, "blank", "not_sold", 0, 0},
		{"seven decimals", []string{"price", "2.4000001"}, "price", "six decimals", 0, 0},
		{"200 digits", []string{"price", long}, "price", "12.50", 0, 0},
		{"the dearest", []string{"price", "100000000000"}, "price", "below 100 000 000 000", 0, 0},
		{"six decimals", []string{"price", "2.400001"}, "", "", 0, 0},
		{"seven decimals, the last a zero", []string{"price", "2.4000010"}, "", "", 0, 0},
		{"zeros in front", []string{"price", "0002.40"}, "", "", 0, 0},
		{"blanks round it", []string{"price", "  2.40 "}, "", "", 0, 0},
		{"nothing in the pack", []string{"pack", "0 g"}, "pack", "above zero", 0, 0},
		{"less than nothing", []string{"pack", "-5 g"}, "pack", "500 g", 0, 0},
		{"no unit", []string{"pack", "5 bananas"}, "pack", "bananas", 0, 0},
		{"undeclared measure", []string{"pack", "1 heap"}, "pack", "heap", 0, 0},
		{"measure of another item", []string{"item", "milk", "pack", "1 scoop"}, "pack", "scoop", 0, 0},
		{"its own measure", []string{"pack", "1 scoop"}, "", "", 0, 0},
		{"exponent in a pack", []string{"pack", "1e999 kg"}, "pack", "such as g, kg", 0, 0},
		{"200 digits in a pack", []string{"pack", long + " kg"}, "pack", "120 characters", 0, 0},
		{"10 000 letters in a pack", []string{"pack", strings.Repeat("k", 10_000)}, "pack", "6 x 330 ml", 0, 0},
		{"a range", []string{"pack", "750-800 g"}, "pack", "in hand", 0, 0},
		{"no pack", []string{"pack", ""}, "pack", "500 g", 0, 0},
		{"volume of what is weighed", []string{"pack", "1 L"}, "dimension", "density_kg_per_l", 0, 0},
		{"bidi mark in a pack", []string{"pack", "1 \u202ekg"}, "text", "U+202E", 0, 0},
		{"part of a pack", []string{"packs", "1.5"}, "packs", "whole number", 0, 0},
		{"no packs", []string{"packs", "0"}, "packs", "whole number", 0, 0},
		{"packs below zero", []string{"packs", "-2"}, "packs", "whole number", 0, 0},
		{"unknown region", []string{"region", "atlantis"}, "unknown_region", "tables/regions", 0, 0},
		{"near-miss region", []string{"region", "Cove"}, "unknown_region", `did you mean "cove"?`, 0, 0},
		{"region that climbs", []string{"region", "../../x"}, "unknown_region", "tables/regions", 0, 0},
		{"no region", []string{"region", ""}, "blank", "fill", 0, 0},
		{"unknown outlet", []string{"outlet", "the moon"}, "unknown_outlet", "tables/outlets", 0, 0},
		{"near-miss outlet", []string{"outlet", "hal"}, "unknown_outlet", `did you mean "hall"?`, 0, 0},
		{"no outlet", []string{"outlet", ""}, "blank", "name the outlet", 0, 0},
		{"unknown item", []string{"item", "moon dust"}, "unknown_item", "notes,item,moon dust", 0, 0},
		{"near-miss item", []string{"item", "oat"}, "unknown_item", `did you mean "oats"?`, 0, 0},
		{"item with a comma", []string{"item", `dust, "moon"`}, "unknown_item", `notes,item,"dust, ""moon""",`, 0, 0},
		{"formula in region", []string{"region", "=cmd()"}, "text", "letter or digit", 0, 0},
		{"formula in outlet", []string{"outlet", "=cmd()"}, "text", "letter or digit", 0, 0},
		{"formula in item", []string{"item", "=cmd()"}, "text", "letter or digit", 0, 0},
		{"formula in variety", []string{"variety", "=cmd()"}, "text", "letter or digit", 0, 0},
		{"formula in grade", []string{"grade", "@cmd()"}, "text", "letter or digit", 0, 0},
		{"formula in gtin", []string{"gtin", "+cmd()"}, "text", "letter or digit", 0, 0},
		{"formula in price_type", []string{"price_type", "-cmd()"}, "text", "letter or digit", 0, 0},
		{"formula in currency", []string{"currency", "=cmd()"}, "text", "letter or digit", 0, 0},
		{"formula in price", []string{"price", "=cmd()"}, "price", "12.50", 0, 0},
		{"formula in pack", []string{"pack", "=cmd()"}, "pack", "500 g", 0, 0},
		{"formula in observed_on", []string{"observed_on", "=cmd()"}, "date", "2024-02-29", 0, 0},
		{"formula in weighed", []string{"weighed", "=cmd()"}, "weighed", "500 g", 0, 0},
		{"formula in shelf_unit_price", []string{"shelf_unit_price", "=cmd()"}, "shelf_unit_price", "2.40/kg", 0, 0},
		{"formula in kind", []string{"kind", "=cmd()"}, "kind", "quote or average", 0, 0},
		{"formula in market", []string{"market", "=cmd()"}, "market", "retail or wholesale", 0, 0},
		{"formula in a private note", []string{"note", "=cmd()", "row_id", "=cmd()"}, "", "", 0, 0}, // never published
		{"script as a variety", []string{"variety", "</script><script>alert(1)</script>"}, "", "", 0, 0},
		{"bidi mark in a variety", []string{"variety", "a\u202eb"}, "text", "U+202E", 0, 0},
		{"zero-width space", []string{"variety", "a\u200bb"}, "text", "U+200B", 0, 0},
		{"mark of byte order within", []string{"grade", "a\ufeffb"}, "text", "U+FEFF", 0, 0},
		{"escape sequence", []string{"variety", "a\x1b[2Jb"}, "text", "U+001B", 0, 0},
		{"joiner of a word", []string{"variety", "a\u200db"}, "", "", 0, 0},
		{"name of 300 letters", []string{"variety", strings.Repeat("v", 300)}, "text", "200", 0, 0},
		{"unknown price_type", []string{"price_type", "gift"}, "price_type", "regular, promo", 0, 0},
		{"price of what was not sold", []string{"price_type", "not_sold"}, "price", "blank", 0, 0},
		{"not sold", []string{"price_type", "not_sold", "price", ""}, "", "", 0, 0},
		{"missing is no word of ours", []string{"price_type", "missing", "price", ""}, "price_type", "regular, promo", 0, 0},
		{"GTIN, wrong check digit", []string{"gtin", "9520000009046"}, "gtin", "check digit", 0, 0},
		{"GTIN of 7 digits", []string{"gtin", "9520000"}, "gtin", "8, 12, 13 or 14", 0, 0},
		{"GTIN", []string{"gtin", "9520000009045"}, "", "", 0, 0},
		{"another currency", []string{"currency", "XXX"}, "currency", "XTS", 0, 0},
		{"no currency of any kind", []string{"currency", "crowns"}, "currency", "ISO 4217", 0, 0},
		{"weighed nonsense", []string{"weighed", "heavy"}, "weighed", "heavy", 0, 0},
		{"weighed nothing", []string{"weighed", "0 g"}, "weighed", "above 0", 0, 0},
		{"weighed in litres", []string{"weighed", "1 L"}, "dimension", "density_kg_per_l", 0, 0},
		{"weighed", []string{"weighed", "950 g"}, "", "", 0, 0},
		{"pieces nonsense", []string{"item", "eggs", "pack", "1 each", "pieces", "six"}, "pieces", "how many", 0, 0},
		{"shelf unit price agrees", []string{"shelf_unit_price", "2.40/kg"}, "", "", 0, 0},
		{"shelf unit price disagrees", []string{"shelf_unit_price", "3.40/kg"}, "", "", 0, 1},
		{"shelf unit price per nothing", []string{"shelf_unit_price", "2.40/0 kg"}, "shelf_unit_price", "2.40/kg", 0, 0},
		{"shelf unit price of another kind", []string{"shelf_unit_price", "2.40/L"}, "shelf_unit_price", "per kg", 0, 0},
		{"average without outlet", []string{"kind", "average", "outlet", "", "observed_on", "2024-01"}, "", "", 0, 0},
		{"neither quote nor average", []string{"kind", "median"}, "kind", "quote or average", 0, 0},
		{"neither retail nor wholesale", []string{"market", "black"}, "market", "retail or wholesale", 0, 0},
		{"far off its own series", []string{"observed_on", "2024-01-01", "price", "99999999999"}, "", "", 0, 2},
	} {
		h := hostile{name: c.name, text: noteFile(c.cells...), read: 3, code: c.code, says: c.says, duplicate: c.duplicate, held: c.held}
		if c.code != "" {
			h.quarantined, h.line, h.field = 1, 3, c.cells[0]
			if c.cells[0] == "item" && c.code == "pack" { // the item is there for the pack's sake
				h.field = "pack"
			} else if c.code == "pieces" {
				h.field = "pieces"
			} else if c.cells[0] == "price_type" && c.code == "price" {
				h.field = "price"
			}
		}
		list = append(list, h)
	}
	return list
}

// imported calls import on one file and decodes its report.
func imported(t *testing.T, dir, path string) (int, intake.FileReport, intake.Report) {
	t.Helper()
	code, out, errOut := called("import", "--workspace", dir, "--json", "--quiet", path)
	var rep intake.Report
	if err := json.Unmarshal([]byte(out), &rep); err != nil || len(rep.Files) != 1 {
		t.Fatalf("exit %d, %v\n%s%s", code, err, out, errOut)
	}
	return code, rep.Files[0], rep
}

func TestCorpus(t *testing.T) {
	list := hostileFiles(t)
	if len(list) < 45 {
		t.Fatalf("got %d files, want 45 or more", len(list))
	}
	given, paths := t.TempDir(), []string{}
	want := map[string][]intake.Reason{} // by sha256
	for i, c := range list {
		t.Run(c.name, func(t *testing.T) {
			name := c.file
			if name == "" {
				name = fmt.Sprintf("notes-%03d.csv", i)
			}
			path := filepath.Join(given, name)
			if err := os.WriteFile(path, []byte(c.text), 0o644); err != nil {
				t.Fatal(err)
			}
			dir := town(t, "")
			code, f, rep := imported(t, dir, path)
			if c.read < 0 { // as many lines as the bytes happen to make
				c.read, c.quarantined, c.line = f.Read, f.Read, f.Reasons[0].FirstLine
				if f.Read == 0 {
					t.Error("got no row: it went by in silence")
				}
			}
			if f.Read != f.Accepted+f.Quarantined+f.Duplicate || f.Held > f.Accepted || rep.Read != f.Read || rep.Accepted != f.Accepted || rep.Quarantined != f.Quarantined || rep.Duplicate != f.Duplicate {
				t.Errorf("the counts do not add up: %+v", rep)
			}
			if !c.uncounted {
				lines := -1
				for l := range strings.Lines(c.text) {
					if strings.TrimSpace(l) != "" {
						lines++
					}
				}
				if f.Read != max(lines, 0) {
					t.Errorf("got %d rows, want the %d lines below the header", f.Read, lines)
				}
			}
			if f.Read != c.read || f.Quarantined != c.quarantined || f.Duplicate != c.duplicate || f.Held != c.held {
				t.Errorf("got %d read, %d quarantined, %d duplicate, %d held; want %d, %d, %d, %d: %+v", f.Read, f.Quarantined, f.Duplicate, f.Held, c.read, c.quarantined, c.duplicate, c.held, f.Reasons)
			}
			wantCode := exitDone
			if c.quarantined > 0 {
				wantCode = exitQuarantined
			}
			if code != wantCode {
				t.Errorf("got exit %d, want %d", code, wantCode)
			}
			checkReasons(t, c, f)
			want[f.SHA256] = f.Reasons
			kept := filepath.Join(dir, "archive", f.SHA256)
			if got := contentOf(t, filepath.Join(dir, "archive")); len(got) != 2 {
				t.Errorf("got %d files in the archive, want the bytes and their descriptor", len(got))
			}
			if !slices.Contains(sortedValues(contentOf(t, kept)), c.text) {
				t.Error("the archive does not hold the bytes as they were given")
			}
			if got, n := rowsInDatabase(t, dir), [3]int{f.Accepted, f.Quarantined, f.Duplicate}; got != n {
				t.Errorf("database: got %v accepted, quarantined, duplicate; want %v", got, n)
			}
			paths = append(paths, path)
		})
	}
	publishedCorpus(t, paths, want)
}

// checkReasons holds the reasons of a file to what a person needs to mend it.
func checkReasons(t *testing.T, c hostile, f intake.FileReport) {
	t.Helper()
	rows := 0
	for _, r := range f.Reasons {
		rows += r.Rows
		if r.Code == "" || r.Cure == "" || r.FirstLine < 1 || r.Rows < 1 {
			t.Errorf("got a reason without code, cure, line or rows: %+v", r)
		}
		if why := unprintable(r.Cure + r.Field); why != "" || len(r.Cure) > 1000 || len(r.Text) > 300 || len(r.Field) > 200 {
			t.Errorf("a reason that can not be shown (%s): %+v", why, r)
		}
	}
	if rows != f.Quarantined {
		t.Errorf("the reasons name %d rows, want %d", rows, f.Quarantined)
	}
	if c.quarantined == 0 {
		return
	}
	if len(f.Reasons) != 1 {
		t.Errorf("got %d reasons, want 1: %+v", len(f.Reasons), f.Reasons)
		return
	}
	r := f.Reasons[0]
	if r.Code != c.code || c.field != "" && r.Field != c.field || c.line > 0 && r.FirstLine != c.line || !strings.Contains(r.Cure, c.says) {
		t.Errorf("got %+v; want code %q, field %q, line %d, a cure with %q", r, c.code, c.field, c.line, c.says)
	}
}

// unprintable names a mark that a terminal or a page must not get.
func unprintable(s string) string {
	for _, r := range s {
		if r == unicode.ReplacementChar || unicode.IsControl(r) || unicode.Is(unicode.Cf, r) && r != '\u200c' && r != '\u200d' {
			return fmt.Sprintf("%U", r)
		}
	}
	return ""
}

// isolated is a text between FIRST STRONG ISOLATE and POP DIRECTIONAL ISOLATE: it turns nothing beside it round (Unicode Annex 9, from memory).
var harmless, isolated = strings.NewReplacer("\ufffd", "", "\ufeff", "", "\u200b", ""), regexp.MustCompile("\u2068[^\u2068\u2069]*\u2069")

// publishedCorpus runs a workspace that took in everything, and took it in
// five times more: the reasons stand in the edition as import told them, and
// nothing hostile is published.
func publishedCorpus(t *testing.T, paths []string, want map[string][]intake.Reason) {
	t.Helper()
	dir := town(t, "")
	if err := os.WriteFile(filepath.Join(dir, "farthing.toml"), []byte("name = \"Town\"\ninvented = true\n"), 0o644); err != nil { // with pages
		t.Fatal(err)
	}
	take := append([]string{"import", "--workspace", dir, "--json", "--quiet"}, paths...)
	if code, _, errOut := called(take...); code != exitQuarantined {
		t.Fatalf("import: exit %d\n%s", code, errOut)
	}
	rows, archive := rowsInDatabase(t, dir), contentOf(t, filepath.Join(dir, "archive"))
	for range 5 {
		if code, out, errOut := called(take...); code != exitDone || strings.Count(out, `"already_known":true`) != len(paths) {
			t.Fatalf("again: exit %d\n%s%s", code, out, errOut)
		}
	}
	if got := rowsInDatabase(t, dir); got != rows || !maps.Equal(contentOf(t, filepath.Join(dir, "archive")), archive) {
		t.Errorf("taken in again, the rows are %v, were %v, or the archive has changed", got, rows)
	}
	code, out, errOut := called("run", "--workspace", dir, "--json", "--quiet")
	if code != exitDone {
		t.Fatalf("run: exit %d\n%s%s", code, out, errOut)
	}
	_, status, _ := called("status", "--workspace", dir)
	sheets := globbed(t, filepath.Join(dir, "editions", "*", "set_aside.csv"))
	if len(sheets) != 1 {
		t.Fatalf("got %v, want the one edition's", sheets)
	}
	for _, editions := range sheets {
		f, err := os.Open(editions)
		if err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(f).ReadAll()
		f.Close()
		if err != nil {
			t.Fatal(err)
		}
		at := map[string]int{}
		for i, name := range rows[0] {
			at[name] = i
		}
		got := map[string][]string{}
		for _, r := range rows[1:] {
			cell := func(name string) string { return r[at[name]] }
			got[cell("sha256")] = append(got[cell("sha256")], strings.Join([]string{cell("code"), cell("rows"), cell("first_line"), cell("field"), cell("text"), cell("cure")}, "|"))
			if !strings.Contains(status, cell("file")) {
				t.Errorf("status does not name %q", cell("file"))
			}
		}
		for sha, reasons := range want {
			var list []string
			for _, r := range reasons {
				list = append(list, fmt.Sprintf("%s|%d|%d|%s|%s|%s", r.Code, r.Rows, r.FirstLine, r.Field, strings.ReplaceAll(r.Text, "\r\n", "\n"), r.Cure))
			}
			if slices.Sort(list); !slices.Equal(got[sha], list) {
				t.Errorf("set aside in the edition: got %q, want %q", got[sha], list)
			}
		}
	}
	site, err := filepath.EvalSymlinks(filepath.Join(dir, "site"))
	if err != nil {
		t.Fatal(err)
	}
	published := contentOf(t, site)
	if published["index.html"] == "" || published["data/observations.csv"] == "" {
		t.Error("the site has no pages, or no data")
	}
	for name, text := range published {
		switch filepath.Ext(name) {
		case ".parquet", ".xlsx", ".png": // not text: TestInert of the files to take away reads their cells
			continue
		}
		text = strings.TrimPrefix(text, "\ufeff") // a spreadsheet knows UTF-8 by it
		if filepath.Ext(name) == ".html" && strings.Contains(text, "<script>alert") {
			t.Errorf("%s: a script of the notes is in the page", name)
		}
		if filepath.Ext(name) == ".csv" && strings.Contains(text, "cmd()") {
			t.Errorf("%s: a formula or a private note is published", name)
		}
		for line := range strings.Lines(text) {
			line = strings.TrimRight(line, "\r\n")
			if filepath.Ext(name) == ".html" { // where what was read stands isolated, and marks without width or form do no harm
				line = isolated.ReplaceAllString(harmless.Replace(line), "")
			}
			if why := unprintable(line); why != "" {
				t.Errorf("%s: %s in %q", name, why, line)
				break
			}
		}
	}
}

// contentOf is every file below a folder, by path.
func contentOf(t testing.TB, dir string) map[string]string {
	t.Helper()
	files := map[string]string{}
	if err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := os.ReadFile(path)
		rel, _ := filepath.Rel(dir, path)
		files[filepath.ToSlash(rel)] = string(b)
		return err
	}); err != nil {
		t.Fatal(err)
	}
	return files
}

func sortedValues(m map[string]string) (list []string) {
	for _, v := range m {
		list = append(list, v)
	}
	slices.Sort(list)
	return list
}

// rowsInDatabase counts the accepted, quarantined and duplicate rows.
func rowsInDatabase(t *testing.T, dir string) (n [3]int) {
	t.Helper()
	db, err := sql.Open("duckdb", filepath.Join(dir, "farthing.duckdb"))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if err := db.QueryRow("SELECT (SELECT count(*) FROM obs_price), (SELECT count(*) FROM set_aside_row), (SELECT count(*) FROM obs_duplicate)").Scan(&n[0], &n[1], &n[2]); err != nil {
		t.Fatal(err)
	}
	return n
}

// TestNoFile: what is no file to read stops the import before anything is kept.
func TestNoFile(t *testing.T) {
	dir, given := town(t, ""), t.TempDir()
	good, locked := filepath.Join(given, "good.csv"), filepath.Join(given, "locked.csv")
	for _, p := range []string{good, locked} {
		if err := os.WriteFile(p, []byte(shortHeader), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	dangling, loop := filepath.Join(given, "dangling.csv"), filepath.Join(given, "loop.csv")
	for _, link := range [][2]string{{filepath.Join(given, "nowhere"), dangling}, {loop, loop}} {
		if err := os.Symlink(link[0], link[1]); err != nil {
			t.Skip("no symbolic links here: ", err)
		}
	}
	cases := []struct{ name, path, read string }{
		{"a folder", given, "a folder"},
		{"nothing there", filepath.Join(given, "absent.csv"), "no such file"},
		{"dangling link", dangling, "no such file"},
		{"link to itself", loop, "too many levels"},
		{"a device", os.DevNull, "not a plain file"},
	}
	if err := os.Chmod(locked, 0); err != nil {
		t.Fatal(err)
	}
	if f, err := os.Open(locked); err == nil {
		f.Close() // the superuser reads it all the same
	} else {
		cases = append(cases, struct{ name, path, read string }{"not to be read", locked, "permission denied"})
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			code, _, errOut := called("import", "--workspace", dir, "--json", "--quiet", good, c.path)
			var said struct {
				Error struct{ Code, File, Read, Instead string }
			}
			if err := json.Unmarshal([]byte(errOut), &said); err != nil || code != exitFailed {
				t.Fatalf("got exit %d, %v, %q; want 1 and one error", code, err, errOut)
			}
			if e := said.Error; e.Code != "no_file" || e.File != c.path || !strings.Contains(e.Read, c.read) || e.Instead == "" {
				t.Errorf("got %+v, want no_file, %q read as %q, and what to do instead", e, c.path, c.read)
			}
			if _, err := os.Stat(filepath.Join(dir, "archive")); err == nil {
				t.Error("something was kept")
			}
		})
	}
}
