package cli

import (
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"platewright/catalog"
	"platewright/resolve"
)

// unitFlags is how a unit on the bench is described on the command line.
type unitFlags struct {
	fields  []string
	labels  []string
	saw     []string
	work    []string
	roles   []string
	vehicle string
	built   string
	serial  string
	doubt   []string
	unseen  []string
}

func (f *unitFlags) add(a *app, c *cobra.Command, asks bool) {
	s := c.Flags()
	s.StringArrayVar(&f.fields, "field", nil, "one field of the plate, `NAME=TEXT`, in the place of the whole plate (repeat)")
	s.StringArrayVar(&f.labels, "label", nil, "`TEXT` of a label on another assembly, such as the valve body's (repeat)")
	s.StringArrayVar(&f.saw, "saw", nil, "a mark found on the unit, `MARK=VALUE`; or what was measured, SITE=OHMS or SEAL=LENGTH (repeat)")
	s.Var((*onceText)(&f.vehicle), "vehicle", "`TEXT` for the vehicle it came from; a hint, never decides")
	s.Var((*onceText)(&f.built), "built", "build `DATE`: 2019-04-12, 2019-04 or 2019")
	s.Var((*onceText)(&f.serial), "serial", "serial `NUMBER` of the unit")
	s.StringSliceVar(&f.doubt, "doubt", nil, "`PLACES` of the plate that were read and are not sure, such as 4,7, counted without spaces and dashes; slip for one slip anywhere; label:4 for a label (repeat)")
	s.StringArrayVar(&f.unseen, "cannot-see", nil, "a `CHECK` that was tried and gave nothing: a mark, a site, serial, built or character:PLACE (repeat)")
	a.completeFlagOf(c, "saw", func(args []string, text string) []string { return a.completeSaw(unitArg(c, args), f.labels, text) })
	a.completeFlagOf(c, "cannot-see", func(args []string, text string) []string {
		return a.completeChecks(unitArg(c, args), f.labels, text)
	})
	a.completeFlag(c, "doubt", func(string) []string { return []string{resolve.AnySlip} })
	a.completeFlag(c, "label", a.completeLabels)
	noFiles := func(string) []string { return nil }
	for _, name := range []string{"field", "vehicle", "built", "serial"} {
		a.completeFlag(c, name, noFiles)
	}
	if asks {
		s.StringArrayVar(&f.work, "work", nil, "`SCOPE` of work: the parts that this job takes (repeat; default: every role)")
		s.StringArrayVar(&f.roles, "role", nil, "ask for this `ROLE` (repeat)")
		a.completeFlag(c, "work", a.completeWork)
		a.completeFlag(c, "role", a.completeRoles)
	}
}

// question puts the flags and the plate, if there is one, into a question.
func (f *unitFlags) question(plates []string) (resolve.Question, error) {
	q := resolve.Question{Labels: f.labels, Work: f.work, Roles: f.roles, Vehicle: f.vehicle, CannotSee: f.unseen}
	if len(plates) > 0 {
		q.Plate = plates[0]
	}
	for _, d := range f.doubt {
		q.Doubt = append(q.Doubt, strings.TrimSpace(d))
	}
	for _, s := range f.fields {
		name, text, ok := strings.Cut(s, "=")
		if name = strings.TrimSpace(name); !ok || name == "" {
			return q, usagef("--field %q: write NAME=TEXT", s)
		}
		if q.Fields == nil {
			q.Fields = map[string]string{}
		}
		if _, twice := q.Fields[name]; twice {
			return q, usagef("--field %s stands twice: give each field once", name)
		}
		q.Fields[name] = strings.TrimSpace(text)
	}
	if q.Plate != "" && len(q.Fields) > 0 {
		return q, usagef("a plate and --field: give the plate as a whole or field by field, not both")
	}
	for _, s := range f.saw {
		o, err := observation(s)
		if err != nil {
			return q, usagef("--saw %v", err)
		}
		q.Saw = append(q.Saw, o)
	}
	if err := setBuilt(&q, f.built); err != nil {
		return q, usagef("--built %v", err)
	}
	if err := setSerial(&q, f.serial); err != nil {
		return q, usagef("--serial %v", err)
	}
	return q, nil
}

// knowsNothing tells whether a question says nothing about the unit that could
// leave a variant.
func knowsNothing(q *resolve.Question) bool {
	return q.Plate == "" && len(q.Fields) == 0 && !slices.ContainsFunc(q.Labels, func(s string) bool { return s != "" })
}

func observation(s string) (resolve.Observation, error) {
	c, err := catalog.ParseCondition(s)
	if err != nil {
		return resolve.Observation{}, err
	}
	return resolve.Observation{Mark: c.Mark, Value: c.Value}, nil
}

func setBuilt(q *resolve.Question, s string) error {
	if s == "" {
		return nil
	}
	d, err := catalog.ParseDate(s)
	if err != nil {
		return err
	}
	q.Built, q.BuiltISO = d, d.String()
	return nil
}

func setSerial(q *resolve.Question, s string) error {
	if s == "" {
		return nil
	}
	n, err := catalog.ParseSerial(s)
	if err != nil {
		return err
	}
	q.Serial = n
	return nil
}

// unitArg gives the plate among the arguments of a command, where it stands by the
// command's usage, or none.
func unitArg(c *cobra.Command, args []string) []string {
	for i, w := range strings.Fields(c.Use)[1:] {
		if strings.Trim(w, "[]") == "PLATE" && i < len(args) {
			return args[i : i+1]
		}
	}
	return nil
}

// onceText is a flag that can be given once: a second value would silently take the
// place of the first.
type onceText string

func (o *onceText) String() string { return string(*o) }
func (o *onceText) Type() string   { return "text" }

func (o *onceText) Set(s string) error {
	if *o != "" && s != string(*o) {
		return fmt.Errorf("it was given before as %q; give it once", string(*o))
	}
	*o = onceText(s)
	return nil
}
