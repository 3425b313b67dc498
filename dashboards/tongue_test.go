package dashboards

import (
	"encoding/json"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"maps"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/pelletier/go-toml/v2"
	"golang.org/x/text/language"
	"golang.org/x/text/message"
	xnumber "golang.org/x/text/number"

	"farthing/dashboards/catalogue"
	"farthing/pipeline/result"
)

// catalogueFile reads a language's file.
func catalogueFile(t testing.TB, tag string) (f catalogue.File) {
	t.Helper()
	b, err := os.ReadFile("catalogue/" + tag + ".toml")
	if err != nil {
		t.Fatal(err)
	}
	if err := toml.Unmarshal(b, &f); err != nil {
		t.Fatal(err)
	}
	return f
}

// wide writes letters as their full-width forms (Unicode block Halfwidth and
// Fullwidth Forms), but for the places of a pattern, and the decimal point as a mark of its own.
func wide(text string) string {
	var b strings.Builder
	last := 0
	letters := func(s string) {
		s = regexp.MustCompile(`(\d)\.(\d)`).ReplaceAllString(s, "${1}\u066b${2}")
		for _, r := range s {
			if r >= 'A' && r <= 'Z' || r >= 'a' && r <= 'z' {
				r += 0xfee0
			}
			b.WriteRune(r)
		}
	}
	for _, m := range regexp.MustCompile(`%(\[\d+\])?[a-z]|%%`).FindAllStringIndex(text, -1) {
		letters(text[last:m[0]])
		b.WriteString(text[m[0]:m[1]])
		last = m[1]
	}
	letters(text[last:])
	return b.String()
}

// pseudo is a language in which each text of the catalogue is told at sight
// from what did not come through it.
func pseudo(t testing.TB) *catalogue.Language {
	t.Helper()
	f := catalogueFile(t, "en")
	f.Said = map[string]string{}
	for k := range catalogueFile(t, "de").Said {
		f.Said[k] = wide(k)
		if !regexp.MustCompile(`%[a-z]`).MatchString(k) {
			continue
		}
		f.Said[k] = wide(strings.ReplaceAll(k, " %: ", " %%: "))
	}
	for k, v := range f.Text {
		f.Text[k] = wide(v)
	}
	for _, forms := range f.Count {
		for form, v := range forms {
			forms[form] = wide(v)
		}
	}
	for _, list := range [][]string{f.Small, f.Months, f.Short} {
		for i := range list {
			list[i] = wide(list[i])
		}
	}
	f.Forms.Decimal, f.Forms.Thousands = "\u066b", "’"
	b, err := toml.Marshal(f)
	if err != nil {
		t.Fatal(err)
	}
	l, err := catalogue.Read("en-XA", b, catalogue.Forms{})
	if err != nil {
		t.Fatal(err)
	}
	return l
}

// phrases are all texts of an edition as pages print them, the longest first.
func phrases(e *result.Edition) []string {
	all := map[string]bool{}
	var walk func(v reflect.Value)
	walk = func(v reflect.Value) {
		switch v.Kind() {
		case reflect.Pointer:
			walk(v.Elem())
		case reflect.Struct:
			for i := range v.NumField() {
				if v.Type().Field(i).IsExported() {
					walk(v.Field(i))
				}
			}
		case reflect.Slice, reflect.Array:
			for i := range v.Len() {
				walk(v.Index(i))
			}
		case reflect.String:
			for _, s := range []string{clean(v.String()), label(v.String()), dishName(v.String()), en.lower(dishName(v.String())), strings.ReplaceAll(label(v.String()), "-", " ")} {
				if len(s) > 1 {
					all[s], all[upper(s)] = true, true
				}
			}
		}
	}
	walk(reflect.ValueOf(e))
	// What the pages name in every language: the program, its files, forms of units and files.
	for _, s := range []string{"Farthing", "SVG", "PNG", "data/spreadsheet"} {
		all[s] = true
	}
	list := slices.Collect(maps.Keys(all))
	slices.SortFunc(list, func(a, b string) int {
		if len(a) != len(b) {
			return len(b) - len(a)
		}
		return strings.Compare(a, b)
	})
	return list
}

var (
	fileNames = regexp.MustCompile(`[\w/-]+\.(csv|svg|xlsx|jsonld|json|cff|txt|html|toml)\b`)
	// Words, numbers with a point, and numbers of four digits that are no year.
	leftovers = regexp.MustCompile(`[A-Za-z]{2,}[^<]*|\d\.\d[^<]*|(?:^|[^\d\x{66b}’.])[3-9]\d{3}(?:$|[^\d\x{66b}])`)
)

// untold gives what of a text is neither the catalogue's nor the data's.
func untold(text string, known []string) string {
	text = fileNames.ReplaceAllString(text, "")
	if !leftovers.MatchString(text) {
		return ""
	}
	for _, k := range known {
		text = strings.ReplaceAll(text, k, "")
	}
	left := leftovers.FindString(text)
	if cut, ok := strings.CutSuffix(left, "…"); ok && slices.ContainsFunc(known, func(k string) bool { return strings.HasPrefix(k, cut) }) {
		return "" // a name that had no room
	}
	return left
}

// TestEveryTextIsTranslated writes the made-up editions in a language whose
// texts are told at sight: on no page, in no drawing, no option of a chart and
// not in the script is a word or a number that did not come through the
// catalogue, but for what the data name.
func TestEveryTextIsTranslated(t *testing.T) {
	strange := pseudo(t)
	seen := map[string]bool{}
	texts := 0
	for name, e := range editions() {
		if name == "hostile" || name == "long names" || name == "ten years" {
			continue // their words are those of the others
		}
		if len(e.Publish) > 2 && name != "typical" {
			e.Publish = e.Publish[len(e.Publish)-2:]
		}
		library := ""
		if name == "typical" || name == "ranged" {
			library = chartLibrary()
		}
		dir := filepath.Join(t.TempDir(), "site")
		if err := os.MkdirAll(dir, 0o755); err != nil {
			t.Fatal(err)
		}
		if err := Write(dir, e, strange, library, "", false); err != nil {
			t.Fatal(err)
		}
		known := phrases(e)
		tell := func(file, where, text string) {
			texts++
			if left := untold(text, known); left != "" && !seen[left] {
				seen[left] = true
				t.Errorf("%s, %s, %s: got %q in %q, want it from the catalogue", name, file, where, left, text)
			}
		}
		for file, b := range files(t, dir) {
			switch filepath.Ext(file) {
			case ".html", ".svg":
				for _, n := range parse(t, b).all("*") {
					if n.name == "html" && n.attr["lang"] != "en-XA" {
						t.Errorf("%s: got the language %q, want that of the pages", file, n.attr["lang"])
					}
					for _, a := range []string{"aria-label", "title", "alt"} {
						tell(file, a, n.attr[a])
					}
					if n.name == "script" && n.text != "" {
						var option any
						if err := json.Unmarshal([]byte(n.text), &option); err != nil {
							t.Fatal(err)
						}
						said(option, func(text string) { tell(file, "option", strings.ReplaceAll(text, "\n", " ")) })
					} else if n.name == "svg" || n.name == "g" { // lines of type, which may part a name
						var lines []string
						for _, k := range n.kids {
							if k.name == "text" {
								lines = append(lines, k.text)
							}
						}
						tell(file, "lines", strings.Join(lines, " "))
					} else if len(n.kids) == 0 && n.name != "text" {
						tell(file, n.name, n.text)
					} else if inner := n.text; n.name == "p" || n.name == "li" || n.name == "h1" || n.name == "span" {
						tell(file, n.name, inner)
					}
				}
			case ".js":
				if m := regexp.MustCompile(`var say = (\{.*\});`).FindSubmatch(b); m != nil {
					var say map[string]any
					if err := json.Unmarshal(m[1], &say); err != nil {
						t.Fatal(err)
					}
					for k, v := range say {
						for _, w := range strings.Fields(strings.Trim(strings.ReplaceAll(toText(v), "\n", " "), "[]")) {
							tell(file, k, regexp.MustCompile(`\{\w+\}`).ReplaceAllString(w, ""))
						}
					}
				}
			}
		}
	}
	if texts < 10000 {
		t.Errorf("got %d texts looked at: the walk went astray", texts)
	}
	// The measure itself: an untranslated word and a number with a point are found.
	for _, text := range []string{"the price", "4.80", "3344"} {
		if untold(text, []string{"Tavrin"}) == "" {
			t.Errorf("got %q taken for translated", text)
		}
	}
}

func toText(v any) string {
	if list, ok := v.([]any); ok {
		var words []string
		for _, x := range list {
			words = append(words, toText(x))
		}
		return strings.Join(words, " ")
	}
	s, _ := v.(string)
	return s
}

// said walks the texts that a chart's option prints.
func said(v any, tell func(string)) {
	switch v := v.(type) {
	case map[string]any:
		for k, x := range v {
			if s, ok := x.(string); ok {
				if k == "name" || k == "text" {
					tell(s)
				}
				continue
			}
			if list, ok := x.([]any); ok && k == "data" {
				for _, x := range list {
					if s, ok := x.(string); ok {
						tell(s)
					}
				}
			}
			said(x, tell)
		}
	case []any:
		for _, x := range v {
			said(x, tell)
		}
	}
}

// TestNumbersFollowTheLanguage: each table of the German pages has the digits
// of the English one, which are the data file's, with the marks of German: a
// comma, and a point between thousands. Checked against the rules of Unicode
// CLDR, as golang.org/x/text has them.
func TestNumbersFollowTheLanguage(t *testing.T) {
	german, err := catalogue.New("de", catalogue.Forms{})
	if err != nil {
		t.Fatal(err)
	}
	cldr := message.NewPrinter(language.German)
	for _, v := range []float64{0, 0.5, 12.34, 999, 1000, 12345.67, 1234567.89} {
		text := strconv.FormatFloat(v, 'f', -1, 64)
		if got, want := german.Figure(text), cldr.Sprint(xnumber.Decimal(v)); got != want {
			t.Errorf("%s: got %q, want %q as in CLDR", text, got, want)
		}
	}
	s := typical()
	s.ranged = true
	e := s.edition()
	e.Publish = e.Publish[len(e.Publish)-2:]
	pages := func(l *catalogue.Language) map[string][]byte {
		dir := filepath.Join(t.TempDir(), "site")
		if err := os.MkdirAll(dir, 0o755); err != nil {
			t.Fatal(err)
		}
		if err := Write(dir, e, l, "", "", false); err != nil {
			t.Fatal(err)
		}
		return files(t, dir)
	}
	figure := regexp.MustCompile(`^[+\x{2212}]?\d+(\.\d+)?(\x{202f}%)?$`)
	from, to := pages(english), pages(german)
	compared := 0
	for file, b := range from {
		if filepath.Ext(file) != ".html" {
			continue
		}
		a, z := parse(t, b).all("td"), parse(t, to[file]).all("td")
		if len(a) != len(z) {
			t.Errorf("%s: got %d cells in German, want %d", file, len(z), len(a))
			continue
		}
		for i := range a {
			if !figure.MatchString(a[i].text) || a[i].attr["class"] == "w" {
				continue
			}
			number, sign, _ := strings.Cut(a[i].text, "\u202f")
			want := german.Figure(number)
			if sign != "" {
				want += "\u202f" + sign
			}
			if z[i].text != want {
				t.Errorf("%s, cell %d: got %q, want %q", file, i, z[i].text, want)
			}
			compared++
		}
	}
	if compared < 1000 {
		t.Errorf("got %d figures compared, want more", compared)
	}
}

// TestSaidTexts: each doubt that compute and the kitchen write into an edition,
// each cure of a row that could not be read, what a meal's line lacks, each name
// of a choice and each feature that can be off has words in every language.
func TestSaidTexts(t *testing.T) {
	var patterns []string
	var pattern func(e ast.Expr) string
	pattern = func(e ast.Expr) string {
		switch e := e.(type) {
		case *ast.BasicLit:
			s, _ := strconv.Unquote(e.Value)
			return s
		case *ast.BinaryExpr:
			return pattern(e.X) + pattern(e.Y)
		case *ast.CallExpr:
			if f, ok := e.Fun.(*ast.SelectorExpr); ok && f.Sel.Name == "Sprintf" {
				return strings.NewReplacer("%d", "%s", "%q", `"%s"`).Replace(pattern(e.Args[0]))
			}
		}
		return "%s"
	}
	for _, glob := range []string{"../pipeline/compute/*.go", "../pipeline/workspace/tables.go", "../pipeline/kitchen/*.go", "../pipeline/intake/*.go"} {
		names, err := filepath.Glob(glob)
		if err != nil || names == nil {
			t.Fatalf("%s: got no files and %v", glob, err)
		}
		for _, name := range names {
			f, err := parser.ParseFile(token.NewFileSet(), name, nil, 0)
			if err != nil {
				t.Fatal(err)
			}
			if strings.HasSuffix(name, "_test.go") {
				continue
			}
			ast.Inspect(f, func(n ast.Node) bool {
				switch n := n.(type) {
				case *ast.CompositeLit: // a fault of a cell: code, field, what was read, cure
					if of, ok := n.Type.(*ast.Ident); ok && of.Name == "fault" {
						for i, e := range n.Elts {
							if kv, ok := e.(*ast.KeyValueExpr); ok && fmt.Sprint(kv.Key) == "cure" {
								patterns = append(patterns, pattern(kv.Value))
							} else if !ok && i == 3 {
								patterns = append(patterns, pattern(e))
							}
						}
					}
				case *ast.AssignStmt:
					for i, to := range n.Lhs {
						if field, ok := to.(*ast.SelectorExpr); ok && (field.Sel.Name == "cure" || field.Sel.Name == "lacks") && n.Tok == token.ASSIGN && len(n.Rhs) == len(n.Lhs) {
							patterns = append(patterns, pattern(n.Rhs[i]))
						}
					}
				case *ast.CallExpr:
					called := ""
					switch f := n.Fun.(type) {
					case *ast.Ident:
						called = f.Name
					case *ast.SelectorExpr:
						called = f.Sel.Name
					}
					if called == "warn" && len(n.Args) == 4 {
						patterns = append(patterns, pattern(n.Args[1]), pattern(n.Args[2]))
					}
					if called == "spec" && len(n.Args) == 3 {
						patterns = append(patterns, pattern(n.Args[1]))
					}
				case *ast.FuncDecl:
					if n.Name.Name == "options" {
						ast.Inspect(n, func(n ast.Node) bool {
							if c, ok := n.(*ast.CompositeLit); ok && len(c.Elts) == 2 {
								patterns = append(patterns, pattern(c.Elts[0]))
							}
							return true
						})
					}
				}
				return true
			})
		}
	}
	if len(patterns) < 40 {
		t.Fatalf("got %d texts: the walk went astray", len(patterns))
	}
	for _, tag := range catalogue.Languages() {
		if tag == catalogue.English {
			continue
		}
		f := catalogueFile(t, tag)
		for _, p := range patterns {
			words := strings.Trim(strings.ReplaceAll(p, "%s", ""), " :;,")
			if words != "" && f.Said[p] == "" { // what is put together of texts is said as they are
				t.Errorf("%s.toml, [said]: nothing for %q", tag, p)
			}
		}
	}
	german, err := catalogue.New("de", catalogue.Forms{})
	if err != nil {
		t.Fatal(err)
	}
	for text, want := range map[string]string{
		"switched off: local measures":                         "abgeschaltet: örtliche Maße",
		"1234 rows could not be read and are set aside":        "1.234 Zeilen waren nicht lesbar und sind beiseitegelegt",
		`no values of the deflator "x": real values are blank`: "keine Werte des Deflators „x“: reale Werte sind leer",
		"yield assumed 100 %: Oats in basket plain":            "Ausbeute mit 100 % angenommen: Oats im Korb plain",
	} {
		if got, known := german.Said(text); got != want || !known {
			t.Errorf("%q: got %q, %v, want %q", text, got, known, want)
		}
	}
	if got, known := german.Said("a text of another program"); known || got != "a text of another program" {
		t.Errorf("got %q, %v, want a text that is not known as it is", got, known)
	}
}
