package index

import (
	"bufio"
	"context"
	"encoding/csv"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"platewright/catalog"
	"platewright/catalog/store"
)

var (
	documentsTo = flag.String("documents", "", "write the documents as CSV to this `file`, for another program to search")
	askedTo     = flag.String("asked", "", "write the queries of the benchmarks, one a line with their kind, to this `file`")
)

// benchCatalogue gives the catalogue in the folder PLATEWRIGHT_BENCH_DATA, such
// as cmd/mkcatalog makes and catalog import takes in, with its index. Without it
// the demo is searched, which is too small to compare by.
func benchCatalogue(b *testing.B) (Reader, Options) {
	dir := os.Getenv("PLATEWRIGHT_BENCH_DATA")
	if dir == "" {
		return demo(b), Options{}
	}
	s, err := store.Open(dir)
	require.NoError(b, err)
	v, err := s.Head()
	require.NoError(b, err)
	b.Cleanup(func() {
		require.NoError(b, v.Close())
		require.NoError(b, s.Close())
	})
	e := v.Edition()
	return v, Options{Dir: dir, Edition: e.Number, Digest: e.Digest}
}

// textOf gives all texts of a document, as both sides search them.
func textOf(d *document) (number, name, text, context string) {
	join := func(fields []Field) string {
		var s []string
		for _, f := range fields {
			s = append(s, f.Text)
		}
		return strings.Join(s, " | ")
	}
	return d.number, d.fields[0].Text, join(d.fields[1:]), join(slices.Concat(d.context, d.more))
}

// BenchmarkBuild makes the segment, dictionary and list of the documents of a
// catalogue, from documents that are at hand, and merges them to a file.
func BenchmarkBuild(b *testing.B) {
	cat, _ := benchCatalogue(b)
	inv, err := takeInventory(cat, func(int) error { return nil })
	require.NoError(b, err)
	var list []*document
	require.NoError(b, documents(cat, inv, func(d *document) error { list = append(list, d); return nil }))
	if *documentsTo != "" {
		f, err := os.Create(*documentsTo)
		require.NoError(b, err)
		w := csv.NewWriter(f)
		for i, d := range list {
			number, name, text, context := textOf(d)
			require.NoError(b, w.Write([]string{fmt.Sprint(i), number, name, text, context}))
		}
		w.Flush()
		require.NoError(b, w.Error())
		require.NoError(b, f.Close())
	}
	dir := b.TempDir()
	for b.Loop() {
		bu := newBuilder()
		for _, d := range list {
			require.NoError(b, bu.add(d))
		}
		o, err := bu.finish()
		require.NoError(b, err)
		require.NoError(b, write(dir, stamp{Of: "bench"}, o))
	}
	b.ReportMetric(float64(len(list)), "documents")
}

// benchQueries are words that stand together in documents, 200 of each kind.
func benchQueries(b *testing.B, cat Reader) map[string][]string {
	inv, err := takeInventory(cat, func(int) error { return nil })
	require.NoError(b, err)
	var texts [][]string
	require.NoError(b, documents(cat, inv, func(d *document) error {
		if d.kind == KindNote || d.kind == KindPart {
			_, name, text, _ := textOf(d)
			texts = append(texts, strings.FieldsFunc(strings.ToLower(name+" "+text), func(r rune) bool { return r < 'a' || r > 'z' }))
		}
		return nil
	}))
	r := rand.New(rand.NewPCG(5, 6))
	out := map[string][]string{}
	usable := func(w string) bool { return len(w) > 3 && !stopWords()[w] && !fillers()[w] }
	for len(out["phrase"]) < 200 {
		t := texts[r.IntN(len(texts))]
		if len(t) < 6 {
			continue
		}
		i, j := r.IntN(len(t)-1), r.IntN(len(t))
		if i == j || !usable(t[i]) || !usable(t[j]) || !usable(t[i+1]) || t[i] == t[j] {
			continue
		}
		out["two words"] = append(out["two words"], t[i]+" "+t[j])
		out["phrase"] = append(out["phrase"], `"`+t[i]+" "+t[i+1]+`"`)
		out["prefix"] = append(out["prefix"], t[i][:4]+"*")
		w := []byte(t[i])
		w[len(w)/2], w[len(w)/2-1] = w[len(w)/2-1], w[len(w)/2]
		out["typing error"] = append(out["typing error"], string(w))
	}
	n := 0
	for row, err := range cat.Rows(catalog.TableByName(catalog.TVariants)) {
		require.NoError(b, err)
		if n++; n%97 == 0 && len(out["end of a number"]) < 200 {
			k := row.(*catalog.Variant).Variant.Key()
			out["whole number"] = append(out["whole number"], string(row.(*catalog.Variant).Variant))
			out["end of a number"] = append(out["end of a number"], "ends in "+k[len(k)-4:])
			out["inner piece"] = append(out["inner piece"], k[2:min(7, len(k))])
		}
		if len(out["end of a number"]) == 200 {
			break
		}
	}
	if *askedTo != "" {
		f, err := os.Create(*askedTo)
		require.NoError(b, err)
		w := bufio.NewWriter(f)
		for _, k := range sortedKeys(out) {
			for _, q := range out[k] {
				fmt.Fprintf(w, "%s\t%s\n", k, q)
			}
		}
		require.NoError(b, w.Flush())
		require.NoError(b, f.Close())
	}
	return out
}

// BenchmarkSearch answers each kind of query in a running process, ten hits with
// all that is said of them, and reports the median.
func BenchmarkSearch(b *testing.B) {
	cat, o := benchCatalogue(b)
	queries := benchQueries(b, cat)
	x := open(b, cat, o)
	for _, kind := range sortedKeys(queries) {
		b.Run(strings.ReplaceAll(kind, " ", "-"), func(b *testing.B) {
			var took []time.Duration
			i := 0
			for b.Loop() {
				from := time.Now()
				if _, err := x.Search(context.Background(), Query{Text: queries[kind][i%len(queries[kind])]}); err != nil {
					b.Fatal(err)
				}
				took = append(took, time.Since(from))
				i++
			}
			slices.Sort(took)
			b.ReportMetric(float64(took[len(took)/2].Nanoseconds()), "p50-ns")
			b.ReportMetric(float64(took[len(took)*99/100].Nanoseconds()), "p99-ns")
		})
	}
}

// BenchmarkOpen opens an index that is ready and asks it one thing, as a fresh
// process does.
func BenchmarkOpen(b *testing.B) {
	cat, o := benchCatalogue(b)
	if o.Dir == "" {
		o.Dir = b.TempDir()
	}
	open(b, cat, o)
	for b.Loop() {
		x, err := Open(context.Background(), cat, o)
		if err != nil {
			b.Fatal(err)
		}
		if _, err := x.Search(context.Background(), Query{Text: "worn seal"}); err != nil {
			b.Fatal(err)
		}
		if err := x.Close(); err != nil {
			b.Fatal(err)
		}
	}
}
