package workspace

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"farthing/testdata"
)

func TestSettings(t *testing.T) {
	for _, c := range []struct {
		name, text, field, read, instead string // field "": no fault
		line                             int
	}{
		{"nothing", "", "", "", "", 0},
		{"a name", "name = \"x\"", "", "", "", 0},
		{"unknown", "colour = 1", "colour", "unknown setting", "remove it", 1},
		{"near miss", "\nbase_mont = \"2024-01\"", "base_mont", "unknown setting", `did you mean "base_month"?`, 2},
		{"near miss within", "[panel]\nfrom_mnth = \"2024-01\"", "panel.from_mnth", "unknown setting", `did you mean "from_month"?`, 2},
		{"no TOML", "name = ", "", "", "commented settings", 1},
		{"a number for a text", "name = 3", "name", "3", "name = \"…\"", 1},
		{"a day for a text", "base_month = 2024-01-01", "base_month", "2024-01-01", "base_month = \"…\"", 1},
		{"a text for a number", "[edit]\nown_ratio = \"2\"", "edit.own_ratio", "\"2\"", "own_ratio = 2.5", 2},
		{"a part for a whole number", "[edit]\nmin_own = 1.5 # three", "edit.min_own", "1.5", "min_own = 3, a whole number", 2},
		{"a text for a choice", "[panel]\n\nimpute = \"no\"", "panel.impute", "\"no\"", "true or false", 3},
		{"a text for a choice that may be left out", "[[job]]\nrun = \"no\"", "job.run", "\"no\"", "true or false", 2},
		{"a text for a list", "[prices]\nprice_types = \"regular\"", "prices.price_types", "\"regular\"", "price_types = [\"…\"]", 2},
		{"a text for a list of a source", "[[source]]\nname = \"a\"\nfiles = \"x.csv\"", "source.files", "\"x.csv\"", "files = [\"…\"]", 3},
		{"a number within", "[[source]]\nfixed = { region = 3 }", "source.fixed", "3", "fixed = { name = \"…\" }", 2},
		{"a value for a table", "edit = 1", "edit", "1", "[edit], once", 1},
		{"a list for a table", "[[prices]]\ndecimal = \".\"", "prices", "prices", "[prices], once", 1},
		{"twice", "name = \"a\"\nname = \"b\"", "name", "already defined", "commented settings", 2},
		{"a month of 13", "base_month = \"2024-13\"", "base_month", `"2024-13"`, "2024-02", 0},
		{"a day for a month", "[panel]\nto_month = \"2024-01-01\"", "panel.to_month", `"2024-01-01"`, "2024-02", 0},
		{"decimal", "[prices]\ndecimal = \"x\"", "prices.decimal", `"x"`, "., ,", 0},
		{"date order", "[prices]\ndate_order = \"DYM\"", "prices.date_order", `"DYM"`, "DMY", 0},
		{"price type without a price", "[prices]\nprice_types = [\"not_sold\"]", "prices.price_types", `"not_sold"`, "regular, promo", 0},
		{"source order", "[panel]\nsource_order = [\"mine\"]", "panel.source_order", `"mine"`, "quotes, averages", 0},
		{"ratio of 1", "[edit]\nown_ratio = 1.0", "edit.own_ratio", "1", "above 1", 0},
		{"ratio below 0", "[edit]\npeer_ratio = -3.0", "edit.peer_ratio", "-3", "above 1", 0},
		{"NaN", "[edit]\nown_ratio = nan", "edit.own_ratio", "NaN", "above 1", 0},
		{"infinite", "[edit]\npeer_ratio = inf", "edit.peer_ratio", "Inf", "above 1", 0},
		{"no days", "[edit]\nwindow_days = 0", "edit.window_days", "0", "from 1", 0},
		{"fewer than none", "[edit]\nmin_own = -1", "edit.min_own", "-1", "from 1", 0},
		{"a share of 2", "[panel]\nmin_observed_share = 2.0", "panel.min_observed_share", "2", "0 to 1", 0},
		{"no such rule", "[edit]\nrule = \"fences\"", "edit.rule", "\"fences\"", "hidiroglou-berthelot", 0},
		{"trim of half", "[edit]\ntrim = 0.5", "edit.trim", "0.5", "0 to 0.49", 0},
		{"no notes", "[panel]\nmin_notes = 0", "panel.min_notes", "0", "from 1", 0},
		{"stale before", "[panel]\nstale_after_days = -1", "panel.stale_after_days", "-1", "0 for none", 0},
		{"tolerance NaN", "[edit]\nshelf_tolerance = nan", "edit.shelf_tolerance", "NaN", "0 to 1", 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := parseSettings([]byte(c.text))
			list := InputErrors(err)
			if c.instead == "" {
				if err != nil {
					t.Errorf("got %v, want no fault", err)
				}
				return
			}
			if len(list) != 1 {
				t.Fatalf("got %v, want one fault", err)
			}
			e := list[0]
			if e.Code != "settings" || e.File != SettingsFile || e.Line != c.line || e.Field != c.field || !strings.Contains(e.Read, c.read) || strings.Contains(e.Read, "workspace.") || !strings.Contains(e.Instead, c.instead) {
				t.Errorf("got %+v; want field %q, line %d, read %q, instead %q", e, c.field, c.line, c.read, c.instead)
			}
		})
	}
	t.Run("all faults at once", func(t *testing.T) {
		_, err := parseSettings([]byte("base_month = \"x\"\n[edit]\nown_ratio = 0.5\nmin_peer = 0\n"))
		if got := InputErrors(err); len(got) != 3 {
			t.Errorf("got %v, want three faults", err)
		}
	})
	t.Run("what is not set", func(t *testing.T) {
		s, err := parseSettings([]byte("[edit]\nmin_own = 5\n"))
		if want := Defaults().Edit; err != nil || s.Edit.MinOwn != 5 || s.Edit.OwnRatio != want.OwnRatio || s.Prices.Decimal != "." || !s.Panel.Impute || !s.Pages.Draw {
			t.Errorf("got %+v, %v; want the defaults beside min_own 5", s, err)
		}
	})
}

// TestCommentedSettings: what the commented settings of a new workspace show is what holds without them.
func TestCommentedSettings(t *testing.T) {
	b, err := testdata.Files.ReadFile("blank/farthing.toml")
	if err != nil {
		t.Fatal(err)
	}
	var text strings.Builder
	shown := 0
	for line := range strings.Lines(string(b)) {
		if strings.HasPrefix(line, "# One entry") {
			break // examples of lists, that stand for nothing
		}
		if set, ok := strings.CutPrefix(line, "# "); ok && !strings.HasPrefix(set, "#") && strings.Contains(set, " = ") {
			line = set
			shown++
		}
		text.WriteString(line)
	}
	got, err := parseSettings([]byte(text.String()))
	if err != nil || shown < 15 {
		t.Fatalf("got %v, %d settings shown, want 15 or more\n%s", err, shown, text.String())
	}
	want := Defaults()
	if got.Edit != want.Edit || got.Pages != want.Pages || got.Prices.Decimal != want.Prices.Decimal || strings.Join(got.Prices.PriceTypes, ",") != strings.Join(want.Prices.PriceTypes, ",") ||
		got.Panel.Sample != want.Panel.Sample || got.Panel.Impute != want.Panel.Impute || got.Panel.Pooled != want.Panel.Pooled ||
		got.Panel.MinObservedShare != want.Panel.MinObservedShare || strings.Join(got.Panel.SourceOrder, ",") != strings.Join(want.Panel.SourceOrder, ",") {
		t.Errorf("got %+v\nwant %+v", got, want)
	}
}

func FuzzSettings(f *testing.F) {
	for _, s := range []string{"", "name = \"x\"", "[edit]\nown_ratio = nan", "[[source]]\nname = \"a\"\ngives = \"index\"\nfiles = [\"[\"]", "[[publish]]\nregion = \"x\"", "a.b.c = [1, {x = 2}]", "\xff = 1"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		_, err := parseSettings([]byte(text))
		for _, e := range InputErrors(err) {
			if e.File != SettingsFile || e.Instead == "" {
				t.Errorf("got %+v: nobody can mend that", e)
			}
		}
		if err != nil && len(InputErrors(err)) == 0 {
			t.Errorf("got %v, want a fault with its place", err)
		}
	})
}

func TestNearest(t *testing.T) {
	names := []string{"oats", "oat milk", "barley", "observed_on", "price"}
	for read, want := range map[string]string{"oat": "oats", "Oats": "oats", "OATS": "oats", "baley": "barley", "prise": "price", "observedon": "observed_on",
		"quinoa": "", "": "", "xx": "", "o": "", strings.Repeat("o", 100): ""} {
		if got := Nearest(read, names); got != want {
			t.Errorf("%q: got %q, want %q", read, got, want)
		}
	}
	// Wagner and Fischer 1974: kitten to sitting is three edits (the textbook's example, from memory).
	if got := editDistance("kitten", "sitting"); got != 3 {
		t.Errorf("kitten, sitting: got %d, want 3", got)
	}
}

func TestBadName(t *testing.T) {
	for s, want := range map[string]string{"": "", "oats": "", "brûlée 1": "", "a\u200db": "", "soft\u00adhyphen": "",
		"=1": "formula", "+1": "formula", "-1": "formula", "@x": "formula", strings.Repeat("x", 201): "200", "a\x00": "U+0000", "a\nb": "U+000A",
		"a\u202e": "U+202E", "a\u200b": "U+200B", "\ufeffa": "U+FEFF", "\xff": "UTF-8"} {
		if got := BadName(s); want == "" && got != "" || !strings.Contains(got, want) {
			t.Errorf("%q: got %q, want %q", s, got, want)
		}
	}
}

func TestLock(t *testing.T) {
	w := &Workspace{Dir: t.TempDir()}
	release, err := w.Lock("run")
	if err != nil {
		t.Fatal(err)
	}
	_, err = w.Lock("import")
	list := InputErrors(err)
	if !errors.Is(err, ErrInUse) || len(list) != 1 || !strings.Contains(list[0].Read, "farthing run (process ") || list[0].Instead == "" {
		t.Errorf("got %v, want the workspace in use, its holder and what to do", err)
	}
	release()
	half := filepath.Join(w.EditionsDir(), ".new-1", "reach.csv") // of a run that was killed
	if err := errors.Join(os.MkdirAll(filepath.Dir(half), 0o755), os.WriteFile(half, nil, 0o644)); err != nil {
		t.Fatal(err)
	}
	if release, err = w.Lock("import"); err != nil {
		t.Errorf("released: got %v", err)
	} else {
		release()
	}
	if left, err := os.ReadDir(w.EditionsDir()); err != nil || len(left) > 0 {
		t.Errorf("got %v, %v; want what was half made swept away", left, err)
	}
}
