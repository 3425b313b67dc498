package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestIndexFile: index numbers of a file, by hand, and what is told of a file or a
// call that can not be right.
func TestIndexFile(t *testing.T) {
	dir := t.TempDir()
	for _, c := range []struct {
		name, file string
		args       []string
		exit       int
		says       string
	}{
		// The tenth month follows the second: 100 x 2 x 1.5.
		{"periods by their numbers", "period,product,price\n2024-10,a,3\n2024-1,a,1\n2024-2,a,2\n", []string{"--method", "chained_jevons"}, exitDone, "2024-1,100.000000,1,1,\n2024-2,200.000000,1,1,\n2024-10,300.000000,1,1,\n"},
		// sqrt(2 x 1.5) = 1.7320508: the geometric mean of both relatives, without a quantity.
		{"no quantities", "period,product,price\n1,a,1\n1,b,2\n2,a,2\n2,b,3\n", []string{"--method", "geks_jevons"}, exitDone, "2,173.205081,2,2,\n"},
		{"the same by dummies", "period,product,price\n1,a,1\n1,b,2\n2,a,2\n2,b,3\n", []string{"--method", "tpd"}, exitDone, "2,173.205081,2,2,\n"},
		// Laspeyres of values 100 and 100: (2 + 1) / 2.
		{"quantities", "period,product,price,quantity\n1,a,1,100\n1,b,100,1\n2,a,2,1\n2,b,100,1\n", []string{"--method", "direct_laspeyres"}, exitDone, "2,150.000000,2,2,1.0000\n"},
		{"quantities wanted", "period,product,price\n1,a,1\n2,a,2\n", nil, exitFailed, "without quantities take --method direct_jevons or tpd"},
		{"weights of a third period", "period,product,price,quantity\n1,a,1,1\n", []string{"--method", "direct_young"}, exitUsage, "is not known"},
		{"no rows", "period,product,price,quantity\n", nil, exitFailed, "a row for each product of each period"},
		{"no period", "period,product,price,quantity\n ,a,1,1\n", nil, exitFailed, "fill the cell"},
		{"a window of less than two", "period,product,price,quantity\n1,a,1,1\n", []string{"--window", "-3"}, exitUsage, "a window of two periods or more"},
		{"a splice of no window", "period,product,price,quantity\n1,a,1,1\n", []string{"--splice", "half"}, exitUsage, "--window"},
	} {
		file := filepath.Join(dir, "sales.csv")
		if err := os.WriteFile(file, []byte(c.file), 0o644); err != nil {
			t.Fatal(err)
		}
		code, out, said := called(append([]string{"index", file}, c.args...)...)
		if code != c.exit || !strings.Contains(string(out)+said, c.says) {
			t.Errorf("%s: got exit %d, %s%s, want %d and %q", c.name, code, out, said, c.exit, c.says)
		}
	}
}
