package spreadsheet

import (
	"bytes"
	"testing"
	"time"

	"github.com/xuri/excelize/v2"
)

// What could run has an apostrophe before it, and it can be taken off again.
func TestGuard(t *testing.T) {
	for text, want := range map[string]string{"": "", "it's": "it's", "'quoted'": "'quoted'", "-1": "'-1", "=1": "'=1", "'=1": "''=1", " \u00a0@x": "' \u00a0@x", "＋1": "'＋1", "a=1": "a=1", "\ufeff\t": "'\ufeff\t"} {
		if got := Guard(text); got != want {
			t.Errorf("%q: got %q, want %q", text, got, want)
		}
	}
}

// The day numbers are those of ECMA-376 part 1, 18.17.4.1: 1 is 1900-01-01, and 60 the day that was none; 2024-01-01 is 45292 (from memory).
func TestDay(t *testing.T) {
	for text, want := range map[string]any{"": nil, "1900-03-01": 61, "2024-01-01": 45292, "1899-12-31": "1899-12-31"} {
		if got, err := Day(text); err != nil || got != want {
			t.Errorf("%q: got %v, %v, want %v", text, got, err, want)
		}
	}
	if got, err := Day("1 May"); err == nil {
		t.Errorf("got %v, want an error", got)
	}
}

// A book comes out as the same bytes, its formulas with their values, headings repeated in print.
func TestBook(t *testing.T) {
	book := func() []byte {
		b, err := New(Properties{Title: "<Title>", Stamp: time.Date(2024, 2, 29, 0, 0, 0, 0, time.UTC)})
		if err != nil {
			t.Fatal(err)
		}
		defer b.Close()
		if err := b.Cover("Title", []Line{{"Head", true}, {"text", false}}); err != nil {
			t.Fatal(err)
		}
		for _, name := range []string{"C", "A", "B"} {
			if err := b.Sheet(Sheet{Name: name, About: `"All" & <more>`, Wide: true, Columns: []Column{{"n", 8, "0.00"}, {"double", 8, "0.00"}},
				Rows: func(add func(...any) error) error { return add(1.5, Formula("A2*2", 3.)) }}); err != nil {
				t.Fatal(err)
			}
		}
		var out bytes.Buffer
		if _, err := b.WriteTo(&out); err != nil {
			t.Fatal(err)
		}
		return out.Bytes()
	}
	one := book()
	for range 3 { // the library writes sheets in the order of a map
		if !bytes.Equal(one, book()) {
			t.Error("other bytes")
		}
	}
	f, err := excelize.OpenReader(bytes.NewReader(one))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if formula, _ := f.GetCellFormula("A", "B2"); formula != "A2*2" {
		t.Errorf("got the formula %q", formula)
	}
	if value, _ := f.GetCellValue("A", "B2"); value != "3.00" {
		t.Errorf("got the value %q", value)
	}
	if p, err := f.GetPageLayout("A"); err != nil || *p.Orientation != "landscape" || *p.FitToWidth != 1 {
		t.Errorf("got the page %+v, %v", p, err)
	}
	if names := f.GetDefinedName(); len(names) != 3 || names[0].RefersTo[len(names[0].RefersTo)-5:] != "$1:$1" {
		t.Errorf("got the names %+v, want the heading of each sheet on each page", names)
	}
}
