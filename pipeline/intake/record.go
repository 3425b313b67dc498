package intake

import (
	"bufio"
	"bytes"
	"io"

	"golang.org/x/text/encoding/unicode"
	"golang.org/x/text/transform"
)

// UTF8Text reads a text as UTF-8 without a byte order mark; a mark of UTF-16
// is obeyed. Where the text begins with lines that a lone CR ends, CR ends a line.
func UTF8Text(r io.Reader) *bufio.Reader {
	in := bufio.NewReaderSize(transform.NewReader(r, unicode.BOMOverride(transform.Nop)), maxRow+2)
	head, _ := in.Peek(maxRow) // an error is met again by whoever reads
	if bytes.IndexByte(head, '\n') < 0 && bytes.IndexByte(head, '\r') >= 0 {
		return bufio.NewReaderSize(crLines{in}, maxRow+2)
	}
	return in
}

// crLines reads CR as LF.
type crLines struct{ io.Reader }

func (c crLines) Read(b []byte) (int, error) {
	n, err := c.Reader.Read(b)
	for i := range b[:n] {
		if b[i] == '\r' {
			b[i] = '\n'
		}
	}
	return n, err
}

// record is one row of a delimited text: its fields (which share the block's
// memory) and the line on which it starts.
type record struct {
	line   int
	raw    []byte
	fields [][]byte
	fault  string // why the row can not be split, "" if it can
}

// A row longer than this is not a price: it is set aside.
const maxRow = 64 << 10

// blockSize is what one worker splits and types at a time.
const blockSize = 4 << 20

// block is a run of whole lines of a file. Between blocks no quoted field is open.
type block struct {
	first int // number of its first line
	text  []byte
}

// blocks cuts a text into blocks of about a size and passes them on in order.
func blocks(r io.Reader, delimiter byte, size int, each func(block) error) error {
	var rest []byte
	line := 1
	now := min(size, 64<<10) // most files are small
	for {
		buf := make([]byte, len(rest)+now)
		now = min(size, 4*now)
		copy(buf, rest)
		n, err := io.ReadFull(r, buf[len(rest):])
		buf = buf[:len(rest)+n]
		end := err == io.EOF || err == io.ErrUnexpectedEOF
		if err != nil && !end {
			return err
		}
		cut := len(buf)
		if !end {
			cut = lastBoundary(buf, delimiter)
		}
		if cut > 0 {
			if err := each(block{line, buf[:cut]}); err != nil {
				return err
			}
			line += bytes.Count(buf[:cut], []byte{'\n'})
		}
		if end {
			return nil
		}
		rest = append([]byte(nil), buf[cut:]...)
	}
}

// lastBoundary is the place after the last row that ends for sure before b
// does; without quotes, after the last line break.
func lastBoundary(b []byte, delimiter byte) int {
	if bytes.IndexByte(b, '"') < 0 {
		return bytes.LastIndexByte(b, '\n') + 1
	}
	at := 0
	for at < len(b) {
		n, _, ended := rowEnd(b[at:], delimiter)
		if !ended {
			break
		}
		at += n
	}
	return at
}

// rowEnd is the length of the first row of b with its line break. The row is
// open, and no more than its first line, where a quoted field runs past the
// longest row, or past its line to a quote that closes no field: one stray
// quote can not swallow the rows below. ended is false where b ends before it
// could be told; the row then is what it is if nothing follows.
func rowEnd(b []byte, delimiter byte) (n int, open, ended bool) {
	const fieldStart, plain, quoted, closed = 0, 1, 2, 3
	state, broken := fieldStart, false // broken: the quoted field holds a line break
	for i, c := range b {
		switch {
		case state == quoted:
			switch {
			case c == '"':
				state = closed
			case i > maxRow:
				n = firstLine(b)
				return n, true, b[n-1] == '\n'
			case c == '\n':
				broken = true
			}
		case c == '"' && state == fieldStart:
			state, broken = quoted, false
		case c == '"' && state == closed:
			state = quoted
		case c == '\n':
			return i + 1, false, true
		case c == delimiter:
			state = fieldStart
		case state == closed && broken && c != '\r':
			return firstLine(b), true, true
		default:
			state = plain
		}
	}
	if state == quoted {
		return firstLine(b), true, false
	}
	return len(b), false, false
}

func firstLine(b []byte) int {
	if i := bytes.IndexByte(b, '\n'); i >= 0 {
		return i + 1
	}
	return len(b)
}

// records splits a block. The record passed on is reused.
func (b block) records(delimiter byte, each func(*record)) {
	rec := &record{line: b.first}
	text := b.text
	for len(text) > 0 {
		var n int
		rec.fault = ""
		if q := bytes.IndexByte(text[:firstLine(text)], '"'); q < 0 {
			n = firstLine(text)
		} else {
			var open bool
			if n, open, _ = rowEnd(text, delimiter); open {
				rec.fault = "a quote is opened and never closed"
			}
		}
		row := bytes.TrimRight(text[:n], "\r\n")
		rec.raw = row
		if len(row) > maxRow {
			rec.fault = "the row is longer than 64 KiB"
		}
		rec.fields = rec.fields[:0]
		if rec.fault == "" {
			rec.fields = split(row, delimiter, rec.fields)
		}
		if !blank(row, delimiter) {
			each(rec)
		}
		rec.line += bytes.Count(text[:n], []byte{'\n'})
		text = text[n:]
	}
}

// blank says whether a row holds nothing: such rows are no rows.
func blank(row []byte, delimiter byte) bool {
	for _, c := range row {
		if c != delimiter && c != ' ' && c != '\t' {
			return false
		}
	}
	return true
}

// split cuts a row into trimmed fields by RFC 4180; a quote within an unquoted field is a letter.
func split(row []byte, delimiter byte, fields [][]byte) [][]byte {
	for {
		if len(row) > 0 && row[0] == '"' {
			var field []byte
			rest, plain := row[1:], true
			for {
				i := bytes.IndexByte(rest, '"')
				if i < 0 { // can not be: rowEnd saw it closed
					i = len(rest)
				}
				if plain {
					field = rest[:i:i]
				} else {
					field = append(field, rest[:i]...)
				}
				rest = rest[min(i+1, len(rest)):]
				if len(rest) == 0 || rest[0] != '"' {
					break
				}
				field, plain = append(field, '"'), false
				rest = rest[1:]
			}
			i := bytes.IndexByte(rest, delimiter)
			if i < 0 {
				return append(fields, append(field, bytes.TrimRight(rest, " \t\r")...))
			}
			fields = append(fields, append(field, bytes.TrimRight(rest[:i], " \t\r")...))
			row = rest[i+1:]
			continue
		}
		i := bytes.IndexByte(row, delimiter)
		if i < 0 {
			return append(fields, bytes.TrimSpace(row))
		}
		fields = append(fields, bytes.TrimSpace(row[:i]))
		row = row[i+1:]
	}
}
