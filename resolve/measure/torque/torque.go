package torque

import (
	"regexp"
	"slices"

	"github.com/shopspring/decimal"

	"platewright/catalog"
	"platewright/resolve/measure"
)

// Schema names the form of [Report] as JSON.
const Schema = "platewright/measure-torque/1"

// Scale is a wrench's scale: its unit and the step between its marks.
type Scale struct {
	Step measure.Quantity
}

// Usual gives the scales that are shown where nobody names one: half newton
// metres, whole inch pounds-force, whole foot pounds-force. From common practice, no
// published source.
func Usual() []Scale {
	step := func(v string, u measure.Unit) Scale { return Scale{measure.Of(decimal.RequireFromString(v), u)} }
	return []Scale{step("0.5", measure.NewtonMetre), step("1", measure.PoundForceInch), step("1", measure.PoundForceFoot)}
}

// State says what a setting is worth.
type State string

// The states.
const (
	Good        State = "good"         // within the tolerance
	NoTolerance State = "no-tolerance" // nothing says how far it may be off
	NoSetting   State = "no-setting"   // no mark of this scale lies within the tolerance, or where none is known within [MostOff]
)

// MostOff is the share of a torque that a mark may be off it where no tolerance is
// known: common practice, no published source.
var MostOff = decimal.New(5, -2)

// Setting is what to set a wrench to.
type Setting struct {
	Step    measure.Quantity `json:"step"`
	Exact   measure.Quantity `json:"exact"`   // the torque in the scale's unit, to four decimals
	Set     measure.Quantity `json:"set"`     // the mark nearest to it
	Is      measure.Quantity `json:"is"`      // what the mark is in N·m, to three decimals
	Off     measure.Quantity `json:"off"`     // the mark less the torque, in N·m, to three decimals
	Percent measure.Quantity `json:"percent"` // the same as a share of the torque
	State   State            `json:"state"`
}

// Thumb is a rule of thumb beside the exact figure.
type Thumb struct {
	Says    measure.Quantity `json:"says"`
	Exact   measure.Quantity `json:"exact"`
	Percent measure.Quantity `json:"percent"` // what the rule is off
	State   State            `json:"state"`   // against the tolerance
	Source  string           `json:"source"`
}

// Figure is a torque named in a text about stages, with its settings.
type Figure struct {
	Torque   measure.Quantity `json:"torque"`
	Settings []Setting        `json:"settings"`
}

// Fastener is the answer for one fastener.
type Fastener struct {
	Fastener  string                `json:"fastener"`
	Role      string                `json:"role,omitempty"`
	Variants  []catalog.VariantCode `json:"variants"` // for which it holds; empty where the figures were given by hand
	Torque    measure.Quantity      `json:"torque"`
	Tolerance measure.Quantity      `json:"tolerance"` // null if none is known
	Low       measure.Quantity      `json:"low"`
	High      measure.Quantity      `json:"high"`
	Settings  []Setting             `json:"settings"`
	Thumbs    []Thumb               `json:"thumbs"`
	Stages    string                `json:"stages,omitempty"`
	Figures   []Figure              `json:"figures"` // torques that the stages name
	Order     string                `json:"order,omitempty"`
	Note      string                `json:"note,omitempty"`
	Source    string                `json:"source,omitempty"`
	Asked     *Asked                `json:"asked"` // a torque that somebody named for it, null for none
}

// Verdict is what a torque that somebody names for a fastener is.
type Verdict string

// The verdicts.
const (
	Within   Verdict = "within"
	High     Verdict = "high"
	Low      Verdict = "low"
	Unjudged Verdict = "unjudged" // the fastener has no torque on record, or no tolerance
	TheSame  Verdict = "the-same" // it has no tolerance, and this is its very torque
)

// Asked is a torque that somebody named for a fastener, judged.
type Asked struct {
	Torque  measure.Quantity `json:"torque"`
	InNm    measure.Quantity `json:"inNm"` // to three decimals
	Verdict Verdict          `json:"verdict"`
	Percent measure.Quantity `json:"percent"` // off the fastener's torque
	Doubts  []measure.Doubt  `json:"doubts"`  // units that would make it right
}

// Report is the answer for a unit, a scope of work, or figures given by hand.
type Report struct {
	Fasteners []Fastener `json:"fasteners"`
}

var hundred = decimal.NewFromInt(100)

// Set rounds a torque to the nearest mark of the scale; a tie goes to the lower
// mark. A tolerance that is not known leaves the state at [NoTolerance], or where the
// mark is off by more than [MostOff] at [NoSetting].
func Set(torque, tolerance measure.Quantity, s Scale) Setting {
	exact := torque.In(s.Step.Unit)
	steps := exact.Value.DivRound(s.Step.Value, 24)
	n := steps.Floor()
	if steps.Sub(n).GreaterThan(decimal.New(5, -1)) {
		n = n.Add(decimal.NewFromInt(1))
	}
	set := measure.Of(n.Mul(s.Step.Value), s.Step.Unit)
	out := against(torque, tolerance, set)
	if out.state == NoTolerance && out.off.Value.Abs().GreaterThan(torque.In(measure.NewtonMetre).Value.Mul(MostOff)) {
		out.state = NoSetting
	}
	return Setting{Step: s.Step, Exact: exact.Round(4), Set: set, Is: set.In(measure.NewtonMetre).Round(3), Off: out.off.Round(3), Percent: out.percent, State: out.state}
}

type judged struct {
	off, percent measure.Quantity
	state        State
}

// against holds a setting to the torque and its tolerance, exactly.
func against(torque, tolerance, set measure.Quantity) judged {
	nm := torque.In(measure.NewtonMetre)
	off := measure.Of(set.In(measure.NewtonMetre).Value.Sub(nm.Value), measure.NewtonMetre)
	j := judged{off: off, state: NoTolerance}
	if !nm.Value.IsZero() {
		j.percent = measure.Of(off.Value.Mul(hundred).DivRound(nm.Value, 1), measure.Percent)
	}
	switch {
	case set.Value.IsZero():
		j.state = NoSetting // a wrench set to nothing holds nothing
	case !tolerance.Known():
	case measure.Of(off.Value.Abs(), measure.NewtonMetre).Cmp(tolerance) <= 0:
		j.state = Good
	default:
		j.state = NoSetting
	}
	return j
}

// thumbs are what the trade sets for some torques. Common practice, no published
// source.
var thumbs = []struct{ nm, inchPounds int64 }{{6, 50}, {8, 70}}

// ThumbSource says where the rules of thumb come from.
const ThumbSource = "common practice, no published source"

func thumbsFor(torque, tolerance measure.Quantity) []Thumb {
	out := []Thumb{}
	for _, t := range thumbs {
		if torque.Cmp(measure.Of(decimal.NewFromInt(t.nm), measure.NewtonMetre)) != 0 {
			continue
		}
		says := measure.Of(decimal.NewFromInt(t.inchPounds), measure.PoundForceInch)
		j := against(torque, tolerance, says)
		out = append(out, Thumb{says, torque.In(measure.PoundForceInch).Round(1), j.percent, j.state, ThumbSource})
	}
	return out
}

// ByHand answers for a torque given by hand; the tolerance can be unknown.
func ByHand(torque, tolerance measure.Quantity, scales []Scale) Fastener {
	f := Fastener{Variants: []catalog.VariantCode{}, Torque: torque, Tolerance: tolerance, Figures: []Figure{}}
	f.fill(scales)
	return f
}

// Of answers for a row of the catalogue.
func Of(row *catalog.Torque, scales []Scale) Fastener {
	f := Fastener{Fastener: row.Fastener, Role: row.Role, Variants: []catalog.VariantCode{}, Stages: row.Stages, Order: row.Order, Note: row.Note, Source: row.Source, Figures: []Figure{}}
	if row.Torque.Known {
		f.Torque = measure.Of(row.Torque.Num, measure.NewtonMetre)
	}
	if row.Tolerance.Known {
		f.Tolerance = measure.Of(row.Tolerance.Num, measure.NewtonMetre)
	}
	f.fill(scales)
	for _, text := range figure.FindAllString(row.Stages, -1) {
		q, err := measure.Parse(text, measure.Torque)
		if err != nil {
			continue // no torque after all: the text stands as it is
		}
		fig := Figure{q, []Setting{}}
		for _, s := range scales {
			fig.Settings = append(fig.Settings, Set(q, measure.Quantity{}, s))
		}
		f.Figures = append(f.Figures, fig)
	}
	return f
}

// figure finds torques in a text about stages.
var figure = regexp.MustCompile(`[0-9]+(?:[.,][0-9]+)? ?(?:N·m|N m|Nm|lbf·in|lbf·ft)`)

func (f *Fastener) fill(scales []Scale) {
	f.Settings, f.Thumbs = []Setting{}, []Thumb{}
	if !f.Torque.Known() {
		return
	}
	if f.Tolerance.Known() {
		nm, tol := f.Torque.In(measure.NewtonMetre).Value, f.Tolerance.In(measure.NewtonMetre).Value
		f.Low, f.High = measure.Of(nm.Sub(tol), measure.NewtonMetre), measure.Of(nm.Add(tol), measure.NewtonMetre)
	}
	for _, s := range scales {
		f.Settings = append(f.Settings, Set(f.Torque, f.Tolerance, s))
	}
	f.Thumbs = thumbsFor(f.Torque, f.Tolerance)
}

// Best gives the place of the setting that is off the least, -1 where none is
// within the tolerance.
func (f *Fastener) Best() int {
	best := -1
	for i, s := range f.Settings {
		if s.State == NoSetting {
			continue
		}
		if best < 0 || s.Off.Value.Abs().LessThan(f.Settings[best].Off.Value.Abs()) {
			best = i
		}
	}
	return best
}

// Judge judges a torque that somebody names for the fastener. Where it is not
// right, the units that would make it right are asked about.
func (f *Fastener) Judge(named measure.Quantity) {
	a := &Asked{Torque: named, InNm: named.In(measure.NewtonMetre).Round(3), Doubts: []measure.Doubt{}}
	if f.Asked = a; !f.Torque.Known() {
		a.Verdict = Unjudged
		return
	}
	nm := f.Torque.In(measure.NewtonMetre).Value
	off := named.In(measure.NewtonMetre).Value.Sub(nm)
	if !nm.IsZero() {
		a.Percent = measure.Of(off.Mul(hundred).DivRound(nm, 1), measure.Percent)
	}
	within := MostOff // where no tolerance is known, what rounding can have done
	switch {
	case !f.Tolerance.Known() && off.IsZero():
		a.Verdict = TheSame
	case !f.Tolerance.Known():
		a.Verdict = Unjudged
	case off.Abs().LessThanOrEqual(f.Tolerance.In(measure.NewtonMetre).Value):
		a.Verdict = Within
	case off.IsPositive():
		a.Verdict = High
	default:
		a.Verdict = Low
	}
	if f.Tolerance.Known() && !nm.IsZero() {
		within = f.Tolerance.In(measure.NewtonMetre).Value.DivRound(nm, 24)
	}
	if a.Verdict != Within && a.Verdict != TheSame {
		if d := measure.Doubts(named, f.Torque, within); d != nil {
			a.Doubts = d
		}
	}
}

// Merge puts the answers of several variants together: equal ones stand once,
// with all their variants. They are ordered by fastener, and where the figures differ
// by the first variant.
func Merge(list []Fastener) []Fastener {
	var out []Fastener
	for _, f := range list {
		i := slices.IndexFunc(out, func(o Fastener) bool { return o.sameFigures(&f) })
		if i < 0 {
			out = append(out, f)
			continue
		}
		for _, v := range f.Variants {
			if !slices.Contains(out[i].Variants, v) {
				out[i].Variants = append(out[i].Variants, v)
			}
		}
	}
	slices.SortStableFunc(out, func(a, b Fastener) int {
		x, y := catalog.Fold(a.Fastener), catalog.Fold(b.Fastener)
		switch {
		case x < y:
			return -1
		case x > y:
			return 1
		}
		return 0
	})
	return out
}

func (f *Fastener) sameFigures(o *Fastener) bool {
	return catalog.Fold(f.Fastener) == catalog.Fold(o.Fastener) && f.Role == o.Role && f.Stages == o.Stages && f.Order == o.Order && f.Note == o.Note && f.Source == o.Source &&
		f.Torque.Value.Equal(o.Torque.Value) && f.Torque.Unit == o.Torque.Unit && f.Tolerance.Value.Equal(o.Tolerance.Value) && f.Tolerance.Unit == o.Tolerance.Unit
}
