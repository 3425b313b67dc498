package intake

import (
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// A cell that goes out to a spreadsheet comes back as it was, and none that goes out is run as a formula there.
func TestGuard(t *testing.T) {
	for cell, want := range map[string]string{
		"": "", "oats": "oats", "2.40": "2.40", "'s market": "'s market", "it's =": "it's =",
		"=1+1": "'=1+1", "+4": "'+4", "-2.40": "'-2.40", "@sum": "'@sum", "\tx": "'\tx", "'=1": "''=1", "''-": "'''-",
	} {
		if got := guard(cell); got != want {
			t.Errorf("%q: got %q, want %q", cell, got, want)
		}
		if cell != want { // else nothing is to be taken off
			continue
		}
		if got := string(unguard([]byte(cell))); got != cell {
			t.Errorf("%q typed by a person: got %q", cell, got)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		cell := rapid.StringOf(rapid.RuneFrom([]rune("'=+-@\t\ra1 é"))).Draw(t, "cell")
		out := guard(cell)
		if out != "" && strings.ContainsRune("=+-@\t\r", rune(out[0])) {
			t.Fatalf("%q goes out as %q", cell, out)
		}
		if back := string(unguard([]byte(out))); back != cell {
			t.Fatalf("%q went out as %q and came back as %q", cell, out, back)
		}
	})
}
