package dashboards

import (
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"farthing/pipeline/result"
)

// hostileTexts break out of HTML, attributes, scripts, styles, drawings, data
// files, lines, reading direction or paths where a program lets them. Common
// practice; each would set window.hit if it ran.
var hostileTexts = []string{
	`<script>hit=1</script>`, `</script><script>hit=1</script>`, `<SCRIPT SRC=//x.invalid/x.js></SCRIPT>`, `<scr<script>ipt>hit=1</scr</script>ipt>`,
	`<img src=x onerror=hit=1>`, `<img src="x" onerror="hit=1"`, `"><img src=x onerror=hit=1>`, `'><img src=x onerror=hit=1>`, `<img/src=x/onerror=hit=1>`, `<IMG """><SCRIPT>hit=1</SCRIPT>">`,
	`<svg onload=hit=1>`, `<svg><script>hit=1</script></svg>`, `</svg><script>hit=1</script>`, `<svg><animate onbegin=hit=1 attributeName=x dur=1s>`, `</text><script>hit=1</script>`, `</title><script>hit=1</script>`,
	`" onmouseover="hit=1`, `' onmouseover='hit=1`, `" autofocus onfocus=hit=1 x="`, `" style="position:fixed;inset:0" x="`, `x onclick=hit=1`, "`onclick=hit=1`",
	`javascript:hit=1`, `JaVaScRiPt:hit=1`, " javascript:hit=1", "java\tscript:hit=1", `data:text/html,<script>hit=1</script>`, `vbscript:hit=1`, `//x.invalid/`, `https://x.invalid/`,
	`<iframe src=javascript:hit=1>`, `<iframe srcdoc="<script>parent.hit=1</script>">`, `<object data=x>`, `<embed src=x>`, `<base href=//x.invalid/>`, `<link rel=stylesheet href=//x.invalid/x.css>`, `<meta http-equiv=refresh content="0;url=//x.invalid/">`,
	`<style>*{display:none}</style>`, `</style><script>hit=1</script>`, `<form action=//x.invalid/><input autofocus onfocus=hit=1>`, `<details open ontoggle=hit=1>`, `<video><source onerror=hit=1>`, `<body onload=hit=1>`, `<textarea>`, `<plaintext>`, `<!--`, `-->`, `<!DOCTYPE x>`, `<![CDATA[`, `]]>`, `<?xml version="1.0"?>`,
	`{{.}}`, `{{template "part"}}`, `${hit=1}`, `%s%d%v%!`, `\u003cscript\u003ehit=1\u003c/script\u003e`, `&lt;script&gt;hit=1&lt;/script&gt;`, `&#60;script&#62;hit=1`, `&`, `&amp;nbsp;`, `\`, `\"`, `"`, `'`, "`",
	`=cmd|' /C calc'!A0`, `+1+1`, `@SUM(1)`, "\r\nX: y", "a\nb\tc", "\x00", "\x1b[31mred", "\u202egnp.exe", "\u2066left\u2069", "\u200f", "שלום عالم", "e\u0301" + strings.Repeat("\u0300", 40), "\ufeff", "\u2028", strings.Repeat("W", 300), strings.Repeat("\u200b", 20), "👩\u200d👩\u200d👧", `../../../etc/passwd`, `..\..\x`, `C:\x`, `con`, `a/b`, `%2e%2e%2f`, `#x`, `?x=1`,
}

// coded are fields that hold a code, a date or a unit, which the pages read.
var coded = []string{"ObsStatus", "ObsStatusAll", "BaseMonth", "AsOf", "EffectiveFrom", "RunOutOn", "OldestOn", "NewestOn", "Per", "BaseUnit", "FilledBy", "SHA256", "Deflator"}

// taint puts text behind every text of an edition but its hash, which the
// program makes: keys stay equal to each other.
func taint(v reflect.Value, name, text string, codes bool) {
	switch v.Kind() {
	case reflect.Pointer:
		taint(v.Elem(), name, text, codes)
	case reflect.Struct:
		for i := range v.NumField() {
			if v.Type().Field(i).IsExported() {
				taint(v.Field(i), v.Type().Field(i).Name, text, codes)
			}
		}
	case reflect.Slice, reflect.Array:
		for i := range v.Len() {
			taint(v.Index(i), name, text, codes)
		}
	case reflect.String:
		if v.Len() > 0 && name != "Hash" && (codes || !slices.Contains(coded, name)) {
			v.SetString(v.String() + text)
		}
	}
}

// tainted is a small edition with a text in every text of it.
func tainted(text string, codes bool) *result.Edition {
	s := typical()
	s.months, s.ranged, s.sure = 13, true, true
	e := s.edition()
	for i := range e.Lines {
		e.Lines[i].Grade = "plain"
	}
	for i := range e.Items {
		e.Items[i].Grade = "plain"
	}
	for i := range e.Moved {
		e.Moved[i].Grade = "plain"
	}
	e.Caution = "Read this."
	taint(reflect.ValueOf(e), "", text, codes)
	e.Publish = e.Publish[len(e.Publish)-1:]
	return e
}

// marks are the elements of a page with their attributes' names.
func marks(root *node) map[string]bool {
	set := map[string]bool{}
	for _, n := range root.all("*") {
		set[n.name] = true
		for a := range n.attr {
			set[n.name+" "+a] = true
		}
	}
	return set
}

// TestHostileText puts each text in every text field of an edition: the pages
// have no element and no attribute that they would not have without it.
func TestHostileText(t *testing.T) {
	if n := len(hostileTexts); n < 60 {
		t.Fatalf("got %d texts, want 60 or more", n)
	}
	known := map[string]bool{}
	for _, e := range editions() {
		for file, b := range files(t, write(t, e, "")) {
			if strings.HasSuffix(file, ".html") || strings.HasSuffix(file, ".svg") {
				for m := range marks(parse(t, b)) {
					known[m] = true
				}
			}
		}
	}
	for i, text := range hostileTexts {
		t.Run(fmt.Sprintf("%02d", i), func(t *testing.T) {
			all := files(t, write(t, tainted(text, i%2 == 1), ""))
			for file, b := range all {
				switch filepath.Ext(file) {
				case ".html":
					checkPage(t, file, b, all, true)
				case ".svg":
					checkFigure(t, file, b, true)
				default:
					continue
				}
				for m := range marks(parse(t, b)) {
					if !known[m] {
						t.Errorf("%s: got %s by the text %q, want none", file, m, text)
					}
				}
			}
		})
	}
}

// TestHostileBrowser opens pages whose every text ends in hostile ones.
func TestHostileBrowser(t *testing.T) {
	b := browse(t)
	for i := 0; i < len(hostileTexts); i += 12 {
		text := strings.Join(hostileTexts[i:min(i+12, len(hostileTexts))], " ")
		dir := write(t, tainted(text, false), chartLibrary())
		for _, page := range oneOfEach(t, dir) {
			b.open(t, page, 360, true)
			if eval[bool](t, b, `"hit" in window || document.scripts.length > 2 + document.querySelectorAll(".plot script").length`) {
				t.Errorf("%s with texts from %d: got a script that ran or came in, want none", filepath.Base(page), i)
			}
			if got := eval[int64](t, b, "document.documentElement.scrollWidth"); got > 360 {
				t.Errorf("%s with texts from %d: got a page %d px wide, want it to fit 360", filepath.Base(page), i, got)
			}
		}
	}
	// The measure itself: where it may, such a text runs.
	faulty := filepath.Join(t.TempDir(), "faulty.html")
	if err := os.WriteFile(faulty, []byte(`<!doctype html><html data-ready><p>`+hostileTexts[0]), 0o644); err != nil {
		t.Fatal(err)
	}
	b.open(t, faulty, 360, true)
	if !eval[bool](t, b, `"hit" in window`) {
		t.Error("got no script that ran from a page without escapes, want one")
	}
}
