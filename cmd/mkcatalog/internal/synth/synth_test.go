package synth_test

import (
	"bytes"
	"errors"
	"io/fs"
	"math/big"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/require"

	"platewright/catalog"
	"platewright/catalog/memory"
	"platewright/catalog/pack"
	"platewright/cmd/mkcatalog/internal/synth"
	"platewright/resolve"
	"platewright/resolve/plate"
)

func small() synth.Options {
	return synth.Options{Seed: 7, Variants: 1500, FitsPerVariant: 5, Parts: 1000, Supersessions: 500, Notes: 300}
}

func world(t *testing.T, o synth.Options) *synth.World {
	t.Helper()
	w, err := synth.New(o)
	require.NoError(t, err)
	return w
}

func write(t *testing.T, w *synth.World, name string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	require.NoError(t, pack.WriteFile(path, w, w.Info(), pack.Options{SkipEmpty: true}))
	return path
}

// read reads a package with all checks of an import and demands that none of
// them finds anything.
func read(t *testing.T, path string) *memory.Catalogue {
	t.Helper()
	p, err := pack.Open(path, pack.Limits{})
	require.NoError(t, err)
	defer p.Close()
	cat, findings, err := pack.ReadMemory(p)
	require.NoError(t, err)
	for i, f := range findings.List() {
		if t.Errorf("finding: %s", f); i == 20 {
			break
		}
	}
	return cat
}

func TestPassesAllChecks(t *testing.T) {
	variants := []struct {
		name string
		file string
		edit func(*synth.Options)
	}{
		{"usual", "out", func(*synth.Options) {}},
		{"shuffled", "out", func(o *synth.Options) { o.Shuffle = true }},
		{"zip", "out.zip", func(o *synth.Options) { o.Seed = 8 }},
		{"one statement each", "out", func(o *synth.Options) { o.FitsPerVariant = 1 }},
		{"two statements each", "out", func(o *synth.Options) { o.FitsPerVariant = 2 }},
		{"twelve statements each", "out", func(o *synth.Options) { o.FitsPerVariant = 12 }},
		{"least", "out", func(o *synth.Options) {
			*o = synth.Options{Variants: 50, FitsPerVariant: 1, Parts: 1000}
		}},
		{"more notes than variants", "out", func(o *synth.Options) { o.Variants, o.Notes = 60, 2000 }},
	}
	for _, v := range variants {
		t.Run(v.name, func(t *testing.T) {
			o := small()
			v.edit(&o)
			cat := read(t, write(t, world(t, o), v.file))
			for table, want := range map[string]int{catalog.TVariants: o.Variants, catalog.TParts: o.Parts, catalog.TSupersessions: o.Supersessions, catalog.TNotes: o.Notes} {
				if got := cat.Count(table); got != want {
					t.Errorf("table %s has %d rows, want %d", table, got, want)
				}
			}
			if got := cat.Count(catalog.TFits); o.Variants >= 1500 && o.FitsPerVariant > 1 && got != o.Variants*o.FitsPerVariant {
				t.Errorf("there are %d fit statements, want %d", got, o.Variants*o.FitsPerVariant)
			}
			for _, tab := range catalog.Tables() {
				if tab.Name != catalog.TSupersessions && tab.Name != catalog.TNotes && cat.Count(tab.Name) == 0 {
					t.Errorf("table %s is empty", tab.Name)
				}
			}
		})
	}
}

func TestRowsComeInOrder(t *testing.T) {
	w := world(t, small())
	o := small()
	o.Shuffle = true
	shuffled := world(t, o)
	for _, tab := range catalog.Tables() {
		keys := func(w *synth.World) (out []string) {
			require.NoError(t, w.Each(tab, func(r catalog.Row) error {
				out = append(out, string(tab.RowKey(nil, r)))
				return nil
			}))
			return out
		}
		want := keys(w)
		for i := 1; i < len(want); i++ {
			if want[i-1] >= want[i] {
				t.Errorf("table %s: %q comes before %q", tab.Name, catalog.ShowKey(want[i-1]), catalog.ShowKey(want[i]))
			}
		}
		got := keys(shuffled)
		switch tab.Name {
		case catalog.TVariants, catalog.TFits, catalog.TShows, catalog.TNotes:
			if slices.IsSorted(got) {
				t.Errorf("table %s is shuffled and yet in order", tab.Name)
			}
		}
		slices.Sort(got)
		if !slices.Equal(want, got) {
			t.Errorf("table %s: the shuffled rows are others than those in order", tab.Name)
		}
	}
}

func TestSameOptionsSameBytes(t *testing.T) {
	files := func(o synth.Options) map[string][]byte {
		out := map[string][]byte{}
		root := os.DirFS(write(t, world(t, o), "out"))
		require.NoError(t, fs.WalkDir(root, ".", func(path string, d fs.DirEntry, err error) error {
			if err == nil && !d.IsDir() {
				out[path], err = fs.ReadFile(root, path)
			}
			return err
		}))
		return out
	}
	first, second := files(small()), files(small())
	for name := range first {
		if !bytes.Equal(first[name], second[name]) {
			t.Errorf("%s differs between two runs", name)
		}
	}
	o := small()
	o.Seed++
	other := files(o)
	for _, name := range []string{"variants.csv", "parts.csv", "fits.csv", "notes.csv", "supersessions.csv"} {
		if bytes.Equal(first[name], other[name]) {
			t.Errorf("%s is the same for another seed", name)
		}
	}
}

// TestEverySortOfRow holds the generator to the mixture that it promises.
func TestEverySortOfRow(t *testing.T) {
	got := map[string]int{}
	w := world(t, small())
	for _, tab := range catalog.Tables() {
		require.NoError(t, w.Each(tab, func(r catalog.Row) error {
			switch r := r.(type) {
			case *catalog.Variant:
				if n := len(r.Variant.Key()); n < 10 || n > 14 {
					t.Errorf("the code %s has %d characters, want 10 to 14", r.Variant, n)
				}
				got["layout "+r.Layout]++
			case *catalog.Fit:
				got["scope "+string(r.Scope)]++
				got["effect "+string(r.Effect)]++
				for name, is := range map[string]bool{"serial break": r.SerialFrom+r.SerialTo > 0, "date break": r.BuiltFrom+r.BuiltTo > 0, "condition": len(r.When) > 0,
					"alternative": r.Rank == 2, "position": r.Position != "", "takes nothing": r.Part == ""} {
					if is {
						got[name]++
					}
				}
			case *catalog.Supersession:
				got[string(r.Kind)]++
			case *catalog.Field:
				got["scheme "+string(r.Scheme)]++
			}
			return nil
		}))
	}
	want := []string{"scope family", "scope mark", "scope variant", "effect fits", "effect does-not-fit", "serial break", "date break", "condition", "alternative", "position", "takes nothing",
		"one-way", "two-way", "split"}
	for _, s := range []catalog.Scheme{"", catalog.SchemeMod11_2, catalog.SchemeMod37_2, catalog.SchemeMod97_10, catalog.SchemeMod37_36, catalog.SchemeMod11, catalog.SchemeMod11Comp, catalog.SchemeGS1, catalog.SchemeLuhn} {
		want = append(want, "scheme "+string(s))
	}
	require.NoError(t, w.Each(catalog.TableByName(catalog.TLayouts), func(r catalog.Row) error {
		if l := r.(*catalog.Layout); l.Assembly == "case" {
			want = append(want, "layout "+l.Layout)
		}
		return nil
	}))
	for _, name := range want {
		if got[name] == 0 {
			t.Errorf("there is no %s", name)
		}
	}
	if got["scope variant"]*10 < 9*(got["scope family"]+got["scope mark"]+got["scope variant"]) {
		t.Errorf("statements by scope: %v; want nine of ten of single variants", got)
	}
}

// layouts compiles the layouts of a catalogue.
func layouts(t *testing.T, cat *memory.Catalogue) (out []*plate.Layout) {
	t.Helper()
	for r := range cat.Rows(catalog.TLayouts) {
		l := *r.(*catalog.Layout)
		var fields []catalog.Field
		for f := range cat.Rows(catalog.TFields) {
			if f := f.(*catalog.Field); f.Layout == l.Layout {
				fields = append(fields, *f)
			}
		}
		p, err := plate.Compile(l, fields)
		require.NoError(t, err)
		out = append(out, p)
	}
	return out
}

func TestPlatesNameTheirVariants(t *testing.T) {
	w := world(t, small())
	cat := read(t, write(t, w, "out"))
	if got := len(layouts(t, cat)); got != 12 {
		t.Errorf("there are %d layouts, want 12", got)
	}
	res := resolve.New(cat, resolve.Edition{Name: "synthetic"})
	for worn := range 3 {
		n := 0
		require.NoError(t, w.Plates(300, worn, func(p synth.Plate) error {
			n++
			if got := strings.Count(p.Text, "?"); got != worn {
				t.Errorf("the plate %q has %d unreadable characters, want %d", p.Text, got, worn)
			}
			d, err := res.Decide(resolve.Question{Plate: p.Text}, resolve.Options{NoLookAlikes: true, NoNextCheck: true, NoNear: true})
			require.NoError(t, err)
			named := func(a resolve.AssemblyState) bool {
				return a.Basis == resolve.BasisOwn && slices.ContainsFunc(a.Candidates, func(c resolve.Candidate) bool { return string(c.Variant) == p.Variant })
			}
			if !slices.ContainsFunc(d.Assemblies, named) {
				t.Errorf("the plate %q names not its variant %s but %+v", p.Text, p.Variant, d.Assemblies)
			}
			return nil
		}))
		if n != 300 {
			t.Errorf("there are %d plates, want 300", n)
		}
	}
}

func TestLabelsNameVariants(t *testing.T) {
	cat := read(t, write(t, world(t, small()), "out"))
	codes := map[string][]string{} // layout and text: variants
	for r := range cat.Rows(catalog.TPlates) {
		p := r.(*catalog.Plate)
		codes[p.Layout+" "+p.Plate] = append(codes[p.Layout+" "+p.Plate], string(p.Variant))
	}
	shared := 0
	for _, v := range codes {
		if len(v) > 1 {
			shared++
		}
	}
	if len(codes) == 0 || shared == 0 {
		t.Errorf("of %d labels %d stand for several variants; want some", len(codes), shared)
	}
}

// The pure system MOD 97-10: the whole, letters as two digits from A = 10, leaves
// the remainder 1 when divided by 97 (ISO/IEC 7064:2003, clause 7.4; the same sum
// as for an IBAN in ISO 13616-1, annex B).
func TestCheckDigitsLeaveOne(t *testing.T) {
	n := 0
	require.NoError(t, world(t, small()).Plates(600, 0, func(p synth.Plate) error {
		// X, two letters, two letters or digits, five digits, two letters;
		// the date, six digits, two check digits.
		f := strings.Fields(p.Text)
		if len(f) != 4 || !strings.HasPrefix(f[0], "X") {
			return nil
		}
		n++
		var sum strings.Builder
		for _, c := range catalog.Fold(f[0]) + f[2] + f[3] {
			if c >= 'A' {
				sum.WriteString(big.NewInt(int64(c-'A') + 10).String())
			} else {
				sum.WriteRune(c)
			}
		}
		v, ok := new(big.Int).SetString(sum.String(), 10)
		require.True(t, ok)
		if got := new(big.Int).Mod(v, big.NewInt(97)).Int64(); got != 1 {
			t.Errorf("%q leaves %d, want 1", p.Text, got)
		}
		return nil
	}))
	if n == 0 {
		t.Error("there is no plate with two check digits")
	}
}

func TestOptionsRefused(t *testing.T) {
	for _, c := range []struct {
		edit func(*synth.Options)
		want string
	}{
		{func(o *synth.Options) { o.Variants = 0 }, "variants"},
		{func(o *synth.Options) { o.FitsPerVariant = 13 }, "fits-per-variant"},
		{func(o *synth.Options) { o.Parts = -1 }, "parts"},
		{func(o *synth.Options) { o.Supersessions = o.Parts }, "supersessions"},
		{func(o *synth.Options) { o.Notes = -1 }, "notes"},
	} {
		o := small()
		c.edit(&o)
		_, err := synth.New(o)
		var bad *synth.OptionError
		if !errors.As(err, &bad) {
			t.Errorf("options %+v: got %v, want an OptionError about %s", o, err, c.want)
		} else if diff := cmp.Diff(c.want, bad.Option); diff != "" {
			t.Errorf("options %+v: %s", o, diff)
		}
	}
}
