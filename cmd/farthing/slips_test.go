package main

import (
	"crypto/sha256"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestSlips puts 200 slips of the decimal point into the demo's notes, ten times
// or a tenth of the price, and runs it by each edit rule: with the default every
// one is held and under 2 % of the others are. The rules on relatives judge by the
// month before, so that what they miss is logged and bounded, not hidden.
func TestSlips(t *testing.T) {
	for _, c := range []struct {
		rule        string
		fewest      int     // slips held, of 200
		mostClean   float64 // share of the others held
		wantReasons string
	}{
		{"log-ratio", 200, .02, "own_series"},
		{"quartile", 190, .02, "quartile"},
		{"tukey", 170, .02, "tukey"}, // its means give way to several slips of one item and month
		{"hidiroglou-berthelot", 190, .02, "hidiroglou_berthelot"},
	} {
		t.Run(c.rule, func(t *testing.T) {
			dir := filepath.Join(t.TempDir(), "demo")
			call(t, []int{exitDone}, "init", dir, "--with", "demo")
			replaceText(t, filepath.Join(dir, "farthing.toml"), "[panel]", "[edit]\nrule = \""+c.rule+"\"\n\n[pages]\ndraw = false\n\n[panel]")
			corrections := filepath.Join(dir, "tables", "corrections.csv")
			text, _ := os.ReadFile(corrections)
			if err := os.WriteFile(corrections, text[:strings.IndexByte(string(text), '\n')+1], 0o644); err != nil {
				t.Fatal(err)
			}
			slips := slip(t, filepath.Join(dir, "inbox"), 200)
			call(t, []int{exitQuarantined}, "run", "--quiet", "--workspace", dir)
			caught, clean, cleanHeld := 0, 0, 0
			reasons := map[string]int{}
			for _, r := range readCells(t, filepath.Join(dir, "site", "data", "observations.csv")) {
				if r["kind"] != "quote" || r["price_lcu"] == "" {
					continue
				}
				isSlip := slips[r["archive_file"]+":"+r["line"]]
				switch held := r["held"] != ""; {
				case isSlip && held:
					caught++
					reasons[r["held"]]++
				case isSlip:
					t.Logf("not held: %s %s %s %s %s", r["observed_on"], r["outlet"], r["item"], r["pack"], r["price_lcu"])
				case held:
					cleanHeld++
					fallthrough
				default:
					clean++
				}
			}
			t.Logf("%s: %d of %d slips held (%v); %d of %d others held, %.2f %%", c.rule, caught, len(slips), reasons, cleanHeld, clean, 100*float64(cleanHeld)/float64(clean))
			if len(slips) != 200 || caught < c.fewest {
				t.Errorf("%d of %d slips held, want %d of 200", caught, len(slips), c.fewest)
			}
			if clean < 2000 || float64(cleanHeld) >= c.mostClean*float64(clean) {
				t.Errorf("%d of %d others held, want under %v", cleanHeld, clean, c.mostClean)
			}
			if reasons[c.wantReasons] == 0 {
				t.Errorf("no slip was held for %s", c.wantReasons)
			}
		})
	}
}

// slip moves the decimal point of n regular quotes, drawn alike from all, and
// names them by file and line.
func slip(t *testing.T, inbox string, n int) map[string]bool {
	t.Helper()
	names, _ := filepath.Glob(filepath.Join(inbox, "*.csv"))
	type row struct{ file, line int }
	var lines [][]string
	var quotes []row
	for f, name := range names {
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		lines = append(lines, strings.Split(strings.TrimSuffix(string(text), "\n"), "\n"))
		for i, line := range lines[f] {
			// observed_on,region,outlet,item,price,pack,variety,grade,gtin,packs,price_type,note
			if cell := strings.Split(line, ","); i > 0 && len(cell) == 12 && cell[4] != "" && cell[9] == "" && cell[10] == "" && cell[11] == "" {
				quotes = append(quotes, row{f, i})
			}
		}
	}
	r := rand.New(rand.NewPCG(200, 10))
	r.Shuffle(len(quotes), func(i, j int) { quotes[i], quotes[j] = quotes[j], quotes[i] })
	for k, q := range quotes[:n] {
		cell := strings.Split(lines[q.file][q.line], ",")
		cents := int(number(t, cell[4])*100 + .5)
		if k%2 == 0 {
			cents *= 10
		} else {
			cents = max(cents/10, 1)
		}
		cell[4] = fmt.Sprintf("%d.%02d", cents/100, cents%100)
		lines[q.file][q.line] = strings.Join(cell, ",")
	}
	archived := map[int]string{}
	for f, name := range names {
		text := []byte(strings.Join(lines[f], "\n") + "\n")
		if err := os.WriteFile(name, text, 0o644); err != nil {
			t.Fatal(err)
		}
		archived[f] = fmt.Sprintf("%x", sha256.Sum256(text))[:12]
	}
	slips := map[string]bool{}
	for _, q := range quotes[:n] {
		slips[fmt.Sprintf("%s:%d", archived[q.file], q.line+1)] = true
	}
	return slips
}
