package dashboards

import (
	"slices"

	"farthing/dashboards/layout"
	"farthing/pipeline/result"
)

// column is a column of a table of rows of T.
type column[T any] struct {
	head  string
	words bool // text rather than numbers
	cell  func(T) layout.Cell
	rare  bool // left out where no row has anything in it
}

// number is a column of numbers as a file prints them: the digits of the page
// are those of the data.
func number[T any](head string, text func(T) string) column[T] {
	return column[T]{head: head, cell: func(row T) layout.Cell { return layout.Cell{Text: text(row)} }}
}

// text is a column of words.
func text[T any](head string, text func(T) string) column[T] {
	return column[T]{head: head, words: true, cell: func(row T) layout.Cell { return layout.Cell{Text: text(row), Words: true} }}
}

// status is a column of the letters that rows carry; a table of normal rows has none.
func status[T any](t tongue, base func(T) result.Base) column[T] {
	c := number(t.T("Status"), func(row T) string { return letters(base(row)) }) // as narrow as a number
	c.rare = true
	return c
}

// gap makes a column say why there is no number in it, and in those after it;
// where why is "" the column stays as it is.
func (c column[T]) gap(why func(T) string) column[T] {
	cell := c.cell
	c.cell = func(row T) layout.Cell {
		if words := why(row); words != "" {
			return layout.Cell{Text: words, Missing: true, Span: -1}
		}
		return cell(row)
	}
	return c
}

// or makes a column say words where it has nothing.
func (c column[T]) or(words string) column[T] {
	return c.orWhy(func(T) string { return words })
}

// orWhy makes a column say why where it has nothing.
func (c column[T]) orWhy(why func(T) string) column[T] {
	cell := c.cell
	c.cell = func(row T) layout.Cell {
		x := cell(row)
		if x.Text == "" {
			x.Text, x.Missing = why(row), true
		}
		return x
	}
	return c
}

// money4, days2, index6 and share2 print a number with its file's digits.
func (t tongue) money4(n result.Num) string { return t.num(n, 4) }
func (t tongue) days2(n result.Num) string  { return t.num(n, 2) }
func (t tongue) index6(n result.Num) string { return t.num(n, 6) }
func (t tongue) share2(n result.Num) string { return t.percent(n, 2) }

// tableOf lays rows out; now is the row that the page speaks of, -1 for none.
func tableOf[T any](rows []T, now int, columns ...column[T]) *layout.Table {
	t := &layout.Table{}
	for _, c := range columns {
		t.Head = append(t.Head, layout.Column{Text: c.head, Words: c.words})
	}
	for i, r := range rows {
		row := layout.Row{Now: i == now}
		for k, c := range columns {
			x := c.cell(r)
			if x.Span < 0 {
				x.Span = len(columns) - k
			}
			row.Cells = append(row.Cells, x)
			if x.Span > 1 {
				break
			}
		}
		t.Rows = append(t.Rows, row)
	}
	for k := len(columns) - 1; k >= 0; k-- {
		if columns[k].rare && !slices.ContainsFunc(t.Rows, func(r layout.Row) bool { return k < len(r.Cells) && r.Cells[k].Text != "" }) {
			dropColumn(t, k)
		}
	}
	return t
}

// dropColumn takes a column out; a cell that spans it spans one less.
func dropColumn(t *layout.Table, k int) {
	t.Head = slices.Delete(t.Head, k, k+1)
	for i := range t.Rows {
		r := &t.Rows[i]
		if k < len(r.Cells) {
			r.Cells = slices.Delete(r.Cells, k, k+1)
		} else if last := &r.Cells[len(r.Cells)-1]; last.Span > 1 {
			last.Span--
		}
	}
}

// byMonth lays out rows of consecutive months. Months that say the same in
// words, because something is missing, become one row with their span.
func byMonth[T any](t tongue, rows []T, month func(T) result.Month, now int, columns ...column[T]) *layout.Table {
	first := number(t.T("Month"), func(r T) string { return t.shortMonth(month(r)) })
	table := tableOf(rows, now, append([]column[T]{first}, columns...)...)
	var merged []layout.Row
	var from result.Month
	for i, row := range table.Rows {
		row.Month = month(rows[i]).String()
		n := len(merged) - 1
		gap := slices.ContainsFunc(row.Cells, func(c layout.Cell) bool { return c.Missing })
		if n >= 0 && gap && !row.Now && slices.Equal(merged[n].Cells[1:], row.Cells[1:]) {
			merged[n].Spans = max(merged[n].Spans, 1) + 1
			merged[n].Cells[0].Text = t.shortSpan(from, month(rows[i]))
			continue
		}
		from, merged = month(rows[i]), append(merged, row)
	}
	table.Rows = merged
	return table
}
