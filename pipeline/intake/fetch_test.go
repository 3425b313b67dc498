package intake

import (
	"context"
	"crypto/sha256"
	"crypto/x509"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"farthing/pipeline/workspace"
)

const fileText = "observed_on,price\n2024-01-03,1.20\n2024-01-10,1.25\n"

// raw answers with these bytes and closes, or stays silent after them.
func raw(text string, silent bool) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		conn, _, err := w.(http.Hijacker).Hijack()
		if err != nil {
			panic(err)
		}
		defer conn.Close()
		io.WriteString(conn, text)
		if silent {
			io.Copy(io.Discard, conn) // until the asker hangs up
		}
	}
}

func plain(header ...string) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "text/csv; charset=utf-8")
		for i := 0; i < len(header); i += 2 {
			w.Header().Set(header[i], header[i+1])
		}
		io.WriteString(w, fileText)
	}
}

func status(code int) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) { w.WriteHeader(code) }
}

// hops redirects n times, then gives the file.
func hops(n int) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		at := 0
		fmt.Sscanf(r.URL.Query().Get("hop"), "%d", &at)
		if at == n {
			plain()(w, r)
			return
		}
		http.Redirect(w, r, fmt.Sprintf("/prices.csv?hop=%d", at+1), http.StatusFound)
	}
}

// exchanged gives the file's first half, exchanges it for another of the same
// length, and gives that one's second half.
func exchanged(header, was, is string) http.HandlerFunc {
	value := was
	return func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "text/csv")
		w.Header().Set("Content-Length", fmt.Sprint(len(fileText)))
		w.Header().Set(header, value)
		if r.Method == http.MethodHead {
			return
		}
		io.WriteString(w, fileText[:20])
		w.(http.Flusher).Flush()
		value = is
		io.WriteString(w, strings.ReplaceAll(fileText[20:], "1", "9"))
	}
}

func TestFetchRefuses(t *testing.T) {
	const head = "HTTP/1.1 200 OK\r\nContent-Type: text/csv\r\n"
	for _, c := range []struct {
		name    string
		handler http.HandlerFunc
		want    string // in the error; "" takes the file
		source  workspace.Source
	}{
		{name: "a file", handler: plain()},
		{name: "a file in chunks", handler: func(w http.ResponseWriter, r *http.Request) {
			w.Header().Set("Content-Type", "text/csv")
			io.WriteString(w, fileText[:9])
			w.(http.Flusher).Flush()
			io.WriteString(w, fileText[9:])
		}},
		{name: "no type is plain bytes", handler: raw(fmt.Sprintf("HTTP/1.1 200 OK\r\nContent-Length: %d\r\n\r\n%s", len(fileText), fileText), false)},
		{name: "connection kept open after the file", handler: raw(fmt.Sprintf("%sContent-Length: %d\r\n\r\n%s", head, len(fileText), fileText), true)},
		{name: "a note ahead of the answer", handler: raw(fmt.Sprintf("HTTP/1.1 103 Early Hints\r\nLink: </a>\r\n\r\n%sContent-Length: %d\r\n\r\n%s", head, len(fileText), fileText), false)},
		{name: "five redirects", handler: hops(5)},
		{name: "same after reading", handler: exchanged("ETag", `"a"`, `"a"`)},

		{name: "shorter than it says", handler: raw(fmt.Sprintf("%sContent-Length: %d\r\n\r\n%s", head, len(fileText)+1, fileText), false), want: "shorter than the answer says"},
		{name: "longer than it says", handler: raw(fmt.Sprintf("%sContent-Length: %d\r\n\r\n%s", head, len(fileText)-1, fileText), false), want: "longer than the answer says"},
		{name: "chunks cut off", handler: raw(head+"Transfer-Encoding: chunked\r\n\r\n10\r\n0123456789abcdef\r\n", false), want: "shorter than the answer says"},
		{name: "bytes after the last chunk", handler: raw(head+"Transfer-Encoding: chunked\r\n\r\n1\r\nx\r\n0\r\n\r\nmore", false), want: "longer than the answer says"},
		{name: "no length", handler: raw(head+"\r\n"+fileText, false), want: "tells no length"},
		{name: "two lengths", handler: raw(head+"Content-Length: 3\r\nContent-Length: 4\r\n\r\nabcd", false), want: "Content-Length"},
		{name: "no answer", handler: raw("", false), want: "no answer"},
		{name: "endless head", handler: raw(head+strings.Repeat("X-A: "+strings.Repeat("a", 1000)+"\r\n", 1100), true), want: "no answer"},
		{name: "stalls before it answers", handler: raw("", true), want: "timeout_s = 1"},
		{name: "stalls in the head", handler: raw("HTTP/1.1 200 OK\r\nContent-", true), want: "timeout_s = 1"},
		{name: "stalls in the body", handler: raw(head+"Content-Length: 100\r\n\r\nobserved_on", true), want: "timeout_s = 1"},
		{name: "says it is too large", handler: raw(head+"Content-Length: 1048577\r\n\r\n", true), want: "max_mb = 1"},
		{name: "is too large", handler: func(w http.ResponseWriter, r *http.Request) {
			w.Header().Set("Content-Type", "text/csv")
			for range 1200 {
				io.WriteString(w, strings.Repeat("x", 1023)+"\n")
			}
		}, want: "max_mb = 1"},
		{name: "six redirects", handler: hops(6), want: "more than 5 redirects"},
		{name: "redirects for ever", handler: hops(-1), want: "more than 5 redirects"},
		{name: "redirect to a file", handler: func(w http.ResponseWriter, r *http.Request) {
			http.Redirect(w, r, "file:///etc/hosts", http.StatusFound)
		}, want: "not http or https"},
		{name: "a page", handler: plain("Content-Type", "text/html"), want: `content type "text/html"`},
		{name: "a picture", handler: plain("Content-Type", "image/png"), want: `content type "image/png"`},
		{name: "no media type", handler: plain("Content-Type", "text/csv; ;"), want: "content type"},
		{name: "a picture that is meant", handler: plain("Content-Type", "image/png"), source: workspace.Source{ContentTypes: []string{"image/*"}}},
		{name: "a type not listed", handler: plain(), source: workspace.Source{ContentTypes: []string{"application/json"}}, want: `content type "text/csv"`},
		{name: "compressed unasked", handler: plain("Content-Encoding", "gzip"), want: `"gzip"`},
		{name: "not found", handler: status(404), want: "404"},
		{name: "busy", handler: status(503), want: "503"},
		{name: "a part", handler: status(206), want: "206"},
		{name: "unchanged since never", handler: status(304), want: "304"},
		{name: "exchanged half-way, by tag", handler: exchanged("ETag", `"a"`, `"b"`), want: "changed while it was read"},
		{name: "exchanged half-way, by time", handler: exchanged("Last-Modified", "Mon, 01 Jan 2024 00:00:00 GMT", "Tue, 02 Jan 2024 00:00:00 GMT"), want: "changed while it was read"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			server := httptest.NewServer(c.handler)
			defer server.Close()
			src := c.source
			src.Name, src.Address, src.MaxMB, src.TimeoutS = "shop", server.URL+"/prices.csv", 1, 60
			if strings.Contains(c.want, "timeout_s") {
				src.TimeoutS = 1
			}
			began := time.Now()
			dir := t.TempDir()
			got, err := Fetcher{}.Fetch(context.Background(), src, Fetched{}, dir)
			if took := time.Since(began); took > 30*time.Second {
				t.Errorf("took %s, want a second or two", took)
			}
			if c.want == "" {
				if err != nil {
					t.Fatalf("got %v, want the file", err)
				}
				if b, err := os.ReadFile(filepath.Join(dir, "prices.csv")); err != nil || c.name != "same after reading" && string(b) != fileText {
					t.Errorf("got %q, %v; want %q", b, err, fileText)
				}
				if got.Path != filepath.Join(dir, "prices.csv") || got.Address != src.Address || got.Unchanged {
					t.Errorf("got %+v, want prices.csv, new", got)
				}
				return
			}
			if err == nil || !strings.Contains(err.Error(), c.want) || !strings.Contains(err.Error(), "source shop: "+src.Address) {
				t.Errorf("got %v, want source, address and %q", err, c.want)
			}
			if left, _ := os.ReadDir(dir); len(left) > 0 {
				t.Errorf("got %s left behind, want nothing", left[0].Name())
			}
		})
	}
}

// TestFetchUnchanged: a file that did not change costs one request, and a new
// one is fetched whole. http.ServeContent answers as RFC 9110, section 13, says.
func TestFetchUnchanged(t *testing.T) {
	for _, by := range []string{"tag", "time"} {
		text, tag, at := fileText, `"v1"`, time.Date(2024, 1, 11, 6, 0, 0, 0, time.UTC)
		var asked []string
		server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			asked = append(asked, r.Method)
			if by == "tag" {
				w.Header().Set("ETag", tag)
			} else {
				w.Header().Set("Last-Modified", at.Format(http.TimeFormat))
			}
			w.Header().Set("Content-Type", "text/csv")
			stamp := time.Time{}
			if by == "time" {
				stamp = at
			}
			http.ServeContent(w, r, "", stamp, strings.NewReader(text))
		}))
		defer server.Close()
		src := workspace.Source{Name: "shop", Address: server.URL + "/latest", FileName: "prices.csv", MaxMB: 1, TimeoutS: 5}
		var last Fetched
		for _, step := range []struct {
			name      string
			text, tag string
			address   string
			unchanged bool
			asked     string
		}{
			{"first", fileText, `"v1"`, "/latest", false, "[GET HEAD]"},
			{"the same", fileText, `"v1"`, "/latest", true, "[GET]"},
			{"still the same", fileText, `"v1"`, "/latest", true, "[GET]"},
			{"new", fileText + "2024-01-17,1.30\n", `"v2"`, "/latest", false, "[GET HEAD]"},
			{"another address", fileText + "2024-01-17,1.30\n", `"v2"`, "/older", false, "[GET HEAD]"},
		} {
			if step.tag != tag {
				at = at.Add(time.Hour)
			}
			text, tag, asked, src.Address = step.text, step.tag, nil, server.URL+step.address
			dir := t.TempDir()
			got, err := Fetcher{}.Fetch(context.Background(), src, last, dir)
			if err != nil {
				t.Fatalf("%s, %s: %v", by, step.name, err)
			}
			if got.Unchanged != step.unchanged || fmt.Sprint(asked) != step.asked {
				t.Errorf("%s, %s: got unchanged %v by %v, want %v by %s", by, step.name, got.Unchanged, asked, step.unchanged, step.asked)
			}
			sum := sha256.Sum256([]byte(step.text))
			if got.SHA256 != hex.EncodeToString(sum[:]) {
				t.Errorf("%s, %s: got sha256 %s, want that of the text", by, step.name, got.SHA256)
			}
			if _, err := os.Stat(filepath.Join(dir, "prices.csv")); (err == nil) == step.unchanged {
				t.Errorf("%s, %s: got a file %v, want %v", by, step.name, err == nil, !step.unchanged)
			}
			last = got
		}
	}
}

func TestFetchSecure(t *testing.T) {
	open := httptest.NewServer(plain())
	defer open.Close()
	var to string
	secure := httptest.NewTLSServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if to != "" {
			http.Redirect(w, r, to, http.StatusMovedPermanently)
			return
		}
		plain()(w, r)
	}))
	secure.Config.ErrorLog = nil
	defer secure.Close()
	up := httptest.NewServer(http.RedirectHandler(secure.URL+"/prices.csv", http.StatusMovedPermanently))
	defer up.Close()
	roots := x509.NewCertPool()
	roots.AddCert(secure.Certificate())
	for _, c := range []struct {
		name, address, to string
		roots             *x509.CertPool
		want              string
	}{
		{"https", secure.URL, "", roots, ""},
		{"http to https", up.URL, "", roots, ""},
		{"a certificate of nobody", secure.URL, "", nil, "certificate"},
		{"https to http", secure.URL, open.URL, roots, "from https to " + open.URL},
	} {
		to = c.to
		src := workspace.Source{Name: "shop", Address: c.address + "/prices.csv", MaxMB: 1, TimeoutS: 5}
		_, err := Fetcher{c.roots}.Fetch(context.Background(), src, Fetched{}, t.TempDir())
		if (err == nil) != (c.want == "") || err != nil && !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: got %v, want %q", c.name, err, c.want)
		}
	}
}

// TestFetchStopped: a stop by the user is told from a time limit.
func TestFetchStopped(t *testing.T) {
	ctx, stop := context.WithCancel(context.Background())
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		stop()
		raw("", true)(w, r)
	}))
	defer server.Close()
	src := workspace.Source{Name: "shop", Address: server.URL + "/prices.csv", MaxMB: 1, TimeoutS: 60}
	if _, err := (Fetcher{}).Fetch(ctx, src, Fetched{}, t.TempDir()); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v, want canceled", err)
	}
}
