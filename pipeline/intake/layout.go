package intake

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"errors"
	"fmt"
	"io"
	"os"
	"regexp"
	"slices"
	"strings"
	"time"

	"farthing/pipeline/workspace"

	"golang.org/x/text/encoding/htmlindex"
	"golang.org/x/text/transform"
)

// maxUnpacked bounds what a compressed file may unpack to, in bytes.
const maxUnpacked = 8 << 30

// unpacked is the text of a file: what gzip packed or a spreadsheet holds, as
// UTF-8. Lines of a file are the lines of this text. Day 0 is that of a
// spreadsheet's day numbers, zero for other files.
type unpacked struct {
	*bufio.Reader
	day0   time.Time
	packed bool
	close  func() error
}

func (u *unpacked) Close() error { return u.close() }

// Unpack reads the text of an archived file by the profile of its source. A
// file that can not be unpacked gives an error that says what it is.
func Unpack(path string, src workspace.Source) (*unpacked, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	u := &unpacked{close: f.Close}
	closing := func(c io.Closer) {
		before := u.close
		u.close = func() error { return errors.Join(c.Close(), before()) }
	}
	var r io.Reader = bufio.NewReader(f)
	magic := func() []byte {
		b, _ := r.(*bufio.Reader).Peek(4)
		return b
	}
	bad := func(what string, err error) (*unpacked, error) {
		u.Close()
		return nil, &unreadable{what, err}
	}
	if bytes.HasPrefix(magic(), []byte{0x1f, 0x8b}) {
		z, err := gzip.NewReader(r)
		if err != nil {
			return bad("a gzip file that can not be unpacked", err)
		}
		closing(z)
		u.packed = true
		r = bufio.NewReader(&limited{z, maxUnpacked})
	}
	if bytes.HasPrefix(magic(), []byte("PK\x03\x04")) {
		text, day0, err := workspace.SheetText(r, src.Sheet)
		if err != nil {
			return bad("a spreadsheet that can not be read", err)
		}
		closing(text)
		u.day0, u.packed = day0, true
		r = text
	} else if src.Encoding != "" {
		e, err := htmlindex.Get(src.Encoding)
		if err != nil {
			return bad(fmt.Sprintf("encoding = %q", src.Encoding), errors.New("no encoding of that name"))
		}
		r = transform.NewReader(r, e.NewDecoder())
	}
	u.Reader = UTF8Text(r)
	if _, err := u.Peek(1); err != nil && err != io.EOF {
		return bad("a file that can not be unpacked", err)
	}
	return u, nil
}

// unreadable is a file that is not what its first bytes say.
type unreadable struct {
	what string
	err  error
}

func (e *unreadable) Error() string { return fmt.Sprintf("%s: %v", e.what, e.err) }
func (e *unreadable) Unwrap() error { return e.err }

// limited fails where more than left bytes come.
type limited struct {
	r    io.Reader
	left int64
}

func (l *limited) Read(b []byte) (int, error) {
	n, err := l.r.Read(b)
	if l.left -= int64(n); l.left < 0 {
		return 0, &unreadable{"a packed file", errors.New("it unpacks to more than 8 GiB: split it")}
	}
	return n, err
}

// text is a delimited text after its header line.
type text struct {
	r         io.Reader
	delimiter byte
	header    []string
	rawHeader []byte
	lines     int // up to the first row of data
	day0      time.Time
	guarded   bool // a sheet of ours, whose cells may have an apostrophe before them
}

// openText reads the header line of price notes and finds the delimiter.
func openText(r *bufio.Reader) (*text, error) {
	t, _, err := openLayout(r, workspace.Source{})
	return t, err
}

// openLayout finds the header by the profile, reads it, passes over the lines
// below that hold no data, and finds the delimiter if none is declared: the
// one of comma, semicolon and tab that the header holds most.
func openLayout(r *bufio.Reader, src workspace.Source) (*text, *fault, error) {
	t := &text{r: r, delimiter: ','}
	var line, first []byte
	for {
		head, err := r.Peek(maxRow)
		if err != nil && err != io.EOF && err != bufio.ErrBufferFull {
			return nil, nil, err
		}
		n := firstLine(head)
		if n == maxRow && head[n-1] != '\n' { // no header is that long: a row, to be set aside
			return t, nil, nil
		}
		line = bytes.TrimRight(head[:n], "\r\n")
		t.lines++
		if len(first) == 0 && saysSomething(line) {
			first = bytes.Clone(line)
		}
		if n == 0 && len(first) > 0 { // the file ended without one
			t.rawHeader = first
			return t, &fault{"header", "", clip(string(first), 200), "no line of the file is its header: correct header_line or header_starts of source " + src.Name}, nil
		}
		if n == 0 || headerHere(line, t.lines, src) {
			line = bytes.Clone(line)
			_, err = r.Discard(n)
			if err != nil {
				return nil, nil, err
			}
			break
		}
		if _, err := r.Discard(n); err != nil {
			return nil, nil, err
		}
	}
	t.rawHeader = line
	for _, c := range []byte{';', '\t'} {
		if bytes.Count(line, []byte{c}) > bytes.Count(line, []byte{t.delimiter}) {
			t.delimiter = c
		}
	}
	if src.Delimiter != "" {
		t.delimiter = src.Delimiter[0]
		if src.Delimiter == "tab" {
			t.delimiter = '\t'
		}
	}
	if len(line) > 0 {
		for _, f := range split(line, t.delimiter, nil) {
			name := string(bytes.ToValidUTF8(f, []byte("\ufffd")))
			if src.StripNotes {
				name = noteMark.ReplaceAllString(name, "")
			}
			t.header = append(t.header, name)
		}
	}
	if t.guarded = t.column(markColumn) >= 0; t.guarded {
		for i, h := range t.header {
			t.header[i] = string(unguard([]byte(h)))
		}
	}
	for range src.SkipRows {
		if _, err := r.ReadSlice('\n'); err != nil && err != bufio.ErrBufferFull && err != io.EOF {
			return nil, nil, err
		}
		t.lines++
	}
	if src.StopAtBlank || len(src.StopStarts) > 0 {
		t.r = &untilEnd{r: r, src: src, delimiter: t.delimiter, atStart: true}
	}
	return t, nil, nil
}

// headerHere says whether a line is the header.
func headerHere(line []byte, n int, src workspace.Source) bool {
	switch {
	case src.HeaderLine > 0:
		return n == src.HeaderLine
	case src.HeaderStarts != "":
		return bytes.HasPrefix(bytes.TrimLeft(line, "\" \t"), []byte(src.HeaderStarts))
	}
	return saysSomething(line)
}

// saysSomething: it is no line of empty cells.
func saysSomething(line []byte) bool { return len(bytes.Trim(line, "\",;|\t ")) > 0 }

// untilEnd reads lines up to the one that ends the data.
type untilEnd struct {
	r         *bufio.Reader
	src       workspace.Source
	delimiter byte
	rest      []byte
	atStart   bool
	ended     bool
}

func (u *untilEnd) Read(b []byte) (int, error) {
	if len(u.rest) == 0 {
		if u.ended {
			return 0, io.EOF
		}
		line, err := u.r.ReadSlice('\n')
		if u.atStart && u.ends(line) {
			u.ended = true
			return 0, io.EOF
		}
		u.atStart = err != bufio.ErrBufferFull
		if err != nil && err != bufio.ErrBufferFull {
			if err != io.EOF {
				return 0, err
			}
			u.ended = true
		}
		u.rest = line
	}
	n := copy(b, u.rest)
	u.rest = u.rest[n:]
	return n, nil
}

func (u *untilEnd) ends(line []byte) bool {
	if u.src.StopAtBlank && blank(bytes.TrimRight(line, "\r\n"), u.delimiter) {
		return true
	}
	return slices.ContainsFunc(u.src.StopStarts, func(s string) bool {
		return bytes.HasPrefix(bytes.TrimLeft(line, "\" \t"), []byte(s))
	})
}

// column is the place of a named column, or -1.
func (t *text) column(name string) int { return slices.Index(t.header, name) }

func (t *text) blocks(each func(block) error) error {
	return blocks(t.r, t.delimiter, blockSize, func(b block) error {
		b.first += t.lines
		return each(b)
	})
}

// records splits a block of the text.
func (t *text) records(b block, each func(*record)) {
	if !t.guarded {
		b.records(t.delimiter, each)
		return
	}
	b.records(t.delimiter, func(rec *record) {
		for i, f := range rec.fields {
			rec.fields[i] = unguard(f)
		}
		each(rec)
	})
}

// each passes on every row, one at a time; for small files.
func (t *text) each(row func(*record)) error {
	return t.blocks(func(b block) error {
		t.records(b, row)
		return nil
	})
}

// refuse sets every row of a file aside for one reason, that of its header.
func (t *text) refuse(f fault) (outcome, error) {
	var o outcome
	err := t.each(func(rec *record) {
		o.read++
		o.aside = append(o.aside, aside(rec.line, rec.raw, &f))
	})
	if o.read == 0 && len(t.rawHeader) > 0 { // then it is no header but all there is
		o.read, o.aside = 1, []setAside{aside(1, t.rawHeader, &f)}
	}
	return o, err
}

// columnNamed is the place of a column that a profile names, which must stand
// once in the header.
func (t *text) columnNamed(name string, src workspace.Source) (int, *fault) {
	i := t.column(name)
	switch {
	case i < 0:
		f := &fault{"missing_column", name, strings.Join(t.header, ","), "the file has no such column: correct source " + src.Name}
		if near := workspace.Nearest(name, t.header); near != "" {
			f.cure = fmt.Sprintf("the file has %q: correct source %s", near, src.Name)
		}
		return -1, f
	case slices.Contains(t.header[i+1:], name):
		return -1, &fault{"two_columns", name, name, "the column stands twice in the header: rename one in the file, or name another in source " + src.Name}
	}
	return i, nil
}

// noteMark finds the figures of footnotes behind a name.
var noteMark = regexp.MustCompile(`(\s+(\d{1,2}|\(\d{1,2}\)|\d{1,2}/|[*†‡]+),?)+$|[¹²³⁰-⁹*†‡]+$`)
