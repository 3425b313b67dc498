package main

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"testing"
	"time"
)

// speedRows is how many notes the benchmark reads: 200 000, or what
// FARTHING_ROWS says (1000000 for the figure of DEVELOPERS.md).
func speedRows() int {
	if n, err := strconv.Atoi(os.Getenv("FARTHING_ROWS")); err == nil {
		return n
	}
	return 200_000
}

// BenchmarkImportRun times import and run, without pages, against the
// hand-written script on the same notes in the same run: "ratio" is the
// program's time over that of the script that makes the same files, sorted
// observations among them; "panel-ratio" over that of the script that stops at
// panel and basket.
func BenchmarkImportRun(b *testing.B) {
	rows := speedRows()
	b.Run(fmt.Sprintf("rows=%d", rows), func(b *testing.B) {
		notes := b.TempDir()
		if _, err := writeNotes(notes, rows); err != nil {
			b.Fatal(err)
		}
		var ours, script, panel time.Duration
		for b.Loop() {
			w := b.TempDir()
			if err := os.CopyFS(w, os.DirFS(notes)); err != nil {
				b.Fatal(err)
			}
			if err := os.WriteFile(filepath.Join(w, "farthing.toml"), []byte("name = \"speed\"\ninvented = true\n[pages]\ndraw = false\n"), 0o644); err != nil {
				b.Fatal(err)
			}
			began := time.Now()
			for _, args := range [][]string{{"import", filepath.Join(w, "notes.csv")}, {"run"}} {
				var out, errOut bytes.Buffer
				code := run(context.Background(), append(args, "--workspace", w, "--quiet"), nil, &out, &errOut, time.Now)
				if code != exitDone && code != exitQuarantined {
					b.Fatalf("%v: exit %d\n%s", args, code, errOut.String())
				}
			}
			ours += time.Since(began)
			for _, s := range []struct {
				export bool
				took   *time.Duration
			}{{true, &script}, {false, &panel}} {
				began = time.Now()
				if err := runScript(notes, s.export); err != nil {
					b.Fatal(err)
				}
				*s.took += time.Since(began)
			}
		}
		b.ReportMetric(ours.Seconds()/float64(b.N), "farthing-s")
		b.ReportMetric(script.Seconds()/float64(b.N), "script-s")
		b.ReportMetric(ours.Seconds()/script.Seconds(), "ratio")
		b.ReportMetric(ours.Seconds()/panel.Seconds(), "panel-ratio")
	})
}
