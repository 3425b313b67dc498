package intake

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"farthing/pipeline/workspace"

	"github.com/xuri/excelize/v2"
)

// sourceOf is a source of settings.
func sourceOf(t *testing.T, text string) workspace.Source {
	t.Helper()
	return openBlock(t, "[[source]]\nname = \"made\"\nfiles = [\"*\"]\n"+text).Sources[0]
}

// TestOurColumns: the columns that the settings know are those of a row here, in order.
func TestOurColumns(t *testing.T) {
	if len(workspace.SourceColumns) != nCells {
		t.Fatalf("got %d columns, want %d", len(workspace.SourceColumns), nCells)
	}
	for i, name := range columnNames {
		if workspace.SourceColumns[i] != name {
			t.Errorf("column %d: got %s, want %s", i, workspace.SourceColumns[i], name)
		}
	}
	for name, i := range map[string]int{"series": seriesID, "index": indexName, "base_period": basePeriod, "adjustment": adjustment, "programme": programme,
		"amount_kind": amountKind, "persons": persons, "effective_from": effectiveFrom, "effective_to": effectiveTo, "source": toldBy} {
		if workspace.SourceColumns[i] != name {
			t.Errorf("column %d: got %s, want %s", i, workspace.SourceColumns[i], name)
		}
	}
}

func TestDates(t *testing.T) {
	for _, c := range []struct{ name, settings, in, want string }{
		{"a day", "", "2024-02-29", "2024-02-29"},
		{"a day with a time", "", "2024-02-29 00:00:00", "2024-02-29"},
		{"a day with a time, ISO 8601", "", "2024-02-29T12:30:00Z", "2024-02-29"},
		{"no such day", "", "2023-02-29", "date"},
		{"eight digits", "", "20240229", "2024-02-29"},
		{"six digits", "", "202402", "2024-02-01"},
		{"month 13", "", "2024-13", "date"},
		{"year and month", "", "2024-02", "2024-02-01"},
		{"M01", "", "2024 M02", "2024-02-01"},
		{"M01, joined", "", "2024M02", "2024-02-01"},
		{"M13 is no month", "", "2024 M13", "left_out"},
		{"month codes", "", "2024 7002", "2024-02-01"},
		{"the code of a year", "", "2024 7021", "left_out"},
		{"the words of a year", "", "2024 Annual value", "left_out"},
		{"a quarter", "", "2024-Q1", "left_out"},
		{"a half", "", "2024 S01", "left_out"},
		{"month name", "", "February 2024", "2024-02-01"},
		{"short month name", "", "Feb-2024", "2024-02-01"},
		{"year, month name", "", "2024 Feb", "2024-02-01"},
		{"day, month name", "", "29 Feb 2024", "2024-02-29"},
		{"month names of another language", `month_names = ["ene","feb","mar","abr","may","jun","jul","ago","sep","oct","nov","dic"]`, "dic 2024", "2024-12-01"},
		{"a month name that is none", "", "Foo 2024", "date"},
		{"day first or month first", "", "3/4/2024", "date_order"},
		{"month first", `date_order = "MDY"`, "3/4/2024", "2024-03-04"},
		{"day first", `date_order = "DMY"`, "3.4.2024", "2024-04-03"},
		{"year first", `date_order = "YMD"`, "2024/4/3", "2024-04-03"},
		{"no day of that order", `date_order = "MDY"`, "31/12/2024", "date"},
		{"month and year", "", "2/2024", "2024-02-01"},
		{"a year alone", "", "2024", "year_only"},
		{"a year put to a month", "month_of_year = 7", "2024", "2024-07-01"},
		{"week 40 of weeks from a day", `week_one_on = "1989-09-14"`, "40", "1990-06-14"}, // by hand: 39 weeks = 273 days later
		{"a spreadsheet's day", "", "45351", "2024-02-29"},                                // days from 1899-12-30, ECMA-376 part 1, 18.17.4
		{"nothing", "", "", "date"},
		{"before all", "", "1600-01-01", "date"},
	} {
		t.Run(c.name, func(t *testing.T) {
			src := sourceOf(t, "gives = \"quotes\"\n"+c.settings)
			day0 := time.Time{}
			if strings.HasPrefix(c.name, "a spreadsheet") {
				day0 = time.Date(1899, 12, 30, 0, 0, 0, 0, time.UTC)
			}
			d := newDates(src, day0).read(c.in)
			got := d.text
			if d.fault != nil {
				got = d.fault.code
			}
			if got != c.want {
				t.Errorf("got %s, want %s", got, c.want)
			}
		})
	}
}

// read reads a text by settings and tells the rows as understood and why others are not.
func readRows(t *testing.T, settings, text string) (rows []PreviewRow, aside []setAside) {
	t.Helper()
	d := &dryRun{}
	r := &reader{lexicon: town(), st: d, vocab: newVocabulary(), catalogues: map[string]*catalogue{}}
	r.vocab.word("")
	o, err := r.readText(context.Background(), &unpacked{Reader: UTF8Text(strings.NewReader(text)), close: func() error { return nil }}, sourceOf(t, settings), 0)
	if err != nil {
		t.Fatal(err)
	}
	p := &Preview{}
	d.show(p, r.vocab)
	return p.Rows, o.aside
}

func TestLayouts(t *testing.T) {
	const long = "gives = \"quotes\"\ncolumns = { observed_on = \"when\", outlet = \"where\", item = \"what\", price = \"price\", pack = \"size\" }\nfixed = { region = \"cove\" }\n"
	const header = "when,where,what,size,price\n"
	for _, c := range []struct{ name, settings, text, want string }{
		{"long", long, header + "2024-01-02,hall,oats,500 g,1.25\n", "2:hall oats 0.5 kg 1.25"},
		{"tags below the header", long + "skip_rows = 1\n", header + "#date,#loc,#item,#unit,#value\n2024-01-02,hall,oats,500 g,1.25\n", "3:hall oats 0.5 kg 1.25"},
		{"header after a title", long + "header_starts = \"when\"\n", "A title, with a \" in it\n\n" + header + "2024-01-02,hall,oats,500 g,1.25\n", "4:hall oats 0.5 kg 1.25"},
		{"header by its line", long + "header_line = 2\n", "when\n" + header + "2024-01-02,hall,oats,500 g,1.25\n", "3:hall oats 0.5 kg 1.25"},
		{"header that is not there", long + "header_starts = \"date\"\n", header + "2024-01-02,hall,oats,500 g,1.25\n", "aside 1 header"},
		{"a header line that is not there", long + "header_line = 9\n", header + "2024-01-02,hall,oats,500 g,1.25\n", "aside 1 header"},
		{"footnotes below a blank line", long + "stop_at_blank = true\n", header + "2024-01-02,hall,oats,500 g,1.25\n,,,,\n1,\"a note\n", "2:hall oats 0.5 kg 1.25"},
		{"notes that say so", long + "stop_starts = [\"Note\"]\n", header + "2024-01-02,hall,oats,500 g,1.25\n\"Note: this\", is, one\n", "2:hall oats 0.5 kg 1.25"},
		{"footnote figures", long + "strip_notes = true\n", header + "2024-01-02,hall 2,oats 1 3,500 g,1.25\n", "2:hall oats 0.5 kg 1.25"},
		{"decimal comma", long + "decimal = \",\"\ndelimiter = \";\"\n", strings.ReplaceAll(header, ",", ";") + "2024-01-02;hall;oats;0,5 kg;1,25\n", "2:hall oats 0.5 kg 1.25"},
		{"point where a comma is declared", long + "decimal = \",\"\n", header + "2024-01-02,hall,oats,500 g,1.25\n", "aside 2 price"},
		{"thousands", long + "thousands = \",\"\n", header + "2024-01-02,hall,oats,500 g,\"1,234.5\"\n", "2:hall oats 0.5 kg 1234.5"},
		{"thousands undeclared", long, header + "2024-01-02,hall,oats,500 g,\"1,234.5\"\n", "aside 2 price"},
		{"cents", long + "minor_units = 100\n", header + "2024-01-02,hall,oats,500 g,125\n", "2:hall oats 0.5 kg 1.25"},
		{"revised", long + "value_marks = [\"r\"]\n", header + "2024-01-02,hall,oats,500 g,1.25 r\n", "2:hall oats 0.5 kg 1.25"},
		{"no value", long + "missing = [\"..\"]\n", header + "2024-01-02,hall,oats,500 g,..\n", "2:hall oats 0.5 kg missing"},
		{"0 is no value", long + "zero_is_missing = true\n", header + "2024-01-02,hall,oats,500 g,0.00\n", "2:hall oats 0.5 kg missing"},
		{"0 is no price", long, header + "2024-01-02,hall,oats,500 g,0.00\n", "aside 2 price"},
		{"seven decimals", long, header + "2024-01-02,hall,oats,500 g,1.2512345\n", "aside 2 price"},
		{"seven decimals, rounded", long + "round_prices = true\n", header + "2024-01-02,hall,oats,500 g,1.2512345\n", "2:hall oats 0.5 kg 1.251235"},
		{"a unit in front of a size", long, header + "2024-01-02,hall,oats,90 KG,1.25\n", "2:hall oats 90 kg 1.25"},
		{"a range of sizes", long, header + "2024-01-02,hall,oats,750-800g,1.25\n", "aside 2 pack"},
		{"a local measure", long, header + "2024-01-02,hall,oats,heap,1.25\n", "aside 2 pack"},
		{"imperial", long + "imperial = true\n", header + "2024-01-02,hall,milk,4 pints,1.25\n", "2:hall milk 2.27305 L 1.25"}, // Weights and Measures Act 1985
		{"rows left out", long + "leave_out = { what = [\"oats\"] }\n", header + "2024-01-02,hall,oats,500 g,1.25\n", "aside 2 left_out"},
		{"rows kept", long + "keep = { where = [\"hall\"] }\n", header + "2024-01-02,hall,oats,500 g,1.25\n2024-01-02,yard,oats,500 g,1.25\n", "2:hall oats 0.5 kg 1.25, aside 3 left_out"},
		{"our words for theirs", long + "words = { outlet = { \"the hall\" = \"hall\" } }\n", header + "2024-01-02,the hall,oats,500 g,1.25\n", "2:hall oats 0.5 kg 1.25"},
		{"a column that is not there", long + "header_line = 1\n", "when,where,what,size,prise\n2024-01-02,hall,oats,500 g,1.25\n", "aside 2 missing_column"},
		{"a column that is there twice", long, "when,where,what,size,price,price\n2024-01-02,hall,oats,500 g,1.25,1.26\n", "aside 2 two_columns"},
		{"more cells than columns", long, header + "2024-01-02,hall,oats,500 g,1,25\n", "aside 2 cells"},
		{"other money", long + "currency = \"EUR\"\n", header + "2024-01-02,hall,oats,500 g,1.25\n", "aside 2 currency"},
		{"pack from two columns", "gives = \"averages\"\ncolumns = { month = [\"y\", \"m\"], item = \"what\", value = \"v\", pack = [\"n\", \"u\"] }\nfixed = { region = \"cove\" }\n",
			"y,m,what,n,u,v\n2024,M02,oats,0.5,kg,1.25\n2024,M13,oats,0.5,kg,1.2\n", "2: oats 0.5 kg 1.25, aside 3 left_out"},
		{"price in the column of another cell", "gives = \"quotes\"\ncolumns = { observed_on = \"when\", outlet = \"where\", price = \"p{brand}\" }\nfixed = { region = \"cove\", item = \"oats\", pack = \"1 kg\" }\n",
			"when,where,brand,p1,p2\n2024-01-02,hall,2,1,1.25\n2024-01-02,hall,3,1,1.25\n", "2:hall oats 1 kg 1.25, 3:hall oats 1 kg missing"},
		{"wide, months", "gives = \"averages\"\nlayout = \"wide\"\ncolumns = { item = \"what\" }\nfixed = { region = \"cove\", pack = \"1 kg\" }\nmissing = [\"-\"]\n",
			"what,January 2024,February 2024,note\noats,1.25,-,x\n", "2: oats 1 kg 1.25, 2: oats 1 kg missing"},
		{"wide, regions", "gives = \"averages\"\nlayout = \"wide\"\nacross = \"region\"\ncolumns = { month = \"when\" }\nfixed = { item = \"oats\", pack = \"1 kg\" }\n",
			"when,cove,dale,moor\n2024-01,1.25,1.3,1.4\n", "2: oats 1 kg 1.25, 2: oats 1 kg 1.3, aside 2 unknown_region"},
		{"several series", "gives = \"averages\"\ncolumns = { month = \"when\" }\nseries = [{ id = \"A\", region = \"cove\", item = \"oats\", pack = \"1 lb\" }]\n",
			"when,A,B\n2024-01,1.25,1.3\n", "2: oats 0.453592 kg 1.25, aside 2 unknown_series"},
		{"wide without a column of values", "gives = \"averages\"\nlayout = \"wide\"\ncolumns = { item = \"what\" }\nfixed = { region = \"cove\", pack = \"1 kg\" }\n", "what,x,y\noats,1,2\n", "aside 2 layout"},
		{"what the profile does not say", "gives = \"averages\"\ncolumns = { item = \"what\", month = \"when\", value = \"v\" }\n", "when,what,v\n2024-01,oats,1\n", "aside 2 profile"},
		{"title that names its unit", "gives = \"averages\"\ncolumns = { item = \"what\", month = \"when\", value = \"v\" }\nfixed = { region = \"cove\" }\nwords = {}\n", "when,what,v\n2024-01,oats,1\n", "aside 2 pack"},
	} {
		t.Run(c.name, func(t *testing.T) {
			rows, asides := readRows(t, c.settings, c.text)
			var got []string
			for _, r := range rows {
				v := r.Cells["price"]
				if v == "" {
					v = r.Cells["price_type"]
				}
				got = append(got, fmt.Sprintf("%d:%s %s %s %s", r.Line, r.Cells["outlet"], r.Cells["item"], r.Cells["pack"], v))
			}
			for _, a := range asides {
				got = append(got, fmt.Sprintf("aside %d %s", a.line, a.code))
			}
			if s := strings.Join(got, ", "); s != c.want {
				t.Errorf("got %s, want %s; %+v", s, c.want, asides)
			}
		})
	}
}

// spreadsheet writes rows to a sheet of a new file.
func spreadsheet(t *testing.T, path, sheet string, rows [][]any) {
	t.Helper()
	f := excelize.NewFile()
	defer f.Close()
	if sheet != "Sheet1" {
		f.NewSheet(sheet)
	}
	for i, r := range rows {
		if r == nil {
			continue
		}
		if err := f.SetSheetRow(sheet, fmt.Sprintf("A%d", i+1), &r); err != nil {
			t.Fatal(err)
		}
	}
	if err := f.SaveAs(path); err != nil {
		t.Fatal(err)
	}
}

func TestSpreadsheet(t *testing.T) {
	dir := t.TempDir()
	day := time.Date(2024, 2, 29, 0, 0, 0, 0, time.UTC)
	read := func(path string, src workspace.Source) (*Preview, outcome) {
		d := &dryRun{}
		r := &reader{lexicon: town(), st: d, vocab: newVocabulary(), catalogues: map[string]*catalogue{}}
		r.vocab.word("")
		o, err := r.read(context.Background(), path, src, 0)
		if err != nil {
			t.Fatal(err)
		}
		p := &Preview{}
		d.show(p, r.vocab)
		if err := p.look(r, path, src); err != nil {
			t.Fatal(err)
		}
		return p, o
	}
	notes := filepath.Join(dir, "notes.xlsx")
	spreadsheet(t, notes, "Sheet1", [][]any{{"observed_on", "region", "outlet", "item", "price", "pack", "note"}, {day, "cove", "hall", "oats", 0.1 + 0.2, "500 g", "two\nlines"}, nil, {"2024-03-01", "cove", "hall", "oats", "1.25", "500 g"}})
	p, o := read(notes, priceNotes)
	if rows := p.Rows; len(rows) != 2 || len(o.aside) != 0 || rows[0].Line != 2 || rows[0].Cells["observed_on"] != "2024-02-29" || rows[0].Cells["price"] != "0.3" || rows[1].Line != 4 {
		t.Errorf("notes: got %+v, %+v; want lines 2 and 4, the day and the price as shown", p.Rows, o.aside)
	}
	wide := filepath.Join(dir, "wide.xlsx")
	spreadsheet(t, wide, "prices", [][]any{{"Prices of things"}, {"what", day, "March 2024"}, {"oats", 1.25, nil}})
	src := sourceOf(t, "gives = \"averages\"\nlayout = \"wide\"\nsheet = \"prices\"\nheader_starts = \"what\"\ncolumns = { item = \"what\" }\nfixed = { region = \"cove\", pack = \"1 kg\" }\n")
	p, o = read(wide, src)
	if rows := p.Rows; len(rows) != 2 || len(o.aside) != 0 || rows[0].Cells["observed_on"] != "2024-02-01" || rows[1].Cells["price_type"] != "missing" {
		t.Errorf("wide: got %+v, %+v; want February's price and none for March", p.Rows, o.aside)
	}
	spreadsheet(t, wide, "prices", [][]any{{"what", day, day.AddDate(0, 1, 0)}, {"kelp", 1.25, 1.5}})
	if p, _ := read(wide, src); len(p.Values) != 2 || len(p.Unmapped) != 1 || p.Unmapped[0].Name != "kelp" || p.Unmapped[0].Rows != 2 {
		t.Errorf("wide under day numbers: got values %q, unmapped %+v; want two columns and kelp", p.Values, p.Unmapped)
	}
	for name, b := range map[string][]byte{"zip": []byte("PK\x03\x04 and no more"), "gzip": {0x1f, 0x8b, 8, 0, 0, 0, 0, 0, 0, 3, 1}} {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, b, 0o644); err != nil {
			t.Fatal(err)
		}
		if _, o := read(path, priceNotes); o.read != 1 || len(o.aside) != 1 || o.aside[0].code != "file" {
			t.Errorf("%s: got %+v, want the one file set aside", name, o)
		}
	}
	if _, o := read(wide, sourceOf(t, "gives = \"averages\"\nsheet = \"nothing\"\n")); len(o.aside) != 1 || !strings.Contains(o.aside[0].text, "nothing") {
		t.Errorf("no such sheet: got %+v, want it named", o.aside)
	}
}

// TestPreview previews a file of each family in a workspace that knows nothing
// of it, and again by the profile proposed; nothing is stored.
func TestPreview(t *testing.T) {
	for _, c := range []struct {
		family, file, gives, layout, header string
		columns                             map[string]string
	}{
		{"wfp-ken", "wfp_food_prices_ken.csv", "quotes", "long", "date", map[string]string{"region": "admin1", "outlet": "market", "item": "commodity", "pack": "unit", "price": "price", "market": "pricetype", "currency": "currency"}},
		{"wfp-ken", "wfp_food_prices_ken.resaved.csv.gz", "quotes", "long", "date", map[string]string{"observed_on": "date"}},
		{"wfp-ken", "consumer-price-indices_ken.csv", "index", "long", "Iso3", map[string]string{"index": "Item", "price": "Value", "region": "Area"}},
		{"statcan", "1810024501-eng.csv", "averages", "wide", "Products", map[string]string{"item": "Products"}},
		{"ons", "avgprice.csv", "averages", "wide", "ITEM_ID", nil},
		{"ers", "Fruit Prices 2013.csv", "averages", "long", "Fruit", map[string]string{"item": "Fruit and Form", "pack": "RetailPriceUnit", "observed_on": "Year"}},
		{"bls", "Flour.csv", "averages", "long", "Series Id", map[string]string{"observed_on": "Year and Period", "series": "Series Id"}},
		{"bls", "APU0000701111.csv", "averages", "series", "Date", nil},
		{"bls", "series_index.csv", "catalogue", "long", "series_id", nil},
		{"cpi", "cpiai.csv", "index", "long", "Date", map[string]string{"price": "Index"}},
		{"allowances", "snap_max_allotment.csv", "allowances", "long", "effective_from", map[string]string{"persons": "household_size"}},
		{"scanner-pl", "milk.csv", "quotes", "long", "time", map[string]string{"price": "prices", "outlet": "retID"}},
	} {
		t.Run(c.file, func(t *testing.T) {
			dir := t.TempDir()
			for name, text := range map[string]string{"farthing.toml": "name = \"new\"\n", "tables/regions.csv": "region,region_name,parent,level,population_weight,weight_source,currency_code,prices_include_tax\nhere,Here,,country,,,USD,no\n",
				"tables/items.csv": "item,item_name,coicop_code,coicop_version,base_unit\nmaize,Maize,01.1.1,2018,kg\n"} {
				if err := os.MkdirAll(filepath.Dir(filepath.Join(dir, name)), 0o755); err != nil {
					t.Fatal(err)
				}
				if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			file := filepath.Join(sourcesDir, c.family, "files", c.file)
			preview := func() *Preview {
				w, err := workspace.Open(dir)
				if err != nil {
					t.Fatal(err)
				}
				tables, err := w.Tables()
				if err != nil {
					t.Fatal(err)
				}
				p, err := PreviewFile(context.Background(), w, tables, file)
				if err != nil {
					t.Fatal(err)
				}
				return p
			}
			p := preview()
			if p.Gives != c.gives || p.Layout != c.layout || len(p.Header) == 0 || p.Header[0] != c.header {
				t.Errorf("got %s, %s, header %q; want %s, %s, %q", p.Gives, p.Layout, p.Header, c.gives, c.layout, c.header)
			}
			from := map[string]string{}
			for _, col := range p.Columns {
				from[col.Column] = col.From
			}
			for ours, want := range c.columns {
				if from[ours] != want {
					t.Errorf("%s: got %q, want %q", ours, from[ours], want)
				}
			}
			if f := p.Counts; f.Read == 0 || f.Read != f.Accepted+f.Quarantined+f.Duplicate || c.gives != "catalogue" && len(p.Rows) == 0 {
				t.Errorf("got %+v, %d rows shown", f, len(p.Rows))
			}
			if _, err := os.Stat(filepath.Join(dir, "archive")); err == nil {
				t.Error("a preview made an archive")
			}
			written, err := os.ReadFile(p.ProfileFile)
			if err != nil || string(written) != p.Profile {
				t.Fatalf("got %v, %q written, want the profile", err, written)
			}
			settings, err := os.OpenFile(filepath.Join(dir, "farthing.toml"), os.O_APPEND|os.O_WRONLY, 0)
			if err != nil {
				t.Fatal(err)
			}
			settings.Write(written)
			settings.Close()
			again := preview()
			if again.Source != p.Source || !strings.Contains(again.Why, "pattern") || again.Counts.Read != p.Counts.Read || again.Counts.Accepted != p.Counts.Accepted {
				t.Errorf("by its own profile: got %s, %s, %+v; want %s, %+v", again.Source, again.Why, again.Counts, p.Source, p.Counts)
			}
			for _, u := range p.Unmapped {
				if !strings.HasPrefix(u.Alias, p.Source+","+u.Kind+",") || u.Rows < 1 {
					t.Errorf("got %+v, want a line for the aliases of %s", u, p.Source)
				}
			}
			if c.family == "wfp-ken" && c.gives == "quotes" {
				found := false
				for _, u := range p.Unmapped {
					found = found || u.Alias == p.Source+",region,Coast,…,,," && u.Rows > 10
				}
				if !found {
					t.Errorf("got %+v, want region Coast with its rows", p.Unmapped)
				}
			}
		})
	}
}
