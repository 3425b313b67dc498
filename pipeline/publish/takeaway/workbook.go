package takeaway

import (
	"errors"
	"fmt"
	"os"
	"strconv"
	"strings"
	"time"

	"farthing/pipeline/result"
	"farthing/pipeline/spreadsheet"
)

// format is the number format of a column.
func format(c result.Column) string {
	switch {
	case c.Type == result.Day:
		return spreadsheet.Date
	case c.Type == result.Whole, c.Type == result.Decimal && c.Decimals == 0:
		return "0"
	case c.Type == result.Decimal && c.Decimals > 0:
		return "0." + strings.Repeat("0", c.Decimals)
	case c.Type == result.Decimal:
		return "General"
	}
	return spreadsheet.Text
}

// writeWorkbook writes one workbook: a cover, the contents, the columns
// explained, and a sheet for each table that is not too long.
func writeWorkbook(path, dir string, e *result.Edition, tables []taken) error {
	b, err := spreadsheet.New(spreadsheet.Properties{Title: e.Name, Subject: "Edition " + e.Hash + ", as of " + e.AsOf, Creator: e.Name, Description: about(e), Identifier: e.Hash, Stamp: asOf(e)})
	if err != nil {
		return err
	}
	defer b.Close()
	if err := b.Cover(e.Name, cover(e)); err != nil {
		return err
	}
	sheets := []spreadsheet.Sheet{contents(tables), columns(tables)}
	for _, t := range tables {
		if t.inSheets() {
			sheets = append(sheets, tableSheet(dir, t))
		}
	}
	for _, s := range sheets {
		if err := b.Sheet(s); err != nil {
			return err
		}
	}
	out, err := os.Create(path)
	if err != nil {
		return err
	}
	_, err = b.WriteTo(out)
	return errors.Join(err, out.Close())
}

// asOf is the edition's day: a file's times come from what is in it.
func asOf(e *result.Edition) time.Time {
	day, err := time.Parse(time.DateOnly, e.AsOf)
	if err != nil {
		day = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC) // there is no price yet
	}
	return day
}

func cover(e *result.Edition) (lines []spreadsheet.Line) {
	block := func(head string, texts ...string) {
		if head != "" {
			lines = append(lines, spreadsheet.Line{Text: head, Head: true})
		}
		for _, t := range texts {
			lines = append(lines, spreadsheet.Line{Text: t})
		}
	}
	block("", about(e))
	block("Edition", e.Hash)
	block("Date", "As of "+e.AsOf+".")
	block("What is in it", "Each sheet holds one table. The sheet Contents lists them, the sheet Columns says what each column holds.")
	block("Notes and cautions", cautions(e)...)
	block("Sources")
	for _, x := range sources(e) {
		block("", x.words())
	}
	if len(e.Sources) == 0 {
		block("", "No file has been read.")
	}
	block("How to cite", citation(e))
	return lines
}

func contents(tables []taken) spreadsheet.Sheet {
	return spreadsheet.Sheet{Name: "Contents", About: "The tables of the edition, with their rows and where they stand.",
		Columns: []spreadsheet.Column{{Head: "table", Width: 20, Format: spreadsheet.Text}, {Head: "rows", Width: 12, Format: "0"}, {Head: "what it holds", Width: 80, Format: spreadsheet.Wrapped}, {Head: "note", Width: 60, Format: spreadsheet.Wrapped}},
		Rows: func(add func(...any) error) error {
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

func columns(tables []taken) spreadsheet.Sheet {
	return spreadsheet.Sheet{Name: "Columns", About: "What each column of each table holds, with its type and unit.",
		Columns: []spreadsheet.Column{{Head: "table", Width: 20, Format: spreadsheet.Text}, {Head: "column", Width: 26, Format: spreadsheet.Text}, {Head: "title", Width: 24, Format: spreadsheet.Text},
			{Head: "type", Width: 14, Format: spreadsheet.Text}, {Head: "unit", Width: 26, Format: spreadsheet.Text}, {Head: "key", Width: 8, Format: spreadsheet.Text}, {Head: "what it holds", Width: 100, Format: spreadsheet.Wrapped}},
		Rows: func(add func(...any) error) error {
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

func tableSheet(dir string, t taken) spreadsheet.Sheet {
	g := spreadsheet.Sheet{Name: t.Name, About: t.Text}
	for _, c := range t.Columns {
		g.Columns = append(g.Columns, spreadsheet.Column{Head: c.Name, Width: float64(min(40, max(10, len(c.Name)+4))), Format: format(c)})
	}
	g.Rows = func(add func(...any) error) error {
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
		v, err := spreadsheet.Day(cell)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", c.Name, err)
		}
		return v, nil
	}
	return cell, nil
}
