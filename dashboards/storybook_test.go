package dashboards

import (
	"flag"
	"fmt"
	"html"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"farthing/dashboards/catalogue"
)

// storybook keeps the made-up editions' pages for a look at them.
var storybook = flag.String("storybook", "", "write every page of the made-up editions below this folder, with an index")

// TestStorybook writes every kind of page in every made-up state.
func TestStorybook(t *testing.T) {
	if *storybook == "" {
		t.Skip("no folder: name one by -storybook, or say make storybook")
	}
	all := editions()
	const inGerman = "typical, in German"
	all[inGerman] = typical().edition()
	german, err := catalogue.New("de", catalogue.Forms{})
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	b.WriteString("<!doctype html>\n<html lang=\"en\"><meta charset=\"utf-8\"><title>Every page in every state</title>\n<h1>Every page in every state</h1>\n<p>All of it is made up.</p>\n")
	for _, name := range slices.Sorted(maps.Keys(all)) {
		folder := strings.NewReplacer(" ", "-", ",", "").Replace(name)
		dir := filepath.Join(*storybook, folder)
		if err := os.MkdirAll(dir, 0o755); err != nil {
			t.Fatal(err)
		}
		language := english
		if name == inGerman {
			language = german
		}
		if err := Write(dir, all[name], language, chartLibrary(), "", false); err != nil {
			t.Fatal(err)
		}
		if err := os.Mkdir(filepath.Join(dir, "data"), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := all[name].WriteData(filepath.Join(dir, "data")); err != nil {
			t.Fatal(err)
		}
		pages, err := filepath.Glob(filepath.Join(dir, "*.html"))
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(&b, "<h2>%s</h2>\n<p>", html.EscapeString(name))
		for _, page := range pages {
			file := filepath.Base(page)
			fmt.Fprintf(&b, "<a href=\"%s/%s\">%s</a> \n", folder, file, file)
		}
		b.WriteString("</p>\n")
	}
	if err := os.WriteFile(filepath.Join(*storybook, "index.html"), []byte(b.String()), 0o644); err != nil {
		t.Fatal(err)
	}
}
