package result

import (
	"reflect"
	"strings"
)

// ObservationRow is a row of observations.csv: what an outsider needs to
// compute everything again. No note-taker and no free note leave the
// workspace. The rows are streamed and never held here; the type says what the
// columns are.
type ObservationRow struct {
	ID           string `col:"observation_id,key"`
	ObservedOn   string `col:"observed_on"`
	Region       string `col:"region"`
	Outlet       string `col:"outlet"`
	OutletType   string `col:"outlet_type"`
	Item         string `col:"item"`
	Variety      string `col:"variety"`
	Grade        string `col:"grade"`
	GTIN         string `col:"gtin"`
	PackAsRead   string `col:"pack_as_read"`
	Pack         string `col:"pack"`
	Quantity     Num    `col:"quantity,exact"`
	BaseUnit     string `col:"base_unit"`
	Measured     string `col:"measured"`
	Price        Num    `col:"price_lcu,exact"`
	UnitPrice    Num    `col:"unit_price_lcu,money"`
	PriceType    string `col:"price_type"`
	Kind         string `col:"kind"`
	Market       string `col:"market"`
	CurrencyCode string `col:"currency_code"`
	SourceSeries string `col:"source_series"`
	Held         string `col:"held"`
	Correction   string `col:"correction"`
	PriceUsed    Num    `col:"price_used_lcu,exact"`
	Counts       string `col:"counts"`
	ArchiveFile  string `col:"archive_file,key"`
	Line         Int    `col:"line,key"`
}

// Type is what the cells of a published column hold.
type Type int

// The types of columns. A cell of any but Key text may be missing, and is then empty.
const (
	Text        Type = iota
	Day              // 2024-02-29
	MonthOfYear      // 2024-02
	Whole            // a whole number
	Decimal          // a number with Column.Decimals decimals
)

// Column is a column of a published table. Key columns say together which row
// it is; an empty text in one is a value of its own (no grade is told).
type Column struct {
	Name     string
	Type     Type
	Key      bool
	Decimals int // of a Decimal; -1 where each number has as many as it needs
	Word
}

// Table is a published table: site/data/NAME.csv.
type Table struct {
	Name        string
	Title, Text string
	Columns     []Column
}

// Keys names the table's key columns, in order.
func (t Table) Keys() (keys []string) {
	for _, c := range t.Columns {
		if c.Key {
			keys = append(keys, c.Name)
		}
	}
	return keys
}

// Tables describes the published tables by the types of their rows, the
// observations last.
func Tables() []Table {
	var tables []Table
	for _, f := range files {
		if f.published {
			tables = append(tables, tableOf(f.name, f.columns))
		}
	}
	return append(tables, tableOf(strings.TrimSuffix(Observations, ".csv"), columnsOf(reflect.TypeFor[ObservationRow]())))
}

func tableOf(name string, cols []column) Table {
	about, ok := tableWords[name]
	if !ok {
		about.Title = spaced(name)
	}
	t := Table{Name: name, Title: about.Title, Text: about.Text}
	for _, c := range cols {
		t.Columns = append(t.Columns, Column{c.name, c.typed(), c.kind == "key", c.places(), wordOf(name, c.name)})
	}
	return t
}

// typed is the type of a column's cells. A text column holds days or months
// where its name says so: names end in _on and _month.
func (c column) typed() Type {
	switch c.of {
	case reflect.TypeFor[Month]():
		return MonthOfYear
	case reflect.TypeFor[Int]():
		return Whole
	case reflect.TypeFor[Num]():
		return Decimal
	}
	switch {
	case c.kind == "date", strings.HasSuffix(c.name, "_on"):
		return Day
	case strings.HasSuffix(c.name, "_month"):
		return MonthOfYear
	}
	return Text
}

func (c column) places() int {
	if c.kind == "exact" {
		return -1
	}
	return decimals[c.kind]
}

// wordOf is what the glossary says of a table's column: under its own name
// with the table's, else under its name alone.
func wordOf(table, name string) Word {
	w, ok := glossary[table+"."+name]
	if !ok {
		w = glossary[name]
	}
	if w.Title == "" {
		w.Title = spaced(name)
	}
	if w.Unit == "" {
		for _, u := range unitEndings {
			if strings.HasSuffix(name, u[0]) {
				w.Unit = u[1]
			}
		}
	}
	return w
}

func spaced(name string) string {
	s := strings.ReplaceAll(name, "_", " ")
	return strings.ToUpper(s[:1]) + s[1:]
}

// unitEndings are the units that the end of a name tells.
var unitEndings = [][2]string{{"_lcu", "lcu"}, {"_share", "1"}, {"_pct", "%"}, {"_pp", "percentage points"}, {"_days", "days"}}
