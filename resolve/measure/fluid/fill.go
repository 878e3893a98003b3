package fluid

import (
	"cmp"
	"slices"

	"github.com/shopspring/decimal"

	"platewright/catalog"
)

// Code says in one word what an answer rests on: a closed list, see [Codes].
type Code string

const (
	VolumeRefill    Code = "volume-refill"     // the catalogue's volume after draining
	VolumeDry       Code = "volume-dry"        // the catalogue's volume into an empty unit
	VolumeNone      Code = "volume-none"       // the scope of work fills nothing: check the level
	VolumeUnknown   Code = "volume-unknown"    // the catalogue gives no volume for the scope of work
	VolumeDrained   Code = "volume-drained"    // as much as came out, since the catalogue gives no volume
	DrainedLess     Code = "drained-less"      // less came out than the catalogue refills: some is still inside, or it was low
	DrainedMore     Code = "drained-more"      // more came out than the catalogue refills: it was overfilled, or something else is in it
	DrainedAboveDry Code = "drained-above-dry" // more came out than the empty unit takes
	WithinWindow    Code = "within-window"     // the level was set within the temperature window
	SetTooHot       Code = "set-too-hot"       // the level was set above the window: the unit holds too little
	SetTooCold      Code = "set-too-cold"      // the level was set below the window: the unit holds too much
	NoWindow        Code = "no-window"         // the catalogue gives no temperature window
	NoArea          Code = "no-area"           // the catalogue gives no surface, so the millimetres are not known
	OnRefillVolume  Code = "on-refill-volume"  // reckoned on the refill, since the volume of the dry unit is not known: the figures are on the small side
	StockShort      Code = "stock-short"       // the supplier has fewer packs than are needed
	NotOffered      Code = "not-offered"       // nobody offers it
	NotSold         Code = "not-sold"          // it is no longer made
)

// Codes lists every code that a [Plan] can carry.
var Codes = []Code{VolumeRefill, VolumeDry, VolumeNone, VolumeUnknown, VolumeDrained, DrainedLess, DrainedMore, DrainedAboveDry, WithinWindow, SetTooHot, SetTooCold,
	NoWindow, NoArea, OnRefillVolume, StockShort, NotOffered, NotSold}

// InputError says what of the input cannot be meant.
type InputError struct {
	What, Mend string
}

func (e *InputError) Error() string { return e.What + "; " + e.Mend }

// noticeable is the share of the refill by which a drained volume has to differ
// before it is remarked on: common practice, no published source.
var noticeable = decimal.New(1, -1)

// The temperatures in °C that the fluid of a unit can have while its level is set:
// common practice, no published source.
var (
	coldestFluid = decimal.NewFromInt(-40)
	hottestFluid = decimal.NewFromInt(150)
)

// Volume is how much fluid a scope of work takes.
type Volume struct {
	Kind    catalog.FillKind `json:"kind"`
	Litres  catalog.Decimal  `json:"litres"`  // to have at hand; null for not known or none
	First   catalog.Decimal  `json:"first"`   // to put in before the level is set; null for not known or none
	Drained catalog.Decimal  `json:"drained"` // what came out; null for not measured
	Codes   []Code           `json:"codes"`
}

// VolumeOf gives the volume for the kinds of fill of the scopes of work, the
// largest of them, with what was drained where that was measured.
func VolumeOf(f *catalog.Fill, kinds []catalog.FillKind, drained catalog.Decimal) (Volume, error) {
	v := Volume{Kind: catalog.FillNone, Codes: []Code{}, Drained: drained}
	order := []catalog.FillKind{catalog.FillNone, catalog.FillRefill, catalog.FillDry}
	for _, k := range kinds {
		if slices.Index(order, k) > slices.Index(order, v.Kind) {
			v.Kind = k
		}
	}
	if drained.Known && drained.Num.IsNegative() {
		return v, &InputError{"less than nothing was drained", "give the litres that came out"}
	}
	if drained.Known && drained.Num.GreaterThan(decimal.NewFromInt(200)) {
		return v, &InputError{"no transmission holds " + drained.String() + " L", "check the number and its unit"}
	}
	switch v.Kind {
	case catalog.FillNone:
		v.Codes = append(v.Codes, VolumeNone)
		if drained.Known && drained.Num.IsPositive() {
			// Whatever the scope says, what came out goes back in.
			v.Codes = append(v.Codes, VolumeDrained)
			v.Litres, v.First = drained, drained
		}
		return v, nil
	case catalog.FillRefill:
		v.Litres = f.Refill
		v.Codes = append(v.Codes, VolumeRefill)
	case catalog.FillDry:
		v.Litres = f.Dry
		v.Codes = append(v.Codes, VolumeDry)
	}
	v.First = v.Litres
	if !v.Litres.Known {
		v.Codes = []Code{VolumeUnknown}
	}
	if !drained.Known {
		return v, nil
	}
	if f.Dry.Known && drained.Num.GreaterThan(f.Dry.Num) {
		v.Codes = append(v.Codes, DrainedAboveDry)
	}
	switch {
	case !v.Litres.Known:
		v.Codes = append(v.Codes, VolumeDrained)
		v.Litres, v.First = drained, drained
	case v.Kind == catalog.FillRefill:
		// What came out goes in first, and the level decides the rest; more than the
		// catalogue refills does not go back in.
		v.First = catalog.Decimal{Num: decimal.Min(drained.Num, f.Refill.Num), Known: true}
		differ := drained.Num.Sub(f.Refill.Num)
		switch much := f.Refill.Num.Mul(noticeable); {
		case differ.GreaterThan(much):
			v.Codes = append(v.Codes, DrainedMore)
		case differ.Neg().GreaterThan(much):
			v.Codes = append(v.Codes, DrainedLess)
		}
	}
	return v, nil
}

// Level is what a level set at a temperature means once the fluid is in the window.
type Level struct {
	Codes     []Code          `json:"codes"`
	SetAt     catalog.Decimal `json:"setAt"`     // °C, at which the level was set; null for not asked
	From      catalog.Decimal `json:"from"`      // °C, of the window
	To        catalog.Decimal `json:"to"`        // °C, of the window
	Volume    catalog.Decimal `json:"volume"`    // litres that grow
	ByDensity bool            `json:"byDensity"` // the growth rests on the density of the fluid's data sheet
	Density   catalog.Decimal `json:"density"`   // kg/m³ at 15 °C; null for not known
	PerDegree catalog.Decimal `json:"perDegree"` // litres that the volume grows by for 1 °C, in the window
	Window    Off             `json:"window"`    // what a level set at one end of the window is off at the other
	Least     Off             `json:"least"`     // what it is off at the near end of the window, positive for too much
	Most      Off             `json:"most"`      // what it is off at the far end of the window, positive for too much
}

// Off is by how much a fill is off: in litres, and in millimetres where the surface
// at the level is known.
type Off struct {
	Litres      catalog.Decimal `json:"litres"`
	Millimetres catalog.Decimal `json:"millimetres"`
}

// LevelSet says what a level set at a temperature in °C means. The density is that
// at 15 °C, or not known; a temperature that is not known asks only what the window
// itself means. Nothing is known without a volume: nil.
func LevelSet(f *catalog.Fill, density catalog.Decimal, at catalog.Decimal) *Level {
	l := &Level{Codes: []Code{}, SetAt: at, From: f.TempFrom, To: f.TempTo, Volume: f.Dry, Density: density}
	if !f.Dry.Known {
		l.Volume = f.Refill
		l.Codes = append(l.Codes, OnRefillVolume)
	}
	if !l.Volume.Known {
		return nil
	}
	e := Expands(density.Num.InexactFloat64())
	l.ByDensity = e.ByDensity()
	litres := l.Volume.Num.InexactFloat64()
	off := func(from, to float64) Off {
		d := litres * (e.Ratio(from, to) - 1)
		o := Off{Litres: rounded(d, 3)}
		if f.Area.Known {
			o.Millimetres = rounded(d*10000/f.Area.Num.InexactFloat64(), 1)
		}
		return o
	}
	if !f.Area.Known {
		l.Codes = append(l.Codes, NoArea)
	}
	if !f.TempFrom.Known || !f.TempTo.Known {
		l.Codes = append(l.Codes, NoWindow)
		return l
	}
	from, to := f.TempFrom.Num.InexactFloat64(), f.TempTo.Num.InexactFloat64()
	middle := (from + to) / 2
	l.PerDegree = rounded(litres*(e.Ratio(middle, middle+1)-1), 4)
	l.Window = off(from, to)
	if !at.Known {
		return l
	}
	t := at.Num.InexactFloat64()
	switch {
	case at.Num.GreaterThan(f.TempTo.Num):
		l.Codes = append(l.Codes, SetTooHot)
		l.Least, l.Most = off(t, to), off(t, from)
	case at.Num.LessThan(f.TempFrom.Num):
		l.Codes = append(l.Codes, SetTooCold)
		l.Least, l.Most = off(t, from), off(t, to)
	default:
		l.Codes = append(l.Codes, WithinWindow)
	}
	return l
}

func rounded(v float64, places int32) catalog.Decimal {
	return catalog.Decimal{Num: decimal.NewFromFloat(v).Round(places), Known: true}
}

// Data is what the catalogue says that a [Plan] needs.
type Data struct {
	Fill   *catalog.Fill
	Specs  []*catalog.Spec             // all of them, to find names that differ by a letter
	Serves []*catalog.Serve            // of the specification asked for
	Meets  map[string][]*catalog.Meet  // by key of the specification: the asked one, those that serve for it, those a letter apart
	Parts  map[string]*catalog.Part    // by key, of the fluids
	Offers map[string][]*catalog.Offer // by key of the fluid
	Shelf  map[string][]*catalog.ShelfItem
	Sheets map[string][]*catalog.Sheet // by key of the fluid
	Limits map[string][]*catalog.Limit // by key of the specification
	Money  map[string]string           // the currency of a supplier, by key
}

// Plan is the fluid of a unit for a scope of work.
type Plan struct {
	Spec     string              `json:"spec"`
	SpecName string              `json:"specName"`
	Volume   Volume              `json:"volume"`
	Fluids   []Choice            `json:"fluids"` // what may be filled in, the first choice first
	Belied   []Choice            `json:"belied"` // said to meet it, and outside its limits by their own data sheets: not to be filled in
	Apart    []Neighbour         `json:"apart"`  // specifications whose names are a letter apart
	Engine   catalog.EngineState `json:"engine,omitempty"`
	Plugs    string              `json:"plugs,omitempty"`
	How      string              `json:"how,omitempty"`
	Caution  string              `json:"caution,omitempty"` // its short name in the catalogue
	Level    *Level              `json:"level"`             // null where no volume is known
	Scope    catalog.ShowScope   `json:"scope"`             // what the row of the catalogue speaks of
	Of       string              `json:"of"`
	Source   string              `json:"source"`
}

// Choice is a fluid that may be filled in.
type Choice struct {
	Fluid  catalog.PartNo `json:"fluid"`
	Name   string         `json:"name"`
	Look   string         `json:"look,omitempty"`
	Meets  string         `json:"meets"`          // the specification that it meets
	Claim  catalog.Claim  `json:"claim"`          // approved, or claimed by the fluid's maker alone
	Serves bool           `json:"serves"`         // it meets a specification that serves for the one asked for
	Note   string         `json:"note,omitempty"` // of the catalogue, on why it serves
	Shelf  []Shelf        `json:"shelf"`          // what the shop has; the size of a piece is not recorded
	Buy    []Purchase     `json:"buy"`            // the cheapest packs of each supplier, the cheapest first within a currency
	Codes  []Code         `json:"codes"`
	Sheet  *SheetCheck    `json:"sheet"` // its data sheet against the specification that it meets; null where there is none
	Source string         `json:"source"`
}

// Shelf is what the shop has of a fluid.
type Shelf struct {
	Place string `json:"place"`
	Qty   int    `json:"qty"` // pieces
}

// Purchase is the cheapest way to buy enough of a fluid from one supplier, without
// freight and without prices for quantities, which a purchase plan reckons with.
type Purchase struct {
	Supplier string          `json:"supplier"`
	Packs    []Packs         `json:"packs"`
	Litres   catalog.Decimal `json:"litres"`
	Over     catalog.Decimal `json:"over"` // litres left over
	Total    catalog.Decimal `json:"total"`
	Currency string          `json:"currency"`
	Codes    []Code          `json:"codes"`
}

// Packs are equal packs of a purchase.
type Packs struct {
	Stock  string          `json:"stock"`
	Count  int             `json:"count"`
	Litres catalog.Decimal `json:"litres"` // in one pack
	Price  catalog.Decimal `json:"price"`  // of one pack
	OnHand int             `json:"onHand"` // at the supplier's
}

// Neighbour is a specification whose name differs by one letter from the one asked
// for, or from one that serves for it.
type Neighbour struct {
	Spec   string           `json:"spec"`
	Name   string           `json:"name"`
	Like   string           `json:"like"`   // the name that it is taken for
	Serves bool             `json:"serves"` // it is stated to serve all the same
	Shelf  []catalog.PartNo `json:"shelf"`  // fluids on the shelf that meet it and none of those that may be filled in
}

// PlanFor plans the fluid for the kinds of fill of the scopes of work. Drained is
// what came out, and at the temperature at which the level was set, where known. The
// error is an [*InputError].
func PlanFor(d *Data, kinds []catalog.FillKind, drained, at catalog.Decimal) (*Plan, error) {
	f := d.Fill
	if at.Known && (at.Num.LessThan(coldestFluid) || at.Num.GreaterThan(hottestFluid)) {
		return nil, &InputError{"no level is set with the fluid at " + at.Num.Round(1).String() + " °C", "check the number and whether it is °C or °F"}
	}
	v, err := VolumeOf(f, kinds, drained)
	if err != nil {
		return nil, err
	}
	p := &Plan{Spec: f.Spec, Volume: v, Fluids: []Choice{}, Belied: []Choice{}, Apart: []Neighbour{}, Engine: f.Engine, Plugs: f.Plugs, How: f.How, Caution: f.Caution, Scope: f.Scope, Of: f.Of, Source: f.Source}
	names := map[string]*catalog.Spec{}
	for _, s := range d.Specs {
		names[catalog.Fold(s.Spec)] = s
	}
	asked := catalog.Fold(f.Spec)
	if s := names[asked]; s != nil {
		p.SpecName = s.Name
	}
	p.Fluids, p.Belied = d.choices(v.Litres)
	density := catalog.Decimal{}
	if len(p.Fluids) > 0 {
		density = figure(d.Sheets[p.Fluids[0].Fluid.Key()], catalog.Density15)
	}
	p.Level = LevelSet(f, density, at)
	p.Apart = d.neighbours(p.Fluids)
	return p, nil
}

// choices gives what may be filled in, and apart from it what the data sheets belie.
func (d *Data) choices(litres catalog.Decimal) (out, belied []Choice) {
	f := d.Fill
	out, belied = []Choice{}, []Choice{}
	seen := map[string]bool{}
	add := func(spec string, serve *catalog.Serve) {
		var list []Choice
		for _, m := range d.Meets[catalog.Fold(spec)] {
			part := d.Parts[m.Fluid.Key()]
			if seen[m.Fluid.Key()] || part == nil {
				continue
			}
			c := Choice{Fluid: part.Part, Name: part.Name, Look: part.Look, Meets: m.Spec, Claim: m.Claim, Shelf: []Shelf{}, Buy: []Purchase{}, Codes: []Code{}, Source: m.Source}
			if serve != nil {
				c.Serves, c.Note = true, serve.Note
			}
			for _, s := range d.Shelf[m.Fluid.Key()] {
				if s.Qty > 0 {
					c.Shelf = append(c.Shelf, Shelf{s.Place, s.Qty})
				}
			}
			if sheet := d.Sheets[m.Fluid.Key()]; len(sheet) > 0 {
				limits := d.Limits[catalog.Fold(m.Spec)]
				c.Sheet = CheckSheet(m.Fluid, sheet, []SpecLimits{{Spec: m.Spec, Claim: m.Claim, Limits: limits}})
				if slices.ContainsFunc(limits, func(l *catalog.Limit) bool { return l.Excludes(figure(sheet, l.Property)) }) {
					belied = append(belied, c)
					continue
				}
			}
			offers := d.Offers[m.Fluid.Key()]
			if litres.Known && litres.Num.IsPositive() {
				c.Buy = d.purchases(offers, litres.Num)
			}
			if part.Status != catalog.PartSold {
				c.Codes = append(c.Codes, NotSold)
			} else if len(offers) == 0 {
				c.Codes = append(c.Codes, NotOffered)
			}
			if len(c.Shelf) == 0 && part.Status != catalog.PartSold {
				continue // it cannot be had
			}
			list = append(list, c)
		}
		slices.SortStableFunc(list, func(a, b Choice) int {
			return cmp.Or(claimRank(a.Claim)-claimRank(b.Claim), cmp.Compare(a.Fluid.Key(), b.Fluid.Key()))
		})
		for _, c := range list {
			seen[c.Fluid.Key()] = true
		}
		out = append(out, list...)
	}
	add(f.Spec, nil)
	serves := slices.Clone(d.Serves)
	slices.SortFunc(serves, func(a, b *catalog.Serve) int { return cmp.Compare(catalog.Fold(a.ServedBy), catalog.Fold(b.ServedBy)) })
	for _, s := range serves {
		if catalog.Fold(s.Spec) == catalog.Fold(f.Spec) {
			add(s.ServedBy, s)
		}
	}
	// By another specification it may be filled in, or is belied a second time.
	stands := map[string]bool{}
	belied = slices.DeleteFunc(belied, func(c Choice) bool {
		key := c.Fluid.Key()
		again := seen[key] || stands[key]
		stands[key] = true
		return again
	})
	return out, belied
}

func claimRank(c catalog.Claim) int {
	if c == catalog.Approved {
		return 0
	}
	return 1
}

// purchases gives for each supplier the cheapest packs that hold enough; among
// equally cheap ones those that leave less over, then those of fewer packs.
func (d *Data) purchases(offers []*catalog.Offer, litres decimal.Decimal) []Purchase {
	by := map[string][]*catalog.Offer{}
	var suppliers []string
	for _, o := range offers {
		if !o.Litres.Known || !o.Litres.Num.IsPositive() || !o.Price.Known {
			continue
		}
		if by[o.Supplier] == nil {
			suppliers = append(suppliers, o.Supplier)
		}
		by[o.Supplier] = append(by[o.Supplier], o)
	}
	slices.Sort(suppliers)
	out := []Purchase{}
	for _, s := range suppliers {
		list := by[s]
		// The largest pack first: then the smaller ones only fill up what is left.
		slices.SortStableFunc(list, func(a, b *catalog.Offer) int {
			return cmp.Or(b.Litres.Num.Cmp(a.Litres.Num), a.Price.Num.Cmp(b.Price.Num), cmp.Compare(a.Stock, b.Stock))
		})
		counts := cheapest(list, litres)
		p := Purchase{Supplier: s, Packs: []Packs{}, Currency: d.Money[catalog.Fold(s)], Codes: []Code{}}
		total, volume := decimal.Zero, decimal.Zero
		for i, n := range counts {
			if n == 0 {
				continue
			}
			o := list[i]
			p.Packs = append(p.Packs, Packs{o.Stock, n, o.Litres, o.Price, o.OnHand})
			total = total.Add(o.Price.Num.Mul(decimal.NewFromInt(int64(n))))
			volume = volume.Add(o.Litres.Num.Mul(decimal.NewFromInt(int64(n))))
			if o.OnHand < n && !slices.Contains(p.Codes, StockShort) {
				p.Codes = append(p.Codes, StockShort)
			}
		}
		p.Total, p.Litres, p.Over = known(total), known(volume), known(volume.Sub(litres))
		out = append(out, p)
	}
	slices.SortStableFunc(out, func(a, b Purchase) int {
		return cmp.Or(cmp.Compare(a.Currency, b.Currency), a.Total.Num.Cmp(b.Total.Num), cmp.Compare(a.Supplier, b.Supplier))
	})
	return out
}

// cheapest gives how many of each offer, by dynamic programming over the volume:
// the best way to hold at least so much, for each so much up to what is needed.
func cheapest(list []*catalog.Offer, litres decimal.Decimal) []int {
	// All sums of packs are multiples of the greatest common measure of the packs,
	// counted in millilitres.
	sizes := make([]int64, len(list))
	unit := int64(0)
	for i, o := range list {
		sizes[i] = max(1, o.Litres.Num.Shift(3).IntPart())
		unit = gcd(unit, sizes[i])
	}
	need := litres.Shift(3).Ceil().IntPart()
	n := int((need + unit - 1) / unit)
	type way struct {
		cost   decimal.Decimal
		volume int64
		packs  int
		last   int
	}
	best := make([]way, n+1)
	for w := 1; w <= n; w++ {
		for i, o := range list {
			before := best[max(0, w-int(sizes[i]/unit))]
			x := way{before.cost.Add(o.Price.Num), before.volume + sizes[i], before.packs + 1, i}
			if i == 0 || cmp.Or(x.cost.Cmp(best[w].cost), cmp.Compare(x.volume, best[w].volume), cmp.Compare(x.packs, best[w].packs)) < 0 {
				best[w] = x
			}
		}
	}
	counts := make([]int, len(list))
	for w := n; w > 0; w = max(0, w-int(sizes[best[w].last]/unit)) {
		counts[best[w].last]++
	}
	return counts
}

func gcd(a, b int64) int64 {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}

// neighbours finds the specifications whose names are a letter apart from one that
// may be filled in.
func (d *Data) neighbours(fluids []Choice) []Neighbour {
	out := []Neighbour{}
	allowed := map[string]bool{}
	for _, c := range fluids {
		allowed[c.Fluid.Key()] = true
	}
	serves := map[string]bool{}
	targets := []string{d.Fill.Spec}
	for _, s := range d.Serves {
		if catalog.Fold(s.Spec) == catalog.Fold(d.Fill.Spec) {
			serves[catalog.Fold(s.ServedBy)] = true
			targets = append(targets, s.ServedBy)
		}
	}
	for _, s := range d.Specs {
		key := catalog.Fold(s.Spec)
		i := slices.IndexFunc(targets, func(t string) bool { return OneApart(catalog.Fold(t), key) })
		if i < 0 || key == catalog.Fold(d.Fill.Spec) {
			continue
		}
		n := Neighbour{Spec: s.Spec, Name: s.Name, Like: targets[i], Serves: serves[key], Shelf: []catalog.PartNo{}}
		if n.Serves && i > 0 {
			continue // both may be filled in
		}
		for _, m := range d.Meets[key] {
			if !allowed[m.Fluid.Key()] && len(d.Shelf[m.Fluid.Key()]) > 0 {
				n.Shelf = append(n.Shelf, m.Fluid)
			}
		}
		out = append(out, n)
	}
	slices.SortFunc(out, func(a, b Neighbour) int { return cmp.Compare(catalog.Fold(a.Spec), catalog.Fold(b.Spec)) })
	return out
}

// OneApart tells whether two texts differ by one character: another one in its
// place, one more, one less, or two neighbours swapped.
func OneApart(a, b string) bool {
	if len(a) > len(b) {
		a, b = b, a
	}
	i := 0
	for i < len(a) && a[i] == b[i] {
		i++
	}
	switch len(b) - len(a) {
	case 0:
		if i == len(a) {
			return false
		}
		return a[i+1:] == b[i+1:] || i+1 < len(a) && a[i] == b[i+1] && a[i+1] == b[i] && a[i+2:] == b[i+2:]
	case 1:
		return a[i:] == b[i+1:]
	}
	return false
}

func known(d decimal.Decimal) catalog.Decimal { return catalog.Decimal{Num: d, Known: true} }

func figure(sheet []*catalog.Sheet, p catalog.Property) catalog.Decimal {
	for _, s := range sheet {
		if s.Property == p {
			return s.Value
		}
	}
	return catalog.Decimal{}
}
