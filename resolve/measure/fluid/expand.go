package fluid

import "math"

// Expansion says how a fluid's volume grows with its temperature.
type Expansion struct {
	density float64 // kg/m³ at 60 °F; 0 for not known
}

// Beta is the growth of oil in volume per °C where its density is not known
// (a handbook's value: engineeringtoolbox.com, volumetric expansion of liquids, oil).
const Beta = 0.00070

// k1 is the factor of API MPMS 11.1 (ASTM D1250-04) for lubricating oils, for ρ in
// kg/m³ and per °F.
const k1 = 0.34878

// Lightest and heaviest are the densities in kg/m³ at 60 °F between which API MPMS
// 11.1 has lubricating oils.
const (
	lightest = 800.9
	heaviest = 1163.5
)

// Expands gives the expansion of a fluid by its density in kg/m³ at 15 °C; with 0,
// or a density that is not that of a lubricating oil, that of [Beta].
func Expands(density15 float64) Expansion {
	if !(density15 > 0) || math.IsInf(density15, 0) {
		return Expansion{}
	}
	// The tables rest on 60 °F, which is 15.56 °C.
	d := density15
	for range 4 {
		d = density15 / ctl(d, 59)
	}
	if d < lightest || d > heaviest {
		return Expansion{}
	}
	return Expansion{d}
}

// ByDensity tells whether the expansion rests on the fluid's own density.
func (e Expansion) ByDensity() bool { return e.density > 0 }

// ctl is the correction of volume from t in °F to 60 °F.
func ctl(density60, t float64) float64 {
	a, d := k1/density60, t-60
	return math.Exp(-a * d * (1 + 0.8*a*d))
}

// Ratio is how much larger the volume of the same fluid is at the temperature to
// than at the temperature from, both in °C.
func (e Expansion) Ratio(from, to float64) float64 {
	if e.density == 0 {
		return (1 + Beta*(to-15)) / (1 + Beta*(from-15))
	}
	f := func(c float64) float64 { return c*1.8 + 32 }
	return ctl(e.density, f(from)) / ctl(e.density, f(to))
}
