package alike

import (
	"cmp"
	"context"
	"encoding/binary"
	"math"
	"slices"
	"sort"
	"strings"

	"platewright/catalog"
	"platewright/resolve"
	"platewright/resolve/plate"
)

// lister works out one list.
type lister struct {
	q       Question
	kinds   Kinds
	like    [symbols]uint64
	edition resolve.Edition
	cat     resolve.Catalogue // for the goroutine that hands out work
	workers []*worker
	buffers chan []byte // for lines
	report  func(stage Stage, done, of int) error

	keptHeld, numbersHeld int // bounds: maxKept and maxNumbers

	// What the workers' comparers agree on.
	roles      []resolve.ComparedRole
	assemblies []*catalog.Assembly
	marks      []*catalog.Mark
	decides    [][]bool // by assembly and role
	visible    []bool   // by mark

	families   []family // by key
	familyAt   map[string]uint32
	layouts    []layout // by key
	layoutAt   map[string]uint16
	wanted     []bool // by family; nil for all
	variants   variants
	texts      Texts
	textsFrom  []uint32 // where the texts of each variant begin in textsOf, and where the last end
	textsOf    []uint32 // texts, those of a variant together
	familyFrom []uint32 // where the variants of each family begin in byFamily, and where the last end
	byFamily   []uint32 // variants, those of a family together
	looks      []look
	sets       []set
	classes    []uint32         // for each class the first variant of it
	numbers    []uint32         // for each class: equal for equal outcomes in all roles
	sums       []uint64         // for each class and assembly: of its outcomes in the roles that the assembly's identity decides
	taken      []uint32         // for the first classes and each role: what they take, or notKept
	kept       []*resolve.Taken // what classes take
	quickness  []int            // by mark: its place among all, the quickest first
	effortOf   []uint16         // by mark: the rank of pairs that it tells apart
	plateRank  uint16           // of pairs that only reading the plate again tells apart as quickly
	caughtRank uint16           // how much farther down pairs with a mark stand whose slip is caught
	ranks      int              // how many ranks there are
}

type family struct {
	row *catalog.Family
	key string
}

type layout struct {
	row      *catalog.Layout
	key      string
	assembly int // its place
	guard    *plate.Guard
}

// variants holds what is kept of each variant, by its place among all codes.
type variants struct {
	letters []byte // codes as they are spelled, one after the other, in the order of their keys
	from    []uint32
	family  []uint32
	layout  []uint16
	look    []uint32 // what it shows
	class   []uint32 // what it takes
}

func (v *variants) len() int { return len(v.family) }

// code gives the code as it is spelled, key the folded one.
func (v *variants) code(i uint32) catalog.VariantCode {
	return catalog.VariantCode(v.letters[v.from[i]:v.from[i+1]])
}

func (v *variants) key(i uint32) string { return v.code(i).Key() }

// look is what variants show: for each mark of which something is recorded, the
// set of values.
type look []markSet

type markSet struct {
	mark uint16
	set  uint32
}

// set is a set of values of a mark.
type set struct {
	shows  []*catalog.Show
	values []uint32 // unless it is measured: numbers of the folded values, in order
}

// A class is variants that take the same in all roles, down to the choice that
// comes first. What classes take is kept up to a bound; the rest is worked out
// again where it is shown.
const (
	maxKept    = 100_000   // different things taken
	maxNumbers = 6_000_000 // numbers of them, one for each class and role
	notKept    = ^uint32(0)
)

// worker compares on its own.
type worker struct {
	l     *lister
	cat   resolve.Catalogue
	c     *resolve.Comparer
	shown map[string]*seenLook // by family, of variants without marks of their own

	judge *judge
	taken map[uint32][]*resolve.Taken       // by class, of those not kept
	marks map[[2]uint32][]resolve.TellApart // by looks
}

// seenLook is a look that has no number yet.
type seenLook struct {
	text string // equal for equal looks
	sets []seenSet
}

type seenSet struct {
	mark  int
	text  string
	shows []*catalog.Show
}

// open makes the workers ready and agrees with them on what is compared.
func (l *lister) open(catalogue func() (resolve.Catalogue, error), workers int) error {
	var err error
	if l.cat, err = catalogue(); err != nil {
		return err
	}
	for range workers {
		w := &worker{l: l, judge: newJudge(l), shown: map[string]*seenLook{}, taken: map[uint32][]*resolve.Taken{}, marks: map[[2]uint32][]resolve.TellApart{}}
		if w.cat, err = catalogue(); err != nil {
			return err
		}
		if w.c, err = resolve.New(w.cat, l.edition).Comparer(l.q.Work); err != nil {
			return err
		}
		l.workers = append(l.workers, w)
	}
	c := l.workers[0].c
	l.roles, l.assemblies, l.marks, l.edition = c.Roles(), c.Assemblies(), c.Marks(), c.Edition()
	for _, m := range l.marks {
		l.visible = append(l.visible, resolve.Visible(m))
	}
	l.deciding()
	l.rankMarks()
	if err := every(l.cat, catalog.TFamilies, func(f *catalog.Family) {
		l.families = append(l.families, family{f, catalog.Fold(f.Family)})
	}); err != nil {
		return err
	}
	l.familyAt = make(map[string]uint32, len(l.families))
	for i := range l.families {
		l.familyAt[l.families[i].key] = uint32(i)
	}
	var bad error
	if err := every(l.cat, catalog.TLayouts, func(y *catalog.Layout) {
		guard, err := c.Guard(y)
		bad = cmp.Or(bad, err)
		at := slices.IndexFunc(l.assemblies, func(a *catalog.Assembly) bool { return catalog.Fold(a.Assembly) == catalog.Fold(y.Assembly) })
		l.layouts = append(l.layouts, layout{y, catalog.Fold(y.Layout), max(at, 0), guard})
	}); cmp.Or(err, bad) != nil {
		return cmp.Or(err, bad)
	}
	l.layoutAt = make(map[string]uint16, len(l.layouts))
	for i := range l.layouts {
		l.layoutAt[l.layouts[i].key] = uint16(i)
	}
	return l.choose()
}

// choose finds the families that are wanted.
func (l *lister) choose() error {
	if len(l.q.Families)+len(l.q.Makers) == 0 {
		return nil
	}
	var makers, families named
	if err := every(l.cat, catalog.TMakers, func(m *catalog.Maker) { makers.add(m.Maker, m.Name) }); err != nil {
		return err
	}
	for i := range l.families {
		families.add(l.families[i].row.Family, l.families[i].row.Name)
	}
	ofMakers, err := makers.chosen("maker", l.q.Makers)
	if err != nil {
		return err
	}
	ofFamilies, err := families.chosen("family", l.q.Families)
	if err != nil {
		return err
	}
	l.wanted = make([]bool, len(l.families))
	for i := range l.families {
		f := &l.families[i]
		l.wanted[i] = (len(l.q.Families) == 0 || ofFamilies[f.key]) && (len(l.q.Makers) == 0 || ofMakers[catalog.Fold(f.row.Maker)])
	}
	return nil
}

// named are things that go by a code or by a name.
type named struct{ codes, names []string }

func (n *named) add(code, name string) {
	n.codes, n.names = append(n.codes, code), append(n.names, name)
}

// chosen gives the keys of the codes that are asked for. A code goes before a name,
// and all that have the name are meant by it.
func (n *named) chosen(part string, asked []string) (map[string]bool, error) {
	keys := map[string]bool{}
	for _, a := range asked {
		found := false
		for _, by := range [2][]string{n.codes, n.names} {
			if found {
				break
			}
			for i, x := range by {
				if x != "" && catalog.Fold(x) == catalog.Fold(a) {
					keys[catalog.Fold(n.codes[i])], found = true, true
				}
			}
		}
		if !found {
			known := slices.Clone(n.codes)
			for i, name := range n.names {
				if name != "" && catalog.Fold(name) != catalog.Fold(n.codes[i]) {
					known = append(known, name)
				}
			}
			return nil, &resolve.QuestionError{Part: part, Value: a, Reason: resolve.UnknownName, Known: known}
		}
	}
	return keys, nil
}

// wants tells whether a pair with this variant is wanted.
func (l *lister) wants(variant uint32) bool {
	return l.wanted == nil || l.wanted[l.variants.family[variant]]
}

// every walks all rows of a small table in the order of their keys.
func every[T any](cat resolve.Catalogue, table string, each func(*T)) error {
	t := catalog.TableByName(table)
	return eachGroup(cat, t, func(key string) error {
		rows, err := cat.Group(t, key)
		for _, r := range rows {
			each(any(r).(*T))
		}
		return err
	})
}

// eachGroup walks the keys of the groups of a table.
func eachGroup(cat resolve.Catalogue, t *catalog.Table, each func(key string) error) error {
	key, ok, err := cat.Seek(t, "")
	// No key holds a text as low as that: it is the lowest above key.
	for ; ok && err == nil; key, ok, err = cat.Seek(t, key+"\x00") {
		if err := each(key); err != nil {
			return err
		}
	}
	return err
}

// examined is what a worker finds out about a variant.
type examined struct {
	code   catalog.VariantCode
	family uint32
	layout uint16
	look   *seenLook        // nil if it was not compared
	takes  []*resolve.Taken // by role
}

// batch is how many variants are one job.
const batch = 512

// read reads all variants, and compares them unless only those of some families
// are wanted.
func (l *lister) read(ctx context.Context) error {
	t := catalog.TableByName(catalog.TVariants)
	n := newNumbering(l)
	compare := l.wanted == nil
	v := &l.variants
	v.from = append(v.from, 0)
	err := inOrder(ctx, l.workers, func(give func([]string) bool) error {
		var keys []string
		flush := func() bool {
			full := keys
			keys = make([]string, 0, batch)
			return give(full)
		}
		err := eachGroup(l.cat, t, func(key string) error {
			if keys = append(keys, strings.TrimSuffix(key, string(catalog.KeySep))); len(keys) == batch && !flush() {
				return context.Canceled
			}
			return nil
		})
		if err == nil && !flush() {
			return context.Canceled
		}
		return err
	}, func(w *worker, keys []string) ([]examined, error) {
		out := make([]examined, 0, len(keys))
		for _, k := range keys {
			x, err := w.examine(k, compare)
			if err != nil {
				return nil, err
			}
			out = append(out, x)
		}
		return out, nil
	}, func(xs []examined) error {
		for i := range xs {
			x := &xs[i]
			if len(v.letters)+len(x.code) > math.MaxUint32 {
				return &TooLargeError{}
			}
			v.letters = append(v.letters, x.code...)
			v.from = append(v.from, uint32(len(v.letters)))
			v.family = append(v.family, x.family)
			v.layout = append(v.layout, x.layout)
			v.look, v.class = append(v.look, 0), append(v.class, 0)
			if compare {
				n.number(uint32(v.len()-1), x)
			}
		}
		return l.report(Reading, v.len(), 0)
	})
	if err != nil {
		return err
	}
	if err := l.readTexts(); err != nil {
		return err
	}
	l.familyFrom, l.byFamily = gather(v.family, len(l.families))
	if compare {
		return nil
	}
	return l.compareWanted(ctx, n)
}

// compareWanted compares the variants of the families that are wanted, and those
// that a slip turns into one of them.
func (l *lister) compareWanted(ctx context.Context, n *numbering) error {
	v := &l.variants
	needed := make([]bool, v.len())
	all := 0
	for i := range needed {
		needed[i] = l.wants(uint32(i))
	}
	if err := l.texts.Slips(l.kinds, l.ticking(ctx, Searching), func(s Slip) error {
		l.owners(s, func(_ Slip, a, b uint32) { needed[a], needed[b] = true, true })
		return nil
	}); err != nil {
		return err
	}
	for _, yes := range needed {
		if yes {
			all++
		}
	}
	done := 0
	return inOrder(ctx, l.workers, func(give func([]uint32) bool) error {
		var some []uint32
		for i, yes := range needed {
			if yes {
				some = append(some, uint32(i))
			}
			if len(some) == batch || i == len(needed)-1 {
				if !give(some) {
					break
				}
				some = nil
			}
		}
		return nil
	}, func(w *worker, some []uint32) ([]examined, error) {
		out := make([]examined, 0, len(some))
		for _, i := range some {
			x, err := w.examine(v.key(i), true)
			if err != nil {
				return nil, err
			}
			x.family = i // not needed again: it carries the place
			out = append(out, x)
		}
		return out, nil
	}, func(xs []examined) error {
		for i := range xs {
			n.number(xs[i].family, &xs[i])
		}
		done += len(xs)
		return l.report(Comparing, done, all)
	})
}

// TooLargeError says that a catalogue is larger than can be compared.
type TooLargeError struct{}

func (*TooLargeError) Error() string {
	return "the codes and plates of all variants come to more than 4 GiB, which is more than can be compared at once; name families or makers in catalogues of their own"
}

// examine reads one variant and compares it if that is asked.
func (w *worker) examine(key string, compare bool) (examined, error) {
	l := w.l
	x := examined{code: catalog.VariantCode(key)}
	if !compare {
		rows, err := w.cat.Group(catalog.TableByName(catalog.TVariants), catalog.MakeKey(key))
		if err != nil || len(rows) == 0 {
			return x, err
		}
		row := rows[0].(*catalog.Variant)
		x.code = row.Variant
		x.family, x.layout = l.familyAt[catalog.Fold(row.Family)], l.layoutAt[catalog.Fold(row.Layout)]
		return x, nil
	}
	v, ok, err := w.c.Variant(key)
	if err != nil || !ok {
		return x, err
	}
	x.code = v.Row().Variant
	family := catalog.Fold(v.Row().Family)
	x.family, x.layout = l.familyAt[family], l.layoutAt[catalog.Fold(v.Row().Layout)]
	if x.look = w.shown[family]; x.look == nil || v.ShowsOwn() {
		x.look = w.lookOf(v)
		if !v.ShowsOwn() {
			w.shown[family] = x.look
		}
	}
	x.takes = make([]*resolve.Taken, len(l.roles))
	for i := range l.roles {
		if x.takes[i], err = w.c.Takes(v, i); err != nil {
			return x, err
		}
	}
	return x, nil
}

// join takes a further number into a sum; the order counts.
func join(sum, with uint64) uint64 { return mix(sum*step + with + mixing) }

// deciding finds which roles the identity of an assembly decides: its own, and
// those of assemblies that follow it.
func (l *lister) deciding() {
	at := map[string]int{}
	for i, a := range l.assemblies {
		at[catalog.Fold(a.Assembly)] = i
		l.decides = append(l.decides, make([]bool, len(l.roles)))
	}
	for i, r := range l.roles {
		for of, ok := at[r.Assembly]; ok; of, ok = at[catalog.Fold(l.assemblies[of].Follows)] {
			l.decides[of][i] = true
		}
	}
}

func (w *worker) lookOf(v resolve.Compared) *seenLook {
	s := &seenLook{}
	var b []byte
	for m := range w.l.marks {
		shows := w.c.ShownBy(v, m)
		if len(shows) == 0 {
			continue
		}
		var text []byte
		for _, o := range shows {
			text = append(append(text, o.Value...), 0)
			text = append(append(text, o.Tolerance.String()...), 1)
		}
		b = binary.AppendUvarint(b, uint64(m))
		b = append(append(b, text...), 2)
		s.sets = append(s.sets, seenSet{m, string(text), shows})
	}
	s.text = string(b)
	return s
}

// numbering gives numbers to looks, sets, values and classes, in the order in
// which variants come.
type numbering struct {
	l       *lister
	looks   map[string]uint32
	sets    map[seenKey]uint32
	values  map[seenKey]uint32
	classes map[[2]uint64]uint32
	roots   map[uint64]uint32
	taken   map[takenKey]uint32
}

type takenKey struct {
	sum   [2]uint64
	shown uint64
}

type seenKey struct {
	mark int
	text string
}

func newNumbering(l *lister) *numbering {
	return &numbering{l, map[string]uint32{}, map[seenKey]uint32{}, map[seenKey]uint32{}, map[[2]uint64]uint32{}, map[uint64]uint32{}, map[takenKey]uint32{}}
}

// numberOf gives the number of a key, the next one to a new key.
func numberOf[K comparable](m map[K]uint32, k K) (n uint32, isNew bool) {
	n, ok := m[k]
	if !ok {
		n = uint32(len(m))
		m[k] = n
	}
	return n, !ok
}

func (n *numbering) number(variant uint32, x *examined) {
	l := n.l
	if x.look == nil {
		return
	}
	number, isNew := numberOf(n.looks, x.look.text)
	if isNew {
		var k look
		for _, s := range x.look.sets {
			at, isNew := numberOf(n.sets, seenKey{s.mark, s.text})
			if isNew {
				o := set{shows: s.shows}
				if l.marks[s.mark].Kind != catalog.MarkMeasured {
					for _, w := range s.shows {
						value, _ := numberOf(n.values, seenKey{s.mark, catalog.FoldValue(w.Value)})
						o.values = append(o.values, value)
					}
					slices.Sort(o.values)
					o.values = slices.Compact(o.values)
				}
				l.sets = append(l.sets, o)
			}
			k = append(k, markSet{uint16(s.mark), at})
		}
		l.looks = append(l.looks, k)
	}
	l.variants.look[variant] = number
	var sum [2]uint64
	for _, t := range x.takes {
		sum[0], sum[1] = join(join(sum[0], t.Sum[0]), t.Shown), join(join(sum[1], t.Sum[1]), t.Shown)
	}
	number, isNew = numberOf(n.classes, sum)
	l.variants.class[variant] = number
	if !isNew {
		return
	}
	l.classes = append(l.classes, variant)
	for a, decides := range l.decides {
		sum := uint64(0)
		for i, t := range x.takes {
			if decides[i] {
				sum = join(join(sum, t.Sum[0]), t.Sum[1])
			}
		}
		l.sums = append(l.sums, sum)
		if a == 0 {
			root, _ := numberOf(n.roots, sum)
			l.numbers = append(l.numbers, root)
		}
	}
	if len(l.taken)+len(x.takes) > l.numbersHeld {
		return // those of this class and all after it are worked out again
	}
	for _, t := range x.takes {
		key := takenKey{t.Sum, t.Shown}
		at, ok := n.taken[key]
		switch {
		case ok:
		case len(l.kept) < l.keptHeld:
			at = uint32(len(l.kept))
			n.taken[key] = at
			l.kept = append(l.kept, t)
		default:
			at = notKept
		}
		l.taken = append(l.taken, at)
	}
}

// readTexts gathers the texts by which layouts name variants.
func (l *lister) readTexts() error {
	v := &l.variants
	for i := range v.len() {
		l.texts.Add(v.key(uint32(i)), v.layout[i], uint32(i))
	}
	t := catalog.TableByName(catalog.TPlates)
	err := eachGroup(l.cat, t, func(key string) error {
		rows, err := l.cat.Group(t, key)
		for _, r := range rows {
			p := r.(*catalog.Plate)
			if i, ok := v.find(p.Variant.Key()); ok {
				if len(l.texts.letters) > math.MaxUint32-catalog.MaxCode {
					return &TooLargeError{}
				}
				l.texts.Add(catalog.Fold(p.Plate), l.layoutAt[catalog.Fold(p.Layout)], i)
			}
		}
		return err
	})
	if err != nil {
		return err
	}
	l.texts.Sort(len(l.layouts))
	l.textsFrom, l.textsOf = gather(l.texts.of, v.len())
	return nil
}

// gather puts the things that belong to each of n owners together: those of owner
// i are those from from[i] to from[i+1].
func gather(owner []uint32, n int) (from, things []uint32) {
	from = make([]uint32, n+1)
	for _, o := range owner {
		from[o+1]++
	}
	for i := range n {
		from[i+1] += from[i]
	}
	next := slices.Clone(from)
	things = make([]uint32, len(owner))
	for i, o := range owner {
		things[next[o]] = uint32(i)
		next[o]++
	}
	return from, things
}

// find gives the place of a key.
func (v *variants) find(key string) (uint32, bool) {
	i := sort.Search(v.len(), func(i int) bool { return v.key(uint32(i)) >= key })
	return uint32(i), i < v.len() && v.key(uint32(i)) == key
}

// textsNaming gives all texts that name a variant.
func (l *lister) textsNaming(variant uint32) []uint32 {
	return l.textsOf[l.textsFrom[variant]:l.textsFrom[variant+1]]
}

// owners calls each with the pairs of variants that the two texts of a slip name,
// the variant whose code comes first before the other, if the pair is wanted and
// no other slip is to be preferred for it.
func (l *lister) owners(s Slip, each func(s Slip, a, b uint32)) {
	same := func(i uint32) uint32 { // the end of the texts equal to that one
		end := i + 1
		for int(end) < l.texts.Len() && l.texts.On(end) == l.texts.On(i) && string(l.texts.At(end)) == string(l.texts.At(i)) {
			end++
		}
		return end
	}
	for i, end := s.A, same(s.A); i < end; i++ {
		for j, end := s.B, same(s.B); j < end; j++ {
			a, b := l.texts.Of(i), l.texts.Of(j)
			if a == b || !l.wants(a) && !l.wants(b) {
				continue
			}
			t := Slip{A: i, B: j, Kind: s.Kind, Place: s.Place}
			if len(l.textsNaming(a)) > 1 || len(l.textsNaming(b)) > 1 {
				if best, ok := l.slip(a, b); !ok || best != t {
					continue
				}
			}
			each(t, min(a, b), max(a, b))
		}
	}
}

// slip gives the slip that turns a plate of a variant into one of another: of
// several that of the root assembly, else by kind, place and layout.
func (l *lister) slip(a, b uint32) (Slip, bool) {
	var best Slip
	found := false
	better := func(s, t Slip) bool {
		return cmp.Or(cmp.Compare(l.layouts[l.texts.On(s.A)].assembly, l.layouts[l.texts.On(t.A)].assembly),
			cmp.Compare(s.Kind, t.Kind), cmp.Compare(s.Place, t.Place), cmp.Compare(s.A, t.A), cmp.Compare(s.B, t.B)) < 0
	}
	for _, i := range l.textsNaming(a) {
		for _, j := range l.textsNaming(b) {
			if l.texts.On(i) != l.texts.On(j) {
				continue
			}
			kind, place, ok := slipBetween(l.texts.At(i), l.texts.At(j), l.kinds, &l.like)
			if !ok {
				continue
			}
			s := Slip{A: min(i, j), B: max(i, j), Kind: kind, Place: uint8(place + 1)}
			if !found || better(s, best) {
				best, found = s, true
			}
		}
	}
	return best, found
}
