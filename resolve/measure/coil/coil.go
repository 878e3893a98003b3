package coil

import (
	"fmt"
	"slices"
	"strings"

	"github.com/shopspring/decimal"

	"platewright/catalog"
	"platewright/resolve/measure"
)

// Schema names the form of [Report] as JSON.
const Schema = "platewright/measure-coil/1"

// Verdict is what a reading says of a coil.
type Verdict string

// The verdicts. The empty Verdict is none: there is no nominal to judge by.
const (
	Within  Verdict = "within"  // inside the window
	High    Verdict = "high"    // above it: corroded contacts, a wire about to break, or another coil
	Low     Verdict = "low"     // below it: turns that touch, or another coil
	Open    Verdict = "open"    // no circuit
	Shorted Verdict = "shorted" // next to no resistance
	Differs Verdict = "differs" // the variants that the unit can still be do not agree
)

// Bad tells whether a coil with this verdict is not in order, whatever variant
// the unit is.
func (v Verdict) Bad() bool { return v == High || v == Low || v == Open || v == Shorted }

// A reading beyond these multiples of the nominal is no change of the winding.
// From common practice, no published source.
var (
	openFrom  = decimal.NewFromInt(10)
	shortUpTo = decimal.New(1, -1)
)

// Reading is what the meter showed at a site.
type Reading struct {
	Site  string
	Value measure.Quantity // not known if Open
	Open  bool             // the meter showed no circuit
}

// openWords are what meters show, and people write, for no circuit.
var openWords = []string{"ol", "o.l", "o.l.", "0l", "open", "inf", "∞", "overload", "1."}

// ParseReading reads a resistance from a meter: a number with a unit of
// resistance, a bare number in unit column if that is not zero, or what a meter shows
// for no circuit (OL, open, ∞). The error is a [*measure.Error].
func ParseReading(site, text string, column measure.Unit) (Reading, error) {
	r := Reading{Site: strings.TrimSpace(site)}
	t := strings.ToLower(strings.Join(strings.Fields(text), ""))
	if slices.Contains(openWords, strings.TrimSuffix(strings.TrimSuffix(t, "ω"), "ohm")) {
		r.Open = true
		return r, nil
	}
	var err error
	if column != 0 {
		r.Value, err = measure.ParseIn(text, column)
	} else {
		r.Value, err = measure.Parse(text, measure.Resistance)
	}
	return r, err
}

// Conditions are how it was measured.
type Conditions struct {
	Temp measure.Quantity // of the winding
	Lead measure.Quantity // what the meter shows with its leads held together; not known if they were zeroed
	Hot  measure.Quantity // the temperature for which the hot values are asked; not known for the usual one
}

// Candidate is a variant that the unit can still be, with the rows of its sites:
// its own, and its family's for sites of which it has none of its own.
type Candidate struct {
	Variant catalog.VariantCode
	Sites   []*catalog.Site
}

// Code is what an answer has to say beside its figures.
type Code string

// The codes, with the fields of [Reason] that each speaks by.
const (
	// ColdDoesNotClear: the reading at Sites is in order at Value, which does not
	// clear a coil that fails hot; Limit is the temperature to measure at.
	ColdDoesNotClear Code = "cold-does-not-clear"
	// OddOneOut: Sites holds the one site that differs from its twins by Value.
	OddOneOut Code = "odd-one-out"
	// TwinsDiffer: the two twins in Sites differ by Value, and nothing says which of
	// them is the odd one.
	TwinsDiffer Code = "twins-differ"
	// NotMeasured: Sites of the unit were not measured.
	NotMeasured Code = "not-measured"
	// TellsApart: what was found at Sites keeps some of the variants apart.
	TellsApart Code = "tells-apart"
	// FaultNotVariant: what was found at Sites fits none of the variants, which
	// tells of a fault and not of a variant.
	FaultNotVariant Code = "fault-not-variant"
	// FitsRelatives: what was found at Sites is out of order for every variant that
	// the unit can be, and in order for Variants of the same family: the assembly can
	// have been exchanged for one of theirs.
	FitsRelatives Code = "fits-relatives"
	// SetsMixed: what was found at Sites fits variants, but no variant has all of it:
	// a coil is not what it was, or is of another set.
	SetsMixed Code = "sets-mixed"
	// NoNominal: there is no nominal to judge Sites by.
	NoNominal Code = "no-nominal"
)

// Codes lists every code, for screens.
var Codes = []Code{ColdDoesNotClear, OddOneOut, TwinsDiffer, NotMeasured, TellsApart, FaultNotVariant, FitsRelatives, SetsMixed, NoNominal}

// Reason is a code with its arguments. Only the fields that its code speaks of
// are set.
type Reason struct {
	Code     Code                  `json:"code"`
	Sites    []string              `json:"sites"`
	Value    measure.Quantity      `json:"value"`
	Limit    measure.Quantity      `json:"limit"`
	Variants []catalog.VariantCode `json:"variants,omitempty"`
}

// Option is what the catalogue says of a site for some of the variants, and what
// the reading is by it.
type Option struct {
	Variants  []catalog.VariantCode `json:"variants"` // empty where the figures were given by hand
	Nominal   measure.Quantity      `json:"nominal"`
	Tolerance measure.Quantity      `json:"tolerance"`
	Temp      measure.Quantity      `json:"temp"` // at which the nominal holds
	Low       measure.Quantity      `json:"low"`  // the window as the meter reads it: at the temperature measured at, leads included
	High      measure.Quantity      `json:"high"`
	HotLow    measure.Quantity      `json:"hotLow"` // the window at the hot temperature, leads included
	HotHigh   measure.Quantity      `json:"hotHigh"`
	Verdict   Verdict               `json:"verdict,omitempty"`
	Off       measure.Quantity      `json:"off"`    // what the coil is off the nominal, in per cent
	Source    string                `json:"source"` // of the nominal
}

// Site is the answer for one site.
type Site struct {
	Site      string           `json:"site"`
	Role      string           `json:"role,omitempty"`
	Serves    string           `json:"serves,omitempty"` // the apply elements
	Gears     []string         `json:"gears"`            // that would show a fault of it
	Read      measure.Quantity `json:"read"`             // as the meter showed it; null for no circuit
	Coil      measure.Quantity `json:"coil"`             // without the leads, at the temperature measured at
	At20      measure.Quantity `json:"at20"`             // without the leads, at 20 °C
	HotExpect measure.Quantity `json:"hotExpect"`        // what the meter should show of this very coil at the hot temperature
	Verdict   Verdict          `json:"verdict,omitempty"`
	Options   []Option         `json:"options"`
	Doubts    []measure.Doubt  `json:"doubts"` // units that would make the reading right
}

// Spread is how far sites that should be alike are apart, at 20 °C.
type Spread struct {
	Sites   []string         `json:"sites"`
	Nominal measure.Quantity `json:"nominal"`
	Lowest  measure.Quantity `json:"lowest"`
	Highest measure.Quantity `json:"highest"`
	Spread  measure.Quantity `json:"spread"`
	Share   measure.Quantity `json:"share"` // of the median, in per cent
	Odd     string           `json:"odd"`   // the site that differs from the others, "" for none
}

// Report is the answer for a set.
type Report struct {
	Temp     measure.Quantity      `json:"temp"`
	Lead     measure.Quantity      `json:"lead"`
	Hot      measure.Quantity      `json:"hot"`
	Copper   string                `json:"copper"` // the source of the coefficient
	Verdict  Verdict               `json:"verdict,omitempty"`
	Sites    []Site                `json:"sites"`
	Spreads  []Spread              `json:"spreads"`
	Fits     []catalog.VariantCode `json:"fits"` // variants with which every reading that can be in order is in order
	Observed []Observation         `json:"observed"`
	Reasons  []Reason              `json:"reasons"`
}

// Observation is a reading that tells variants apart, as a question to package
// resolve takes it: the site and the resistance at 20 °C.
type Observation struct {
	Site  string           `json:"site"`
	Value measure.Quantity `json:"value"`
}

// Error says why a set cannot be judged.
type Error struct {
	Site   string
	Text   string
	Reason string // what is wrong
	Mend   string
}

func (e *Error) Error() string {
	s := e.Reason + "; " + e.Mend
	if e.Text != "" {
		s = fmt.Sprintf("%s: %s", e.Text, s)
	}
	if e.Site != "" {
		s = "site " + e.Site + ": " + s
	}
	return s
}

// The temperatures that a winding can have at a bench or in a unit that was just
// driven, and the leads that a meter can have. From common practice, no published
// source.
var (
	coldestCoil = measure.Of(decimal.NewFromInt(-40), measure.Celsius)
	hottestCoil = measure.Of(decimal.NewFromInt(180), measure.Celsius)
	hotUsual    = measure.Of(decimal.NewFromInt(90), measure.Celsius)
	hotFrom     = measure.Of(decimal.NewFromInt(70), measure.Celsius) // from here a reading counts as hot
	mostLead    = measure.Of(decimal.NewFromInt(2), measure.Ohm)
	// oddShare is how far apart twins must be, as a share of their median, before
	// one is named: a meter that shows tenths cannot tell less at five ohms.
	oddShare = decimal.New(5, -2)
)

func (c *Conditions) check() error {
	if !c.Temp.Known() {
		return &Error{Reason: "the temperature of the coils is not given, and copper changes by 4 per cent for every 10 °C", Mend: "give the temperature at which was measured"}
	}
	if c.Temp.Cmp(coldestCoil) < 0 || c.Temp.Cmp(hottestCoil) > 0 {
		e := &Error{Text: c.Temp.String(), Reason: fmt.Sprintf("no coil is measured at that temperature; it must be between %s and %s", coldestCoil.In(c.Temp.Unit).Round(0), hottestCoil.In(c.Temp.Unit).Round(0)), Mend: "check the number and whether it is °C or °F"}
		return e
	}
	if c.Lead.Known() && c.Lead.Cmp(mostLead) >= 0 {
		return &Error{Text: c.Lead.String(), Reason: "no good leads have so much resistance", Mend: "clean or change the leads, hold their tips together and read again"}
	}
	if !c.Hot.Known() {
		c.Hot = hotUsual
	}
	if c.Hot.Cmp(coldestCoil) < 0 || c.Hot.Cmp(hottestCoil) > 0 {
		return &Error{Text: c.Hot.String(), Reason: "no coil gets to that temperature", Mend: "give the temperature at which the fault shows, such as 90 °C"}
	}
	return nil
}

// Judge judges a set of readings. The candidates are what the unit can still be;
// without any, the readings are only brought to 20 °C. The error is an [*Error].
func Judge(candidates []Candidate, set []Reading, at Conditions) (*Report, error) {
	if err := at.check(); err != nil {
		return nil, err
	}
	rep := &Report{Temp: at.Temp, Lead: at.Lead, Hot: at.Hot, Copper: CopperSource, Sites: []Site{}, Spreads: []Spread{}, Fits: []catalog.VariantCode{}, Observed: []Observation{}, Reasons: []Reason{}}
	if !rep.Lead.Known() {
		rep.Lead = measure.Of(decimal.Zero, measure.Ohm)
	}
	seen := map[string]bool{}
	for _, r := range set {
		key := catalog.Fold(r.Site)
		if seen[key] {
			return nil, &Error{Site: r.Site, Reason: "it stands twice in the set", Mend: "give each site once"}
		}
		seen[key] = true
		s, err := rep.judge(candidates, r)
		if err != nil {
			return nil, err
		}
		rep.Sites = append(rep.Sites, *s)
	}
	rep.fit(candidates)
	rep.spread()
	rep.overall()
	rep.remark(candidates, seen)
	return rep, nil
}

// Expect gives what a meter should read at every site of the candidates, without
// a verdict. The error is an [*Error].
func Expect(candidates []Candidate, at Conditions) (*Report, error) {
	rep, err := Judge(nil, nil, at)
	if err != nil {
		return nil, err
	}
	index := map[string]int{}
	for _, c := range candidates {
		for _, row := range c.Sites {
			key := catalog.Fold(row.Site)
			i, ok := index[key]
			if !ok {
				i = len(rep.Sites)
				index[key] = i
				rep.Sites = append(rep.Sites, newSite(row.Site))
				rep.Sites[i].about(row)
			}
			if row.Ohm.Known {
				rep.option(&rep.Sites[i], c.Variant, row)
			}
		}
	}
	slices.SortStableFunc(rep.Sites, func(a, b Site) int { return strings.Compare(catalog.Fold(a.Site), catalog.Fold(b.Site)) })
	return rep, nil
}

func newSite(name string) Site {
	return Site{Site: name, Gears: []string{}, Options: []Option{}, Doubts: []measure.Doubt{}}
}

// about takes over what a row says of the site beside its figures.
func (s *Site) about(row *catalog.Site) {
	s.Site, s.Role, s.Serves = row.Site, row.Role, row.Serves
	s.Gears = append([]string{}, row.Gears...)
}

// judge judges one reading by what each candidate has at the site.
func (rep *Report) judge(candidates []Candidate, r Reading) (*Site, error) {
	site := newSite(r.Site)
	s := &site
	if !r.Open {
		s.Read = r.Value
		coil := measure.Of(r.Value.In(measure.Ohm).Value.Sub(rep.Lead.In(measure.Ohm).Value), measure.Ohm)
		if coil.Value.IsNegative() {
			return nil, &Error{Site: r.Site, Text: r.Value.String(), Reason: "the coil with its leads shows less than the leads alone", Mend: "measure the leads and the coil again"}
		}
		s.Coil = coil
		s.At20 = Bring(coil, rep.Temp, Reference()).Round(4)
		s.HotExpect = rep.shown(Bring(coil, rep.Temp, rep.Hot))
	}
	known := map[string]bool{}
	for _, c := range candidates {
		for _, row := range c.Sites {
			if known[row.Site] = true; catalog.Fold(row.Site) != catalog.Fold(r.Site) {
				continue
			}
			if s.Role == "" {
				s.about(row)
			}
			if row.Ohm.Known {
				if o := rep.option(s, c.Variant, row); o != nil {
					rep.verdict(s, o)
				}
			}
		}
	}
	if len(known) > 0 && s.Role == "" {
		var names []string
		for k := range known {
			names = append(names, k)
		}
		slices.Sort(names)
		mend := "the unit has " + strings.Join(names, ", ")
		if near := catalog.Nearest(r.Site, names); near != "" {
			mend = fmt.Sprintf("did you mean %s? %s", near, mend)
		}
		return nil, &Error{Site: r.Site, Reason: "the unit has no such site", Mend: mend}
	}
	s.sum()
	if s.Verdict.Bad() && !r.Open && len(s.Options) > 0 {
		s.Doubts = measure.Doubts(measure.Of(s.Coil.In(r.Value.Unit).Value, r.Value.Unit), Bring(s.Options[0].Nominal, s.Options[0].Temp, rep.Temp), decimal.New(2, -1))
		if s.Doubts == nil {
			s.Doubts = []measure.Doubt{}
		}
	}
	return s, nil
}

// shown gives a resistance as the meter shows it, leads included, to hundredths.
func (rep *Report) shown(r measure.Quantity) measure.Quantity {
	return measure.Of(r.In(measure.Ohm).Value.Add(rep.Lead.In(measure.Ohm).Value), measure.Ohm).Round(2)
}

// rowTemp gives the temperature at which a row's nominal holds.
func rowTemp(row *catalog.Site) measure.Quantity {
	if !row.Temp.Known {
		return Reference()
	}
	return measure.Of(row.Temp.Num, measure.Celsius)
}

// option files what the row says under the site's options. It gives the option
// if it is new, nil if another variant has the same.
func (rep *Report) option(s *Site, v catalog.VariantCode, row *catalog.Site) *Option {
	temp := rowTemp(row)
	tol := decimal.Zero
	if row.Tolerance.Known {
		tol = row.Tolerance.Num
	}
	of := []catalog.VariantCode{}
	if v != "" {
		of = append(of, v)
	}
	for i := range s.Options {
		o := &s.Options[i]
		if o.Nominal.Value.Equal(row.Ohm.Num) && o.Tolerance.Value.Equal(tol) && o.Temp.Cmp(temp) == 0 {
			o.Variants = append(o.Variants, of...)
			return nil
		}
	}
	o := Option{Variants: of, Nominal: measure.Of(row.Ohm.Num, measure.Ohm), Tolerance: measure.Of(tol, measure.Ohm), Temp: temp, Source: row.Source}
	low, high := o.window()
	o.Low, o.High = rep.shown(Bring(low, temp, rep.Temp)), rep.shown(Bring(high, temp, rep.Temp))
	o.HotLow, o.HotHigh = rep.shown(Bring(low, temp, rep.Hot)), rep.shown(Bring(high, temp, rep.Hot))
	s.Options = append(s.Options, o)
	return &s.Options[len(s.Options)-1]
}

// window gives the ends of the window at the temperature of the nominal.
func (o *Option) window() (low, high measure.Quantity) {
	return measure.Of(o.Nominal.Value.Sub(o.Tolerance.Value), measure.Ohm), measure.Of(o.Nominal.Value.Add(o.Tolerance.Value), measure.Ohm)
}

// verdict judges the site's coil by the option. Both sides are multiplied out, so
// that a reading at the very end of the window is judged exactly.
func (rep *Report) verdict(s *Site, o *Option) {
	if !s.Coil.Known() {
		o.Verdict = Open
		return
	}
	low, high := o.window()
	got, scale := s.Coil.Value.Mul(rise(o.Temp)), rise(rep.Temp)
	nominal := o.Nominal.Value.Mul(scale)
	switch {
	case got.GreaterThan(nominal.Mul(openFrom)):
		o.Verdict = Open
	case got.LessThan(nominal.Mul(shortUpTo)):
		o.Verdict = Shorted
	case got.GreaterThan(high.Value.Mul(scale)):
		o.Verdict = High
	case got.LessThan(low.Value.Mul(scale)):
		o.Verdict = Low
	default:
		o.Verdict = Within
	}
	o.Off = measure.Of(got.Sub(nominal).Mul(hundred).DivRound(nominal, 1), measure.Percent)
}

// sum gives the site one verdict. Where the coil is in order by none of the
// options it is a fault, whatever variant the unit is: the option that it is off the
// least says which.
func (s *Site) sum() {
	within := 0
	nearest := -1
	for i, o := range s.Options {
		if o.Verdict == Within {
			within++
		}
		if nearest < 0 || o.Off.Known() && o.Off.Value.Abs().LessThan(s.Options[nearest].Off.Value.Abs()) {
			nearest = i
		}
	}
	switch {
	case len(s.Options) == 0:
	case within == len(s.Options):
		s.Verdict = Within
	case within > 0:
		s.Verdict = Differs
	default:
		s.Verdict = s.Options[nearest].Verdict
	}
}
