package leak

import (
	"fmt"

	"github.com/shopspring/decimal"

	"platewright/catalog"
	"platewright/resolve/measure"
)

// Schema names the form of [Report] as JSON.
const Schema = "platewright/measure-leak/1"

// Formula names where the formula comes from.
const Formula = "ideal gas at constant temperature, Q = V·Δp / (p·t), from 40 CFR 1065.644, equation 1065.644-1, with equal temperatures"

// Verdict is what a test says.
type Verdict string

// The verdicts. The empty Verdict is none: there is no limit to judge by, or the test
// says nothing by it.
const (
	Within Verdict = "within" // loses no more than the limit
	Leaks  Verdict = "leaks"  // loses more
)

// Code is what an answer has to say beside its figures.
type Code string

// The codes.
const (
	// NoLimit: nothing says how much a good one may lose.
	NoLimit Code = "no-limit"
	// OnlyReleases: the port only releases, so nothing is heard to apply and no
	// loss is judged.
	OnlyReleases Code = "only-releases"
	// WarmthCounts: a change of the gas by one kelvin looks like Value of loss, which
	// is more than the margin to the limit.
	WarmthCounts Code = "warmth-counts"
	// FarFromTest: the test was begun at Value, far from the port's Limit, and what
	// a good one may lose is stated for that pressure: nothing is judged.
	FarFromTest Code = "far-from-test-pressure"
	// CannotFail: in this time the limit allows a fall of Value, more than the whole
	// of the start at Limit, so the test cannot tell a good one from a bad one, and
	// nothing is judged.
	CannotFail Code = "cannot-fail"
	// NoChange: the pressure did not change: the loss is less than the gauge shows.
	NoChange Code = "no-change"
)

// Codes lists every code, for screens.
var Codes = []Code{NoLimit, OnlyReleases, WarmthCounts, FarFromTest, CannotFail, NoChange}

// Reason is a code with its arguments.
type Reason struct {
	Code  Code             `json:"code"`
	Value measure.Quantity `json:"value"`
	Limit measure.Quantity `json:"limit"`
}

// Port is a test port as the catalogue states it.
type Port struct {
	Port     string                `json:"port"`
	Role     string                `json:"role,omitempty"`
	Serves   string                `json:"serves,omitempty"`
	Variants []catalog.VariantCode `json:"variants"`
	Medium   catalog.Medium        `json:"medium"`
	Pressure measure.Quantity      `json:"pressure"` // above ambient for air, below ambient for vacuum
	Volume   measure.Quantity      `json:"volume"`
	Limit    measure.Quantity      `json:"limit"`
	Expect   string                `json:"expect"`
	Releases bool                  `json:"releases"`
	Source   string                `json:"source,omitempty"`
}

// Of gives the port of a row of the catalogue.
func Of(row *catalog.Port) Port {
	p := Port{Port: row.Port, Role: row.Role, Serves: row.Serves, Variants: []catalog.VariantCode{}, Medium: row.Medium, Expect: row.Expect, Releases: row.Releases, Source: row.Source}
	known := func(d catalog.Decimal, u measure.Unit) measure.Quantity {
		if !d.Known {
			return measure.Quantity{}
		}
		return measure.Of(d.Num, u)
	}
	p.Pressure = known(row.Pressure, measure.Kilopascal)
	p.Volume = known(row.Volume, measure.CubicCentimetre)
	p.Limit = known(row.Leak, measure.CubicCentimetrePerMinute)
	return p
}

// Same tells whether two ports have the same name and data, whatever variants
// they are on.
func (p *Port) Same(o *Port) bool {
	equal := func(a, b measure.Quantity) bool { return a.Unit == b.Unit && a.Value.Equal(b.Value) }
	return catalog.Fold(p.Port) == catalog.Fold(o.Port) && p.Role == o.Role && p.Serves == o.Serves && p.Medium == o.Medium && p.Expect == o.Expect && p.Releases == o.Releases && p.Source == o.Source &&
		equal(p.Pressure, o.Pressure) && equal(p.Volume, o.Volume) && equal(p.Limit, o.Limit)
}

// Test is what was measured. Pressures are those of a gauge: above ambient for
// air, the depth below ambient for vacuum.
type Test struct {
	Volume  measure.Quantity // closed in, with the tester's own hose
	Start   measure.Quantity
	End     measure.Quantity
	Time    measure.Quantity
	Ambient measure.Quantity // the air's own pressure; not known for that of the standard atmosphere
	Temp    measure.Quantity // of the gas; not known for 20 °C
}

// Report is the answer.
type Report struct {
	Port      Port             `json:"port"`
	Volume    measure.Quantity `json:"volume"`
	Start     measure.Quantity `json:"start"`
	End       measure.Quantity `json:"end"`
	Fall      measure.Quantity `json:"fall"` // in kPa
	Time      measure.Quantity `json:"time"`
	Ambient   measure.Quantity `json:"ambient"`
	Rate      measure.Quantity `json:"rate"`      // cm³/min of gas at ambient pressure, to four significant digits
	Limit     measure.Quantity `json:"limit"`     // null if there is none
	FallLimit measure.Quantity `json:"fallLimit"` // the fall in this time that the limit allows, in the unit of the start
	PerKelvin measure.Quantity `json:"perKelvin"` // the loss that one kelvin of cooling would look like
	Verdict   Verdict          `json:"verdict,omitempty"`
	Formula   string           `json:"formula"`
	Doubts    []measure.Doubt  `json:"doubts"` // units that would put the start at the port's pressure
	Reasons   []Reason         `json:"reasons"`
}

// Error says why a test cannot be reckoned.
type Error struct {
	What, Text string
	Reason     string
	Mend       string
}

func (e *Error) Error() string { return fmt.Sprintf("%s %s: %s; %s", e.What, e.Text, e.Reason, e.Mend) }

var (
	standard = measure.Of(decimal.RequireFromString("101.325"), measure.Kilopascal)
	thin     = measure.Of(decimal.NewFromInt(50), measure.Kilopascal)
	thick    = measure.Of(decimal.NewFromInt(110), measure.Kilopascal)
	room     = measure.Of(decimal.NewFromInt(20), measure.Celsius)
	most     = measure.Of(decimal.NewFromInt(2000), measure.Kilopascal)
)

func (t *Test) check(m catalog.Medium) error {
	if !t.Ambient.Known() {
		t.Ambient = standard
	}
	if !t.Temp.Known() {
		t.Temp = room
	}
	if t.Ambient.Cmp(thin) < 0 || t.Ambient.Cmp(thick) > 0 {
		return &Error{"ambient pressure", t.Ambient.String(), "the air has no such pressure where people work", "give what a barometer shows, about 101 kPa at the sea"}
	}
	for _, x := range []struct {
		what string
		q    measure.Quantity
		mend string
	}{
		{"volume", t.Volume, "give what is closed in, with the tester's hose, such as 60 cm³"},
		{"start", t.Start, "give the pressure at which the tap was closed"},
		{"time", t.Time, "give the time between the two readings, such as 60 s"},
	} {
		if !x.q.Known() {
			return &Error{x.what, "is not known", "a rate cannot be reckoned without it", x.mend}
		}
		if !x.q.Value.IsPositive() {
			return &Error{x.what, x.q.String(), "it is zero", x.mend}
		}
	}
	if !t.End.Known() {
		return &Error{"end", "is not known", "a rate cannot be reckoned without it", "give the pressure that was left"}
	}
	switch {
	case t.End.Cmp(t.Start) > 0:
		return &Error{"end", t.End.String(), fmt.Sprintf("it is more than the %s at the start", t.Start), "look for a supply that is still open, or gas that warms up, and test again"}
	case m == catalog.MediumVacuum && t.Start.Cmp(t.Ambient) > 0:
		return &Error{"start", t.Start.String(), fmt.Sprintf("no vacuum is deeper than the air's own %s", t.Ambient), "check the number and its unit"}
	case t.Start.Cmp(most) > 0:
		return &Error{"start", t.Start.String(), "no clutch is tried with so much", "check the number and its unit; too much air throws parts about"}
	}
	return nil
}

// Rate reckons the loss in cm³ of gas at ambient pressure in a minute, not
// rounded.
func Rate(volume, start, end, time, ambient measure.Quantity) measure.Quantity {
	kpa := func(q measure.Quantity) decimal.Decimal { return q.In(measure.Kilopascal).Value }
	fall := kpa(start).Sub(kpa(end))
	top := volume.In(measure.CubicCentimetre).Value.Mul(fall)
	return measure.Of(top.DivRound(kpa(ambient).Mul(time.In(measure.Minute).Value), 24), measure.CubicCentimetrePerMinute)
}

// Judge reckons the leak rate of a test and holds it against the port's limit.
// The volume is the port's own where the test names none. The error is an [*Error].
func Judge(port Port, t Test) (*Report, error) {
	if !t.Volume.Known() {
		t.Volume = port.Volume
	}
	if err := t.check(port.Medium); err != nil {
		return nil, err
	}
	kpa := func(q measure.Quantity) decimal.Decimal { return q.In(measure.Kilopascal).Value }
	exact := Rate(t.Volume, t.Start, t.End, t.Time, t.Ambient)
	rep := &Report{Port: port, Volume: t.Volume, Start: t.Start, End: t.End, Time: t.Time, Ambient: t.Ambient, Limit: port.Limit, Formula: Formula,
		Fall: measure.Of(kpa(t.Start).Sub(kpa(t.End)), measure.Kilopascal).Round(3), Rate: exact.Significant(4), Doubts: []measure.Doubt{}, Reasons: []Reason{}}
	// The pressure that one kelvin of the gas makes, by p/T at constant volume.
	inside := kpa(t.Ambient)
	if port.Medium == catalog.MediumVacuum {
		inside = inside.Sub(kpa(t.Start))
	} else {
		inside = inside.Add(kpa(t.Start))
	}
	kelvin := measure.Of(inside.DivRound(t.Temp.In(measure.Kelvin).Value, 24), measure.Kilopascal)
	perKelvin := Rate(t.Volume, kelvin, measure.Of(decimal.Zero, measure.Kilopascal), t.Time, t.Ambient)
	rep.PerKelvin = perKelvin.Significant(2)
	say := func(c Code, value, limit measure.Quantity) {
		rep.Reasons = append(rep.Reasons, Reason{c, value, limit})
	}
	none := measure.Quantity{}
	if t.End.Cmp(t.Start) == 0 {
		say(NoChange, none, none)
	}
	far := false
	if port.Pressure.Known() {
		off := kpa(t.Start).Sub(kpa(port.Pressure)).Abs()
		if off.GreaterThan(kpa(port.Pressure).Mul(decimal.New(1, -1))) {
			far = true
			say(FarFromTest, t.Start, port.Pressure)
		}
		if d := measure.Doubts(t.Start, port.Pressure, decimal.New(1, -1)); d != nil {
			rep.Doubts = d
		}
	}
	switch {
	case port.Releases:
		say(OnlyReleases, none, none)
	case !port.Limit.Known():
		say(NoLimit, none, none)
	default:
		rep.Verdict = Within
		if exact.Cmp(port.Limit) > 0 {
			rep.Verdict = Leaks
		}
		allowed := port.Limit.In(measure.CubicCentimetrePerMinute).Value.Mul(kpa(t.Ambient)).Mul(t.Time.In(measure.Minute).Value).DivRound(t.Volume.In(measure.CubicCentimetre).Value, 24)
		rep.FallLimit = measure.Of(allowed, measure.Kilopascal).In(t.Start.Unit).Significant(3)
		if rep.FallLimit.Cmp(t.Start) >= 0 {
			say(CannotFail, rep.FallLimit, t.Start)
			rep.Verdict = ""
		}
		if far {
			rep.Verdict = ""
		}
		margin := measure.Of(exact.Value.Sub(port.Limit.In(measure.CubicCentimetrePerMinute).Value).Abs(), measure.CubicCentimetrePerMinute)
		if perKelvin.Cmp(margin) > 0 {
			say(WarmthCounts, rep.PerKelvin, margin.Significant(2))
		}
	}
	return rep, nil
}
