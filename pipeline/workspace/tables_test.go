package workspace

import (
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"farthing/testdata"

	"github.com/xuri/excelize/v2"
)

// demoTables is a workspace with the demo's settings and tables.
func demoTables(t *testing.T) *Workspace {
	t.Helper()
	dir := t.TempDir()
	demo, err := fs.Sub(testdata.Files, "demo")
	if err != nil {
		t.Fatal(err)
	}
	if err := os.CopyFS(dir, demo); err != nil {
		t.Fatal(err)
	}
	w, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	return w
}

func TestTables(t *testing.T) {
	const regions = "region,region_name,parent,level,population_weight,weight_source,currency_code,prices_include_tax\n"
	for _, c := range []struct {
		name, table, from, to string
		want                  []InputError // File is the table's; Read and Instead are parts
	}{
		{"as they are", "regions", "", "", nil},
		{"comment and empty lines", "regions", "\ntavrin", "\n# the country\n\ntavrin", nil},
		{"CRLF and a byte order mark", "regions", "", "\ufeff", nil},
		{"columns in another order", "regions", "region,region_name", "region, region_name ", nil},
		{"unknown parent", "regions", "mirrow-bay,Mirrow Bay,tavrin", "mirrow-bay,Mirrow Bay,tavrim", []InputError{{Code: "table", Line: 3, Field: "parent", Read: "tavrim", Instead: `did you mean "tavrin"?`}}},
		{"above itself", "regions", "mirrow-bay,Mirrow Bay,tavrin", "mirrow-bay,Mirrow Bay,mirrow-bay", []InputError{{Code: "table", Line: 3, Field: "parent", Read: "mirrow-bay", Instead: "above itself"}}},
		{"two currencies in a tree", "regions", "0.55,invented for the demo,XTS", "0.55,invented for the demo,XXX", []InputError{
			{Code: "table", Line: 3, Field: "currency_code", Read: "XXX", Instead: "XTS"}}},
		{"weight below 0", "regions", "0.55", "-0.55", []InputError{{Code: "table", Line: 3, Field: "population_weight", Read: "-0.55", Instead: "12.5"}}},
		{"weight with an exponent", "regions", "0.55", "5.5e-1", []InputError{{Code: "table", Line: 3, Field: "population_weight", Read: "5.5e-1", Instead: "12.5"}}},
		{"line counts comments", "regions", "\nmirrow-bay,Mirrow Bay,tavrin,district,0.55", "\n# a\n# b\nmirrow-bay,Mirrow Bay,tavrin,district,x", []InputError{{Code: "table", Line: 5, Field: "population_weight", Read: "x", Instead: "12.5"}}},
		{"several faults", "regions", "district,0.55,invented for the demo,XTS,yes", "district,x,invented for the demo,XTS,maybe", []InputError{
			{Code: "table", Line: 3, Field: "population_weight", Read: "x", Instead: "12.5"}, {Code: "table", Line: 3, Field: "prices_include_tax", Read: "maybe", Instead: "yes, no"}}},
		{"header twice", "regions", "\ntavrin", "\n" + regions + "tavrin", []InputError{{Code: "table", Line: 2, Field: "population_weight", Read: "population_weight", Instead: "12.5"},
			{Code: "table", Line: 2, Field: "prices_include_tax", Read: "prices_include_tax", Instead: "yes, no"}}},
		{"column twice", "regions", "region_name,", "region_name,region_name,", []InputError{{Code: "two_columns", Line: 1, Field: "region_name", Read: "twice", Instead: "keep one"}}},
		{"season of 13", "items", "0.94,7,9,", "0.94,7,13,", []InputError{{Code: "table", Line: 13, Field: "season_from_month, season_to_month", Read: "7, 13", Instead: "1 to 12"}}},
		{"yield of 0", "items", "0.85", "0", []InputError{{Code: "table", Line: 5, Field: "edible_yield", Read: "0", Instead: "above 0"}}},
		{"unknown item of a basket", "baskets", "staples,oats", "staples,oat", []InputError{{Code: "table", Line: 2, Field: "item", Read: "oat", Instead: `did you mean "oats"?`}}},
		{"a day that is none", "allowances", "2024-04-01", "2024-04-31", nil}, // filled in below: several rows hold the day
		{"a household of nobody", "households", ",1,1.20", ",0,1.20", []InputError{{Code: "table", Line: 2, Field: "persons", Read: "0", Instead: "above 0"}}},
		{"a whole number too large", "households", ",1,1.20", ",99999999999999999999,1.20", []InputError{{Code: "table", Line: 2, Field: "persons", Read: "9999", Instead: "whole number"}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			w := demoTables(t)
			file := filepath.Join(w.TablesDir(), c.table+".csv")
			b, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			text, n := string(b), -1
			switch {
			case c.to == "\ufeff":
				text = c.to + strings.ReplaceAll(text, "\n", "\r\n")
			case c.name == "a day that is none":
				n = 0
				for i, l := range strings.Split(text, "\n") {
					if strings.Contains(l, c.from) {
						c.want = append(c.want, InputError{Code: "table", Line: i + 1, Field: "effective_from", Read: c.to, Instead: "2024-02-29"})
					}
				}
				if len(c.want) == 0 {
					t.Fatal("no row holds the day")
				}
			case c.from != "":
				n = 1
				if !strings.Contains(text, c.from) {
					t.Fatalf("%s does not hold %q", file, c.from)
				}
			}
			if c.from != "" {
				if n == 0 {
					n = -1
				}
				text = strings.Replace(text, c.from, c.to, n)
			}
			if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
				t.Fatal(err)
			}
			_, err = w.Tables()
			got := InputErrors(err)
			if len(got) != len(c.want) {
				t.Fatalf("got %v, want %d faults", err, len(c.want))
			}
			for i, want := range c.want {
				if g := got[i]; g.Code != want.Code || g.File != "tables/"+c.table+".csv" || g.Line != want.Line || g.Field != want.Field || !strings.Contains(g.Read, want.Read) || !strings.Contains(g.Instead, want.Instead) {
					t.Errorf("got %+v, want %+v", *g, want)
				}
			}
		})
	}
}

// TestTableFiles: which of a table's files is read, and what its absence does.
func TestTableFiles(t *testing.T) {
	sheet := func(t *testing.T, path string, rows ...[]any) {
		t.Helper()
		f := excelize.NewFile()
		defer f.Close()
		for i, r := range rows {
			cell, _ := excelize.CoordinatesToCellName(1, i+1)
			if err := f.SetSheetRow("Sheet1", cell, &r); err != nil {
				t.Fatal(err)
			}
		}
		if err := f.SaveAs(path); err != nil {
			t.Fatal(err)
		}
	}
	only := func(t *testing.T, w *Workspace, code, instead string) {
		t.Helper()
		_, err := w.Tables()
		if list := InputErrors(err); len(list) != 1 || list[0].Code != code || !strings.Contains(list[0].Instead, instead) {
			t.Errorf("got %v, want one fault %s that says %q", err, code, instead)
		}
	}
	header := []any{"household", "household_name", "persons", "person_equivalents", "meals_per_day", "source"}
	t.Run("a spreadsheet", func(t *testing.T) {
		w := demoTables(t)
		os.Remove(filepath.Join(w.TablesDir(), "households.csv"))
		sheet(t, filepath.Join(w.TablesDir(), "households.xlsx"), header, []any{"single", "One", 1, 1.2, nil, "made"})
		tables, err := w.Tables()
		if err != nil || len(tables.Households) != 1 || tables.Households[0].Equivalents.RatString() != "6/5" {
			t.Errorf("got %+v, %v; want one household of 1.2", tables.Households, err)
		}
	})
	t.Run("a fault in a spreadsheet", func(t *testing.T) {
		w := demoTables(t)
		os.Remove(filepath.Join(w.TablesDir(), "households.csv"))
		sheet(t, filepath.Join(w.TablesDir(), "households.xlsx"), header, nil, []any{"single", "One", "many", 1.2, nil, "made"})
		_, err := w.Tables()
		if list := InputErrors(err); len(list) != 1 || list[0].File != "tables/households.xlsx" || list[0].Line != 3 || list[0].Field != "persons" {
			t.Errorf("got %v, want the persons of row 3", err)
		}
	})
	t.Run("both", func(t *testing.T) {
		w := demoTables(t)
		sheet(t, filepath.Join(w.TablesDir(), "households.xlsx"), header)
		only(t, w, "two_tables", "keep one")
	})
	t.Run("no spreadsheet at all", func(t *testing.T) {
		w := demoTables(t)
		os.Rename(filepath.Join(w.TablesDir(), "households.csv"), filepath.Join(w.TablesDir(), "households.xlsx"))
		only(t, w, "xlsx", "XLSX")
	})
	t.Run("an empty file", func(t *testing.T) {
		w := demoTables(t)
		os.WriteFile(filepath.Join(w.TablesDir(), "households.csv"), nil, 0o644)
		only(t, w, "no_header", "household,household_name")
	})
	t.Run("no regions", func(t *testing.T) {
		w := demoTables(t)
		os.Remove(filepath.Join(w.TablesDir(), "regions.csv"))
		only(t, w, "no_table", "farthing init")
	})
	t.Run("no measures", func(t *testing.T) {
		w := demoTables(t)
		os.Remove(filepath.Join(w.TablesDir(), "measures.csv"))
		tables, err := w.Tables()
		if err != nil || len(tables.Off) != 1 || tables.Off[0].Table != "measures" {
			t.Errorf("got %+v, %v; want local measures switched off", tables.Off, err)
		}
	})
}
