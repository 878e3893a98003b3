package cli

import (
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"runtime/debug"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"platewright/catalog"
	"platewright/catalog/audit"
	"platewright/catalog/memory"
	"platewright/catalog/store"
	"platewright/cmd/platewright/internal/render"
	"platewright/resolve/plate"
)

// auditFlags are what an audit is asked for.
type auditFlags struct {
	severity string
	kinds    []string
	families []string
	accepted bool
	limit    int
	csv      bool
}

func (a *app) auditCmd() *cobra.Command {
	var f auditFlags
	c := &cobra.Command{
		Use:   "audit",
		Short: "Find what is wrong in the meaning of the catalogue",
		Long: `Audit finds what no check of an import can refuse: statements that contradict each
other, breaks with gaps, numbers that lead nowhere, kits without a seal, roles
without a part, variants that nothing tells apart, fluids that serve by their
name only, and what is left over. Each finding has an identifier that stays until
what it states changes. A finding that is meant so can be accepted and is then no
longer listed.

Severities: wrong (the catalogue contradicts itself), doubtful (look at it), thin
(something is missing or left over). The exit code is 3 if there are findings of
the severity asked for, or worse, that nobody has accepted, else 0.

With --json each finding is a line, and the last line is the summary.`,
		Example: `  platewright catalog audit
  platewright catalog audit --severity wrong --csv >wrong.csv
  platewright catalog audit --kind look-alike --limit 0
  platewright catalog audit accept ID --because 'two labels, one body' --who 'bench 2'`,
		Args:              cobra.NoArgs,
		ValidArgsFunction: cobra.NoFileCompletions,
		RunE:              func(c *cobra.Command, _ []string) error { return a.audit(c, f) },
	}
	c.Flags().StringVar(&f.severity, "severity", string(audit.Doubtful), "list and count findings of this `SEVERITY` and worse: wrong, doubtful, thin")
	c.Flags().StringArrayVar(&f.kinds, "kind", nil, "only findings of this `KIND` (repeat)")
	c.Flags().StringArrayVar(&f.families, "family", nil, "only findings about this `FAMILY` (repeat)")
	c.Flags().BoolVar(&f.accepted, "accepted", false, "list accepted findings too")
	c.Flags().IntVar(&f.limit, "limit", 10, "list this `NUMBER` of each kind, 0 for all (as text; CSV and JSON hold all)")
	c.Flags().BoolVar(&f.csv, "csv", false, "write the findings as CSV")
	a.completeFlag(c, "severity", func(string) []string { return words(audit.Severities) })
	a.completeFlag(c, "kind", func(string) []string { return words(audit.Kinds) })
	c.AddCommand(a.auditAcceptCmd(), a.auditRevokeCmd(), a.auditAcceptedCmd())
	return c
}

func words[S ~string](list []S) []string {
	out := make([]string, len(list))
	for i, w := range list {
		out[i] = string(w)
	}
	return out
}

// oneOf finds a word that was typed among those that there are.
func oneOf[S ~string](c *cobra.Command, flag, text string, list []S) (S, error) {
	for _, w := range list {
		if string(w) == text {
			return w, nil
		}
	}
	also := ""
	if n := catalog.Nearest(text, words(list)); n != "" {
		also = "did you mean " + n + "? "
	}
	return "", &usageError{fmt.Sprintf("--%s %s: %sthere are: %s", flag, text, also, strings.Join(words(list), ", ")), c.CommandPath()}
}

// auditReader makes what a command works on readable for an audit.
func auditReader(cat *opened) audit.Reader {
	if cat.store == nil {
		return audit.Memory(cat.own.(*memory.Catalogue))
	}
	return cat.own.(*store.View)
}

// acceptances reads what has been accepted; of the demo nothing can be.
func (a *app) acceptances(cat *opened) (*audit.Acceptances, error) {
	dir, err := a.dir()
	if err != nil {
		return nil, err
	}
	if cat.store == nil {
		return &audit.Acceptances{}, nil
	}
	return audit.ReadAcceptances(dir)
}

func (a *app) runAudit(ctx context.Context, cat *opened, want func(audit.Kind) bool, each func(audit.Finding) error) error {
	if a.env("GOGC") == "" {
		// An audit reads everything once and keeps little: it pays to collect often.
		// What was set before comes back when the catalogue is closed.
		debug.SetGCPercent(100)
	}
	p := a.progress("auditing")
	defer p.end()
	return audit.Run(ctx, auditReader(cat), audit.Options{Confusable: plate.Confusable, Want: want,
		Progress: func(stage string, done int) error { p.say("%s, %d", stage, done); return nil }}, each)
}

func (a *app) audit(c *cobra.Command, f auditFlags) error {
	least, err := oneOf(c, "severity", f.severity, audit.Severities)
	if err != nil {
		return err
	}
	var kinds []audit.Kind
	for _, k := range f.kinds {
		kind, err := oneOf(c, "kind", k, audit.Kinds)
		if err != nil {
			return err
		}
		kinds = append(kinds, kind)
	}
	if f.csv && a.json {
		return &usageError{"--csv and --json: choose one", c.CommandPath()}
	}
	if f.limit < 0 {
		return &usageError{fmt.Sprintf("--limit %d: write a number, 0 for no limit", f.limit), c.CommandPath()}
	}
	cat, err := a.openOwn()
	if err != nil {
		return err
	}
	defer cat.Close()
	families := map[string]bool{}
	for _, name := range f.families {
		rows, err := cat.Group(catalog.TableByName(catalog.TFamilies), catalog.MakeKey(catalog.Fold(name)))
		if err != nil {
			return err
		}
		if len(rows) == 0 {
			return &usageError{fmt.Sprintf("--family %s: the catalogue has no such family", name), c.CommandPath()}
		}
		families[catalog.Fold(name)] = true
	}
	accepted, err := a.acceptances(cat)
	if err != nil {
		return err
	}
	var want func(audit.Kind) bool
	if len(kinds) > 0 {
		want = func(k audit.Kind) bool { return slices.Contains(kinds, k) }
	}
	type of struct {
		kind     audit.Kind
		severity audit.Severity
	}
	counts, listed := map[of]*render.AuditCount{}, []render.AuditFinding{}
	shown := map[of]int{}
	var table *csv.Writer
	if f.csv {
		table = csv.NewWriter(a.out)
		table.UseCRLF = true
		if err := table.Write(render.AuditHeading); err != nil {
			return err
		}
	}
	sum := render.AuditSummary{Edition: cat.edition, Severity: least, Counts: []render.AuditCount{}, Accepted: f.accepted}
	if err := rows(cat, catalog.TSources, func(s *catalog.Source) bool {
		sum.Edition.Invented = s.Kind == catalog.SourceInvented
		return !sum.Edition.Invented
	}); err != nil {
		return err
	}
	if err := a.runAudit(c.Context(), cat, want, func(x audit.Finding) error {
		if len(families) > 0 && !families[catalog.Fold(x.Facts.Family)] {
			return nil
		}
		k := of{x.Kind, x.Severity}
		n := counts[k]
		if n == nil {
			n = &render.AuditCount{Kind: x.Kind, Severity: x.Severity}
			counts[k] = n
		}
		n.Found++
		by := accepted.Of(x.ID)
		if by != nil {
			n.Accepted++
		}
		if !x.Severity.AtLeast(least) {
			return nil
		}
		if by == nil {
			sum.Open++
		} else if !f.accepted {
			return nil
		}
		switch {
		case a.json:
			line := render.NewAuditFinding(x, by)
			return render.AuditJSON(a.out, render.AuditLine{Finding: &line})
		case f.csv:
			return render.AuditCSV(table, render.NewAuditFinding(x, by))
		case f.limit == 0 || shown[k] < f.limit:
			shown[k]++
			listed = append(listed, render.NewAuditFinding(x, by))
		}
		return nil
	}); err != nil {
		return err
	}
	for _, s := range audit.Severities {
		for _, k := range audit.Kinds {
			if n := counts[of{k, s}]; n != nil {
				sum.Counts = append(sum.Counts, *n)
			}
		}
	}
	switch {
	case a.json:
		err = render.AuditJSON(a.out, render.AuditLine{Summary: &sum})
	case f.csv:
		table.Flush()
		err = table.Error()
	default:
		err = render.AuditText(a.out, sum, listed, a.screen())
	}
	if err == nil && sum.Open > 0 {
		return answered(exitRefused)
	}
	return err
}

// byWhom are the flags of whoever decides about a finding.
type byWhom struct{ because, who string }

func (b *byWhom) add(c *cobra.Command) {
	c.Flags().StringVar(&b.because, "because", "", "the reason, as `TEXT` (required)")
	c.Flags().StringVar(&b.who, "who", "", "the `NAME` of the person who decides (required)")
}

func (b *byWhom) check(c *cobra.Command) error {
	for _, f := range [][2]string{{"because", b.because}, {"who", b.who}} {
		flag, text := f[0], f[1]
		if strings.TrimSpace(text) == "" {
			return &usageError{"--" + flag + " is missing: the next person has to understand the decision", c.CommandPath()}
		}
		if err := catalog.CheckText(text); err != nil {
			return &usageError{fmt.Sprintf("--%s: %v", flag, err), c.CommandPath()}
		}
	}
	return nil
}

func (a *app) auditAcceptCmd() *cobra.Command {
	var by byWhom
	c := &cobra.Command{
		Use:   "accept ID...",
		Short: "Let findings stand, with a reason, until they change",
		Long: `Accept keeps findings from being listed and counted until what they state
changes; then they have another identifier and come back. The acceptance is kept
in the shop's folder, in the file ` + audit.AcceptedFile + `.`,
		Args:              cobra.MinimumNArgs(1),
		ValidArgsFunction: cobra.NoFileCompletions,
		RunE: func(c *cobra.Command, ids []string) error {
			if err := by.check(c); err != nil {
				return err
			}
			return a.auditAccept(c, ids, by)
		},
	}
	by.add(c)
	return c
}

// errAllFound ends an audit in which everything that was looked for is found.
var errAllFound = errors.New("all found")

func (a *app) auditAccept(c *cobra.Command, ids []string, by byWhom) error {
	now, err := a.now()
	if err != nil {
		return err
	}
	dir, err := a.dir()
	if err != nil {
		return err
	}
	cat, err := a.openOwn()
	if err != nil {
		return err
	}
	defer cat.Close()
	if cat.demo {
		return hint(fmt.Errorf("there is no catalogue of the shop's own in %s yet, and of the demo nothing is accepted", dir),
			"Begin one: platewright catalog import FOLDER")
	}
	accepted, err := audit.ReadAcceptances(dir)
	if err != nil {
		return err
	}
	missing := map[string]bool{}
	for _, id := range ids {
		missing[id] = true
	}
	var list []audit.Acceptance
	err = a.runAudit(c.Context(), cat, nil, func(f audit.Finding) error {
		if missing[f.ID] {
			delete(missing, f.ID)
			what := ""
			if len(f.Rows) > 0 {
				what = f.Rows[0].Table + ": " + f.Rows[0].Key
			}
			list = append(list, audit.Acceptance{ID: f.ID, Kind: f.Kind, What: what, Because: by.because, Who: by.who, At: now})
		}
		if len(missing) == 0 {
			return errAllFound
		}
		return nil
	})
	if err != nil && !errors.Is(err, errAllFound) {
		return err
	}
	for _, id := range ids {
		if missing[id] {
			return &usageError{fmt.Sprintf("%q is no finding of this catalogue: it was mended, or has changed; nothing was accepted", id), "platewright catalog audit"}
		}
	}
	if err := accepted.Add(list...); err != nil {
		return err
	}
	return a.accepted(dir, list)
}

func (a *app) accepted(dir string, list []audit.Acceptance) error {
	out := render.Accepted{Schema: render.AcceptedSchema, Path: audit.AcceptedPath(dir), Accepted: append([]audit.Acceptance{}, list...)}
	if a.json {
		return render.JSON(a.out, out)
	}
	return render.AcceptedText(a.out, out, a.screen())
}

func (a *app) auditRevokeCmd() *cobra.Command {
	var by byWhom
	c := &cobra.Command{
		Use:               "revoke ID...",
		Short:             "Take acceptances back",
		Args:              cobra.MinimumNArgs(1),
		ValidArgsFunction: a.completeArgs(a.completeAccepted),
		RunE: func(c *cobra.Command, ids []string) error {
			if err := by.check(c); err != nil {
				return err
			}
			now, err := a.now()
			if err != nil {
				return err
			}
			dir, err := a.dir()
			if err != nil {
				return err
			}
			accepted, err := audit.ReadAcceptances(dir)
			if err != nil {
				return err
			}
			list, err := accepted.Revoke(ids, by.because, by.who, now)
			if err != nil {
				return err
			}
			return a.accepted(dir, list)
		},
	}
	by.add(c)
	return c
}

func (a *app) completeAccepted(string) []string {
	dir, err := a.dir()
	if err != nil {
		return nil
	}
	accepted, err := audit.ReadAcceptances(dir)
	if err != nil {
		return nil
	}
	var out []string
	for _, x := range accepted.List() {
		out = append(out, x.ID+"\t"+string(x.Kind)+", "+x.What)
	}
	return out
}

func (a *app) auditAcceptedCmd() *cobra.Command {
	return &cobra.Command{
		Use:               "accepted",
		Aliases:           []string{"list"},
		Short:             "List what has been accepted, by whom and why",
		Args:              cobra.NoArgs,
		ValidArgsFunction: cobra.NoFileCompletions,
		RunE: func(*cobra.Command, []string) error {
			dir, err := a.dir()
			if err != nil {
				return err
			}
			accepted, err := audit.ReadAcceptances(dir)
			if err != nil {
				return err
			}
			return a.accepted(dir, accepted.List())
		},
	}
}
