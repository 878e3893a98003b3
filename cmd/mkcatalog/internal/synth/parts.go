package synth

import (
	"fmt"
	"math/rand/v2"
	"slices"

	"platewright/catalog"
)

const (
	unitCase  = "case"
	valveBody = "valve-body"
	fluidRole = "fluid"
)

type role struct {
	name     string
	assembly string
	oneTime  bool
	qty      int
	kit      catalog.PartKind // of its parts
	share    int              // of the parts
}

// partRoles stand in the order of their keys, so that statements named after
// them come in order too.
var partRoles = []role{
	{"actuator-set", valveBody, false, 1, catalog.PartSet, 6},
	{"breather-cap", unitCase, false, 1, catalog.PartSingle, 1},
	{"bushing-set", unitCase, false, 1, catalog.PartSet, 2},
	{"case-connector-sleeve", valveBody, true, 1, catalog.PartSingle, 5},
	{"control-module", valveBody, false, 1, catalog.PartSingle, 4},
	{"cooler-line-seals", unitCase, true, 2, catalog.PartSingle, 1},
	{"drain-plug-seal", unitCase, true, 1, catalog.PartSingle, 1},
	{"feed-tube-seals", valveBody, true, 4, catalog.PartSingle, 1},
	{"filter", unitCase, true, 1, catalog.PartSingle, 6},
	{"friction-set", unitCase, false, 1, catalog.PartSet, 3},
	{"inner-loom", valveBody, false, 1, catalog.PartSingle, 2},
	{"input-seal", unitCase, true, 1, catalog.PartSingle, 2},
	{"output-seal", unitCase, true, 1, catalog.PartSingle, 2},
	{"overhaul-kit", unitCase, true, 1, catalog.PartKit, 3},
	{"pan-bolts", unitCase, true, 14, catalog.PartSingle, 1},
	{"pan-gasket", unitCase, true, 1, catalog.PartSingle, 5},
	{"seal-kit", valveBody, true, 1, catalog.PartKit, 6},
	{"selector-seal", unitCase, true, 1, catalog.PartSingle, 1},
	{"speed-sensor", unitCase, false, 2, catalog.PartSingle, 1},
	{"steel-set", unitCase, false, 1, catalog.PartSet, 3},
}

// variantRoles are the roles stated for single variants, the first ones first,
// by index in partRoles. Those stated by mark follow, then those by family.
var (
	variantRoles = []int{0, 16, 3, 8, 15, 4, 9, 19, 10, 13, 11, 12}
	markRoles    = []int{7, 14}
)

// familyRoles gives the roles that families state.
func (w *World) familyRoles() []int {
	var out []int
	for i := range partRoles {
		if !slices.Contains(variantRoles[:w.o.FitsPerVariant], i) && !slices.Contains(markRoles, i) {
			out = append(out, i)
		}
	}
	return out
}

type part struct {
	row    *catalog.Part
	next   []*catalog.Supersession // what replaces it
	before int                     // a part that it replaces one way, -1 for none
}

const (
	aftermarketList = "q7-aftermarket"
	practiceList    = "q7-practice"
	benchList       = "q7-bench"
	supplierList    = "q7-suppliers"
)

func listOf(maker string) string { return maker + "-list" }

var partMakers = []string{"q7a", "q7b", "q7c", "q7d", "q7e", "q7f", "q7g", "q7h"}

func (w *World) makeParts() {
	r := w.random(streamParts, 0)
	n := w.o.Parts
	fluids := max(12, n/500)
	pieces := n / 5
	shares := 0
	for _, o := range partRoles {
		shares += o.share
	}
	forRoles := n - fluids - pieces
	w.pools = make([][]int, len(partRoles))
	sum := 0
	for k, o := range partRoles {
		from, to := forRoles*sum/shares, forRoles*(sum+o.share)/shares
		sum += o.share
		for range to - from {
			w.pools[k] = append(w.pools[k], w.addPart(r, o.name, o.kit))
		}
	}
	for range pieces {
		w.pieces = append(w.pieces, w.addPart(r, pick(r, []string{"ring", "actuator", "o-ring", "check ball", "spring", "gasket", "plate", "bush"}), catalog.PartSingle))
	}
	for range fluids {
		w.fluids = append(w.fluids, w.addPart(r, "fluid", catalog.PartFluid))
	}
	w.replace()
}

// addPart adds a part with a number in one of five spellings.
func (w *World) addPart(r *rand.Rand, name string, kind catalog.PartKind) int {
	i := len(w.parts)
	scrambled := (i*7919 + 4711) % 1_000_000 // all different below a million
	p := &catalog.Part{Kind: kind, Origin: catalog.OriginMaker, Status: catalog.PartSold, Source: listOf(partMakers[i%len(partMakers)])}
	var number string
	switch r.IntN(5) {
	case 0:
		number = fmt.Sprintf("7Q-%06d-%c", scrambled, letters[i%26])
	case 1:
		number = fmt.Sprintf("QP%06d", scrambled)
	case 2:
		number = fmt.Sprintf("%03d.Q.%03d", scrambled/1000, scrambled%1000)
	case 3:
		number = fmt.Sprintf("QX %02d/%04d", scrambled/10_000, scrambled%10_000)
	default:
		number = fmt.Sprintf("ZQK-%d", 1_000_000+scrambled)
		p.Origin, p.Source = catalog.OriginAftermarket, aftermarketList
	}
	p.Part = catalog.PartNo(number)
	p.Name = name + " " + invent(r, 2)
	if chance(r, 600) {
		p.Look = fmt.Sprintf("%s, %d mm", invent(r, 1), 8+r.IntN(300))
	}
	if kind != catalog.PartFluid && chance(r, 10) {
		p.Status = catalog.PartEnded // and nothing replaces it
	}
	if chance(r, 60) {
		p.Note = sentence(r, w.vocabulary, 10)
	}
	w.parts = append(w.parts, part{p, nil, -1})
	return i
}

// replace makes the supersessions. Within the parts of a role every part goes to
// later ones, and where two serve for each other neither goes anywhere else, so
// nothing leads in a circle.
func (w *World) replace() {
	r := w.random(streamReplaced, 0)
	pools := append(slices.Clone(w.pools), w.pieces)
	all := 0
	for _, pool := range pools {
		all += len(pool)
	}
	sum := 0
	for _, pool := range pools {
		rows := w.o.Supersessions*(sum+len(pool))/all - w.o.Supersessions*sum/all
		sum += len(pool)
		var kinds []catalog.SupersessionKind
		for rows > 0 {
			switch k := r.IntN(100); {
			case k < 15 && rows > 1:
				kinds = append(kinds, catalog.Split)
				rows -= 2
			case k < 30:
				kinds = append(kinds, catalog.TwoWay)
				rows--
			default:
				kinds = append(kinds, catalog.OneWay)
				rows--
			}
		}
		w.replaceIn(r, pool, kinds)
	}
}

// replaceIn replaces as many parts of the pool as there are kinds. The last
// parts of a pool are never replaced.
func (w *World) replaceIn(r *rand.Rand, pool []int, kinds []catalog.SupersessionKind) {
	kind := make([]catalog.SupersessionKind, len(pool))
	for at, places := 0, len(pool)-3; len(kinds) > 0; at++ {
		// Knuth's selection sampling: exactly as many as there are.
		if r.IntN(places-at) < len(kinds) {
			kind[at], kinds = kinds[0], kinds[1:]
		}
	}
	link := func(from, to, qty int) {
		old, new := &w.parts[pool[from]], &w.parts[pool[to]]
		s := &catalog.Supersession{Old: old.row.Part, New: new.row.Part, Kind: kind[from], Qty: qty, Source: new.row.Source,
			Since: catalog.Date((2006+r.IntN(18))*10000 + (1+r.IntN(12))*100)}
		if chance(r, 200) {
			s.Note = sentence(r, w.vocabulary, 8)
		}
		old.next = append(old.next, s)
		if s.Kind != catalog.TwoWay {
			old.row.Status = catalog.PartEnded
		}
		if s.Kind == catalog.OneWay {
			new.before = pool[from]
		}
	}
	for at, k := range kind {
		to := min(at+1+r.IntN(6), len(pool)-2)
		switch k {
		case catalog.OneWay:
			link(at, to, 1)
		case catalog.TwoWay:
			for to = at + 1; kind[to] != ""; to++ {
			}
			link(at, to, 1)
		case catalog.Split:
			link(at, to, 1+r.IntN(3))
			link(at, to+1, 1)
		}
	}
}
