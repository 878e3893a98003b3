package fault

import (
	"fmt"
	"slices"
	"strings"

	"platewright/catalog"
)

// Schema names the form of [Report] as JSON.
const Schema = "platewright/measure-fault/1"

// Candidate is a variant that the unit can still be, with the rows of its sites:
// its own, and its family's for sites of which it has none of its own.
type Candidate struct {
	Variant catalog.VariantCode
	Family  string
	Sites   []*catalog.Site
}

// Verdict says whether a complaint about gears fits a site.
type Verdict string

// The verdicts. The empty Verdict is none: no gears were named, or none are on
// record.
const (
	Fits       Verdict = "fits"         // the site would show in every gear named
	Partly     Verdict = "partly"       // in some of them
	DoesNotFit Verdict = "does-not-fit" // in none of them
)

// Pointed is a site that the code points at.
type Pointed struct {
	Site     string                `json:"site"`
	Text     string                `json:"text"` // what the control module means by the code
	Role     string                `json:"role,omitempty"`
	Serves   string                `json:"serves,omitempty"`
	Gears    []string              `json:"gears"`
	Families []string              `json:"families"`
	Variants []catalog.VariantCode `json:"variants"` // the candidates that have the site
	Without  []catalog.VariantCode `json:"without"`  // candidates of these families that have no such site
	Verdict  Verdict               `json:"verdict,omitempty"`
	Fit      []string              `json:"fit"`   // gears named that the site would show in
	Unfit    []string              `json:"unfit"` // gears named that it would not
	Quiet    []string              `json:"quiet"` // gears that it would show in and that were not named
	Source   string                `json:"source"`
}

// Elsewhere is another site that the complaint fits.
type Elsewhere struct {
	Site   string   `json:"site"`
	Serves string   `json:"serves,omitempty"`
	Gears  []string `json:"gears"`
	Exact  bool     `json:"exact"` // its gears are those named and no others
}

// Report is the answer.
type Report struct {
	Code      Code        `json:"code"`
	DefinedBy DefinedBy   `json:"definedBy"`
	Gears     []string    `json:"gears"`             // the complaint
	Points    []Pointed   `json:"points"`            // empty if the catalogue does not have the code
	Known     []Code      `json:"known"`             // if it does not: codes that it has
	Verdict   Verdict     `json:"verdict,omitempty"` // the best over the sites pointed at
	Elsewhere []Elsewhere `json:"elsewhere"`         // if the complaint does not fit: sites that it fits
}

// GearError says that a gear of a complaint is none of the unit's.
type GearError struct {
	Gear  string
	Known []string
}

func (e *GearError) Error() string {
	return fmt.Sprintf("gear %q: no site of this unit would show in it; the unit's data name %s", e.Gear, strings.Join(e.Known, " "))
}

// Explain says what a code points at in a unit, and whether a complaint about
// gears fits; the complaint may be empty. The error is a [*GearError].
func Explain(code Code, faults []*catalog.Fault, candidates []Candidate, gears []string) (*Report, error) {
	rep := &Report{Code: code, DefinedBy: code.DefinedBy(), Gears: []string{}, Points: []Pointed{}, Known: []Code{}, Elsewhere: []Elsewhere{}}
	var named []string
	for _, c := range candidates {
		for _, s := range c.Sites {
			for _, g := range s.Gears {
				if !slices.Contains(named, g) {
					named = append(named, g)
				}
			}
		}
	}
	slices.Sort(named)
	for _, g := range gears {
		i := slices.IndexFunc(named, func(n string) bool { return catalog.Fold(n) == catalog.Fold(g) })
		if i < 0 {
			return nil, &GearError{g, named}
		}
		if !slices.Contains(rep.Gears, named[i]) {
			rep.Gears = append(rep.Gears, named[i])
		}
	}
	for _, f := range faults {
		if !slices.ContainsFunc(candidates, func(c Candidate) bool { return catalog.Fold(c.Family) == catalog.Fold(f.Family) }) {
			continue
		}
		if catalog.Fold(f.Code) != catalog.Fold(string(code)) {
			if !slices.Contains(rep.Known, Code(f.Code)) {
				rep.Known = append(rep.Known, Code(f.Code))
			}
			continue
		}
		rep.point(f, candidates)
	}
	if len(rep.Points) > 0 {
		rep.Known = []Code{}
	}
	slices.Sort(rep.Known)
	for _, p := range rep.Points {
		if rank(p.Verdict) > rank(rep.Verdict) {
			rep.Verdict = p.Verdict
		}
	}
	if len(rep.Gears) > 0 && rep.Verdict != Fits {
		rep.elsewhere(candidates)
	}
	return rep, nil
}

func rank(v Verdict) int {
	switch v {
	case DoesNotFit:
		return 1
	case Partly:
		return 2
	case Fits:
		return 3
	}
	return 0
}

// point adds what one row of the catalogue says. Sites of the same name that
// would show in different gears stand apart.
func (rep *Report) point(f *catalog.Fault, candidates []Candidate) {
	for _, c := range candidates {
		if catalog.Fold(c.Family) != catalog.Fold(f.Family) {
			continue
		}
		var site *catalog.Site
		for _, s := range c.Sites {
			if catalog.Fold(s.Site) == catalog.Fold(f.Site) {
				site = s
			}
		}
		p := Pointed{Site: f.Site, Text: f.Text, Gears: []string{}, Families: []string{}, Variants: []catalog.VariantCode{}, Without: []catalog.VariantCode{}, Source: f.Source}
		if site != nil {
			p.Role, p.Serves, p.Gears = site.Role, site.Serves, append(p.Gears, site.Gears...)
		}
		i := slices.IndexFunc(rep.Points, func(o Pointed) bool {
			return o.Site == p.Site && o.Text == p.Text && (site == nil || len(o.Variants) == 0 || o.Role == p.Role && o.Serves == p.Serves && slices.Equal(o.Gears, p.Gears))
		})
		if i < 0 {
			i = len(rep.Points)
			rep.Points = append(rep.Points, p)
		}
		o := &rep.Points[i]
		if site == nil {
			o.Without = append(o.Without, c.Variant)
		} else {
			if len(o.Variants) == 0 {
				o.Role, o.Serves, o.Gears = p.Role, p.Serves, p.Gears
			}
			o.Variants = append(o.Variants, c.Variant)
		}
		if !slices.Contains(o.Families, f.Family) {
			o.Families = append(o.Families, f.Family)
		}
	}
	for i := range rep.Points {
		rep.Points[i].complain(rep.Gears)
	}
}

// complain holds the complaint against the site's gears.
func (p *Pointed) complain(gears []string) {
	p.Fit, p.Unfit, p.Quiet, p.Verdict = []string{}, []string{}, []string{}, ""
	if len(gears) == 0 || len(p.Gears) == 0 {
		return
	}
	for _, g := range gears {
		if slices.Contains(p.Gears, g) {
			p.Fit = append(p.Fit, g)
		} else {
			p.Unfit = append(p.Unfit, g)
		}
	}
	for _, g := range p.Gears {
		if !slices.Contains(gears, g) {
			p.Quiet = append(p.Quiet, g)
		}
	}
	switch {
	case len(p.Unfit) == 0:
		p.Verdict = Fits
	case len(p.Fit) > 0:
		p.Verdict = Partly
	default:
		p.Verdict = DoesNotFit
	}
}

// elsewhere lists the sites whose gears hold every gear of the complaint, those
// that hold no other first.
func (rep *Report) elsewhere(candidates []Candidate) {
	for _, c := range candidates {
		for _, s := range c.Sites {
			all := true
			for _, g := range rep.Gears {
				all = all && slices.Contains(s.Gears, g)
			}
			if !all || slices.ContainsFunc(rep.Elsewhere, func(e Elsewhere) bool { return e.Site == s.Site && slices.Equal(e.Gears, s.Gears) }) ||
				slices.ContainsFunc(rep.Points, func(p Pointed) bool { return catalog.Fold(p.Site) == catalog.Fold(s.Site) }) {
				continue
			}
			rep.Elsewhere = append(rep.Elsewhere, Elsewhere{s.Site, s.Serves, s.Gears, len(s.Gears) == len(rep.Gears)})
		}
	}
	slices.SortStableFunc(rep.Elsewhere, func(a, b Elsewhere) int {
		switch {
		case a.Exact != b.Exact && a.Exact:
			return -1
		case a.Exact != b.Exact:
			return 1
		}
		return strings.Compare(a.Site, b.Site)
	})
}
