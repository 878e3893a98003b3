package resolve_test

import (
	"encoding/csv"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"platewright/catalog"
	"platewright/catalog/pack"
	"platewright/catalog/store"
	"platewright/resolve"
	"platewright/resolve/plate"
	"platewright/seed"
)

// benchData is the folder of a large catalogue, imported beforehand, with plates
// of its units in plates.csv and the variant of each in the column ref. The
// script .ci/bench makes it. Benchmarks over the store are skipped without it.
const benchData = "PLATEWRIGHT_BENCH_DATA"

// openBench gives the large catalogue and its plates.
func openBench(b *testing.B) (*store.View, []resolve.Question, []string) {
	b.Helper()
	dir := os.Getenv(benchData)
	if dir == "" {
		b.Skip(benchData + " does not name a catalogue to measure on; .ci/bench makes one")
	}
	s, err := store.Open(dir)
	require.NoError(b, err)
	v, err := s.Head()
	require.NoError(b, err)
	b.Cleanup(func() {
		require.NoError(b, v.Close())
		require.NoError(b, s.Close())
	})
	f, err := os.Open(filepath.Join(dir, "plates.csv"))
	require.NoError(b, err)
	defer f.Close()
	r := csv.NewReader(f)
	_, err = r.Read()
	require.NoError(b, err)
	var questions []resolve.Question
	var codes []string
	for {
		row, err := r.Read()
		if err == io.EOF {
			break
		}
		require.NoError(b, err)
		questions = append(questions, resolve.Question{Plate: row[0]})
		codes = append(codes, catalog.Fold(row[1]))
	}
	require.NotEmpty(b, questions)
	return v, questions, codes
}

// spread runs one of n cases at a time, in turn, and reports the median and the
// ninety-ninth percentile of their times.
func spread(b *testing.B, n int, run func(i int)) {
	for i := range min(n, 1000) {
		run(i) // pages come from the disk once
	}
	var times []time.Duration
	for i := 0; b.Loop(); i++ {
		start := time.Now()
		run(i % n)
		times = append(times, time.Since(start))
	}
	slices.Sort(times)
	b.ReportMetric(float64(times[len(times)/2].Nanoseconds()), "p50-ns")
	b.ReportMetric(float64(times[len(times)*99/100].Nanoseconds()), "p99-ns")
}

// listOptions are those of a list of plates that is answered in lines: verdicts
// and parts, no proof and no notes.
var listOptions = resolve.Options{NoLookAlikes: true, NoNextCheck: true, NoNear: true, NoNotes: true, NoTrails: true, NoFigures: true}

func BenchmarkDecidePlate(b *testing.B) {
	b.Run("demo", func(b *testing.B) {
		p, err := pack.OpenFS(seed.FS, "demo", pack.Limits{})
		require.NoError(b, err)
		cat, findings, err := pack.ReadMemory(p)
		require.NoError(b, err)
		require.NoError(b, findings.Err())
		res := resolve.New(cat, resolve.Edition{Name: "demo"})
		for _, c := range []struct {
			name string
			o    resolve.Options
		}{{"list", listOptions}, {"whole", resolve.Options{}}} {
			b.Run(c.name, func(b *testing.B) {
				b.ReportAllocs()
				for b.Loop() {
					d, err := res.Decide(resolve.Question{Plate: "XEB-411-A 1618 003052 N"}, c.o)
					if err != nil || len(d.SafeToOrder) == 0 {
						b.Fatalf("nothing is safe to order: %v", err)
					}
				}
			})
		}
	})
	b.Run("store", func(b *testing.B) {
		v, questions, codes := openBench(b)
		decide := func(res *resolve.Resolver, i int, o resolve.Options) {
			d, err := res.Decide(questions[i], o)
			if err != nil || len(d.Assemblies) == 0 || !slices.ContainsFunc(d.Assemblies[0].Candidates, func(c resolve.Candidate) bool { return c.Variant.Key() == codes[i] }) {
				b.Fatalf("the plate %q does not name %s: %v", questions[i].Plate, codes[i], err)
			}
		}
		b.Run("list", func(b *testing.B) { // one resolver for all, as in a list
			res := resolve.New(v, resolve.Edition{})
			b.ReportAllocs()
			spread(b, len(questions), func(i int) { decide(res, i, listOptions) })
		})
		b.Run("fresh", func(b *testing.B) { // a resolver for each, as in a new process
			b.ReportAllocs()
			spread(b, len(questions), func(i int) { decide(resolve.New(v, resolve.Edition{}), i, listOptions) })
		})
		b.Run("whole", func(b *testing.B) { // with look-alikes and the next check
			b.ReportAllocs()
			spread(b, min(len(questions), 100), func(i int) { decide(resolve.New(v, resolve.Edition{}), i, resolve.Options{}) })
		})
	})
}

// variantCodes are the keys of all variants, as plates are matched against them.
type variantCodes struct {
	v *store.View
	t *catalog.Table
}

func (c variantCodes) Seek(from string) (string, bool, error) { return c.v.Seek(c.t, from) }

func benchCodes(v *store.View) plate.Codes {
	return plate.TrimSep(variantCodes{v, catalog.TableByName(catalog.TVariants)})
}

// worn makes two characters of a code unreadable, elsewhere in each code.
func worn(code string, i int) []plate.Set {
	r, err := plate.ParseReading(code)
	if err != nil {
		return nil
	}
	a := i * 7 % len(r)
	c := (a + 1 + i*3%(len(r)-1)) % len(r)
	r[a], r[c] = plate.Alphanum, plate.Alphanum
	return r
}

func BenchmarkDecideTwoUnknown(b *testing.B) {
	v, questions, codes := openBench(b)
	b.Run("find", func(b *testing.B) { // the code alone, as a database would be asked
		c := benchCodes(v)
		spread(b, len(codes), func(i int) {
			found := 0
			if err := plate.Find(c, worn(codes[i], i), func(string) bool { found++; return true }); err != nil || found == 0 {
				b.Fatalf("%s with two characters unreadable finds nothing: %v", codes[i], err)
			}
		})
	})
	b.Run("decide", func(b *testing.B) { // the whole plate, up to the verdicts
		res := resolve.New(v, resolve.Edition{})
		spread(b, len(questions), func(i int) {
			r, err := plate.ParseReading(questions[i].Plate)
			require.NoError(b, err)
			r[i*7%10], r[(i*7+1+i%9)%10] = plate.Any, plate.Any
			d, err := res.Decide(resolve.Question{Plate: r.String()}, listOptions)
			if err != nil || len(d.Reading) == 0 || d.Reading[0].Outcome != resolve.ReadingMatched {
				b.Fatalf("%s matches nothing: %v", r, err)
			}
		})
	})
}

func BenchmarkNear(b *testing.B) {
	v, questions, codes := openBench(b)
	b.Run("neighbours", func(b *testing.B) { // of the code alone, as a database would be asked
		c := benchCodes(v)
		spread(b, len(codes), func(i int) {
			if err := plate.Neighbours(c, codes[i], func(plate.Neighbour) bool { return true }); err != nil {
				b.Fatal(err)
			}
		})
	})
	b.Run("decide", func(b *testing.B) { // of a whole plate that matches nothing
		res := resolve.New(v, resolve.Edition{})
		o := listOptions
		o.NoNear = false
		spread(b, len(questions), func(i int) {
			p := []byte(catalog.Fold(questions[i].Plate))
			at := 2 + i%6 // within the code of every layout
			p[at], p[at+1] = p[at+1], p[at]
			if _, err := res.Decide(resolve.Question{Plate: string(p)}, o); err != nil {
				b.Fatal(err)
			}
		})
	})
}

// BenchmarkPlan plans the checks of plates so worn that hundreds and thousands of
// variants fit, with all roles asked.
func BenchmarkPlan(b *testing.B) {
	v, questions, _ := openBench(b)
	res := resolve.New(v, resolve.Edition{})
	for _, worn := range []int{3, 5, 6} {
		// The plate of the list with so many characters worn that leaves most.
		best, most := resolve.Question{}, 0
		for i := range min(len(questions), 40) {
			rd, err := plate.ParseReading(questions[i].Plate)
			require.NoError(b, err)
			text := []byte(rd.String())
			for k := range worn {
				text[3+k] = '?'
			}
			d, err := res.Decide(resolve.Question{Plate: string(text)}, listOptions)
			require.NoError(b, err)
			if n := d.Assemblies[0].Total; n > most && n <= 5000 {
				best, most = resolve.Question{Plate: string(text)}, n
			}
		}
		b.Run(strconv.Itoa(most), func(b *testing.B) {
			for _, c := range []struct {
				name string
				o    resolve.Options
			}{{"without", resolve.Options{NoLookAlikes: true, NoNotes: true, NoNextCheck: true}}, {"with", resolve.Options{NoLookAlikes: true, NoNotes: true}}, {"whole", resolve.Options{NoLookAlikes: true, NoNotes: true, WholePlan: true}}} {
				b.Run(c.name, func(b *testing.B) {
					for b.Loop() {
						if d, err := res.Decide(best, c.o); err != nil || !c.o.NoNextCheck && d.NextCheck == nil {
							b.Fatalf("%+v is not planned for: %v", best, err)
						}
					}
				})
			}
		})
	}
}
