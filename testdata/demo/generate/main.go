// Command generate writes the invented demo workspace's price notes, their corrections and the figures that must come
// out of them. The other tables of the demo are written by hand and read here. It is seeded: the same bytes on any run.
//
//	go run ./testdata/demo/generate          rewrites the files
//	go run ./testdata/demo/generate -check   writes nothing; prints the figures, fails if they or the files differ
package main

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/csv"
	"errors"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
)

func main() {
	dir := flag.String("dir", "testdata", "folder that holds demo/ and golden/")
	check := flag.Bool("check", false, "write nothing: print the expected figures and compare")
	flag.Parse()
	if err := run(*dir, *check); err != nil {
		fmt.Fprintln(os.Stderr, "generate:", err)
		os.Exit(1)
	}
}

func run(dir string, check bool) error {
	d, err := build(dir)
	if err != nil {
		return err
	}
	wrong := d.faults()
	if check {
		for _, f := range d.figures {
			fmt.Printf("%-80s %s\n", f.key, f.got)
		}
		return errors.Join(append(wrong, d.stale(dir)...)...)
	}
	for _, name := range sortedKeys(d.files) {
		wrong = append(wrong, os.WriteFile(filepath.Join(dir, name), d.files[name], 0o644))
	}
	return errors.Join(wrong...)
}

// A demo is all that the generator makes.
type demo struct {
	files       map[string][]byte // by path below testdata/
	figures     []figure
	typed       []note // without the unreadable ones
	corrections [][]string
	tables      tables
}

func build(dir string) (demo, error) {
	t, err := readTables(filepath.Join(dir, "demo", "tables"))
	if err != nil {
		return demo{}, err
	}
	all := newSeries(t)
	setPrices(t, all)
	right := append(seriesNotes(t, all, dec24), absent(all)...)

	d := demo{files: map[string][]byte{}, figures: expected(t, right), tables: t}
	d.typed, d.corrections = typedNotes(t, right)
	byFile := map[string][]note{}
	for _, n := range append(slices.Clone(d.typed), unreadable...) {
		byFile[n.file] = append(byFile[n.file], n)
	}
	for name, notes := range byFile {
		d.files["demo/inbox/"+name+".csv"] = notesFile(notes)
	}
	d.files["demo/tables/corrections.csv"] = csvBytes([]string{"observation_id", "column", "action", "from", "to", "reason", "source", "decided_on"}, d.corrections)
	var rows [][]string
	for _, f := range d.figures {
		rows = append(rows, []string{f.key, f.want, f.source})
	}
	d.files["golden/demo_expected.csv"] = csvBytes([]string{"key", "value", "source"}, rows)
	return d, nil
}

// faults are figures that do not come out, notes that the edit rule holds although nothing is wrong with them or lets
// pass although the corrections name them, and notes that share a key.
func (d demo) faults() (wrong []error) {
	for _, f := range d.figures {
		if f.got != f.want {
			wrong = append(wrong, fmt.Errorf("%s: got %q, want %q (%s)", f.key, f.got, f.want, f.source))
		}
	}
	caught := map[string]bool{}
	for _, i := range held(d.typed) {
		caught[d.typed[i].id(d.tables)] = true
	}
	for _, c := range d.corrections {
		if !caught[c[0]] {
			wrong = append(wrong, fmt.Errorf("correction %s (%s): got a note that passes the edit rule, want it held", c[0], c[5]))
		}
		delete(caught, c[0])
	}
	for _, id := range sortedKeys(caught) {
		wrong = append(wrong, fmt.Errorf("note %s: got it held, want it clean", id))
	}
	keys := map[string]bool{}
	for _, n := range d.typed {
		n.cents = 0 // the identity of the key alone
		if id := n.id(d.tables); keys[id] {
			wrong = append(wrong, fmt.Errorf("%s %s %s %s: got two notes with this key, want one", n.day, n.outlet, n.item, n.pack))
		} else {
			keys[id] = true
		}
	}
	return wrong
}

// stale names the files in dir that are not what the generator writes.
func (d demo) stale(dir string) (wrong []error) {
	for _, name := range sortedKeys(d.files) {
		if old, err := os.ReadFile(filepath.Join(dir, name)); err != nil || !bytes.Equal(old, d.files[name]) {
			wrong = append(wrong, fmt.Errorf("%s is not what the generator writes: go run ./testdata/demo/generate", name))
		}
	}
	return wrong
}

// absent are the notes of goods not sold or out of stock: no price.
func absent(all []*series) []note {
	var out []note
	for _, s := range all {
		for m := range months {
			reason := ""
			switch {
			case s.item == "barley" && s.region == "oddel-skerries" && m <= jun23:
				reason = "not_sold"
			case s.item == "oil" && m == feb24:
				reason = "out_of_stock"
			default:
				continue
			}
			day := 3 + seeded(s.item+s.outlet+monthText(m)).IntN(20)
			out = append(out, note{day: dayText(m, day), region: s.region, outlet: s.outlet, good: s.good, pack: s.pack, priceType: reason})
		}
	}
	return out
}

// typedNotes are the notes as they were typed, each with its file, and the corrections they need.
func typedNotes(t tables, right []note) (typed []note, corrections [][]string) {
	correct := func(n note, action, from, to, reason, source string) {
		corrections = append(corrections, []string{n.id(t), "price", action, from, to, reason, source, "2025-01-10"})
	}
	typed = slices.Clone(right)
	slices.SortStableFunc(typed, func(a, b note) int {
		return cmp.Or(strings.Compare(a.day, b.day), strings.Compare(a.outlet, b.outlet), strings.Compare(a.item, b.item))
	})
	slipped := false
	for i := range typed {
		n := &typed[i]
		if n.file == "" {
			n.file = fmt.Sprintf("%s-%s-%d", n.region, n.day[:4], (n.month()%12)/6+1)
		}
		if !slipped && n.outlet == slipOutlet && n.item == slipItem && n.month() == slipMonth {
			slipped = true
			n.cents = slipCents
			correct(*n, "set", "18.00", "1.80", "point misplaced: the label says 1.80", "photo of the shelf label (invented)")
		}
		if n.item == "cabbage" && n.region == "high-tansel" && n.month() == dec23 {
			correct(*n, "release", "", "", "true: frost, the same in all three outlets", "second visit to the shelf (invented)")
		}
	}
	return typed, corrections
}

// id of the observation: half of the bytes of a hash of its key and price. The demo's texts hold no "|" to escape.
func (n note) id(t tables) string {
	key := []string{n.date().Format("2006-01-02"), n.region, n.outlet, n.item, n.variety, n.grade, n.gtin, n.canonical(),
		cmp.Or(n.priceType, "regular"), t.currency[n.region], "", decimal(float64(n.cents) / 100)}
	return fmt.Sprintf("%x", sha256.Sum256([]byte(strings.Join(key, "|"))))[:12]
}

func notesFile(notes []note) []byte {
	slices.SortStableFunc(notes, func(a, b note) int { return strings.Compare(a.sortDay(), b.sortDay()) })
	if notes[0].average {
		var rows [][]string
		for _, n := range notes {
			region, item := n.region, n.item
			if name := averages[item]; name != "" { // the open file's own names, which the aliases know
				region, item = strings.ToUpper(region[:1])+region[1:], name
			}
			rows = append(rows, []string{n.day, region, "", item, money(n.cents), n.pack, "average", n.remark})
		}
		return csvBytes([]string{"observed_on", "region", "outlet", "item", "price", "pack", "kind", "note"}, rows)
	}
	var rows [][]string
	for _, n := range notes {
		packs := ""
		if n.packs > 1 {
			packs = strconv.Itoa(n.packs)
		}
		rows = append(rows, []string{n.day, n.region, n.outlet, n.item, money(n.cents), n.pack, n.variety, n.grade, n.gtin, packs, n.priceType, n.remark})
	}
	return csvBytes([]string{"observed_on", "region", "outlet", "item", "price", "pack", "variety", "grade", "gtin", "packs", "price_type", "note"}, rows)
}

// sortDay puts the unreadable day where its writer meant it.
func (n note) sortDay() string {
	if d := strings.Split(n.day, "/"); len(d) == 3 {
		return d[2] + "-" + d[1] + "-" + d[0]
	}
	return n.day
}

func money(cents int) string {
	if cents == 0 {
		return ""
	}
	return fmt.Sprintf("%d.%02d", cents/100, cents%100)
}

func csvBytes(header []string, rows [][]string) []byte {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	w.Write(header)
	w.WriteAll(rows)
	return b.Bytes()
}
