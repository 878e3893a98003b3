package render

import (
	"fmt"
	"strings"

	"github.com/boombuler/barcode"
	"github.com/boombuler/barcode/code128"
	"github.com/boombuler/barcode/qr"
)

// codePicture is a code to be scanned, as dark rectangles on a grid of modules.
type codePicture struct {
	width, height int // modules, the light margin included
	bars          []bar
	module        float64 // width of a module in mm
	tall          float64 // height of a module in mm
	caption       string
}

type bar struct{ x, y, w int }

// lineCode makes a Code 128 (ISO/IEC 15417) of a short text.
func lineCode(text string) (*codePicture, error) {
	c, err := code128.Encode(text)
	if err != nil {
		return nil, fmt.Errorf("a code of %q cannot be made: %w", text, err)
	}
	p := picture(c, 10, 0) // ten modules of light on both sides, by that standard
	p.module, p.tall, p.caption = 0.5, 14, text
	return p, nil
}

// squareCode makes a QR code (ISO/IEC 18004) of a text.
func squareCode(text string) (*codePicture, error) {
	c, err := qr.Encode(text, qr.M, qr.Unicode)
	if err != nil {
		return nil, fmt.Errorf("a square code of %d bytes cannot be made: %w", len(text), err)
	}
	p := picture(c, 4, 4) // four modules of light all around, by that standard
	p.module, p.tall = 0.6, 0.6
	return p, nil
}

func picture(c barcode.Barcode, besides, above int) *codePicture {
	b := c.Bounds()
	p := &codePicture{width: b.Dx() + 2*besides, height: b.Dy() + 2*above}
	for y := b.Min.Y; y < b.Max.Y; y++ {
		from := -1
		for x := b.Min.X; x <= b.Max.X; x++ {
			dark := false
			if x < b.Max.X {
				r, _, _, _ := c.At(x, y).RGBA()
				dark = r < 0x8000
			}
			switch {
			case dark && from < 0:
				from = x
			case !dark && from >= 0:
				p.bars = append(p.bars, bar{from - b.Min.X + besides, y - b.Min.Y + above, x - from})
				from = -1
			}
		}
	}
	return p
}

// svg draws the code for a page. It holds numbers only.
func (p *codePicture) svg() string {
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" width="%.2fmm" height="%.2fmm" viewBox="0 0 %d %d" preserveAspectRatio="none" shape-rendering="crispEdges"><path fill="#000" d="`,
		float64(p.width)*p.module, float64(p.height)*p.tall, p.width, p.height)
	for _, r := range p.bars {
		fmt.Fprintf(&b, "M%d %dh%dv1h-%dz", r.x, r.y, r.w, r.w)
	}
	b.WriteString(`"/></svg>`)
	return b.String()
}
