package render

import (
	"bytes"
	"html/template"
	"strings"
	"sync"
)

// sheetPage is a page that needs nothing from elsewhere and prints on A4 and Letter:
// it names no size of paper, and its widths are shares.
// It is read when it is first needed, since few processes write sheets.
var sheetPage = sync.OnceValues(func() (*template.Template, error) {
	return template.New("sheet").Parse(`<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'">
<title>{{.Title}}</title>
<style>
@page { size: auto; margin: 15mm }
* { box-sizing: border-box }
body { font: 11pt/1.35 system-ui, sans-serif; color: #000; background: #fff; margin: 0 auto; padding: 1em; max-width: 185mm }
h1 { font-size: 17pt; margin: 0 0 .4em }
h2 { font-size: 12pt; margin: 1.1em 0 .3em; break-after: avoid }
p { margin: .4em 0 }
p.loud { border: 2pt solid #000; padding: .4em .6em; font-weight: bold; break-inside: avoid }
p.small { font-size: 9pt }
p.tick { padding-left: 1.8em; text-indent: -1.8em; break-inside: avoid }
.box { display: inline-block; width: 1em; height: 1em; border: 1pt solid #000; vertical-align: -.15em; margin-right: .8em }
td .box { margin: 0 }
table { border-collapse: collapse; width: 100%; margin: .4em 0; table-layout: fixed }
thead { display: table-header-group }
tr { break-inside: avoid }
th, td { text-align: left; vertical-align: top; padding: .2em .4em; border-bottom: .5pt solid #888; overflow-wrap: anywhere }
th { border-bottom: 1pt solid #000; font-size: 9pt }
.right { text-align: right; font-variant-numeric: tabular-nums }
figure { display: inline-block; margin: .6em 1.5em .2em 0; break-inside: avoid }
figure svg { display: block }
figcaption { font-size: 9pt; text-align: center; overflow-wrap: anywhere }
@media print { body { padding: 0; max-width: none } }
</style>
</head>
<body>
{{range .Blocks}}{{if eq .Kind "title"}}<h1>{{.Text}}</h1>
{{else if eq .Kind "head"}}<h2>{{.Text}}</h2>
{{else if eq .Kind "para"}}<p>{{.Text}}</p>
{{else if eq .Kind "loud"}}<p class="loud">{{.Text}}</p>
{{else if eq .Kind "small"}}<p class="small">{{.Text}}</p>
{{else if eq .Kind "tick"}}<p class="tick"><span class="box"></span>{{.Text}}</p>
{{else if eq .Kind "table"}}<table>
<colgroup>{{range .Head}}<col style="width: {{.Percent}}%">{{end}}</colgroup>
{{if .Titled}}<thead><tr>{{range .Head}}<th{{if .Right}} class="right"{{end}}>{{.Title}}</th>{{end}}</tr></thead>
{{end}}<tbody>
{{range .Rows}}<tr>{{range .}}<td{{if .Right}} class="right"{{end}}>{{if .Tick}}<span class="box"></span>{{else}}{{.Text}}{{end}}</td>{{end}}</tr>
{{end}}</tbody></table>
{{else if eq .Kind "code"}}<figure>{{.SVG}}<figcaption>{{.Text}}</figcaption></figure>
{{end}}{{end}}</body>
</html>
`)
})

type htmlBlock struct {
	Kind, Text string
	Head       []htmlColumn
	Titled     bool
	Rows       [][]htmlCell
	SVG        template.HTML
}

type htmlColumn struct {
	Title   string
	Percent int
	Right   bool
}

type htmlCell struct {
	Text        string
	Right, Tick bool
}

// html lays a sheet out as a page for a browser.
func (d *sheetDoc) html() ([]byte, error) {
	kinds := map[blockKind]string{blockTitle: "title", blockHead: "head", blockPara: "para", blockLoud: "loud", blockSmall: "small", blockTick: "tick", blockTable: "table", blockCode: "code"}
	x := struct {
		Title  string
		Blocks []htmlBlock
	}{Title: paper(d.title)}
	for _, b := range d.blocks {
		h := htmlBlock{Kind: kinds[b.kind], Text: paper(b.text)}
		for _, c := range b.head {
			h.Head = append(h.Head, htmlColumn{c.title, int(c.share*100 + 0.5), c.right})
			h.Titled = h.Titled || c.title != ""
		}
		for _, r := range b.rows {
			var cells []htmlCell
			for i, c := range r {
				cells = append(cells, htmlCell{paper(c), b.head[i].right, c == tickCell})
			}
			h.Rows = append(h.Rows, cells)
		}
		if b.code != nil {
			h.Text = paper(b.code.caption)
			h.SVG = template.HTML(b.code.svg()) // numbers only: nothing that anybody typed
		}
		x.Blocks = append(x.Blocks, h)
	}
	page, err := sheetPage()
	if err != nil {
		return nil, err
	}
	var out bytes.Buffer
	if err := page.Execute(&out, x); err != nil {
		return nil, err
	}
	return out.Bytes(), nil
}

// paper gives a text as it is printed: what would act instead of being seen is
// spelled out, and nothing is glued.
func paper(s string) string { return strings.ReplaceAll(visible(s), string(glue), " ") }
