package dashboards

import (
	"context"
	"image"
	"image/color"
	_ "image/png" // what the browser writes
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"
)

// TestSecondBrowser: Firefox draws the front page on paper's ground, with the
// ink of the days fed and of those not fed. The colours are the style sheet's.
func TestSecondBrowser(t *testing.T) {
	path, err := exec.LookPath("firefox-esr")
	if err != nil {
		if path, err = exec.LookPath("firefox"); err != nil {
			t.Skip("no second browser: install firefox-esr to test the front page in it")
		}
	}
	e := typical().edition()
	e.Publish = e.Publish[:1]
	dir := write(t, e, chartLibrary())
	home, shot := t.TempDir(), filepath.Join(t.TempDir(), "page.png")
	// Whatever the browser itself would like to fetch goes to a port where nobody answers.
	const offline = "user_pref(\"network.proxy.type\", 1);\nuser_pref(\"network.proxy.http\", \"127.0.0.1\");\nuser_pref(\"network.proxy.http_port\", 9);\n" +
		"user_pref(\"network.proxy.ssl\", \"127.0.0.1\");\nuser_pref(\"network.proxy.ssl_port\", 9);\n"
	if err := os.WriteFile(filepath.Join(home, "user.js"), []byte(offline), 0o644); err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithTimeout(context.Background(), 2*time.Minute)
	defer stop()
	cmd := exec.CommandContext(ctx, path, "--headless", "--no-remote", "--profile", home, "--window-size", "1280,2400", "--screenshot", shot, "file://"+filepath.ToSlash(filepath.Join(dir, "index.html")))
	cmd.Env = append(os.Environ(), "HOME="+home, "MOZ_HEADLESS=1")
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	f, err := os.Open(shot)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	img, _, err := image.Decode(f)
	if err != nil {
		t.Fatal(err)
	}
	of := map[color.RGBA]int{}
	size := img.Bounds()
	for y := size.Min.Y; y < size.Max.Y; y++ {
		for x := size.Min.X; x < size.Max.X; x++ {
			r, g, b, _ := img.At(x, y).RGBA()
			of[color.RGBA{uint8(r >> 8), uint8(g >> 8), uint8(b >> 8), 255}]++
		}
	}
	light := palettesOf(t)["light"]
	// 24 months of about 29 days in marks of 12 by 13 px are some 100,000 px.
	for name, least := range map[string]int{"paper": size.Dx() * size.Dy() / 2, "fed": 50000, "short": 500, "ink": 1000} {
		c := rgb(t, light[name])
		if got := of[color.RGBA{uint8(c[0]), uint8(c[1]), uint8(c[2]), 255}]; got < least {
			t.Errorf("got %d px of %s, want %d or more", got, name, least)
		}
	}
}
