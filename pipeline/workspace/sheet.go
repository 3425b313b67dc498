package workspace

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math/big"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"farthing/pipeline/quantity"
	"farthing/pipeline/result"

	"github.com/xuri/excelize/v2"
)

// sheet is a table's cells with the line of each row.
type sheet struct {
	file  string
	rows  [][]string
	lines []int
}

func (w *Workspace) openSheet(name string) (*sheet, error) {
	csvFile, xlsxFile := "tables/"+name+".csv", "tables/"+name+".xlsx"
	b, err := w.Text(csvFile)
	x, errX := w.Text(xlsxFile)
	switch {
	case err == nil && errX == nil:
		return nil, &InputError{Code: "two_tables", File: csvFile, Read: "stands beside " + xlsxFile, Instead: "keep one of the two"}
	case err == nil:
		return csvSheet(csvFile, b)
	case !errors.Is(err, fs.ErrNotExist):
		return nil, err
	case errX == nil:
		return xlsxSheet(x, xlsxFile)
	}
	return nil, nil
}

func csvSheet(file string, b []byte) (*sheet, error) {
	if !utf8.Valid(b) {
		return nil, &InputError{Code: "encoding", File: file, Read: "not UTF-8 text", Instead: "save it as CSV UTF-8"}
	}
	s := &sheet{file: file}
	r := csv.NewReader(strings.NewReader(strings.TrimPrefix(string(b), "\ufeff")))
	r.FieldsPerRecord = -1
	for {
		rec, err := r.Read()
		if err == io.EOF {
			return s, nil
		}
		var bad *csv.ParseError
		if errors.As(err, &bad) {
			return nil, &InputError{Code: "csv", File: file, Line: bad.Line, Read: bad.Err.Error(), Instead: "close each quoted cell; a quote inside one is written twice"}
		}
		line, _ := r.FieldPos(0)
		if strings.HasPrefix(strings.TrimSpace(rec[0]), "#") || strings.TrimSpace(strings.Join(rec, "")) == "" {
			continue // a comment or an empty line of a hand-edited table
		}
		s.rows, s.lines = append(s.rows, rec), append(s.lines, line)
	}
}

// xlsxLimit bounds what a spreadsheet may unpack to.
const xlsxLimit = 256 << 20

func xlsxSheet(b []byte, file string) (*sheet, error) {
	bad := func(err error) error {
		return &InputError{Code: "xlsx", File: file, Read: err.Error(), Instead: "save it again as XLSX or as CSV UTF-8"}
	}
	f, err := excelize.OpenReader(bytes.NewReader(b), excelize.Options{UnzipSizeLimit: xlsxLimit, UnzipXMLSizeLimit: xlsxLimit, RawCellValue: true})
	if err != nil {
		return nil, bad(err)
	}
	defer f.Close()
	rows, err := f.GetRows(f.GetSheetName(0))
	if err != nil {
		return nil, bad(err)
	}
	s := &sheet{file: file}
	for i, row := range rows {
		if strings.TrimSpace(strings.Join(row, "")) != "" {
			s.rows, s.lines = append(s.rows, row), append(s.lines, i+1)
		}
	}
	return s, nil
}

// tableColumn is a field of a row type: its tag gives the column, then "key"
// (part of the row's key), "need" (must be filled) and the words allowed.
type tableColumn struct {
	name    string
	key     bool
	need    bool
	allowed []string
	field   int
}

func tableColumns(t reflect.Type) []tableColumn {
	var cols []tableColumn
	for i := range t.NumField() {
		tag, ok := t.Field(i).Tag.Lookup("col")
		if !ok {
			continue
		}
		name, rest, _ := strings.Cut(tag, ",")
		rest, list, some := strings.Cut(rest, "one of ")
		c := tableColumn{name: name, key: strings.Contains(rest, "key"), need: strings.Contains(rest, "need"), field: i}
		if some {
			c.allowed = strings.Split(list, "|")
		}
		cols = append(cols, c)
	}
	return cols
}

// readTable reads one table; ok is false where there is none. All faults of
// the header, else of the cells, are in the error.
func readTable[T any](w *Workspace, name string) (rows []T, ok bool, err error) {
	s, err := w.openSheet(name)
	if err != nil || s == nil {
		return nil, false, err
	}
	cols := tableColumns(reflect.TypeFor[T]())
	var names []string
	for _, c := range cols {
		names = append(names, c.name)
	}
	if len(s.rows) == 0 {
		return nil, false, &InputError{Code: "no_header", File: s.file, Line: 1, Read: "no header line", Instead: "start with the line " + strings.Join(names, ",")}
	}
	at, errs := matchHeader(s, cols, names)
	if len(errs) > 0 { // the cells below would be read as what they are not
		return nil, true, errors.Join(errs...)
	}
	seen := map[string]int{}
	for i, rec := range s.rows[1:] {
		line := s.lines[i+1]
		var row T
		v := reflect.ValueOf(&row).Elem()
		v.FieldByName("At").Set(reflect.ValueOf(At{s.file, line}))
		var key []string
		for j, c := range cols {
			cell := ""
			if at[j] >= 0 && at[j] < len(rec) {
				cell = strings.TrimSpace(rec[at[j]])
			}
			if bad := readCell(v.Field(c.field), c, cell, s.file); bad != nil {
				bad.File, bad.Line, bad.Field = s.file, line, c.name
				errs = append(errs, bad)
			}
			if c.key {
				key = append(key, cell)
			}
		}
		k := strings.Join(key, "\x00")
		if first, dup := seen[k]; dup {
			errs = append(errs, &InputError{"table", s.file, line, "", "the same key as line " + strconv.Itoa(first), "keep one of the two rows"})
		}
		seen[k] = line
		rows = append(rows, row)
	}
	return rows, true, errors.Join(errs...)
}

// matchHeader gives the place of each of our columns in the file, -1 where it is not there.
func matchHeader(s *sheet, cols []tableColumn, names []string) (at []int, errs []error) {
	for range cols {
		at = append(at, -1)
	}
	fail := func(code, field, read, instead string) {
		errs = append(errs, &InputError{code, s.file, s.lines[0], field, read, instead})
	}
	meant := map[string]bool{} // by a misspelt column: one mistake, one error
	for i, h := range s.rows[0] {
		h = strings.TrimSpace(h)
		j := slices.Index(names, h)
		switch {
		case h == "":
		case j < 0:
			meant[Nearest(h, names)] = true
			fail("unknown_column", h, "unknown column", DidYouMean(h, names, "known columns: "+strings.Join(names, ", ")))
		case at[j] >= 0:
			fail("two_columns", h, "the column stands twice", "keep one")
		default:
			at[j] = i
		}
	}
	for j, c := range cols {
		if at[j] < 0 && c.need && !meant[c.name] {
			fail("missing_column", c.name, "no such column", "add it to the header")
		}
	}
	return at, errs
}

// readCell sets a field from a cell's text; a blank leaves it missing.
func readCell(v reflect.Value, c tableColumn, cell, file string) *InputError {
	bad := func(instead string) *InputError {
		return &InputError{Code: "table", Read: fmt.Sprintf("%q", cell), Instead: instead}
	}
	if cell == "" {
		if c.need {
			return &InputError{Code: "table", Read: "nothing", Instead: "fill the cell"}
		}
		return nil
	}
	if c.allowed != nil && !slices.Contains(c.allowed, cell) {
		return bad("write one of " + strings.Join(c.allowed, ", "))
	}
	check := BadText
	if c.key {
		check = BadName
	}
	if why := check(cell); why != "" {
		return bad(why)
	}
	switch p := v.Addr().Interface().(type) {
	case *string:
		*p = cell
	case *int:
		n, err := strconv.Atoi(cell)
		if err != nil || n < 0 {
			return bad("write a whole number")
		}
		*p = n
	case **big.Rat:
		r, err := quantity.ParseDecimal(cell, false)
		if err != nil || r.Sign() < 0 {
			return bad("write a number such as 12.5")
		}
		*p = r
	case *time.Time:
		t, err := ParseDay(cell)
		if n, errN := strconv.Atoi(cell); err != nil && errN == nil && strings.HasSuffix(file, ".xlsx") {
			t, err = time.Date(1899, 12, 30, 0, 0, 0, 0, time.UTC).AddDate(0, 0, n), nil // a spreadsheet's day number
		}
		if err != nil {
			return bad("write a day as 2024-02-29")
		}
		*p = t
	case *result.Month:
		m, err := result.ParseMonth(cell)
		if err != nil {
			return bad("write a month as 2024-02")
		}
		*p = m
	default:
		panic(fmt.Sprintf("workspace: no reader for a %s", v.Type()))
	}
	return nil
}

// ParseDay reads an ISO day.
func ParseDay(s string) (time.Time, error) { return time.Parse("2006-01-02", s) }

// BadText says what is wrong with a text that holds marks that nobody can see, or "".
func BadText(s string) string {
	for _, r := range s {
		switch {
		case r == utf8.RuneError:
			return "a character is broken: save the file as CSV UTF-8"
		case unicode.IsControl(r):
			return fmt.Sprintf("it holds the control character %U: type the text again by hand", r)
		case unicode.Is(unicode.Cf, r) && r != '\u200c' && r != '\u200d' && r != '\u00ad': // joiners and the soft hyphen belong to words
			return fmt.Sprintf("it hides the invisible mark %U: type the text again by hand", r)
		}
	}
	return ""
}

// BadName is BadText for what stands in keys, addresses and spreadsheets.
func BadName(s string) string {
	switch {
	case s == "":
		return ""
	case strings.ContainsRune("=+-@", rune(s[0])):
		return "begin it with a letter or digit: a spreadsheet would run it as a formula"
	case len(s) > 200:
		return "at most 200 characters"
	}
	return BadText(s)
}
