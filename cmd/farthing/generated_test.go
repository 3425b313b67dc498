package main

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"farthing/pipeline/intake"
)

// generatedFiles is how many note files TestGenerated makes: 2 000, or what
// FARTHING_FILES says.
func generatedFiles() int {
	if n, err := strconv.Atoi(os.Getenv("FARTHING_FILES")); err == nil {
		return n
	}
	return 2000
}

// scraps are what a mutation puts into a file, beside single bytes.
var scraps = []string{`"`, `""`, `",`, ",", ";", "\t", "\n", "\r\n", "\r", "\n\n", "\x00", "\xff", "\xef\xbb\xbf", "\ufffd", "\u202e", "\u200b", "٣", "½", "℮",
	"=cmd()", "'", "|", `\`, "-", "0", "1e400", "NaN", "999999999999999999999", "6 x 330 ml", "(", ")", "1 lb 4 oz", "oz", "750-800 g", "1/0 kg", "1/3 kg", "2024-02-30",
	"31/12/2024", "average", "wholesale", "promo", "not_sold", "out_of_stock", "missing", "9520000009045", "2.40/kg", "eggs", "milk", "fell", "barn", "</script>", "../../x"}

// generatedNotes makes a file of a few notes and damages it; some it leaves whole.
func generatedNotes(rng *rand.Rand) string {
	pick := func(list ...string) string { return list[rng.IntN(len(list))] }
	columns := append([]string(nil), noteColumns...)
	rng.Shuffle(len(columns), func(i, j int) { columns[i], columns[j] = columns[j], columns[i] })
	var b strings.Builder
	b.WriteString(strings.Join(columns, ",") + "\n")
	for range rng.IntN(8) {
		row := map[string]string{"observed_on": fmt.Sprintf("2024-%02d-%02d", 1+rng.IntN(12), 1+rng.IntN(28)), "region": pick("cove", "fell"), "outlet": pick("hall", "barn"),
			"price": fmt.Sprintf("%d.%02d", rng.IntN(9), rng.IntN(100))}
		row["item"], row["pack"], _ = strings.Cut(pick("oats:1 kg", "oats:500 g", "milk:1 L", "milk:6 x 330 ml", "eggs:12 each"), ":")
		if rng.IntN(4) == 0 {
			column := pick(columns...)
			row[column] = pick(scraps...)
		}
		for i, c := range columns {
			if i > 0 {
				b.WriteByte(',')
			}
			b.WriteString(row[c])
		}
		b.WriteByte('\n')
	}
	text := []byte(b.String())
	for range rng.IntN(4) {
		at := rng.IntN(len(text) + 1)
		switch rng.IntN(6) {
		case 0: // a scrap more
			text = append(append(append([]byte(nil), text[:at]...), pick(scraps...)...), text[at:]...)
		case 1: // some bytes fewer
			text = append(append([]byte(nil), text[:at]...), text[min(len(text), at+rng.IntN(30)):]...)
		case 2: // a byte another
			if at < len(text) {
				text[at] = byte(rng.IntN(256))
			}
		case 3: // a line again
			lines := strings.SplitAfter(string(text), "\n")
			text = append(text, pick(lines...)...)
		case 4: // another delimiter
			text = []byte(strings.ReplaceAll(string(text), ",", pick(";", "\t")))
		case 5: // other ends of lines
			text = []byte(strings.ReplaceAll(string(text), "\n", pick("\r\n", "\r", "\n\n")))
		}
	}
	return string(text)
}

// TestGenerated: whatever is in a file, every row of it is accounted for.
func TestGenerated(t *testing.T) {
	const together = 250
	whole, accepted, aside, repeated := 0, 0, 0, 0
	for first := 0; first < generatedFiles(); first += together {
		rng := rand.New(rand.NewPCG(11, uint64(first)))
		dir, given := town(t, ""), t.TempDir()
		take := []string{"import", "--workspace", dir, "--json", "--quiet"}
		texts := map[string]string{}
		for i := range min(together, generatedFiles()-first) {
			path := filepath.Join(given, fmt.Sprintf("notes-%05d.csv", first+i))
			texts[path] = generatedNotes(rng)
			if err := os.WriteFile(path, []byte(texts[path]), 0o644); err != nil {
				t.Fatal(err)
			}
			take = append(take, path)
		}
		code, out, errOut := called(take...)
		var rep intake.Report
		if err := json.Unmarshal([]byte(out), &rep); err != nil || code != exitDone && code != exitQuarantined || len(rep.Files) != len(texts) {
			t.Fatalf("files from %d: exit %d, %v\n%s", first, code, err, errOut)
		}
		var sum [3]int
		for _, f := range rep.Files {
			fail := func(format string, args ...any) {
				t.Errorf("%s, %q: %s: %+v", filepath.Base(f.Path), texts[f.Path], fmt.Sprintf(format, args...), f)
			}
			rows := 0
			for _, r := range f.Reasons {
				rows += r.Rows
				if r.Code == "" || r.Cure == "" || r.FirstLine < 1 || unprintable(r.Cure) != "" {
					fail("a reason that helps nobody: %+v", r)
				}
			}
			if f.Read != f.Accepted+f.Quarantined+f.Duplicate || f.Accepted < 0 || f.Held > f.Accepted || rows != f.Quarantined {
				fail("the counts do not add up; reasons name %d rows", rows)
			}
			if n, ok := countable(texts[f.Path]); ok && !f.AlreadyKnown && f.Read != n {
				fail("got %d rows, want %d", f.Read, n)
			} else if ok {
				whole++
			}
			sum[0], sum[1], sum[2] = sum[0]+f.Accepted, sum[1]+f.Quarantined, sum[2]+f.Duplicate
		}
		if got := rowsInDatabase(t, dir); got != sum {
			t.Errorf("files from %d: database has %v accepted, quarantined, duplicate; want %v", first, got, sum)
		}
		accepted, aside, repeated = accepted+sum[0], aside+sum[1], repeated+sum[2]
		if t.Failed() {
			t.FailNow()
		}
	}
	t.Logf("%d files, of %d the rows counted; %d rows accepted, %d set aside, %d duplicates", generatedFiles(), whole, accepted, aside, repeated)
	if n := generatedFiles(); whole < n/4 || accepted < n/2 || aside < n/2 || repeated < n/50 {
		t.Error("the files are too tame, or too wild, to show anything")
	}
}

// countable counts the rows below the header of a text whose rows are its
// lines: without quotes, without lone CR, and with a header.
func countable(text string) (n int, ok bool) {
	if strings.ContainsAny(text, "\"\x00") || strings.Contains(strings.ReplaceAll(text, "\r\n", "\n"), "\r") || strings.HasPrefix(text, "\xff\xfe") || strings.HasPrefix(text, "\xfe\xff") {
		return 0, false
	}
	lines := strings.Split(strings.TrimPrefix(text, "\ufeff"), "\n")
	delimiters := ""
	for _, l := range lines {
		if strings.Trim(l, ",;\t \r") == "" {
			continue
		}
		if delimiters == "" { // the header
			for _, d := range []string{",", ";", "\t"} {
				if n := strings.Count(l, d); n > 0 && n >= max(strings.Count(l, ","), strings.Count(l, ";"), strings.Count(l, "\t")) && delimiters == "" {
					delimiters = d + " \t\r"
				}
			}
			if delimiters == "" {
				return 0, false
			}
			continue
		}
		n++
	}
	return n, n > 0
}
