package main

import (
	"bytes"
	"context"
	"os"
	"regexp"
	"strings"
	"testing"
)

// editionHash is what changes with any result; the README writes … for it.
var editionHash = regexp.MustCompile(`\b(edition) [0-9a-f]{16}\b`)

// TestReadme runs the tour of the README as it stands there and compares what
// is printed, line by line.
func TestReadme(t *testing.T) {
	text, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	tour, _, ok := strings.Cut(string(text), "\n## Your own prices")
	if !ok {
		t.Fatal("README.md: no section after the tour")
	}
	t.Chdir(t.TempDir())
	steps := 0
	for _, block := range strings.Split(tour, "\n\n") {
		lines := strings.Split(strings.TrimRight(block, "\n"), "\n")
		command, ok := strings.CutPrefix(lines[0], "    $ farthing ")
		if !ok {
			continue
		}
		steps++
		var want []string
		for _, l := range lines[1:] {
			want = append(want, strings.TrimRight(strings.TrimPrefix(l, "    "), " "))
		}
		command, tail, _ := strings.Cut(command, " | tail -n ")
		var out, errOut bytes.Buffer
		if code := run(context.Background(), strings.Fields(command), nil, &out, &errOut, fixedNow); code != exitDone && code != exitQuarantined {
			t.Fatalf("farthing %s: exit %d: %s", command, code, errOut.String())
		}
		var got []string
		for l := range strings.Lines(editionHash.ReplaceAllString(out.String(), "$1 …")) {
			got = append(got, strings.TrimRight(l, " \n"))
		}
		if tail != "" {
			got = got[max(0, len(got)-len(want)):]
		}
		if strings.Join(got, "\n") != strings.Join(want, "\n") {
			t.Errorf("farthing %s\ngot\n%s\nwant\n%s", command, strings.Join(got, "\n"), strings.Join(want, "\n"))
		}
	}
	if steps < 8 {
		t.Errorf("only %d steps of the tour were found", steps)
	}
}
