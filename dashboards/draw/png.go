package draw

import (
	"bytes"
	"cmp"
	"encoding/binary"
	"encoding/xml"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"io"
	"maps"
	"slices"
	"strconv"
	"strings"
	"sync"

	"github.com/srwiley/oksvg"
	"github.com/srwiley/rasterx"
	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goitalic"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"
	"golang.org/x/image/vector"
)

// ErrLetters says that a drawing has letters which the embedded type lacks: its
// SVG shows them by the reader's own type.
var ErrLetters = errors.New("letters that the embedded type lacks")

// ErrTall says that a drawing is taller than some sheets of paper: its SVG can be
// cut, a picture of it is of no use in print.
var ErrTall = errors.New("taller than a picture for print")

// tallest is the height of a picture by its width: six sheets of A4.
const tallest = 6 * 1.4142

// pngScale is px of the picture for a px of the drawing: 768 px are 20 cm at 195 dpi.
const pngScale = 2

// face is the embedded type at a size, in one of its kinds: what fonts a machine has is nothing to the bytes.
type face struct {
	font.Face
	of *opentype.Font
}

type faces map[string]face

var parseFonts = sync.OnceValues(func() (map[string]*opentype.Font, error) {
	fonts := map[string]*opentype.Font{}
	for name, ttf := range map[string][]byte{"": goregular.TTF, "bold": gobold.TTF, "italic": goitalic.TTF} {
		f, err := opentype.Parse(ttf)
		if err != nil {
			return nil, err
		}
		fonts[name] = f
	}
	return fonts, nil
})

func (f faces) face(kind string, size float64) (face, error) {
	key := fmt.Sprint(kind, size)
	if got, ok := f[key]; ok {
		return got, nil
	}
	fonts, err := parseFonts()
	if err != nil {
		return face{}, err
	}
	sized, err := opentype.NewFace(fonts[kind], &opentype.FaceOptions{Size: size, DPI: 72, Hinting: font.HintingNone})
	if err != nil {
		return face{}, err
	}
	f[key] = face{sized, fonts[kind]}
	return f[key], nil
}

// PNG draws the file of a drawing (see Drawing.File) as a picture of print size:
// two px for each of its own. It knows the elements that this package writes,
// and no others. A drawing in letters that the embedded type lacks is ErrLetters,
// one that no printer would take in a piece ErrTall.
func PNG(svg []byte) ([]byte, error) {
	icon, err := oksvg.ReadIconStream(bytes.NewReader(svg), oksvg.IgnoreErrorMode)
	if err != nil {
		return nil, err
	}
	for i := range icon.SVGPaths { // the library scales places, not pens
		p := &icon.SVGPaths[i]
		p.LineWidth *= pngScale
		for k := range p.Dash {
			p.Dash[k] *= pngScale
		}
	}
	w, h := int(icon.ViewBox.W*pngScale), int(icon.ViewBox.H*pngScale)
	if float64(h) > tallest*float64(w) {
		return nil, ErrTall
	}
	s := sheets.Get().(*sheet)
	defer sheets.Put(s)
	s.scanner.img = &image.RGBA{Pix: room(&s.pix, 4*w*h), Stride: 4 * w, Rect: image.Rect(0, 0, w, h)}
	icon.SetTarget(0, 0, float64(w), float64(h))
	icon.Draw(rasterx.NewDasher(w, h, &s.scanner), 1)
	if err := s.faces.write(s.scanner.img, svg); err != nil {
		return nil, err
	}
	var b bytes.Buffer
	err = (&png.Encoder{CompressionLevel: png.BestSpeed, BufferPool: &s.encoder}).Encode(&b, s.paletted(s.scanner.img))
	return b.Bytes(), err
}

// sheet is what a picture is drawn on: some megabytes, which serve one picture after another.
type sheet struct {
	pix, shades []byte
	runs        []run
	scanner     scanner
	faces       faces
	encoder     kept
}

var sheets = sync.Pool{New: func() any { return &sheet{faces: faces{}} }}

// kept keeps the encoder's own buffers.
type kept struct{ buffer *png.EncoderBuffer }

func (k *kept) Get() *png.EncoderBuffer  { return k.buffer }
func (k *kept) Put(b *png.EncoderBuffer) { k.buffer = b }

// room is n bytes of zero, in the same place as before if that is large enough.
func room(b *[]byte, n int) []byte {
	*b = slices.Grow((*b)[:0], n)[:n]
	clear(*b)
	return *b
}

// run is px of one shade that follow each other; most of a drawing is long ones.
type run struct {
	shade uint32
	n     int
}

// paletted is a picture with its 256 most frequent colours: the inks and paper as
// they are, the rarest shades of an edge as the nearest of them. A quarter of the bytes.
func (s *sheet) paletted(img *image.RGBA) *image.Paletted {
	runs := s.runs[:0]
	for pix := img.Pix; len(pix) >= 4; {
		shade, rest := binary.BigEndian.Uint32(pix), pix[4:]
		for two := uint64(shade)<<32 | uint64(shade); len(rest) >= 8 && binary.BigEndian.Uint64(rest) == two; {
			rest = rest[8:]
		}
		if len(rest) >= 4 && binary.BigEndian.Uint32(rest) == shade {
			rest = rest[4:]
		}
		runs = append(runs, run{shade, (len(pix) - len(rest)) / 4})
		pix = rest
	}
	s.runs = runs
	counts := map[uint32]int{}
	for _, r := range runs {
		counts[r.shade] += r.n
	}
	order := slices.SortedFunc(maps.Keys(counts), func(a, b uint32) int {
		return cmp.Or(cmp.Compare(counts[b], counts[a]), cmp.Compare(a, b))
	})
	var palette color.Palette
	index := map[uint32]uint8{}
	for i, c := range order {
		shade := color.RGBA{uint8(c >> 24), uint8(c >> 16), uint8(c >> 8), 255}
		if i < 256 {
			palette = append(palette, shade)
			index[c] = uint8(i)
		} else {
			index[c] = uint8(palette.Index(shade))
		}
	}
	out := &image.Paletted{Pix: room(&s.shades, len(img.Pix)/4), Stride: img.Rect.Dx(), Rect: img.Rect, Palette: palette}
	pix := out.Pix
	for _, r := range runs {
		same := pix[:r.n]
		same[0] = index[r.shade]
		for k := 1; k < len(same); k *= 2 {
			copy(same[k:], same[:k])
		}
		pix = pix[r.n:]
	}
	return out
}

// scanner fills paths within their own bounds: that of the library goes over the
// whole picture for each of a thousand marks.
type scanner struct {
	img    *image.RGBA
	points []fixed.Point26_6
	starts []bool // of a point: it begins a part of the path
	bounds fixed.Rectangle26_6
	ink    image.Uniform
	raster vector.Rasterizer
}

func (s *scanner) add(p fixed.Point26_6, start bool) {
	if len(s.points) == 0 {
		s.bounds = fixed.Rectangle26_6{Min: p, Max: p}
	}
	s.bounds.Min.X, s.bounds.Min.Y = min(s.bounds.Min.X, p.X), min(s.bounds.Min.Y, p.Y)
	s.bounds.Max.X, s.bounds.Max.Y = max(s.bounds.Max.X, p.X), max(s.bounds.Max.Y, p.Y)
	s.points, s.starts = append(s.points, p), append(s.starts, start)
}

func (s *scanner) Start(p fixed.Point26_6) { s.add(p, true) }
func (s *scanner) Line(p fixed.Point26_6)  { s.add(p, false) }
func (s *scanner) Clear()                  { s.points, s.starts = s.points[:0], s.starts[:0] }
func (s *scanner) SetBounds(_, _ int)      {}
func (s *scanner) SetClip(image.Rectangle) {}
func (s *scanner) SetWinding(bool)         {}

func (s *scanner) GetPathExtent() fixed.Rectangle26_6 { return s.bounds }

func (s *scanner) SetColor(c any) {
	if c, ok := c.(color.Color); ok { // there are no gradients
		s.ink.C = c
	}
}

func (s *scanner) Draw() {
	box := image.Rect(s.bounds.Min.X.Floor(), s.bounds.Min.Y.Floor(), s.bounds.Max.X.Ceil(), s.bounds.Max.Y.Ceil()).Intersect(s.img.Rect)
	if len(s.points) == 0 || box.Empty() {
		return
	}
	if s.box() { // most of all px: paper, and the squares that lie on whole ones
		draw.Draw(s.img, box, &s.ink, image.Point{}, draw.Over)
		return
	}
	s.raster.Reset(box.Dx(), box.Dy())
	for i, p := range s.points {
		x, y := float32(p.X)/64-float32(box.Min.X), float32(p.Y)/64-float32(box.Min.Y)
		if s.starts[i] {
			s.raster.MoveTo(x, y)
		} else {
			s.raster.LineTo(x, y)
		}
	}
	s.raster.DrawOp = draw.Over
	s.raster.Draw(s.img, box, &s.ink, image.Point{})
}

// box says whether the path is one rectangle whose sides lie between px.
func (s *scanner) box() bool {
	corners := s.points
	if n := len(corners); n == 5 && corners[4] == corners[0] {
		corners = corners[:4]
	}
	if len(corners) != 4 || slices.Contains(s.starts[1:], true) {
		return false
	}
	for i, p := range corners {
		next := corners[(i+1)%4]
		if p.X&63 != 0 || p.Y&63 != 0 || (p.X == next.X) == (p.Y == next.Y) || (p.X == next.X) == (next.X == corners[(i+2)%4].X) {
			return false
		}
	}
	return true
}

// style is what a text takes from the elements around it.
type style struct {
	x, y, size           float64
	fill, weight, italic string
}

// write sets the texts of a drawing, which the library of shapes leaves out.
func (f faces) write(img *image.RGBA, svg []byte) error {
	d := xml.NewDecoder(bytes.NewReader(svg))
	around := []style{{}}
	for {
		token, err := d.Token()
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return err
		}
		switch t := token.(type) {
		case xml.StartElement:
			in, attr := around[len(around)-1], map[string]string{}
			for _, a := range t.Attr {
				attr[a.Name.Local] = a.Value
			}
			if _, err := fmt.Sscanf(attr["transform"], "translate(%g %g)", new(float64), new(float64)); err == nil {
				var x, y float64
				fmt.Sscanf(attr["transform"], "translate(%g %g)", &x, &y)
				in.x, in.y = in.x+x, in.y+y
			}
			for name, to := range map[string]*string{"fill": &in.fill, "font-weight": &in.weight, "font-style": &in.italic} {
				if v, ok := attr[name]; ok {
					*to = v
				}
			}
			if v, err := strconv.ParseFloat(strings.TrimSuffix(attr["font-size"], "px"), 64); err == nil {
				in.size = v
			}
			if t.Name.Local != "text" {
				around = append(around, in)
				continue
			}
			var text string
			if err := d.DecodeElement(&text, &t); err != nil {
				return err
			}
			if err := f.line(img, in, attr, text); err != nil {
				return err
			}
		case xml.EndElement:
			around = around[:len(around)-1]
		}
	}
}

// line sets one text.
func (f faces) line(img *image.RGBA, s style, attr map[string]string, text string) error {
	kind := ""
	switch {
	case s.weight == "700" || s.weight == "bold":
		kind = "bold"
	case s.italic == "italic":
		kind = "italic"
	}
	sized, err := f.face(kind, s.size*pngScale)
	if err != nil {
		return err
	}
	text = strings.NewReplacer("\u202f", "\u00a0", "\u2009", "\u00a0", "\u2068", "", "\u2069", "").Replace(text)
	for _, r := range text {
		if i, err := sized.of.GlyphIndex(nil, r); err != nil || i == 0 {
			return ErrLetters
		}
	}
	number := func(name string) float64 { v, _ := strconv.ParseFloat(attr[name], 64); return v }
	x, y := s.x+number("x"), s.y+number("y")
	if attr["dominant-baseline"] == "central" {
		y += s.size * 0.36 // half the height of a capital
	}
	at := fixed.Point26_6{X: fixed.Int26_6(x * pngScale * 64), Y: fixed.Int26_6(y * pngScale * 64)}
	switch width := font.MeasureString(sized, text); attr["text-anchor"] {
	case "end":
		at.X -= width
	case "middle":
		at.X -= width / 2
	}
	if halo := attr["paint-order"]; halo == "stroke" {
		ink := image.NewUniform(hex(attr["stroke"]))
		r := fixed.Int26_6(number("stroke-width") / 2 * pngScale * 64)
		for _, by := range [][2]fixed.Int26_6{{-r, 0}, {r, 0}, {0, -r}, {0, r}, {-r, -r}, {r, r}, {-r, r}, {r, -r}} {
			(&font.Drawer{Dst: img, Src: ink, Face: sized, Dot: fixed.Point26_6{X: at.X + by[0], Y: at.Y + by[1]}}).DrawString(text)
		}
	}
	(&font.Drawer{Dst: img, Src: image.NewUniform(hex(s.fill)), Face: sized, Dot: at}).DrawString(text)
	return nil
}

// hex reads a colour of the palette.
func hex(s string) color.RGBA {
	v, _ := strconv.ParseUint(strings.TrimPrefix(s, "#"), 16, 32)
	return color.RGBA{uint8(v >> 16), uint8(v >> 8), uint8(v), 255}
}
