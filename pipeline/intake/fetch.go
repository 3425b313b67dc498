package intake

import (
	"bufio"
	"context"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"math"
	"mime"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"time"

	"farthing/pipeline/workspace"
)

// Fetched is what one request to a source's address brought, and what the next
// one asks by.
type Fetched struct {
	Address   string `json:"address"`
	ETag      string `json:"etag,omitempty"`
	Modified  string `json:"modified,omitempty"` // the Last-Modified of the answer, as sent
	SHA256    string `json:"sha256,omitempty"`
	Unchanged bool   `json:"unchanged,omitempty"`

	Path string `json:"-"` // of the new file, "" if unchanged
}

// Fetcher asks addresses. Its zero value trusts the system's certificates.
type Fetcher struct {
	Roots *x509.CertPool
}

const (
	maxRedirects = 5
	maxHeader    = 1 << 20     // bytes of an answer's head
	surplusWait  = time.Second // how long a server may take to close after the last byte
)

// Fetch asks a source's address once for a file that is newer than last and
// writes it into dir. It refuses what may not be the whole file: a body that is
// shorter or longer than the answer says or tells no length, is larger than
// max_mb, takes longer than timeout_s, is of a content type that the source
// does not allow, or was exchanged while it was read. On error nothing is in dir.
//
// Only http and https are spoken, to the named address and at most five
// redirects from it, never from https to http; no proxy is used and no cookie
// kept. The file is what came over the wire: no compression is asked for.
func (f Fetcher) Fetch(ctx context.Context, src workspace.Source, last Fetched, dir string) (got Fetched, err error) {
	defer func() {
		if err != nil {
			err = fmt.Errorf("source %s: %s: %w", src.Name, src.Address, err)
		}
	}()
	limit := time.Duration(src.TimeoutS) * time.Second
	ctx, stop := context.WithTimeoutCause(ctx, limit, fmt.Errorf("not finished within timeout_s = %d", src.TimeoutS))
	defer stop()
	maxBytes := int64(src.MaxMB) << 20
	client := &http.Client{Transport: oneShot{f.Roots}, CheckRedirect: checkRedirect}
	known := last.Address == src.Address && (last.ETag != "" || last.Modified != "")
	ask := func(method string, by Fetched) (*http.Response, error) {
		req, err := http.NewRequestWithContext(ctx, method, src.Address, nil)
		if err != nil {
			return nil, err
		}
		req.Header.Set("User-Agent", "farthing")
		req.Header.Set("Accept-Encoding", "identity")
		if by.ETag != "" {
			req.Header.Set("If-None-Match", by.ETag)
		}
		if by.Modified != "" {
			req.Header.Set("If-Modified-Since", by.Modified)
		}
		resp, err := client.Do(req)
		if refused := new(url.Error); errors.As(err, &refused) {
			err = refused.Err // the address is named already
		}
		return resp, why(ctx, err)
	}
	if !known {
		last = Fetched{}
	}
	resp, err := ask(http.MethodGet, last)
	if err != nil {
		return got, err
	}
	defer resp.Body.Close()
	if resp.StatusCode == http.StatusNotModified && known {
		last.Unchanged, last.Path = true, ""
		return last, nil
	}
	if err := checkHead(resp, src, maxBytes); err != nil {
		return got, err
	}
	got = Fetched{Address: src.Address, ETag: resp.Header.Get("ETag"), Modified: resp.Header.Get("Last-Modified"), Path: filepath.Join(dir, src.FetchName())}
	out, err := os.Create(got.Path)
	if err != nil {
		return got, err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, os.Remove(got.Path))
		}
	}()
	h := sha256.New()
	n, err := io.Copy(io.MultiWriter(out, h), io.LimitReader(resp.Body, maxBytes+1))
	if err = errors.Join(why(ctx, err), out.Close()); err != nil {
		return got, fmt.Errorf("after %d bytes: %w", n, err)
	}
	if n > maxBytes {
		return got, tooLarge(src)
	}
	got.SHA256 = hex.EncodeToString(h.Sum(nil))
	return got, stillThat(resp, got, ask)
}

// why gives the reason that a context ended for, where it did.
func why(ctx context.Context, err error) error {
	if err != nil && ctx.Err() != nil {
		return context.Cause(ctx)
	}
	return err
}

func tooLarge(src workspace.Source) error {
	return fmt.Errorf("larger than max_mb = %d; raise it in the source if the file is meant", src.MaxMB)
}

// checkRedirect follows at most maxRedirects, and none to a weaker scheme.
func checkRedirect(req *http.Request, via []*http.Request) error {
	switch {
	case len(via) > maxRedirects:
		return fmt.Errorf("more than %d redirects", maxRedirects)
	case req.URL.Scheme != "https" && req.URL.Scheme != "http":
		return fmt.Errorf("redirected to %s: not http or https", req.URL.Redacted())
	case req.URL.Scheme == "http" && via[len(via)-1].URL.Scheme == "https":
		return fmt.Errorf("redirected from https to %s: not secure", req.URL.Redacted())
	}
	return nil
}

// checkHead refuses an answer by its head, before its body is read.
func checkHead(resp *http.Response, src workspace.Source, maxBytes int64) error {
	if resp.StatusCode != http.StatusOK {
		return fmt.Errorf("the server answered %q", resp.Status)
	}
	if enc := resp.Header.Get("Content-Encoding"); enc != "" && enc != "identity" {
		return fmt.Errorf("sent as %q though plain bytes were asked for", enc)
	}
	// RFC 9110 section 8.3: an answer without a type may be taken for plain bytes.
	media, typ := "application/octet-stream", resp.Header.Get("Content-Type")
	if typ != "" {
		var err error
		if media, _, err = mime.ParseMediaType(typ); err != nil {
			return fmt.Errorf("content type %q: %w", typ, err)
		}
	}
	if !src.Allows(media) {
		return fmt.Errorf("content type %q is not allowed; if the file is meant, list the type in the source's content_types", media)
	}
	if resp.ContentLength < 0 && len(resp.TransferEncoding) == 0 {
		return errors.New("the answer tells no length, so a part could not be told from the whole")
	}
	if resp.ContentLength > maxBytes {
		return tooLarge(src)
	}
	return nil
}

// stillThat asks once more, by the validators just received: a file that was
// exchanged while it was read may be half old and half new. A server that gave
// no validators, or does not answer to HEAD, can not be asked.
func stillThat(was *http.Response, got Fetched, ask func(string, Fetched) (*http.Response, error)) error {
	if got.ETag == "" && got.Modified == "" {
		return nil
	}
	now, err := ask(http.MethodHead, got)
	if err != nil {
		return err
	}
	now.Body.Close()
	if now.StatusCode != http.StatusOK { // 304: the same
		return nil
	}
	for _, name := range []string{"ETag", "Last-Modified", "Content-Length"} {
		if a, b := was.Header.Get(name), now.Header.Get(name); a != b && a != "" && b != "" {
			return fmt.Errorf("changed while it was read: %s was %q, is %q", name, a, b)
		}
	}
	return nil
}

// oneShot makes each request over a connection of its own and looks at what
// follows the body. Note: the standard transport drops bytes past the stated
// length in silence, and would keep the first part of a longer file as the
// whole.
type oneShot struct{ roots *x509.CertPool }

func (o oneShot) RoundTrip(req *http.Request) (*http.Response, error) {
	ctx, u := req.Context(), req.URL
	port := u.Port()
	if port == "" {
		port = u.Scheme // "http" and "https" are names of ports
	}
	conn, err := (&net.Dialer{}).DialContext(ctx, "tcp", net.JoinHostPort(u.Hostname(), port))
	if err != nil {
		return nil, err
	}
	if u.Scheme == "https" {
		secure := tls.Client(conn, &tls.Config{ServerName: u.Hostname(), RootCAs: o.roots})
		if err := secure.HandshakeContext(ctx); err != nil {
			conn.Close()
			return nil, err
		}
		conn = secure
	}
	release := context.AfterFunc(ctx, func() { conn.Close() }) // ends a read or a write that stalls
	head := &io.LimitedReader{R: conn, N: maxHeader}
	body := &wholeBody{conn: conn, release: release, buf: bufio.NewReader(head)}
	send := req.Clone(ctx)
	send.Close = true
	if err := send.Write(conn); err != nil {
		body.Close()
		return nil, err
	}
	resp, err := http.ReadResponse(body.buf, req)
	for err == nil && resp.StatusCode < 200 { // a note ahead of the answer
		resp, err = http.ReadResponse(body.buf, req)
	}
	if err != nil {
		body.Close()
		return nil, fmt.Errorf("no answer: %w", err)
	}
	head.N = math.MaxInt64 // from here on the reader of the body counts
	body.ReadCloser = resp.Body
	resp.Body = body
	return resp, nil
}

// wholeBody is a body that must end where its answer says.
type wholeBody struct {
	io.ReadCloser
	conn    net.Conn
	buf     *bufio.Reader
	release func() bool
}

func (b *wholeBody) Read(p []byte) (int, error) {
	n, err := b.ReadCloser.Read(p)
	if err == io.EOF {
		b.conn.SetReadDeadline(time.Now().Add(surplusWait)) // of the socket, in no result
		if rest, _ := b.buf.Peek(1); len(rest) > 0 {
			err = errors.New("the body is longer than the answer says")
		}
	}
	if errors.Is(err, io.ErrUnexpectedEOF) {
		err = errors.New("the body is shorter than the answer says")
	}
	return n, err
}

// Close drops the connection, whatever is left on it.
func (b *wholeBody) Close() error {
	b.release()
	return b.conn.Close()
}
