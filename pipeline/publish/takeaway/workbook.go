package takeaway

import (
	"archive/zip"
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"os"
	"slices"
	"strconv"
	"strings"
	"time"

	"farthing/pipeline/result"

	"github.com/xuri/excelize/v2"
)

// firstDate is 1980-01-01, the first date that a zip can tell.
const firstDate = 1<<5 | 1

// sortedZip is a workbook's zip with its parts in the order of their names:
// the library writes sheets in the order of a map.
type sortedZip struct {
	to    io.Writer
	parts map[string]*bytes.Buffer
}

func (z *sortedZip) Create(name string) (io.Writer, error) {
	z.parts[name] = new(bytes.Buffer)
	return z.parts[name], nil
}

func (z *sortedZip) AddFS(fs.FS) error { return errors.ErrUnsupported }

func (z *sortedZip) Close() error {
	w := zip.NewWriter(z.to)
	for _, name := range slices.Sorted(maps.Keys(z.parts)) {
		part, err := w.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Deflate, ModifiedDate: firstDate})
		if err != nil {
			return err
		}
		if _, err := part.Write(z.parts[name].Bytes()); err != nil {
			return err
		}
	}
	return w.Close()
}

// writer writes the sheets of a workbook, one table each.
type writer struct {
	f     *excelize.File
	style map[string]int // by number format
	head  int
}

// styleOf is a cell style with a number format and lines that wrap or not.
func (w *writer) styleOf(format string) (int, error) {
	if id, ok := w.style[format]; ok {
		return id, nil
	}
	s := &excelize.Style{Alignment: &excelize.Alignment{Vertical: "top", WrapText: format == wrapped}}
	if format == textFormat || format == wrapped {
		s.NumFmt = 49 // text, and it stays text when somebody edits it
	} else {
		s.CustomNumFmt = &format
	}
	id, err := w.f.NewStyle(s)
	w.style[format] = id
	return id, err
}

const textFormat, wrapped = "@", "wrapped"

// format is the number format of a column.
func format(c result.Column) string {
	switch {
	case c.Type == result.Day:
		return "yyyy-mm-dd"
	case c.Type == result.Whole, c.Type == result.Decimal && c.Decimals == 0:
		return "0"
	case c.Type == result.Decimal && c.Decimals > 0:
		return "0." + strings.Repeat("0", c.Decimals)
	case c.Type == result.Decimal:
		return "General"
	}
	return textFormat
}

// grid is a sheet: its table from A1 on, and the widths and formats of its columns.
type grid struct {
	name    string
	head    []string
	widths  []float64
	formats []string
	rows    func(add func(...any) error) error
}

// write writes a grid as a sheet of its name: a header row that stays in view,
// then the rows, the whole marked as a table.
func (w *writer) write(g grid) error {
	if _, err := w.f.NewSheet(g.name); err != nil {
		return err
	}
	s, err := w.f.NewStreamWriter(g.name)
	if err != nil {
		return err
	}
	for i := range g.head {
		style, err := w.styleOf(g.formats[i])
		if err := errors.Join(err, s.SetColStyle(i+1, i+1, style), s.SetColWidth(i+1, i+1, g.widths[i])); err != nil {
			return err
		}
	}
	if err := s.SetPanes(&excelize.Panes{Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft"}); err != nil {
		return err
	}
	n := 0
	add := func(cells ...any) error {
		n++
		return s.SetRow("A"+strconv.Itoa(n), cells)
	}
	var head []any
	for _, h := range g.head {
		head = append(head, excelize.Cell{StyleID: w.head, Value: h})
	}
	if err := add(head...); err != nil {
		return err
	}
	if err := g.rows(add); err != nil {
		return err
	}
	corner, err := excelize.CoordinatesToCellName(len(g.head), n)
	if err != nil {
		return err
	}
	err = s.AddTable(&excelize.Table{Range: "A1:" + corner, Name: "table_" + g.name, StyleName: "TableStyleLight1"})
	return errors.Join(err, s.Flush())
}

// writeWorkbook writes one workbook: a cover, the contents, the columns
// explained, and a sheet for each table that is not too long.
//
// The rules are those of the Government Analysis Function, "Releasing
// statistics in spreadsheets": one table a sheet, marked as a table, no merged
// cell, no blank row or column, a cover sheet, and notes in cells. The tables
// begin in A1, so that programs read them too; what they need to be understood
// stands on the cover.
func writeWorkbook(path, dir string, e *result.Edition, tables []taken) error {
	f := excelize.NewFile()
	defer f.Close()
	f.SetZipWriter(func(to io.Writer) excelize.ZipWriter { return &sortedZip{to, map[string]*bytes.Buffer{}} })
	w := &writer{f: f, style: map[string]int{}}
	var err error
	if w.head, err = f.NewStyle(&excelize.Style{Font: &excelize.Font{Bold: true}, NumFmt: 49, Alignment: &excelize.Alignment{Vertical: "top", WrapText: true}}); err != nil {
		return err
	}
	f.Pkg.Store("docProps/core.xml", properties(e))
	if err := w.cover(e); err != nil {
		return err
	}
	if err := w.write(contents(tables)); err != nil {
		return err
	}
	if err := w.write(columns(tables)); err != nil {
		return err
	}
	for _, t := range tables {
		if t.inSheets() {
			if err := w.write(w.table(dir, t)); err != nil {
				return err
			}
		}
	}
	out, err := os.Create(path)
	if err != nil {
		return err
	}
	_, err = f.WriteTo(out)
	return errors.Join(err, out.Close())
}

// asOfStamp is the edition's day as an instant: a file's times come from what is in it.
func asOfStamp(e *result.Edition) string {
	day, err := time.Parse(time.DateOnly, e.AsOf)
	if err != nil {
		day = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC) // there is no price yet
	}
	return day.Format(time.RFC3339)
}

// properties are the workbook's, of the Open Packaging Conventions (ECMA-376
// part 2, core properties). The library's own name it as the last editor and
// leave out the prefix that some readers look for.
func properties(e *result.Edition) []byte {
	var b bytes.Buffer
	b.WriteString(xml.Header + `<cp:coreProperties xmlns:cp="http://schemas.openxmlformats.org/package/2006/metadata/core-properties" xmlns:dc="http://purl.org/dc/elements/1.1/" ` +
		`xmlns:dcterms="http://purl.org/dc/terms/" xmlns:dcmitype="http://purl.org/dc/dcmitype/" xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance">`)
	stamp := asOfStamp(e)
	for _, x := range [][3]string{{"dc:title", "", e.Name}, {"dc:subject", "", "Edition " + e.Hash + ", as of " + e.AsOf}, {"dc:creator", "", e.Name}, {"dc:description", "", about(e)},
		{"cp:lastModifiedBy", "", e.Name}, {"dc:language", "", "en"}, {"dc:identifier", "", e.Hash},
		{"dcterms:created", ` xsi:type="dcterms:W3CDTF"`, stamp}, {"dcterms:modified", ` xsi:type="dcterms:W3CDTF"`, stamp}} {
		b.WriteString("<" + x[0] + x[1] + ">")
		_ = xml.EscapeText(&b, []byte(x[2])) // a buffer takes everything
		b.WriteString("</" + x[0] + ">")
	}
	b.WriteString("</cp:coreProperties>")
	return b.Bytes()
}

func (w *writer) cover(e *result.Edition) error {
	const name = "Cover"
	if err := w.f.SetSheetName("Sheet1", name); err != nil {
		return err
	}
	s, err := w.f.NewStreamWriter(name)
	if err != nil {
		return err
	}
	body, err := w.styleOf(wrapped)
	if err != nil {
		return err
	}
	title, err := w.f.NewStyle(&excelize.Style{Font: &excelize.Font{Bold: true, Size: 16}, NumFmt: 49, Alignment: &excelize.Alignment{WrapText: true}})
	if err := errors.Join(err, s.SetColWidth(1, 1, 100)); err != nil {
		return err
	}
	n := 0
	line := func(style int, text string) {
		n++
		err = errors.Join(err, s.SetRow("A"+strconv.Itoa(n), []any{excelize.Cell{StyleID: style, Value: text}}))
	}
	line(title, e.Name)
	line(body, about(e))
	line(w.head, "Edition")
	line(body, e.Hash)
	line(w.head, "Date")
	line(body, "As of "+e.AsOf+".")
	line(w.head, "What is in it")
	line(body, "Each sheet holds one table. The sheet Contents lists them, the sheet Columns says what each column holds.")
	line(w.head, "Notes and cautions")
	for _, c := range cautions(e) {
		line(body, c)
	}
	line(w.head, "Sources")
	for _, x := range sources(e) {
		line(body, x.words())
	}
	if len(e.Sources) == 0 {
		line(body, "No file has been read.")
	}
	line(w.head, "How to cite")
	line(body, citation(e))
	return errors.Join(err, s.Flush())
}

func contents(tables []taken) grid {
	return grid{"Contents", []string{"table", "rows", "what it holds", "note"}, []float64{20, 12, 80, 60}, []string{textFormat, "0", wrapped, wrapped},
		func(add func(...any) error) error {
			for _, t := range tables {
				note := "sheet " + t.Name
				if !t.inSheets() {
					note = t.why()
				}
				if err := add(t.Name, t.rows, t.Text, note); err != nil {
					return err
				}
			}
			return nil
		}}
}

var typeWords = map[result.Type]string{result.Text: "text", result.Day: "day", result.MonthOfYear: "month", result.Whole: "whole number", result.Decimal: "number"}

func columns(tables []taken) grid {
	return grid{"Columns", []string{"table", "column", "title", "type", "unit", "key", "what it holds"}, []float64{20, 26, 24, 14, 26, 8, 100},
		[]string{textFormat, textFormat, textFormat, textFormat, textFormat, textFormat, wrapped},
		func(add func(...any) error) error {
			for _, t := range tables {
				for _, c := range t.Columns {
					key := "no"
					if c.Key {
						key = "yes"
					}
					if err := add(t.Name, c.Name, c.Title, typeWords[c.Type], orNil(c.Unit), key, orNil(c.Text)); err != nil {
						return err
					}
				}
			}
			return nil
		}}
}

func orNil(s string) any {
	if s == "" {
		return nil
	}
	return s
}

// firstDay is the first day whose serial number all spreadsheets agree on:
// 1 March 1900. An earlier day stays text.
var firstDay = time.Date(1900, 3, 1, 0, 0, 0, 0, time.UTC)

func (w *writer) table(dir string, t taken) grid {
	g := grid{name: t.Name}
	for _, c := range t.Columns {
		g.head = append(g.head, c.Name)
		g.widths = append(g.widths, float64(min(40, max(10, len(c.Name)+4))))
		g.formats = append(g.formats, format(c))
	}
	g.rows = func(add func(...any) error) error {
		row := make([]any, len(t.Columns))
		return eachRow(dir, t.Table, func(cells []string) error {
			for i, c := range t.Columns {
				v, err := value(c, cells[i])
				if err != nil {
					return err
				}
				row[i] = v
			}
			return add(row...)
		})
	}
	return g
}

// value is a cell's value in a sheet; nil where there is none. A text is a
// text whatever it begins with: only a cell that holds a formula runs as one.
func value(c result.Column, cell string) (any, error) {
	if cell == "" {
		return nil, nil
	}
	switch c.Type {
	case result.Decimal:
		return strconv.ParseFloat(cell, 64)
	case result.Whole:
		return strconv.ParseInt(cell, 10, 64)
	case result.Day:
		day, err := time.Parse(time.DateOnly, cell)
		if err != nil {
			return nil, fmt.Errorf("%s: %q is no day such as 2024-02-29", c.Name, cell)
		}
		if day.Before(firstDay) {
			return cell, nil
		}
		return int(day.Sub(firstDay).Hours()/24) + 61, nil
	}
	return cell, nil
}
