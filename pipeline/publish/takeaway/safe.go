package takeaway

import (
	"errors"
	"os"

	"farthing/pipeline/result"
	"farthing/pipeline/spreadsheet"
)

// safeFile is a table as CSV for a spreadsheet: UTF-8 with its mark, lines end
// in CR LF, every text stands in quotes and passes spreadsheet.Guard, numbers are as
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
		if i > 0 {
			b = append(b, ',')
		}
		b = append(b, spreadsheet.Quote(c.Name)...)
	}
	_, err = out.Write(append(b, "\r\n"...))
	return s, err
}

func (s *safeFile) add(cells []string) error {
	if s.rows++; s.rows > SpreadsheetRows {
		return nil
	}
	b := s.line[:0]
	for i, c := range s.columns {
		if i > 0 {
			b = append(b, ',')
		}
		if c.Type == result.Text && cells[i] != "" {
			b = append(b, spreadsheet.Quote(spreadsheet.Guard(cells[i]))...)
			continue
		}
		b = append(b, cells[i]...)
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
