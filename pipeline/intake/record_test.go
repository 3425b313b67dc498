package intake

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"io"
	"slices"
	"strings"
	"testing"
	"unicode/utf16"
)

// splitRow is a record with its own memory.
type splitRow struct {
	line       int
	raw, fault string
	fields     string // joined by ¦
}

func shown(rows []splitRow) string {
	var b strings.Builder
	for _, r := range rows {
		fmt.Fprintf(&b, "[%d %q %q %s]", r.line, r.raw, r.fields, r.fault)
	}
	return b.String()
}

// splitText splits a text in blocks of a size.
func splitText(t testing.TB, text string, delimiter byte, size int) (rows []splitRow) {
	t.Helper()
	if err := blocks(strings.NewReader(text), delimiter, size, func(b block) error {
		b.records(delimiter, func(r *record) {
			rows = append(rows, splitRow{r.line, string(r.raw), r.fault, string(bytes.Join(r.fields, []byte("¦")))})
		})
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	return rows
}

// TestRecords: quoting by RFC 4180, section 2; what it forbids is read as
// letters within one line, and breaks no row below it.
func TestRecords(t *testing.T) {
	long := strings.Repeat("x", maxRow+10)
	for _, c := range []struct {
		name, text string
		want       []splitRow
	}{
		{"nothing", "", nil},
		{"blank rows are no rows", "\n,,\n \t\r\n", nil},
		{"plain", "a,b\nc,\n", []splitRow{{1, "a,b", "", "a¦b"}, {2, "c,", "", "c¦"}}},
		{"no last line break", "a,b", []splitRow{{1, "a,b", "", "a¦b"}}},
		{"crlf, blanks trimmed", "a , b\r\n\r\nc\r\n", []splitRow{{1, "a , b", "", "a¦b"}, {3, "c", "", "c"}}},
		{"quoted", `"a, b","c ""d""",` + "\n", []splitRow{{1, `"a, b","c ""d""",`, "", `a, b¦c "d"¦`}}},
		{"quoted line break", "\"a\nb\",c\nd\n", []splitRow{{1, "\"a\nb\",c", "", "a\nb¦c"}, {3, "d", "", "d"}}},
		{"quote in a plain field", "5\" pan,b\nc\n", []splitRow{{1, "5\" pan,b", "", "5\" pan¦b"}, {2, "c", "", "c"}}},
		{"quote after a closed field", "\"5\" pan\",b\n\"c\",d\n", []splitRow{{1, "\"5\" pan\",b", "", "5 pan\"¦b"}, {2, "\"c\",d", "", "c¦d"}}},
		{"never closed", "\"a,b\nc\nd", []splitRow{{1, "\"a,b", "a quote is opened and never closed", ""}, {2, "c", "", "c"}, {3, "d", "", "d"}}},
		{"closed by the opening quote of a later row", "\"a,b\nc,d\n\"e, f\",g\n", []splitRow{
			{1, "\"a,b", "a quote is opened and never closed", ""}, {2, "c,d", "", "c¦d"}, {3, "\"e, f\",g", "", "e, f¦g"}}},
		{"never closed within the longest row", "\"a\n" + long + "\"\nb\n", []splitRow{
			{1, "\"a", "a quote is opened and never closed", ""}, {2, long + "\"", "the row is longer than 64 KiB", ""}, {3, "b", "", "b"}}},
		{"longer than the longest row", long + "\nb\n", []splitRow{{1, long, "the row is longer than 64 KiB", ""}, {2, "b", "", "b"}}},
		{"quoted, longer than the longest row", "\"" + long + "\"\nb\n", []splitRow{
			{1, "\"" + long + "\"", "the row is longer than 64 KiB", ""}, {2, "b", "", "b"}}},
		{"NUL", "a\x00b,c\n", []splitRow{{1, "a\x00b,c", "", "a\x00b¦c"}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			for _, size := range []int{1, 2, 3, 7, 1 << 12, maxRow, blockSize} {
				if size < len(c.text)/100 {
					continue // a block a byte, each read again with all before it, takes for ever
				}
				if got := splitText(t, c.text, ',', size); !slices.Equal(got, c.want) {
					t.Fatalf("block of %d: got %.300s, want %.300s", size, shown(got), shown(c.want))
				}
			}
		})
	}
}

// FuzzRecords: the size of a block changes nothing, no line is lost, and what
// the strict reader of the standard library takes is read as it reads it.
func FuzzRecords(f *testing.F) {
	for _, s := range []string{"a,b\nc,d\n", "\"a\nb\",c\r\n\r\nd", "\"a\"\"\n,\"b\",\n\"c", "a\"b\nc;d\n\"\n\"", "\"a\nb\" ,c\n\"d\"\n", "\"\r\"\"\n\"x"} {
		f.Add(s, uint8(3), false)
		f.Add(s, uint8(0), true)
	}
	f.Fuzz(func(t *testing.T, text string, size uint8, semicolon bool) {
		delimiter := byte(',')
		if semicolon {
			delimiter = ';'
		}
		want := splitText(t, text, delimiter, len(text)+1)
		if got := splitText(t, text, delimiter, 1+int(size)); !slices.Equal(got, want) {
			t.Errorf("block of %d: got %s, want %s", 1+int(size), shown(got), shown(want))
		}
		lines := strings.Split(text, "\n")
		next := 1
		for _, r := range want {
			for ; next < r.line; next++ {
				if !blank(bytes.TrimRight([]byte(lines[next-1]), "\r\n"), delimiter) {
					t.Errorf("line %d, %q, is in no row of %s", next, lines[next-1], shown(want))
				}
			}
			for _, part := range strings.Split(r.raw, "\n") {
				if got := strings.TrimRight(lines[next-1], "\r"); got != strings.TrimRight(part, "\r") {
					t.Errorf("line %d: got %q, want %q", next, part, got)
				}
				next++
			}
		}
		for ; next <= len(lines); next++ {
			if !blank([]byte(strings.TrimRight(lines[next-1], "\r")), delimiter) {
				t.Errorf("line %d, %q, is in no row of %s", next, lines[next-1], shown(want))
			}
		}
		if strict, ok := strictRows(text, delimiter); ok && !slices.EqualFunc(want, strict, func(a, b splitRow) bool { return a.line == b.line && trimmed(a.fields) == b.fields && a.fault == "" }) {
			t.Errorf("got %s, the standard library %s", shown(want), shown(strict))
		}
	})
}

// strictRows reads a text by encoding/csv; ok is false where it refuses it, and
// for texts with a CR, which it drops and a field of ours keeps.
func strictRows(text string, delimiter byte) (rows []splitRow, ok bool) {
	if strings.Contains(text, "\r") || len(text) > maxRow {
		return nil, false
	}
	r := csv.NewReader(strings.NewReader(text))
	r.Comma, r.FieldsPerRecord = rune(delimiter), -1
	for {
		from := r.InputOffset()
		fields, err := r.Read()
		if err == io.EOF {
			return rows, true
		}
		if err != nil {
			return nil, false
		}
		raw := strings.Trim(text[from:r.InputOffset()], "\n")
		if blank([]byte(raw), delimiter) {
			continue
		}
		line, _ := r.FieldPos(0)
		rows = append(rows, splitRow{line: line, fields: trimmed(strings.Join(fields, "¦"))})
	}
}

// trimmed is joined fields without the blanks round each: the strict reader
// does not say which were quoted, whose blanks stay.
func trimmed(fields string) string {
	list := strings.Split(fields, "¦")
	for i := range list {
		list[i] = strings.TrimSpace(list[i])
	}
	return strings.Join(list, "¦")
}

func utf16Text(s string, bigEndian bool) string {
	var b []byte
	for _, u := range append([]uint16{0xfeff}, utf16.Encode([]rune(s))...) {
		if bigEndian {
			b = append(b, byte(u>>8), byte(u))
		} else {
			b = append(b, byte(u), byte(u>>8))
		}
	}
	return string(b)
}

func TestUTF8Text(t *testing.T) {
	const want = "é,b\nc\n"
	many := strings.Repeat("a,b\r", maxRow)
	for _, c := range []struct{ name, in, want string }{
		{"as it is", want, want},
		{"byte order mark", "\ufeff" + want, want},
		{"UTF-16, little end first", utf16Text(want, false), want},
		{"UTF-16, big end first", utf16Text(want, true), want},
		{"UTF-16, half a character", utf16Text("a", false) + "b", "a\ufffd"},
		{"lone CR", "é,b\rc\r", want},
		{"lone CR, UTF-16", utf16Text("é,b\rc\r", true), want},
		{"lone CR beyond the look ahead", many, strings.ReplaceAll(many, "\r", "\n")},
		{"CRLF", "a\r\nb\r\n", "a\r\nb\r\n"},
		{"CR within a line", "a\nb\rc\n", "a\nb\rc\n"},
		{"nothing", "", ""},
		{"not UTF-8", "caf\xe9\n", "caf\xe9\n"},
	} {
		got, err := io.ReadAll(UTF8Text(strings.NewReader(c.in)))
		if err != nil || string(got) != c.want {
			t.Errorf("%s: got %.60q (%d bytes), %v, want %.60q (%d bytes)", c.name, got, len(got), err, c.want, len(c.want))
		}
	}
}
