package draw

import (
	"bytes"
	"errors"
	"image"
	"image/png"
	"math"
	"testing"
)

// TestPNG reads pictures back: their size, the ink of a bar, the paper around it,
// and letters where there are words.
func TestPNG(t *testing.T) {
	wide, _ := Purses(english, purseSample(), "XTS", 0, "", nil, nil)
	svg := wide.File("A headline’s words", "What is drawn.")
	b, img := picture(t, svg)
	// The drawing begins 24 px from the left and, under one line of 27 px and one of 19 px, 84 px from the top; its bars 24 px below that.
	const left, top = 24, 24 + 27 + 19 + 14
	if w, h := img.Bounds().Dx(), img.Bounds().Dy(); w != 2*(Wide+2*24) || h != 2*int(top+wide.Height+24) {
		t.Errorf("got %d x %d px, want two for each of the drawing", w, h)
	}
	at := func(x, y float64) string {
		r, g, b, _ := img.At(int(2*x), int(2*y)).RGBA()
		return string([]byte{'#', hexDigit(r >> 12), hexDigit(r >> 8 & 15), hexDigit(g >> 12), hexDigit(g >> 8 & 15), hexDigit(b >> 12), hexDigit(b >> 8 & 15)})
	}
	unit := (widePurse.x1 - widePurse.x0) / 10
	y := top + 24 + widePurse.row + purseHeight/2
	for _, p := range []struct {
		what string
		x    float64
		want string
	}{{"the used part", left + widePurse.x0 + 3*unit, Fed}, {"the kept part", left + widePurse.x0 + 7.8*unit, Paper}, {"the margin", 4, Paper}} {
		if got := at(p.x, y); got != p.want {
			t.Errorf("%s: got %s, want %s", p.what, got, p.want)
		}
	}
	inked := func(box image.Rectangle) (n int) {
		for x := box.Min.X; x < box.Max.X; x++ {
			for y := box.Min.Y; y < box.Max.Y; y++ {
				if r, _, _, _ := img.At(x, y).RGBA(); r < 0x8000 {
					n++
				}
			}
		}
		return n
	}
	if n := inked(image.Rect(48, 48, 500, 100)); n < 800 {
		t.Errorf("got %d dark px where the headline stands, want letters", n)
	}
	if n := inked(image.Rect(900, 48, 1400, 100)); n != 0 {
		t.Errorf("got %d dark px beside the headline, want paper", n)
	}
	var many []Panel
	for range 200 {
		many = append(many, Panel{Title: "a region", Last: "1", Points: []Point{{Value: "1"}, {Value: "2"}}})
	}
	tall, _ := Panels(Words{Decimal: "."}, many, "Jan", "Feb", nil, nil)
	if _, err := PNG(tall.File("Many", "")); !errors.Is(err, ErrTall) {
		t.Errorf("got %v for 200 panels, want ErrTall", err)
	}
	if _, err := PNG(wide.File("\u6771", "")); !errors.Is(err, ErrLetters) {
		t.Errorf("got %v for a letter that the type lacks, want ErrLetters", err)
	}
	if again, _ := picture(t, svg); !bytes.Equal(b, again) { // whatever was drawn on the same sheet before
		t.Error("got other bytes the second time")
	}
}

// picture draws a drawing's file as a picture: its bytes, and what is read from them.
func picture(t *testing.T, svg []byte) ([]byte, image.Image) {
	t.Helper()
	b, err := PNG(svg)
	if err != nil {
		t.Fatal(err)
	}
	img, err := png.Decode(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	return b, img
}

func hexDigit(v uint32) byte { return "0123456789abcdef"[v] }

// TestPNGPens: a dash of a strip is as long and as high as its day.
func TestPNGPens(t *testing.T) {
	wide, _ := Strips(english, []Month{{Year: 2023, Name: "Dec", Days: 31, Fed: 31, Count: "33.24", RunsOut: "lasted", Lo: nan, Hi: nan}}, nil, nil)
	_, img := picture(t, wide.File("H", ""))
	most := 0
	for y := range img.Bounds().Dy() {
		n := 0
		for x := range img.Bounds().Dx() {
			if r, g, b, _ := img.At(x, y).RGBA(); r>>8 == 0x23 && g>>8 == 0x40 && b>>8 == 0x5c {
				n++
			}
		}
		most = max(most, n)
	}
	if want := 31 * int(2*wideStrip.mark); most < want-31 || most > want+31 {
		t.Errorf("got %d px of ink along a month, want about %d", most, want)
	}
}

var nan = math.NaN()
