package result

import (
	"bytes"
	"encoding/json"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// random fills every column of a row.
func random[T any](t *rapid.T) (row T) {
	v := reflect.ValueOf(&row).Elem()
	for _, c := range columnsOf(v.Type()) {
		switch p := v.FieldByIndex(c.index).Addr().Interface().(type) {
		case *Num:
			if rapid.Bool().Draw(t, c.name+" there") {
				*p = Some(rapid.Float64().Draw(t, c.name))
			}
		case *Int:
			if rapid.Bool().Draw(t, c.name+" there") {
				*p = Count(rapid.Int().Draw(t, c.name))
			}
		case *Month:
			*p = Month(rapid.IntRange(12, 9999*12+11).Draw(t, c.name))
		case *string:
			*p = rapid.StringOf(rapid.RuneFrom([]rune("aZ0 ,;\"'\n\t<&=-é–漢"))).Draw(t, c.name)
		default:
			t.Fatalf("%s: no rule for a %T", c.name, p)
		}
	}
	return row
}

// exactly checks that a table reads back as the same numbers and texts, and writes the same bytes again.
func exactly[T any](t *testing.T) {
	t.Helper()
	rapid.Check(t, func(t *rapid.T) {
		rows := rapid.SliceOfN(rapid.Custom(random[T]), 0, 5).Draw(t, "rows")
		var b bytes.Buffer
		if err := WriteCSV(&b, rows, true); err != nil {
			t.Fatal(err)
		}
		got, err := ReadCSV[T](bytes.NewReader(b.Bytes()))
		if err != nil {
			t.Fatalf("%v in\n%s", err, b.Bytes())
		}
		if !slices.EqualFunc(got, rows, func(a, b T) bool { return any(a) == any(b) }) {
			t.Fatalf("got  %+v\nwant %+v", got, rows)
		}
		var again bytes.Buffer
		if err := WriteCSV(&again, got, true); err != nil || again.String() != b.String() {
			t.Fatalf("written again: %v, got\n%swant\n%s", err, again.String(), b.String())
		}
	})
}

func TestCSVRoundTrip(t *testing.T) {
	t.Run("reach", exactly[Reach])
	t.Run("basket lines", exactly[BasketLine])
	t.Run("items", exactly[Item])
	t.Run("allowances", exactly[Allowance])
	t.Run("reasons", exactly[SetAside])
	t.Run("rows set aside", exactly[SetAsideRow])
}

func TestReadCSVRefuses(t *testing.T) {
	head := strings.Join(Columns[Household](), ",") + "\n"
	for _, c := range []struct{ name, text, want string }{
		{"nothing", "", "EOF"},
		{"a column too few", "household\n", "1 columns, want 5"},
		{"another column", strings.Replace(head, "persons", "heads", 1), `column 3 is "heads", want "persons"`},
		{"no number", head + "a,A,1,1,3\nb,B,1,one,3\n", `line 3: person_equivalents: strconv.ParseFloat: parsing "one": invalid syntax`},
		{"no count", head + "a,A,1.5,1,3\n", `line 2: persons: strconv.Atoi: parsing "1.5": invalid syntax`},
		{"a short row", head + "a,A\n", "record on line 2: wrong number of fields"},
	} {
		if _, err := ReadCSV[Household](strings.NewReader(c.text)); err == nil || err.Error() != c.want {
			t.Errorf("%s: got %v, want %s", c.name, err, c.want)
		}
	}
	bad := strings.Join(Columns[BasketLine](), ",") + "\n" + strings.Repeat(",", len(Columns[BasketLine]())-1) + "\n"
	if _, err := ReadCSV[BasketLine](strings.NewReader(bad)); err == nil || !strings.Contains(err.Error(), `line 2: month: month ""`) {
		t.Errorf("no month: got %v", err)
	}
}

var household = Household{Household: "one, two", Name: `say "hi" <b>`, Persons: Count(0), Equivalents: Some(2.00005)}

func TestPublishedAndExact(t *testing.T) {
	var published, exact bytes.Buffer
	if err := WriteCSV(&published, []Household{household}, false); err != nil {
		t.Fatal(err)
	}
	if err := WriteCSV(&exact, []Household{household}, true); err != nil {
		t.Fatal(err)
	}
	head := "household,household_name,persons,person_equivalents,meals_per_day\n\"one, two\",\"say \"\"hi\"\" <b>\",0,"
	// Contracts, section 3: shares have 4 decimals. By hand: 2.00005 is a tie and goes up.
	if want := head + "2.0001,\n"; published.String() != want {
		t.Errorf("published: got %q, want %q", published.String(), want)
	}
	if want := head + "2.00005,\n"; exact.String() != want {
		t.Errorf("exact: got %q, want %q", exact.String(), want)
	}
	if got := Printed(household, "person_equivalents"); got != "2.0001" {
		t.Errorf("Printed: got %s, want 2.0001", got)
	}
	if got, ok := Field(household, "person_equivalents"); got != "2.00005" || !ok {
		t.Errorf("Field: got %s, %v, want 2.00005", got, ok)
	}
	if got, ok := Field(household, "no_such_column"); got != "" || ok {
		t.Errorf("Field of no column: got %q, %v", got, ok)
	}
	if got, want := Key(Reach{Programme: "p", AmountKind: "maximum", Region: "r", Household: "h", Basket: "b", Month: 24288}), []string{"p", "maximum", "r", "h", "b", "2024-01"}; !slices.Equal(got, want) {
		t.Errorf("Key: got %v, want %v", got, want)
	}
	// Contracts, section 3: the order of the key is that of reach's columns.
	if got, want := Keys[Reach](), []string{"programme", "amount_kind", "region", "household", "basket", "month"}; !slices.Equal(got, want) {
		t.Errorf("Keys: got %v, want %v", got, want)
	}
}

func TestJSONRow(t *testing.T) {
	// By hand: unrounded, a count of 0 is 0, what is missing or blank is null, columns in file order.
	want := `{"household":"one, two","household_name":"say \"hi\" \u003cb\u003e","persons":0,"person_equivalents":2.00005,"meals_per_day":null}`
	if got := string(JSONRow(household)); got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
	if got, want := string(JSONRow(Household{})), `{"household":null,"household_name":null,"persons":null,"person_equivalents":null,"meals_per_day":null}`; got != want {
		t.Errorf("an empty row: got %s, want %s", got, want)
	}
	rapid.Check(t, func(t *rapid.T) {
		row := random[Reach](t)
		var back map[string]any
		if err := json.Unmarshal(JSONRow(row), &back); err != nil {
			t.Fatalf("%v in %s", err, JSONRow(row))
		}
		if len(back) != len(Columns[Reach]()) {
			t.Fatalf("got %d columns, want %d", len(back), len(Columns[Reach]()))
		}
		if got, ok := back["reach_days"].(float64); ok != row.Days.OK || got != row.Days.V {
			t.Fatalf("reach_days: got %v, want %+v", back["reach_days"], row.Days)
		}
		if got, _ := back["region"].(string); got != row.Region {
			t.Fatalf("region: got %q, want %q", got, row.Region)
		}
	})
}

func write(t *testing.T, dir string, files ...string) {
	t.Helper()
	for _, f := range files {
		name, text, _ := strings.Cut(f, "=")
		if err := os.MkdirAll(filepath.Dir(filepath.Join(dir, name)), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

func seal(t *testing.T, files ...string) string {
	t.Helper()
	dir := t.TempDir()
	write(t, dir, files...)
	first, err := Seal(dir, nil)
	if err != nil {
		t.Fatal(err)
	}
	// Sealing again, and pages drawn from the edition, change nothing.
	write(t, dir, SiteName("abc")+"/index.html=page")
	if again, err := Seal(dir, nil); err != nil || again != first {
		t.Errorf("sealed again: got %s, %v, want %s", again, err, first)
	}
	sums, err := Manifest(dir)
	if err != nil || len(sums) != len(files) {
		t.Errorf("manifest: got %d files, %v, want %d", len(sums), err, len(files))
	}
	return first
}

func TestSeal(t *testing.T) {
	want := seal(t, "a.csv=1", "b.csv=2", "tables/items.csv=3")
	if len(want) != 16 {
		t.Errorf("got %q, want 16 hex digits", want)
	}
	if got := seal(t, "tables/items.csv=3", "b.csv=2", "a.csv=1"); got != want {
		t.Errorf("written in another order: got %s, want %s", got, want)
	}
	for name, files := range map[string][]string{
		"a byte":      {"a.csv=1", "b.csv=2", "tables/items.csv=4"},
		"a name":      {"a.csv=1", "c.csv=2", "tables/items.csv=3"},
		"a folder":    {"a.csv=1", "b.csv=2", "table/items.csv=3"},
		"swapped":     {"a.csv=2", "b.csv=1", "tables/items.csv=3"},
		"one more":    {"a.csv=1", "b.csv=2", "tables/items.csv=3", "d.csv="},
		"one fewer":   {"a.csv=1", "b.csv=2"},
		"cut between": {"a.csv=12", "b.csv=", "tables/items.csv=3"},
	} {
		if got := seal(t, files...); got == want {
			t.Errorf("%s changed: got the same hash", name)
		}
	}
}

func TestEditionRoundTrip(t *testing.T) {
	want := rapid.Custom(func(t *rapid.T) *Edition {
		return &Edition{Meta: Meta{Schema: "farthing.edition/1", Name: "<T>", Options: [][2]string{{"a", "b"}}, Publish: []Combination{{Region: "r"}}, Held: 1},
			Reach: []Reach{random[Reach](t)}, Baskets: []Basket{random[Basket](t)}, Lines: []BasketLine{random[BasketLine](t)}, Items: []Item{random[Item](t), random[Item](t)},
			Allowances: []Allowance{random[Allowance](t)}, Sources: []Source{random[Source](t)}, SetAside: []SetAside{random[SetAside](t)}, AsideRows: []SetAsideRow{random[SetAsideRow](t)}, Warnings: []Warning{random[Warning](t)},
			Regions: []Region{random[Region](t)}, Households: []Household{random[Household](t)}, ItemNames: []ItemName{random[ItemName](t)}}
	}).Example(1)
	dir := t.TempDir()
	if err := want.Write(dir); err != nil {
		t.Fatal(err)
	}
	got, err := Load(dir)
	if err != nil {
		t.Fatal(err)
	}
	if got.AsideRows != nil {
		t.Errorf("loaded at once: %+v", got.AsideRows)
	}
	if err := got.LoadAsideRows(); err != nil {
		t.Fatal(err)
	}
	want.Dir, want.Hash = dir, filepath.Base(dir)
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got  %+v\nwant %+v", got, want)
	}
	if err := os.Remove(filepath.Join(dir, "item.csv")); err != nil {
		t.Fatal(err)
	}
	if _, err := Load(dir); !errors.Is(err, fs.ErrNotExist) || !strings.Contains(err.Error(), "run again") {
		t.Errorf("without item.csv: got %v, want that it does not exist", err)
	}
}
