package dashboards

import (
	"flag"
	"fmt"
	"go/ast"
	"go/constant"
	"go/importer"
	"go/parser"
	"go/token"
	"go/types"
	"io"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/pelletier/go-toml/v2"

	"farthing/dashboards/catalogue"
	"farthing/dashboards/layout"
)

// update writes the English catalogue anew.
var update = flag.Bool("update", false, "write catalogue/en.toml from the texts in the code")

// asking is a text as the code asks for it; one is not "" where it differs by a number.
type asking struct{ file, text, one string }

// askings are all texts that the pages ask the catalogue for, in the order of
// the files and lines: every constant that the compiler takes for a Key.
func askings(t testing.TB) (list []asking) {
	t.Helper()
	fset := token.NewFileSet()
	var files []*ast.File
	names, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range names {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		f, err := parser.ParseFile(fset, name, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		files = append(files, f)
	}
	out, err := exec.Command("go", "list", "-export", "-deps", "-f", "{{.ImportPath}} {{.Export}}", ".").Output()
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	compiled := map[string]string{}
	for _, line := range strings.Split(string(out), "\n") {
		path, file, _ := strings.Cut(line, " ")
		compiled[path] = file
	}
	info := &types.Info{Types: map[ast.Expr]types.TypeAndValue{}}
	config := types.Config{Importer: importer.ForCompiler(fset, "gc", func(path string) (io.ReadCloser, error) { return os.Open(compiled[path]) })}
	if _, err := config.Check("farthing/dashboards", fset, files, info); err != nil {
		t.Fatal(err)
	}
	key := func(e ast.Expr) (string, bool) {
		tv := info.Types[e]
		if tv.Value == nil || tv.Type == nil || tv.Type.String() != "farthing/dashboards/catalogue.Key" {
			return "", false
		}
		return constant.StringVal(tv.Value), true
	}
	seen := map[string]bool{}
	add := func(a asking) {
		if id := a.text + "\x00" + a.one; !seen[id] && a.text != "" {
			seen[id] = true
			list = append(list, a)
		}
	}
	for i, f := range files {
		file := names[slices.Index(names, filepath.Base(fset.Position(f.Pos()).Filename))]
		_ = i
		counted := map[ast.Expr]bool{}
		ast.Inspect(f, func(n ast.Node) bool {
			if call, ok := n.(*ast.CallExpr); ok && len(call.Args) >= 3 {
				one, ok1 := key(call.Args[1])
				other, ok2 := key(call.Args[2])
				if ok1 && ok2 {
					counted[call.Args[1]], counted[call.Args[2]] = true, true
					add(asking{file, other, one})
				}
			}
			if e, ok := n.(ast.Expr); ok && !counted[e] {
				if text, ok := key(e); ok {
					add(asking{file, text, ""})
					return false
				}
			}
			return true
		})
	}
	for _, text := range layout.Texts() {
		add(asking{"layout/page.html", text, ""})
	}
	return list
}

// quoteTOML writes a basic string of TOML.
func quoteTOML(s string) string {
	return `"` + strings.NewReplacer(`\`, `\\`, `"`, `\"`, "\u202f", `\u202f`).Replace(s) + `"`
}

const catalogueHead = "[text]\n"

// englishTexts is the part of en.toml that the code decides.
func englishTexts(list []asking) string {
	plain := func(s string) string {
		if _, text, ok := strings.Cut(s, "|"); ok {
			return text
		}
		return s
	}
	var text, count strings.Builder
	last := [2]string{}
	head := func(b *strings.Builder, i int, file string) {
		if last[i] != file {
			fmt.Fprintf(b, "\n# %s\n", file)
			last[i] = file
		}
	}
	for _, a := range list {
		if a.one == "" {
			head(&text, 0, a.file)
			fmt.Fprintf(&text, "%s = %s\n", quoteTOML(a.text), quoteTOML(plain(a.text)))
			continue
		}
		head(&count, 1, a.file)
		fmt.Fprintf(&count, "%s = {one = %s, other = %s}\n", quoteTOML(a.text), quoteTOML(plain(a.one)), quoteTOML(plain(a.text)))
	}
	return catalogueHead + text.String() + "\n[count]\n" + count.String()
}

// TestEnglishCatalogue: en.toml lists what the code asks for, so that a
// translation starts as a copy of it.
func TestEnglishCatalogue(t *testing.T) {
	const file = "catalogue/en.toml"
	b, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	own, _, _ := strings.Cut(string(b), catalogueHead)
	want := own + englishTexts(askings(t))
	if *update {
		if err := os.WriteFile(file, []byte(want), 0o644); err != nil {
			t.Fatal(err)
		}
	} else if string(b) != want {
		t.Errorf("%s is not what the code asks for; write it anew by: go test ./dashboards -run TestEnglishCatalogue -update", file)
	}
}

// verbs are the places of a pattern, sorted: "1s 2d".
func verbs(pattern string) []string {
	var list []string
	next := 1
	for _, m := range regexp.MustCompile(`%(?:\[(\d+)\])?([a-z%])`).FindAllStringSubmatch(pattern, -1) {
		if m[2] == "%" {
			continue
		}
		if m[1] != "" {
			next, _ = strconv.Atoi(m[1])
		}
		list = append(list, fmt.Sprint(next)+m[2])
		next++
	}
	slices.Sort(list)
	return slices.Compact(list)
}

// TestCatalogues: each language has each text that the code asks for exactly
// once (TOML refuses a key twice), with the same places for what is put into
// it, and no text that nothing asks for.
func TestCatalogues(t *testing.T) {
	list := askings(t)
	if len(list) < 300 {
		t.Fatalf("got %d texts: the walk went astray", len(list))
	}
	var text, count []string
	for _, a := range list {
		if a.one == "" {
			text = append(text, a.text)
		} else {
			count = append(count, a.text)
		}
	}
	for _, tag := range catalogue.Languages() {
		b, err := os.ReadFile("catalogue/" + tag + ".toml")
		if err != nil {
			t.Fatal(err)
		}
		var f catalogue.File
		if err := toml.Unmarshal(b, &f); err != nil {
			t.Fatal(err)
		}
		same := func(section string, asked []string, has []string) {
			for _, k := range asked {
				if !slices.Contains(has, k) {
					t.Errorf("%s.toml, [%s]: nothing for %q", tag, section, k)
				}
			}
			for _, k := range has {
				if !slices.Contains(asked, k) {
					t.Errorf("%s.toml, [%s]: nothing asks for %q", tag, section, k)
				}
			}
		}
		same("text", text, slices.Sorted(maps.Keys(f.Text)))
		same("count", count, slices.Sorted(maps.Keys(f.Count)))
		check := func(k, said string, may bool) {
			got, want := verbs(said), verbs(k)
			if !slices.Equal(got, want) && !(may && len(got) == 0) {
				t.Errorf("%s.toml: %q puts in %v, want %v as in %q", tag, said, got, want, k)
			}
			if strings.TrimSpace(said) == "" || strings.HasPrefix(said, " ") || strings.HasSuffix(said, " ") {
				t.Errorf("%s.toml: %q says %q, want words without blanks around them", tag, k, said)
			}
			if (strings.Contains(k, "%%") || len(want) > 0) && strings.Contains(regexp.MustCompile(`%(\[\d+\])?[a-z%]`).ReplaceAllString(said, ""), "%") {
				t.Errorf("%s.toml: %q has a percent sign alone: write %%%%", tag, said)
			}
		}
		for k, said := range f.Text {
			check(k, said, false)
		}
		for k, said := range f.Said {
			check(k, said, false)
		}
		for k, forms := range f.Count {
			if forms["other"] == "" {
				t.Errorf("%s.toml: %q has no form other", tag, k)
			}
			for form, said := range forms {
				check(k, said, form == "one")
			}
		}
	}
}
