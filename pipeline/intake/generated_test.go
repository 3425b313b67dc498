package intake

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"context"
	"fmt"
	"io"
	"math/rand/v2"
	"strings"
	"testing"

	"farthing/pipeline/workspace"

	"github.com/apache/arrow/go/v17/arrow/array"
)

// countingDoor counts the rows that would be stored.
type countingDoor struct{ rows int }

func (c *countingDoor) Append(_ context.Context, _ string, rows [][]any) error {
	c.rows += len(rows)
	return nil
}

func (c *countingDoor) AppendArrow(_ context.Context, _ string, records array.RecordReader) error {
	for records.Next() {
		c.rows += int(records.Record().NumRows())
	}
	return records.Err()
}

// town is a lexicon of a few names.
func town() *lexicon {
	return newLexicon(workspace.Defaults(), &workspace.Tables{
		Regions: []workspace.Region{{Region: "cove", Currency: "USD"}, {Region: "dale", Currency: "USD"}},
		Items:   []workspace.Item{{Item: "oats", BaseUnit: "kg"}, {Item: "milk", BaseUnit: "L"}, {Item: "eggs", BaseUnit: "each"}},
	})
}

// readBytes reads a text by a profile. It fails where a row is in no count:
// read = stored + set aside, but for index values that the file says it has not.
func readBytes(t *testing.T, text []byte, src workspace.Source) outcome {
	t.Helper()
	d := &countingDoor{}
	r := &reader{lexicon: town(), st: d, vocab: newVocabulary(), catalogues: map[string]*catalogue{}}
	r.vocab.word("")
	o, err := r.readText(context.Background(), &unpacked{Reader: UTF8Text(bytes.NewReader(text)), close: func() error { return nil }}, src, 0)
	if err != nil {
		t.Fatalf("%q by %+v: %v", text, src, err)
	}
	lost := o.read - d.rows - len(o.aside)
	if lost < 0 || lost > 0 && src.Gives != "index" {
		t.Fatalf("%q by %+v: got %d read, %d stored, %d set aside", text, src, o.read, d.rows, len(o.aside))
	}
	return o
}

// generated is a file and a profile, both made up: mostly right, now and then not.
func generated(rnd *rand.Rand) ([]byte, workspace.Source) {
	pick := func(list ...string) string { return list[rnd.IntN(len(list))] }
	src := workspace.Source{Name: "made", Gives: pick("quotes", "averages", "index", "allowances"), Profile: workspace.Profile{
		Layout: pick("long", "long", "wide", "series"), Missing: []string{"-"}, DateOrder: pick("", "DMY", "MDY"), Decimal: pick(".", ","), SkipRows: rnd.IntN(2),
		StopAtBlank: rnd.IntN(4) == 0, StripNotes: rnd.IntN(3) == 0, ZeroIsMissing: rnd.IntN(2) == 0, MonthOfYear: rnd.IntN(3), MinorUnits: pick1(rnd, 0, 100),
		Fixed: map[string]string{"region": "cove", "outlet": "hall", "index": "cpi", "base_period": "2020 = 100", "adjustment": "unadjusted", "programme": "p", "amount_kind": "maximum", "persons": "2"},
	}}
	sep := pick(",", ";", "\t")
	src.Columns = map[string]any{"item": "what", "pack": "size"}
	columns := []string{"what", "size", "when", "value"}
	switch {
	case src.Gives == "allowances":
		src.Layout = "long"
		src.Columns = map[string]any{"effective_from": "when", "price": "value"}
		src.Fixed["currency"] = "USD"
	case src.Layout == "long":
		src.Columns["observed_on"], src.Columns["price"] = "when", "value"
		if rnd.IntN(3) == 0 {
			src.LeaveOut = map[string][]string{"what": {"milk"}}
		}
	case src.Layout == "wide":
		columns = []string{"what", "size", "2020-01", "February 2020", "2020M03", "2020"}
		src.Across = "observed_on"
	case src.Layout == "series":
		columns = []string{"when", "A1", "B2"}
		src.Columns = map[string]any{"observed_on": "when"}
		src.Fixed["item"], src.Fixed["pack"] = "oats", "1 kg"
	}
	if rnd.IntN(20) == 0 {
		src.Columns["variety"] = "no such column"
	}
	var b bytes.Buffer
	b.WriteString(pick("", "\ufeff", "\n", "a title\n"[:rnd.IntN(9)]))
	b.WriteString(strings.Join(columns, sep) + pick("\n", "\r\n"))
	cell := func(column string) string {
		switch {
		case rnd.IntN(40) == 0:
			return pick("", "\"", "=1", "\x00", "\u202e", "\xff", "\"a\nb\"", strings.Repeat("9", 50), "−1", "1e9", "NaN")
		case column == "what":
			return pick("oats", "milk", "eggs", "moon 3", "\"eggs, dozen\"")
		case column == "size":
			return pick("1 kg", "500 g", "1 L", "12 each", "heap", "750-800 g", "")
		case column == "when":
			return pick("2020-01-15", "2020-02", "2020M03", "2020M13", "03/04/2020", "31/12/2020", "2020", "Feb 2020", "then", "")
		}
		return pick("1.25", "0", "0.0", "-", "", "1,25", "99.5", "101", "-3", "100.1", "2e3")
	}
	for range rnd.IntN(12) {
		row := make([]string, len(columns)+pick1(rnd, 0, 0, 0, 0, 1, -1))
		for i := range row {
			row[i] = cell(columns[min(i, len(columns)-1)])
		}
		b.WriteString(strings.Join(row, sep) + pick("\n", "\r\n", "\n\n", "\n", "\n"))
	}
	out := b.Bytes()
	for range pick1(rnd, 0, 0, 1, 3) { // and bytes gone wrong
		if len(out) > 0 {
			out[rnd.IntN(len(out))] = byte(rnd.IntN(256))
		}
	}
	return out, src
}

func pick1(rnd *rand.Rand, list ...int) int { return list[rnd.IntN(len(list))] }

// TestGeneratedFiles: whatever the file and the profile, no row is in no count.
func TestGeneratedFiles(t *testing.T) {
	var read, aside int
	codes := map[string]int{}
	for i := range uint64(10_000) {
		text, src := generated(rand.New(rand.NewPCG(i, 1)))
		o := readBytes(t, text, src)
		read, aside = read+o.read, aside+len(o.aside)
		for _, a := range o.aside {
			codes[a.code]++
		}
	}
	if read < 50_000 || read-aside < read/10 || len(codes) < 15 {
		t.Errorf("got %d rows read, %d set aside for %d reasons: the files say too little; %v", read, aside, len(codes), codes)
	}
}

// FuzzProfile: the same of any bytes, by a long, a wide and a series profile.
func FuzzProfile(f *testing.F) {
	for i := range uint64(8) {
		text, _ := generated(rand.New(rand.NewPCG(i, 2)))
		f.Add(text, i)
	}
	f.Fuzz(func(t *testing.T, text []byte, seed uint64) {
		_, src := generated(rand.New(rand.NewPCG(seed, 2)))
		readBytes(t, text, src)
	})
}

// TestGuessedProfiles: whatever a file holds, a profile is proposed that the
// settings take, and nothing panics.
func TestGuessedProfiles(t *testing.T) {
	dir := t.TempDir()
	for i := range uint64(500) {
		text, _ := generated(rand.New(rand.NewPCG(i, 3)))
		path := fmt.Sprintf("%s/made %d.csv", dir, i)
		if err := workspace.WriteFile(path, text); err != nil {
			t.Fatal(err)
		}
		g, err := guess(path, &reader{lexicon: town(), catalogues: map[string]*catalogue{}})
		if err != nil {
			t.Fatal(err)
		}
		openBlock(t, Block(g.src))
	}
}

// openBlock opens a workspace whose settings are the block.
func openBlock(t *testing.T, block string) *workspace.Workspace {
	t.Helper()
	dir := t.TempDir()
	if err := workspace.WriteFile(dir+"/farthing.toml", []byte("name = \"made\"\n"+block)); err != nil {
		t.Fatal(err)
	}
	w, err := workspace.Open(dir)
	if err != nil {
		t.Fatalf("%v in\n%s", err, block)
	}
	return w
}

// TestLimitedUnpacking: what unpacks to more than is allowed is an error, not a full disk.
func TestLimitedUnpacking(t *testing.T) {
	var b bytes.Buffer
	z := gzip.NewWriter(&b)
	z.Write(bytes.Repeat([]byte("a,b\n"), 1000))
	z.Close()
	for limit, want := range map[int64]bool{4000: true, 3999: false} {
		in, err := gzip.NewReader(bufio.NewReader(bytes.NewReader(b.Bytes())))
		if err != nil {
			t.Fatal(err)
		}
		if _, err := io.Copy(io.Discard, &limited{in, limit}); (err == nil) != want {
			t.Errorf("%d bytes of at most %d: got %v, want it taken: %v", 4000, limit, err, want)
		}
	}
}
