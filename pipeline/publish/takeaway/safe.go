package takeaway

import (
	"errors"
	"os"
	"strings"

	"farthing/pipeline/result"
)

// Guard makes a text inert in a spreadsheet: an apostrophe stands before one
// that a program may run as a formula. Such a text begins, after blanks and
// what is not seen, with = + - @, their full-width forms, a tab or a line end;
// and so that the apostrophe can be taken off again, one before such a text is
// doubled. Source: OWASP, "CSV Injection"; the blanks are our own caution.
func Guard(s string) string {
	rest := strings.TrimLeft(s, " '\u00a0\u200b\u200e\u200f\u2060\ufeff")
	if rest != "" && strings.ContainsRune("=+-@\t\r\n＝＋－＠", []rune(rest)[0]) {
		return "'" + s
	}
	return s
}

// safeFile is a table as CSV for a spreadsheet: UTF-8 with its mark, lines end
// in CR LF, every text stands in quotes and passes Guard, numbers are as
// published: "-1.25" is a number and stays one.
type safeFile struct {
	path    string
	out     *buffered
	columns []result.Column
	rows    int
	line    []byte
}

func newSafe(path string, t result.Table) (*safeFile, error) {
	out, err := create(path)
	if err != nil {
		return nil, err
	}
	s := &safeFile{path: path, out: out, columns: t.Columns}
	var b []byte
	b = append(b, "\ufeff"...)
	for i, c := range t.Columns {
		b = appendQuoted(b, i, c.Name)
	}
	_, err = out.Write(append(b, "\r\n"...))
	return s, err
}

func appendQuoted(b []byte, i int, s string) []byte {
	if i > 0 {
		b = append(b, ',')
	}
	b = append(b, '"')
	b = append(b, strings.ReplaceAll(s, `"`, `""`)...)
	return append(b, '"')
}

func (s *safeFile) add(cells []string) error {
	if s.rows++; s.rows > SpreadsheetRows {
		return nil
	}
	b := s.line[:0]
	for i, c := range s.columns {
		switch {
		case c.Type == result.Text && cells[i] != "":
			b = appendQuoted(b, i, Guard(cells[i]))
		case i > 0:
			b = append(append(b, ','), cells[i]...)
		default:
			b = append(b, cells[i]...)
		}
	}
	s.line = append(b, "\r\n"...)
	_, err := s.out.Write(s.line)
	return err
}

// close takes a table away that is too long for a spreadsheet.
func (s *safeFile) close() error {
	err := s.out.Close()
	if s.rows > SpreadsheetRows {
		err = errors.Join(err, os.Remove(s.path))
	}
	return err
}
