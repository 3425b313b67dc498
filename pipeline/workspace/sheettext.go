package workspace

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"fmt"
	"io"
	"regexp"
	"strconv"
	"strings"
	"time"

	"github.com/xuri/excelize/v2"
)

// SheetText reads a spreadsheet as comma separated text: line n holds row n of
// the named sheet, of the first one if name is "". Line breaks in a cell become
// blanks. Day 0 is what its day numbers count from. It unpacks no more than
// 256 MiB.
func SheetText(r io.Reader, name string) (text io.ReadCloser, day0 time.Time, err error) {
	f, err := excelize.OpenReader(r, excelize.Options{UnzipSizeLimit: xlsxLimit, UnzipXMLSizeLimit: xlsxLimit, RawCellValue: true})
	if err != nil {
		return nil, day0, err
	}
	day0 = time.Date(1899, 12, 30, 0, 0, 0, 0, time.UTC)
	if p, err := f.GetWorkbookProps(); err == nil && p.Date1904 != nil && *p.Date1904 {
		day0 = time.Date(1904, 1, 1, 0, 0, 0, 0, time.UTC)
	}
	if name == "" {
		name = f.GetSheetName(0)
	}
	rows, err := f.Rows(name)
	if err != nil {
		f.Close()
		return nil, day0, err
	}
	in, out := io.Pipe()
	go func() {
		defer f.Close()
		defer rows.Close()
		b := bufio.NewWriter(out)
		w := csv.NewWriter(b)
		err := error(nil)
		for err == nil && rows.Next() {
			var row []string
			if row, err = rows.Columns(excelize.Options{RawCellValue: true}); err != nil {
				break
			}
			for i, cell := range row {
				row[i] = plainCell(cell)
			}
			if len(row) == 0 {
				row = []string{""}
			}
			if err = w.Write(row); err == nil && len(row) == 1 && row[0] == "" {
				w.Flush() // a row without cells is a blank line
			}
		}
		w.Flush()
		if err == nil {
			err = rows.Error()
		}
		if err == nil {
			err = b.Flush()
		}
		out.CloseWithError(err)
	}()
	return in, day0, nil
}

var (
	lineBreaks = strings.NewReplacer("\r\n", " ", "\n", " ", "\r", " ")
	longNumber = regexp.MustCompile(`^-?(\d+\.\d{8,}|\d+(\.\d+)?[eE][+-]?\d+)$`)
)

// plainCell is a cell as a person sees it: a spreadsheet stores 0.1 + 0.2 to
// 17 digits and shows 15.
func plainCell(s string) string {
	if longNumber.MatchString(s) {
		if x, err := strconv.ParseFloat(s, 64); err == nil {
			x, _ = strconv.ParseFloat(strconv.FormatFloat(x, 'g', 15, 64), 64)
			return strconv.FormatFloat(x, 'f', -1, 64)
		}
	}
	return lineBreaks.Replace(s)
}

// WriteSheet writes rows as a sheet for a person: XLSX, where the name ends
// so, of text cells only; else CSV with the mark by which spreadsheets know UTF-8.
func WriteSheet(path string, rows [][]string) error {
	var b bytes.Buffer
	if strings.HasSuffix(path, ".xlsx") {
		f := excelize.NewFile()
		defer f.Close()
		w, err := f.NewStreamWriter(f.GetSheetName(0))
		for i := 0; err == nil && i < len(rows); i++ {
			cells := make([]any, len(rows[i]))
			for j, c := range rows[i] {
				cells[j] = c
			}
			err = w.SetRow(fmt.Sprintf("A%d", i+1), cells)
		}
		if err == nil {
			err = w.Flush()
		}
		if err == nil {
			err = f.Write(&b)
		}
		if err != nil {
			return err
		}
		return WriteFile(path, b.Bytes())
	}
	b.WriteString("\ufeff")
	w := csv.NewWriter(&b)
	if err := w.WriteAll(rows); err != nil {
		return err
	}
	return WriteFile(path, b.Bytes())
}
