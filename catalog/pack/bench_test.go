package pack

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"io"
	"testing"
	"testing/fstest"

	"platewright/catalog"
)

// manyFits is a fits table of n rows as a large catalogue has them.
func manyFits(n int) []byte {
	var b bytes.Buffer
	b.WriteString("scope,of,statement,role,effect,part,position,qty,rank,serial_from,serial_to,built_from,built_to,when,note,source\r\n")
	for i := range n {
		from, to := "", ""
		if i%7 == 0 {
			from, to = fmt.Sprint(100000+i), fmt.Sprint(200000+i)
		}
		fmt.Fprintf(&b, "variant,QX%07d-%d,S%d,pan-gasket,fits,GK-%06d,,1,%d,%s,%s,2014-03,,connector=keyed,,bench-list\r\n", i/5, i%3, i%5, i%20000, i%2+1, from, to)
	}
	return b.Bytes()
}

func BenchmarkRows(b *testing.B) {
	const n = 100_000
	data := manyFits(n)
	fsys := fstest.MapFS{
		DescriptorName: {Data: []byte(`{"resources":[{"name":"fits","path":"fits.csv"}]}`)},
		"fits.csv":     {Data: data},
	}
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		p, err := OpenFS(fsys, "bench", Limits{})
		if err != nil {
			b.Fatal(err)
		}
		var fs catalog.Findings
		rows := 0
		err = p.Rows(p.Tables()[0], &fs, func(catalog.Row, catalog.Place, catalog.Cells) error { rows++; return nil })
		if err != nil || rows != n || fs.Refused() > 0 {
			b.Fatal(rows, err, fs.List())
		}
	}
	b.ReportMetric(float64(n)*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
}

// BenchmarkRecords is the splitting alone, beside the standard library's.
func BenchmarkRecords(b *testing.B) {
	data := manyFits(100_000)
	b.Run("own", func(b *testing.B) {
		b.SetBytes(int64(len(data)))
		for b.Loop() {
			s := newRecords(bytes.NewReader(data), ',', '"', 1<<20)
			for {
				if _, _, err := s.next(); err == io.EOF {
					break
				} else if err != nil {
					b.Fatal(err)
				}
			}
		}
	})
	b.Run("encoding-csv", func(b *testing.B) {
		b.SetBytes(int64(len(data)))
		for b.Loop() {
			r := csv.NewReader(bytes.NewReader(data))
			r.ReuseRecord = true
			for {
				if _, err := r.Read(); err == io.EOF {
					break
				} else if err != nil {
					b.Fatal(err)
				}
			}
		}
	})
}

// fitsSource gives many fit statements for writing.
type fitsSource []catalog.Row

// Each implements [Source].
func (s fitsSource) Each(t *catalog.Table, each func(catalog.Row) error) error {
	if t.Name != catalog.TFits {
		return nil
	}
	for _, r := range s {
		if err := each(r); err != nil {
			return err
		}
	}
	return nil
}

func someFits(b *testing.B, n int) fitsSource {
	b.Helper()
	p, err := OpenFS(fstest.MapFS{
		DescriptorName: {Data: []byte(`{"resources":[{"name":"fits","path":"fits.csv"}]}`)},
		"fits.csv":     {Data: manyFits(n)},
	}, "bench", Limits{})
	if err != nil {
		b.Fatal(err)
	}
	var out fitsSource
	var fs catalog.Findings
	t := p.Tables()[0]
	if err := p.Rows(t, &fs, func(r catalog.Row, _ catalog.Place, _ catalog.Cells) error { out = append(out, t.Clone(r)); return nil }); err != nil {
		b.Fatal(err)
	}
	return out
}

func BenchmarkWrite(b *testing.B) {
	const n = 20_000
	src := someFits(b, n)
	for name, write := range map[string]func(io.Writer) error{
		"zip":      func(w io.Writer) error { return WriteZip(w, src, Info{}, Options{SkipEmpty: true}) },
		"workbook": func(w io.Writer) error { return WriteWorkbook(w, src, Info{}, Options{SkipEmpty: true}) },
	} {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if err := write(io.Discard); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(n)*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
		})
	}
}

func BenchmarkReadWorkbook(b *testing.B) {
	const n = 20_000
	var buf bytes.Buffer
	if err := WriteWorkbook(&buf, someFits(b, n), Info{}, Options{SkipEmpty: true}); err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		p, err := openBook(buf.Bytes(), Limits{})
		if err != nil {
			b.Fatal(err)
		}
		var fs catalog.Findings
		rows := 0
		if err := p.Rows(p.Tables()[0], &fs, func(catalog.Row, catalog.Place, catalog.Cells) error { rows++; return nil }); err != nil || rows != n {
			b.Fatal(rows, err, fs.List())
		}
		if err := p.Close(); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(n)*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
}
