// Package takeaway writes the files that readers carry away beside the CSV of
// an edition: Parquet, spreadsheet-safe CSV, one workbook, and what describes
// and cites them. What a table holds comes from result.Tables, and its cells
// from its CSV file, so that all forms hold the same values and a further table
// needs nothing here. It computes nothing and reads no clock.
//
// Order of work: Write reads each table once and fans its rows out to Parquet
// (parquet.go) and the safe CSV (safe.go); the workbook (workbook.go) is made
// beside; then the descriptions (datapackage.go, cite.go).
package takeaway

import (
	"bufio"
	"crypto/sha256"
	"encoding/csv"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"farthing/pipeline/result"
)

// The files' names below site/data; a table's are NAME.csv, NAME.parquet and
// SafeFolder/NAME.csv.
const (
	SafeFolder  = "spreadsheet"
	Workbook    = "workbook.xlsx"
	DataPackage = "datapackage.json"
	JSONLD      = "dataset.jsonld"
	Citation    = "CITATION.cff"
	Reproduce   = "reproduce.txt"
)

// SpreadsheetRows is how many rows a table may have to go into the workbook
// and the safe CSV. A sheet could hold 1,048,576, but few machines scroll them,
// and the workbook would cost more than all pages.
const SpreadsheetRows = 50_000

// taken is a published table and what was found while its rows were read.
type taken struct {
	result.Table
	rows int
}

func (t taken) inSheets() bool { return t.rows > 0 && t.rows <= SpreadsheetRows }

// why says why a table is in no sheet.
func (t taken) why() string {
	if t.rows == 0 {
		return "left out: it has no rows in this edition"
	}
	return fmt.Sprintf("left out: more than %d rows; take %s.csv or %s.parquet", SpreadsheetRows, t.Name, t.Name)
}

// Write writes the files into dir, which holds the edition's published CSV.
// known are the hashes of files there that need not be read for them.
func Write(dir string, e *result.Edition, known map[string]string) error {
	if err := os.MkdirAll(filepath.Join(dir, SafeFolder), 0o755); err != nil {
		return err
	}
	tables := result.Tables()
	read := make([]taken, len(tables))
	errs := make([]error, len(tables))
	next := make(chan int)
	var wg sync.WaitGroup
	for range 2 { // workers; what they write does not depend on their number
		wg.Go(func() {
			for i := range next {
				read[i], errs[i] = columnar(dir, tables[i], e.Hash)
			}
		})
	}
	for _, i := range bySize(dir, tables) {
		next <- i
	}
	close(next)
	wg.Wait()
	if err := errors.Join(errs...); err != nil {
		return err
	}
	if err := writeWorkbook(filepath.Join(dir, Workbook), dir, e, read); err != nil {
		return fmt.Errorf("%s: %w", Workbook, err)
	}
	if err := writeCitation(dir, e); err != nil {
		return err
	}
	return writePackage(dir, e, read, known)
}

// bySize are the numbers of the tables, the largest file first.
func bySize(dir string, tables []result.Table) []int {
	var order []int
	size := make([]int64, len(tables))
	for i, t := range tables {
		if st, err := os.Stat(filepath.Join(dir, t.Name+".csv")); err == nil {
			size[i] = st.Size()
		}
		order = append(order, i)
	}
	slices.SortStableFunc(order, func(a, b int) int { return int(min(1, max(-1, size[b]-size[a]))) })
	return order
}

// columnar writes a table's Parquet file and its safe CSV.
func columnar(dir string, t result.Table, edition string) (taken, error) {
	got := taken{Table: t}
	p, err := newParquet(filepath.Join(dir, t.Name+".parquet"), t, edition)
	if err != nil {
		return got, err
	}
	s, err := newSafe(filepath.Join(dir, SafeFolder, t.Name+".csv"), t)
	if err != nil {
		return got, errors.Join(err, p.close())
	}
	err = eachRow(dir, t, func(cells []string) error {
		got.rows++
		return errors.Join(p.add(cells), s.add(cells))
	})
	return got, errors.Join(err, p.close(), s.close())
}

// eachRow reads a table's CSV. The cells are good until the next row is read.
func eachRow(dir string, t result.Table, each func(cells []string) error) error {
	f, err := os.Open(filepath.Join(dir, t.Name+".csv"))
	if err != nil {
		return err
	}
	defer f.Close()
	r := csv.NewReader(bufio.NewReaderSize(f, 1<<20))
	r.ReuseRecord, r.FieldsPerRecord = true, len(t.Columns)
	head, err := r.Read()
	if err != nil {
		return fmt.Errorf("%s.csv: %w", t.Name, err)
	}
	for i, c := range t.Columns {
		if head[i] != c.Name {
			return fmt.Errorf("%s.csv: column %d is %q, want %q", t.Name, i+1, head[i], c.Name)
		}
	}
	for {
		cells, err := r.Read()
		if err == io.EOF {
			return nil
		}
		if err == nil {
			err = each(cells)
		}
		if err != nil {
			line, _ := r.FieldPos(0)
			return fmt.Errorf("%s.csv:%d: %w", t.Name, line, err)
		}
	}
}

// missing says whether a cell holds no value: empty text is a value in a key
// column alone, where it says that nothing is told.
func missing(c result.Column, cell string) bool {
	return cell == "" && !(c.Key && c.Type == result.Text)
}

// buffered is a file that is written through a buffer.
type buffered struct {
	*bufio.Writer
	f *os.File
}

func create(path string) (*buffered, error) {
	f, err := os.Create(path)
	if err != nil {
		return nil, err
	}
	return &buffered{bufio.NewWriterSize(f, 1<<18), f}, nil
}

func (b *buffered) Close() error { return errors.Join(b.Flush(), b.f.Close()) }

// sumOf is a file's size and the hex digits of its SHA-256.
func sumOf(path, known string) (size int64, sum string, err error) {
	if known != "" {
		st, err := os.Stat(path)
		if err != nil {
			return 0, "", err
		}
		return st.Size(), known, nil
	}
	f, err := os.Open(path)
	if err != nil {
		return 0, "", err
	}
	defer f.Close()
	h := sha256.New()
	size, err = io.Copy(h, f)
	return size, hex.EncodeToString(h.Sum(nil)), err
}

func writeJSON(path string, v any) error {
	f, err := create(path)
	if err != nil {
		return err
	}
	enc := json.NewEncoder(f)
	enc.SetIndent("", "  ")
	return errors.Join(enc.Encode(v), f.Close()) // < and > stay escaped: the text may be put into a page
}

// about is what an edition says of itself, in one paragraph.
func about(e *result.Edition) string {
	text := fmt.Sprintf("How far a fixed food allowance reaches, with the prices and baskets behind it. Edition %s, as of %s.", e.Hash, e.AsOf)
	if e.Invented {
		text = "Invented demo data: every place, shop and price is made up. " + text
	}
	return text
}

// cautions are what must be known before a figure is used.
func cautions(e *result.Edition) []string {
	list := []string{
		"Money is in the local currency unit (lcu) of each row's currency_code.",
		"An empty cell is a value that is not known. It is never 0.",
		"The basket is a yardstick. It is not a diet, and not what anybody eats.",
		"Whose right an allowance is, and how much, is for the office that pays to say.",
		"Codes such as observation_id and gtin are text: a spreadsheet that reads CSV may turn them into numbers.",
	}
	if e.Caution != "" {
		list = append(list, e.Caution)
	}
	for _, w := range e.Warnings {
		list = append(list, strings.TrimSuffix(w.Text, ".")+". What helps: "+w.Cure)
	}
	return list
}
