// Package spreadsheet holds what every file for a spreadsheet keeps to: texts
// that can not run, and workbooks that a screen reader finds its way in and
// that come out as the same bytes from the same cells.
//
// The rules are those of the Government Analysis Function, "Releasing
// statistics in spreadsheets": a cover sheet first, one table a sheet, marked as
// a table, no merged cell, no blank row or column, and notes in cells. Tables
// begin in A1, so that programs read them too; what they need to be understood
// stands on the cover. Each table has an alternative text.
package spreadsheet

import (
	"archive/zip"
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"

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

// Formats of a column beside number formats such as "0.00".
const (
	Text    = "@"       // and it stays text when somebody edits it
	Wrapped = "wrapped" // text over several lines
	Date    = "yyyy-mm-dd"
)

// Column of a sheet: its heading, its width in characters and the format of its cells.
type Column struct {
	Head   string
	Width  float64
	Format string
}

// Sheet is a sheet with one table, from A1 on. Rows hands on its rows: texts,
// numbers, nil for an empty cell, or a cell of Formula.
type Sheet struct {
	Name    string // also of the table, behind "table_"
	About   string // the table's alternative text; blank: none
	Columns []Column
	Rows    func(add func(...any) error) error
	Wide    bool // printed across the page, its heading on each one
}

// Line of a cover: a heading or a text.
type Line struct {
	Text string
	Head bool
}

// Properties are a workbook's own: what it is and who made it. Stamp stands for
// the times of making and of the last change, which would make other bytes.
type Properties struct {
	Title, Subject, Creator, Description, Identifier string
	Stamp                                            time.Time
}

// Book is a workbook that is being written: a cover, then sheets.
type Book struct {
	f     *excelize.File
	style map[string]int // by number format
	head  int
	alts  []string // of the tables, as XML
}

// New begins a workbook.
func New(p Properties) (*Book, error) {
	b := &Book{f: excelize.NewFile(), style: map[string]int{}}
	b.f.SetZipWriter(func(to io.Writer) excelize.ZipWriter { return &sortedZip{to, map[string]*bytes.Buffer{}} })
	b.f.Pkg.Store("docProps/core.xml", p.xml())
	var err error
	b.head, err = b.f.NewStyle(&excelize.Style{Font: &excelize.Font{Bold: true}, NumFmt: 49, Alignment: &excelize.Alignment{Vertical: "top", WrapText: true}})
	return b, err
}

// Close frees what the workbook holds.
func (b *Book) Close() error { return b.f.Close() }

// WriteTo writes the workbook, its tables with their alternative texts (MS-XLSX, the extension x14:table of a table).
func (b *Book) WriteTo(to io.Writer) (int64, error) {
	for i, alt := range b.alts {
		name := fmt.Sprintf("xl/tables/table%d.xml", i+1)
		part, ok := b.f.Pkg.Load(name)
		if !ok {
			return 0, fmt.Errorf("%s is not in the workbook", name)
		}
		if text := part.([]byte); alt != "" && !bytes.Contains(text, []byte("altTextSummary")) {
			b.f.Pkg.Store(name, bytes.Replace(text, []byte("</table>"), []byte(alt+"</table>"), 1))
		}
	}
	return b.f.WriteTo(to)
}

// styleOf is a cell style with a number format and lines that wrap or not.
func (b *Book) styleOf(format string) (int, error) {
	if id, ok := b.style[format]; ok {
		return id, nil
	}
	s := &excelize.Style{Alignment: &excelize.Alignment{Vertical: "top", WrapText: format == Wrapped}}
	if format == Text || format == Wrapped {
		s.NumFmt = 49
	} else {
		s.CustomNumFmt = &format
	}
	id, err := b.f.NewStyle(s)
	b.style[format] = id
	return id, err
}

// Formula is a cell that computes, and the value that it has: an empty text
// where there is none.
func Formula(formula string, value any) excelize.Cell {
	return excelize.Cell{Formula: formula, Value: value}
}

// Cover writes the first sheet: a title and lines in one column.
func (b *Book) Cover(title string, lines []Line) error {
	const name = "Cover"
	if err := b.f.SetSheetName("Sheet1", name); err != nil {
		return err
	}
	s, err := b.f.NewStreamWriter(name)
	if err != nil {
		return err
	}
	body, err := b.styleOf(Wrapped)
	if err != nil {
		return err
	}
	big, err := b.f.NewStyle(&excelize.Style{Font: &excelize.Font{Bold: true, Size: 16}, NumFmt: 49, Alignment: &excelize.Alignment{WrapText: true}})
	if err := errors.Join(err, s.SetColWidth(1, 1, 100), s.SetRow("A1", []any{excelize.Cell{StyleID: big, Value: title}})); err != nil {
		return err
	}
	for i, l := range lines {
		style := body
		if l.Head {
			style = b.head
		}
		err = errors.Join(err, s.SetRow("A"+strconv.Itoa(i+2), []any{excelize.Cell{StyleID: style, Value: l.Text}}))
	}
	return errors.Join(err, s.Flush())
}

// Sheet writes a sheet: a header row that stays in view, then the rows, the
// whole marked as a table.
func (b *Book) Sheet(g Sheet) error {
	if _, err := b.f.NewSheet(g.Name); err != nil {
		return err
	}
	if g.Wide {
		if err := b.wide(g.Name); err != nil {
			return err
		}
	}
	s, err := b.f.NewStreamWriter(g.Name)
	if err != nil {
		return err
	}
	var head []any
	for i, c := range g.Columns {
		style, err := b.styleOf(c.Format)
		if err := errors.Join(err, s.SetColStyle(i+1, i+1, style), s.SetColWidth(i+1, i+1, c.Width)); err != nil {
			return err
		}
		head = append(head, excelize.Cell{StyleID: b.head, Value: c.Head})
	}
	if err := s.SetPanes(&excelize.Panes{Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft"}); err != nil {
		return err
	}
	n := 0
	add := func(cells ...any) error {
		n++
		return s.SetRow("A"+strconv.Itoa(n), cells)
	}
	if err := add(head...); err != nil {
		return err
	}
	if err := g.Rows(add); err != nil {
		return err
	}
	corner, err := excelize.CoordinatesToCellName(len(g.Columns), n)
	if err != nil {
		return err
	}
	b.alts = append(b.alts, alt("table_"+g.Name, g.About))
	err = s.AddTable(&excelize.Table{Range: "A1:" + corner, Name: "table_" + g.Name, StyleName: "TableStyleLight1"})
	return errors.Join(err, s.Flush())
}

// wide has a sheet printed across the page, as wide as it, with its heading on each.
func (b *Book) wide(name string) error {
	across, fit, one, any := "landscape", true, 1, 0
	return errors.Join(b.f.SetSheetProps(name, &excelize.SheetPropsOptions{FitToPage: &fit}),
		b.f.SetPageLayout(name, &excelize.PageLayoutOptions{Orientation: &across, FitToWidth: &one, FitToHeight: &any}),
		b.f.SetDefinedName(&excelize.DefinedName{Name: "_xlnm.Print_Titles", RefersTo: "'" + name + "'!$1:$1", Scope: name}))
}

// alt is the extension of a table that holds its alternative text.
func alt(title, about string) string {
	if about == "" {
		return ""
	}
	var s strings.Builder
	s.WriteString(`<extLst><ext uri="{504A1905-F514-4f6f-8877-14C23A59335A}" xmlns:x14="http://schemas.microsoft.com/office/spreadsheetml/2009/9/main"><x14:table altText="`)
	_ = xml.EscapeText(&s, []byte(title)) // a builder takes everything
	s.WriteString(`" altTextSummary="`)
	_ = xml.EscapeText(&s, []byte(about))
	s.WriteString(`"/></ext></extLst>`)
	return s.String()
}

// xml are the properties of the Open Packaging Conventions (ECMA-376 part 2,
// core properties). The library's own name it as the last editor and leave out
// the prefix that some readers look for.
func (p Properties) xml() []byte {
	var b bytes.Buffer
	b.WriteString(xml.Header + `<cp:coreProperties xmlns:cp="http://schemas.openxmlformats.org/package/2006/metadata/core-properties" xmlns:dc="http://purl.org/dc/elements/1.1/" ` +
		`xmlns:dcterms="http://purl.org/dc/terms/" xmlns:dcmitype="http://purl.org/dc/dcmitype/" xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance">`)
	stamp := p.Stamp.Format(time.RFC3339)
	for _, x := range [][3]string{{"dc:title", "", p.Title}, {"dc:subject", "", p.Subject}, {"dc:creator", "", p.Creator}, {"dc:description", "", p.Description},
		{"cp:lastModifiedBy", "", p.Creator}, {"dc:language", "", "en"}, {"dc:identifier", "", p.Identifier},
		{"dcterms:created", ` xsi:type="dcterms:W3CDTF"`, stamp}, {"dcterms:modified", ` xsi:type="dcterms:W3CDTF"`, stamp}} {
		b.WriteString("<" + x[0] + x[1] + ">")
		_ = xml.EscapeText(&b, []byte(x[2])) // a buffer takes everything
		b.WriteString("</" + x[0] + ">")
	}
	b.WriteString("</cp:coreProperties>")
	return b.Bytes()
}

// firstDay is the first day whose serial number all spreadsheets agree on:
// 1 March 1900. An earlier day stays text.
var firstDay = time.Date(1900, 3, 1, 0, 0, 0, 0, time.UTC)

// Day is a day such as 2024-02-29 as a cell of format Date; nil where it is blank.
func Day(text string) (any, error) {
	if text == "" {
		return nil, nil
	}
	day, err := time.Parse(time.DateOnly, text)
	switch {
	case err != nil:
		return nil, fmt.Errorf("%q is no day such as 2024-02-29", text)
	case day.Before(firstDay):
		return text, nil
	}
	return int(day.Sub(firstDay).Hours()/24) + 61, nil
}
