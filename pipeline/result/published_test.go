package result

import (
	"slices"
	"strings"
	"testing"
)

// TestGlossary: what is published is explained, in words and without a line break.
func TestGlossary(t *testing.T) {
	for _, table := range Tables() {
		if table.Title == "" || table.Text == "" {
			t.Errorf("%s: say in tableWords what the table holds", table.Name)
		}
		if len(table.Keys()) == 0 {
			t.Errorf("%s: no key", table.Name)
		}
		var names []string
		for _, c := range table.Columns {
			if c.Text == "" || strings.ContainsAny(c.Title+c.Unit+c.Text, "\n\t") {
				t.Errorf("%s.%s: got %q, say in glossary what the column holds, in one line", table.Name, c.Name, c.Text)
			}
			if slices.Contains(names, c.Name) {
				t.Errorf("%s.%s: twice", table.Name, c.Name)
			}
			names = append(names, c.Name)
			if money := strings.HasSuffix(c.Name, "_lcu"); money && (!strings.HasPrefix(c.Unit, "lcu") || c.Type != Decimal) {
				t.Errorf("%s.%s: got unit %q and type %v, want money of the local unit", table.Name, c.Name, c.Unit, c.Type)
			}
		}
	}
}

// TestTables: the types follow from the rows, with nothing listed twice.
func TestTables(t *testing.T) {
	find := func(table, column string) Column {
		for _, x := range Tables() {
			for _, c := range x.Columns {
				if x.Name == table && c.Name == column {
					return c
				}
			}
		}
		t.Fatalf("no %s.%s", table, column)
		return Column{}
	}
	for _, c := range []struct {
		table, column string
		want          Type
		decimals      int
		key           bool
		unit          string
	}{
		{"reach", "month", MonthOfYear, 0, true, ""},
		{"reach", "reach_days", Decimal, 2, false, "days"},
		{"reach", "run_out_on", Day, 0, false, ""},
		{"reach", "fed_days", Whole, 0, false, "days"},
		{"reach", "imputed_share", Decimal, 4, false, "1"},
		{"reach", "obs_status", Text, 0, false, ""},
		{"basket", "base_month", MonthOfYear, 0, false, ""},
		{"basket", "per_day_lcu", Decimal, 4, false, "lcu per day"},
		{"allowances", "persons", Whole, 0, true, ""},
		{"allowances", "effective_from", Day, 0, false, ""},
		{"moved", "change_pct", Decimal, 3, false, "%"},
		{"regions", "parity_lowe", Decimal, 6, false, "1"},
		{"observations", "price_lcu", Decimal, -1, false, "lcu"},
		{"observations", "observed_on", Day, 0, false, ""},
		{"observations", "line", Whole, 0, true, ""},
	} {
		got := find(c.table, c.column)
		if got.Type != c.want || got.Type == Decimal && got.Decimals != c.decimals || got.Key != c.key || got.Unit != c.unit {
			t.Errorf("%s.%s: got %+v, want %+v", c.table, c.column, got, c)
		}
	}
	// A table that the glossary does not know has its words from its names.
	type row struct {
		Place string `col:"place_of_sale,key"`
		Cost  Num    `col:"cost_lcu,money"`
	}
	got := table("new_table", true, func(*Edition) *[]row { return nil })
	if about := tableOf(got.name, got.columns); about.Title != "New table" || about.Columns[0].Title != "Place of sale" || about.Columns[1].Unit != "lcu" || !slices.Equal(about.Keys(), []string{"place_of_sale"}) {
		t.Errorf("got %+v", about)
	}
}
