package synth

import (
	"cmp"
	"fmt"
	"math/rand/v2"
	"slices"
	"sort"
	"strings"

	"platewright/catalog"
	"platewright/catalog/pack"
)

// Options say how large a catalogue is. The zero value of a field is none of
// it; [DefaultOptions] gives a full one.
type Options struct {
	Seed           uint64
	Variants       int
	FitsPerVariant int // fit statements of all scopes, on average for each variant
	Parts          int
	Supersessions  int
	Notes          int
	Shuffle        bool // rows of the large tables in no order
}

// DefaultOptions are those of a catalogue with a million variants.
func DefaultOptions() Options {
	return Options{Seed: 1, Variants: 1_000_000, FitsPerVariant: 5, Parts: 20_000, Supersessions: 10_000, Notes: 50_000}
}

// OptionError says which option cannot be.
type OptionError struct {
	Option string
	Value  int
	Least  int
	Most   int
}

func (e *OptionError) Error() string {
	return fmt.Sprintf("%s cannot be %d; give a number from %d to %d", e.Option, e.Value, e.Least, e.Most)
}

func (o Options) check() error {
	for _, c := range []OptionError{
		{"variants", o.Variants, 50, 15_000_000},
		{"fits-per-variant", o.FitsPerVariant, 1, len(variantRoles)},
		{"parts", o.Parts, 500, 500_000},
		{"supersessions", o.Supersessions, 0, o.Parts / 2},
		{"notes", o.Notes, 0, 10_000_000},
	} {
		if c.Value < c.Least || c.Value > c.Most {
			return &c
		}
	}
	return nil
}

// World is a made-up catalogue. It is safe for concurrent reading.
type World struct {
	o          Options
	layouts    []*layout
	labels     []*layout
	families   []*family // in the order of their codes
	parts      []part
	pools      [][]int // indexes of parts by role, as in partRoles
	pieces     []int   // parts that only stand in kits or come along
	fluids     []int
	marks      []mark
	vocabulary []string
	small      map[string][]catalog.Row // tables that do not grow with the variants, in order of their keys
	byVariant  int                      // fit statements of single variants, all together
	noted      int                      // notes on variants, all together
}

// family is a design of unit with the choices that its variants share.
type family struct {
	code     string // also the prefix of its variants
	layout   *layout
	index    int // in the order of codes
	name     string
	variants int
	before   int      // variants of the families before it
	shown    []string // the value of each mark
	other    []string // another value of it
	label    *layout  // of its valve bodies, nil for none
}

// The kinds of random numbers, kept apart so that each table can be made alone.
const (
	streamWorld = iota
	streamVariants
	streamFits
	streamFamilyFits
	streamShows
	streamFamilies
	streamNotes
	streamPlates
	streamPlateText
	streamShuffle
	streamParts
	streamReplaced
	streamRows
)

func (w *World) random(stream, index int) *rand.Rand {
	return rand.New(rand.NewPCG(w.o.Seed, uint64(stream)<<40|uint64(index)))
}

// New makes a world. The error is an [*OptionError], or trouble of a layout.
func New(o Options) (*World, error) {
	if err := o.check(); err != nil {
		return nil, err
	}
	w := &World{o: o, layouts: caseLayouts(), labels: labelLayouts(), small: map[string][]catalog.Row{}}
	for _, l := range append(slices.Clone(w.layouts), w.labels...) {
		if err := l.complete(); err != nil {
			return nil, err
		}
	}
	w.vocabulary = vocabulary(w.random(streamWorld, 0))
	w.marks = makeMarks()
	w.makeFamilies()
	w.makeParts()
	statements := len(w.statementsOfMarks())
	for _, f := range w.families {
		statements += len(w.statementsOfFamily(f))
	}
	w.byVariant = max(o.Variants*o.FitsPerVariant-statements, o.Variants*max(1, o.FitsPerVariant-1))
	w.noted = o.Notes * 6 / 10
	return w, w.makeSmallTables()
}

// Info describes the package.
func (w *World) Info() pack.Info {
	return pack.Info{Name: "synthetic", Title: "Synthetic catalogue", Version: fmt.Sprintf("seed %d, %d variants", w.o.Seed, w.o.Variants),
		About: "Made up by a program for measuring and testing. No maker, unit, part, number or price in it exists. Do not work on a real unit by it."}
}

// perFamily is how many variants a family has on average.
const perFamily = 500

// labelled is of how many families each label layout has one.
const labelled = 20

func (w *World) makeFamilies() {
	n := max(w.o.Variants/perFamily, len(w.layouts))
	shares := 0
	for _, l := range w.layouts {
		shares += l.share
	}
	r := w.random(streamFamilies, 0)
	used := make([]int, len(w.layouts))
	weights := 0
	weight := make([]int, n)
	for i := range n {
		k := i
		if i >= len(w.layouts) {
			k = 0
			for at := r.IntN(shares); at >= w.layouts[k].share; k++ {
				at -= w.layouts[k].share
			}
		}
		l := w.layouts[k]
		w.families = append(w.families, &family{code: l.prefixOf(used[k]), layout: l})
		used[k]++
		weight[i] = 2 + r.IntN(9)
		weights += weight[i]
	}
	slices.SortFunc(w.families, func(a, b *family) int { return cmp.Compare(a.code, b.code) })
	// Every family has one variant; the others go by weight.
	sum, before := 0, 0
	rest := w.o.Variants - n
	for i, f := range w.families {
		r := w.random(streamFamilies, 1+i)
		f.index, f.before = i, before
		share := rest * sum / weights
		sum += weight[i]
		f.variants = 1 + rest*sum/weights - share
		before += f.variants
		f.name = fmt.Sprintf("%s %d", capital(invent(r, 2)), 2+r.IntN(8))
		for _, m := range w.marks {
			a := r.IntN(len(m.values))
			b := (a + 1 + r.IntN(len(m.values)-1)) % len(m.values)
			f.shown, f.other = append(f.shown, m.values[a]), append(f.other, m.values[b])
		}
		if k := i % labelled; k < len(w.labels) {
			f.label = w.labels[k]
		}
	}
}

// peculiar is how the fit statements of a variant differ from one for each role.
type peculiar uint8

const (
	plain       peculiar = iota
	serialBreak          // two parts, by serial number
	dateBreak            // two parts, by build date
	byMark               // two parts, by what the unit shows; the variant was built with both
	alternative          // two parts of which either fits
	twoPlaces            // two positions
	against              // the family's part does not fit, another does
	nothing              // takes nothing in a role
)

// thousandths of the variants that are so
var peculiarities = [...]int{serialBreak: 30, dateBreak: 20, byMark: 15, alternative: 25, twoPlaces: 12, against: 12, nothing: 4}

type variant struct {
	key, code            string
	ordinal              int // in its family
	serialFrom, serialTo int
	builtFrom, builtTo   int // months since year 0
	peculiar             peculiar
	role                 int // which role is peculiar
}

// variantsOf gives the variants of a family in the order of their codes.
func (w *World) variantsOf(f *family) []variant {
	r := w.random(streamVariants, f.index)
	out := make([]variant, 0, f.variants)
	room := 1
	for range f.layout.number {
		room *= 10
	}
	number := r.IntN(room / 3)
	key := []byte(f.code)
	for left := f.variants; left > 0; {
		key = appendPadded(key[:len(f.code)], number, f.layout.number)
		revisions := min(left, 1+r.IntN(len(f.layout.suffix)))
		skip := 0
		if revisions < len(f.layout.suffix) {
			skip = r.IntN(len(f.layout.suffix) - revisions + 1)
		}
		for _, s := range f.layout.suffix[skip : skip+revisions] {
			k := string(append(key, s...))
			v := variant{key: k, code: f.layout.spell(k), ordinal: len(out)}
			if chance(r, 300) {
				v.builtFrom = 2004*12 + r.IntN(150)
				v.builtTo = v.builtFrom + 12 + r.IntN(60)
			}
			if chance(r, 200) {
				v.serialFrom = 1 + r.IntN(40_000)
				v.serialTo = v.serialFrom + 2000 + r.IntN(50_000)
			}
			at := r.IntN(1000)
			for p, n := range peculiarities {
				if at < n {
					v.peculiar = peculiar(p)
					break
				}
				at -= n
			}
			v.role = r.IntN(len(variantRoles))
			out = append(out, v)
		}
		left -= revisions
		// Codes lie close together, as those of a maker do, but leave gaps.
		gap := pickGap(r)
		if left > 0 {
			gap = max(1, min(gap, (room-1-number)/left))
		}
		number += gap
	}
	return out
}

func pickGap(r *rand.Rand) int {
	gaps := [...]int{1, 1, 1, 2, 2, 3, 5, 10}
	return gaps[r.IntN(len(gaps))]
}

// appendPadded appends n with zeros in front.
func appendPadded(dst []byte, n, width int) []byte {
	at := len(dst) + width
	for range width {
		dst = append(dst, '0')
	}
	for i := at - 1; n > 0; i-- {
		dst[i] = byte('0' + n%10)
		n /= 10
	}
	return dst
}

// familyOf gives the family of a variant by the variant's place among all.
func (w *World) familyOf(variant int) *family {
	i := sort.Search(len(w.families), func(i int) bool { return w.families[i].before > variant })
	return w.families[i-1]
}

// quota gives how many of total things fall to number i of n: equal shares, and
// exactly total together.
func quota(total, i, n int) int { return total*(i+1)/n - total*i/n }

// sorted gives rows in the order of their keys.
func sorted[T any](table string, rows []*T) []catalog.Row {
	t := catalog.TableByName(table)
	type keyed struct {
		key string
		row catalog.Row
	}
	list := make([]keyed, len(rows))
	for i, r := range rows {
		list[i] = keyed{string(t.RowKey(nil, r)), r}
	}
	slices.SortFunc(list, func(a, b keyed) int { return strings.Compare(a.key, b.key) })
	out := make([]catalog.Row, len(list))
	for i, k := range list {
		out[i] = k.row
	}
	return out
}
