package render

import (
	"bytes"
	"fmt"
	"strings"
	"sync"
	"time"

	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"
)

// Measures of a sheet in mm. The page is A4; what is printed keeps within the
// height of a Letter sheet too, with the lower margin that this leaves.
const (
	pdfMargin = 15.0
	pdfBottom = 26.0
	pdfWidth  = 210 - 2*pdfMargin
)

// glyphs is the font in which sheets are set, to ask what it can write: Latin with
// accents, Greek and Cyrillic.
var glyphs = sync.OnceValues(func() (*sfnt.Font, error) { return sfnt.Parse(goregular.TTF) })

// printable spells out what the font cannot write, so that no character of a code
// is lost without a sign.
func printable(s string) (string, error) {
	f, err := glyphs()
	if err != nil {
		return "", err
	}
	var buf sfnt.Buffer
	var b strings.Builder
	for _, r := range paper(s) {
		if i, err := f.GlyphIndex(&buf, r); r != '\n' && (err != nil || i == 0) {
			fmt.Fprintf(&b, "<U+%04X>", r)
			continue
		}
		b.WriteRune(r)
	}
	return b.String(), nil
}

// pdfSheet is a sheet while it is laid out as PDF.
type pdfSheet struct {
	*fpdf.Fpdf
	err error
}

// pdf lays a sheet out as PDF, with its font in it.
func (d *sheetDoc) pdf() ([]byte, error) {
	p := &pdfSheet{Fpdf: fpdf.New("P", "mm", "A4", "")}
	p.AddUTF8FontFromBytes("sheet", "", goregular.TTF)
	p.AddUTF8FontFromBytes("sheet", "B", gobold.TTF)
	p.SetMargins(pdfMargin, pdfMargin, pdfMargin)
	p.SetAutoPageBreak(true, pdfBottom)
	// Equal sheets are equal files: nothing in them comes from the clock.
	made := time.Unix(0, 0).UTC()
	if t, err := time.Parse(time.RFC3339, d.made); err == nil {
		made = t.UTC()
	}
	p.SetCreationDate(made)
	p.SetModificationDate(made)
	p.SetCatalogSort(true)
	p.SetTitle(p.text(d.title), true)
	p.SetProducer("platewright", true)
	title := p.text(d.title)
	p.AliasNbPages("{pages}")
	p.SetFooterFunc(func() {
		p.SetY(-20)
		p.SetFont("sheet", "", 8)
		p.CellFormat(0, 4, fmt.Sprintf("%s, page %d of {pages}", title, p.PageNo()), "", 0, "C", false, 0, "")
	})
	p.AddPage()
	for i := range d.blocks {
		p.block(d, i)
	}
	var b bytes.Buffer
	if p.err == nil {
		p.err = p.Output(&b)
	}
	return b.Bytes(), p.err
}

func (p *pdfSheet) text(s string) string {
	t, err := printable(s)
	if p.err == nil {
		p.err = err
	}
	return t
}

// room begins a new page where less than so many mm are left.
func (p *pdfSheet) room(h float64) {
	if _, ph := p.GetPageSize(); p.GetY()+h > ph-pdfBottom {
		p.AddPage()
	}
}

func (p *pdfSheet) block(d *sheetDoc, i int) {
	b := &d.blocks[i]
	para := func(style string, size, line float64) {
		p.SetFont("sheet", style, size)
		p.MultiCell(0, line, p.text(b.text), "", "L", false)
	}
	switch b.kind {
	case blockTitle:
		para("B", 16, 7.5)
		p.Ln(1)
	case blockHead:
		p.room(18)
		p.Ln(3)
		para("B", 11.5, 5.5)
	case blockPara:
		p.Ln(1)
		para("", 10, 4.8)
	case blockSmall:
		para("", 8.5, 4)
		p.Ln(0.6)
	case blockLoud:
		p.SetFont("sheet", "B", 10)
		text := p.text(b.text)
		p.room(float64(len(p.SplitText(text, pdfWidth-3)))*5 + 3)
		p.SetLineWidth(0.6)
		p.MultiCell(0, 5, text, "1", "L", false)
		p.SetLineWidth(0.2)
		p.Ln(1.2)
	case blockTick:
		p.SetFont("sheet", "", 10)
		text := p.text(b.text)
		p.room(float64(len(p.SplitText(text, pdfWidth-8))) * 4.8)
		x, y := p.GetXY()
		p.Rect(x+1, y+0.7, 3.4, 3.4, "D")
		p.SetX(x + 7)
		p.MultiCell(pdfWidth-7, 4.8, text, "", "L", false)
		p.Ln(0.6)
	case blockTable:
		p.table(b)
	case blockCode:
		p.code(d, i)
	}
}

func (p *pdfSheet) table(b *block) {
	const line, pad = 4.4, 0.8
	titled := false
	for _, c := range b.head {
		titled = titled || c.title != ""
	}
	row := func(cells []string, style string, size float64) {
		p.SetFont("sheet", style, size)
		split := make([][]string, len(cells))
		tall := 1
		for i, c := range cells {
			if c == tickCell {
				continue
			}
			split[i] = p.SplitText(p.text(c), b.head[i].share*pdfWidth)
			tall = max(tall, len(split[i]))
		}
		h := float64(tall)*line + 2*pad
		x, y := pdfMargin, p.GetY()
		for i := range cells {
			w := b.head[i].share * pdfWidth
			if cells[i] == tickCell {
				p.Rect(x+1, y+pad+0.5, 3.2, 3.2, "D")
			}
			align := "L"
			if b.head[i].right {
				align = "R"
			}
			for k, s := range split[i] {
				p.SetXY(x, y+pad+float64(k)*line)
				p.CellFormat(w, line, s, "", 0, align, false, 0, "")
			}
			x += w
		}
		p.SetXY(pdfMargin, y+h)
		p.Line(pdfMargin, y+h, pdfMargin+pdfWidth, y+h)
	}
	tallOf := func(cells []string) float64 {
		p.SetFont("sheet", "", 9.5)
		tall := 1
		for i, c := range cells {
			tall = max(tall, len(p.SplitText(p.text(c), b.head[i].share*pdfWidth)))
		}
		return float64(tall)*line + 2*pad
	}
	heading := func() {
		if !titled {
			return
		}
		var cells []string
		for _, c := range b.head {
			cells = append(cells, c.title)
		}
		row(cells, "B", 8.5)
	}
	p.Ln(1)
	if len(b.rows) > 0 {
		p.room(tallOf(b.rows[0]) + 6)
	}
	heading()
	for i, r := range b.rows {
		if page := p.PageNo(); i > 0 {
			if p.room(tallOf(r)); p.PageNo() != page {
				heading()
			}
		}
		row(r, "", 9.5)
	}
	p.Ln(1)
}

// code draws the codes that begin at a block, side by side as far as there is room.
func (p *pdfSheet) code(d *sheetDoc, i int) {
	if i > 0 && d.blocks[i-1].kind == blockCode {
		return // drawn with the first of them
	}
	const line, between = 4.5, 10.0
	var row []*codePicture
	wide := func(c *codePicture) float64 { return float64(c.width) * c.module }
	draw := func() {
		tall := 0.0
		for _, c := range row {
			tall = max(tall, float64(c.height)*c.tall)
		}
		p.Ln(2)
		p.room(tall + line)
		p.SetFont("sheet", "", 8.5)
		x, y := pdfMargin, p.GetY()
		for _, c := range row {
			top := y + tall - float64(c.height)*c.tall
			for _, r := range c.bars {
				p.Rect(x+float64(r.x)*c.module, top+float64(r.y)*c.tall, float64(r.w)*c.module, c.tall, "F")
			}
			p.SetXY(x, y+tall)
			p.CellFormat(wide(c), line, p.text(c.caption), "", 0, "C", false, 0, "")
			x += wide(c) + between
		}
		p.SetXY(pdfMargin, y+tall+line)
		row = nil
	}
	used := 0.0
	for ; i < len(d.blocks) && d.blocks[i].kind == blockCode; i++ {
		c := d.blocks[i].code
		if len(row) > 0 && used+wide(c) > pdfWidth {
			draw()
			used = 0
		}
		row = append(row, c)
		used += wide(c) + between
	}
	draw()
}
