package cli

import (
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"platewright/catalog"
	"platewright/resolve"
)

// maxCompletions is how many proposals a shell is given: more than that nobody
// looks through, and a walk over a large catalogue would take too long.
const maxCompletions = 200

// proposals gives what could stand where the text to complete stands.
type proposals func(toComplete string) []string

// completeArgs completes the arguments in order, the last one again and again.
func (a *app) completeArgs(each ...proposals) cobra.CompletionFunc {
	return func(_ *cobra.Command, args []string, toComplete string) ([]string, cobra.ShellCompDirective) {
		if len(args) >= len(each) {
			return nil, cobra.ShellCompDirectiveNoFileComp
		}
		return started(each[len(args)](toComplete), toComplete), cobra.ShellCompDirectiveNoFileComp
	}
}

// completeFlag completes the values of a flag.
func (a *app) completeFlag(c *cobra.Command, flag string, p proposals) {
	a.completeFlagOf(c, flag, func(_ []string, toComplete string) []string { return p(toComplete) })
}

// completeFlagOf completes the values of a flag by the arguments given so far.
func (a *app) completeFlagOf(c *cobra.Command, flag string, p func(args []string, toComplete string) []string) {
	err := c.RegisterFlagCompletionFunc(flag, func(_ *cobra.Command, args []string, toComplete string) ([]string, cobra.ShellCompDirective) {
		list, how := started(p(args, toComplete), toComplete), cobra.ShellCompDirectiveNoFileComp
		if len(list) > 0 && !slices.ContainsFunc(list, func(s string) bool { v, _, _ := strings.Cut(s, "\t"); return !strings.HasSuffix(v, "=") }) {
			how |= cobra.ShellCompDirectiveNoSpace // the value of the mark comes next
		}
		return list, how
	})
	if err != nil {
		panic(err) // the flag is not defined: a slip in this package, seen by every test
	}
}

func started(list []string, toComplete string) []string {
	return slices.DeleteFunc(list, func(s string) bool { return !strings.HasPrefix(s, toComplete) })
}

// completions asks the catalogue. Trouble of any kind gives no proposals and no
// message: a person in the middle of a line must not be disturbed.
func (a *app) completions(ask func(cat resolve.Catalogue, add func(value, about string) bool) error) []string {
	cat, err := a.open()
	if err != nil {
		return nil
	}
	defer cat.Close()
	cat.tells()
	var out []string
	err = ask(cat, func(value, about string) bool {
		if about != "" {
			value += "\t" + about
		}
		out = append(out, value)
		return len(out) < maxCompletions
	})
	if err != nil {
		return nil
	}
	return out
}

// starting walks the rows whose key begins with the folded text.
func starting[T any](cat resolve.Catalogue, table, text string, each func(*T) bool) error {
	t, prefix := catalog.TableByName(table), catalog.Fold(text)
	for from := prefix; ; {
		key, ok, err := cat.Seek(t, from)
		if err != nil || !ok || !strings.HasPrefix(key, prefix) {
			return err
		}
		group, err := cat.Group(t, key)
		if err != nil {
			return err
		}
		for _, r := range group {
			if !each(any(r).(*T)) {
				return nil
			}
		}
		from = key + "\x00"
	}
}

// completePlates proposes one whole plate of each layout, then variants.
func (a *app) completePlates(text string) []string {
	return a.completions(func(cat resolve.Catalogue, add func(string, string) bool) error {
		if err := examples(cat, false, text, add); err != nil {
			return err
		}
		return a.addVariants(cat, text, add)
	})
}

// completeLabels proposes one whole label of each layout of an assembly that
// follows another.
func (a *app) completeLabels(text string) []string {
	return a.completions(func(cat resolve.Catalogue, add func(string, string) bool) error {
		return examples(cat, true, text, add)
	})
}

// examples proposes the examples of the layouts of assemblies that follow
// another, or of the one that does not.
func examples(cat resolve.Catalogue, following bool, text string, add func(string, string) bool) error {
	follows := map[string]bool{}
	if err := rows(cat, catalog.TAssemblies, func(r *catalog.Assembly) bool {
		follows[catalog.Fold(r.Assembly)] = r.Follows != ""
		return true
	}); err != nil {
		return err
	}
	return rows(cat, catalog.TLayouts, func(r *catalog.Layout) bool {
		return follows[catalog.Fold(r.Assembly)] != following || !strings.HasPrefix(r.Example, text) || add(r.Example, "example: "+r.Name)
	})
}

func (a *app) addVariants(cat resolve.Catalogue, text string, add func(string, string) bool) error {
	return starting(cat, catalog.TVariants, text, func(r *catalog.Variant) bool {
		return add(string(r.Variant), r.Name)
	})
}

func (a *app) completeParts(text string) []string {
	return a.completions(func(cat resolve.Catalogue, add func(string, string) bool) error {
		if err := starting(cat, catalog.TParts, text, func(r *catalog.Part) bool {
			return add(string(r.Part), r.Name)
		}); err != nil {
			return err
		}
		return starting(cat, catalog.TNumbers, text, func(r *catalog.Number) bool {
			return add(r.Number, "goes for "+string(r.Part))
		})
	})
}

// completeSaw proposes marks, and sites and seals of what plate and labels name so
// far; once one is named, the values that the catalogue knows of it.
func (a *app) completeSaw(plates, labels []string, text string) []string {
	name, _, named := strings.Cut(text, "=")
	return a.completions(func(cat resolve.Catalogue, add func(string, string) bool) error {
		more := true
		put := func(value, about string) bool {
			more = add(value, about)
			return more
		}
		if !named {
			if err := starting(cat, catalog.TMarks, text, func(r *catalog.Mark) bool { return put(r.Mark+"=", r.Name) }); err != nil || !more {
				return err
			}
			had := map[string]bool{}
			return benchRows(cat, plates, labels, text, func(name, about, _ string) bool {
				if had[name] {
					return true
				}
				had[name] = true
				return put(name+"=", about)
			})
		}
		seen, looked := map[string]bool{}, 0
		err := rows(cat, catalog.TShows, func(r *catalog.Show) bool {
			if looked++; looked > 20*maxCompletions {
				return false
			}
			if catalog.Fold(r.Mark) != catalog.Fold(name) || seen[catalog.FoldValue(r.Value)] {
				return true
			}
			seen[catalog.FoldValue(r.Value)] = true
			return put(name+"="+r.Value, "")
		})
		if err != nil || !more || len(seen) > 0 {
			return err
		}
		return benchRows(cat, plates, labels, name, func(found, about, value string) bool {
			if catalog.Fold(found) != catalog.Fold(name) || seen[value] {
				return true
			}
			seen[value] = true
			return put(name+"="+value, "nominal: "+about)
		})
	})
}

// benchRows walks the sites and seals whose names begin with the folded text, of
// the variants that plate and labels name so far and of their families; where these
// name none, of all families. Each is given once with each of its values.
func benchRows(cat resolve.Catalogue, plates, labels []string, text string, each func(name, about, value string) bool) error {
	var scopes []string
	q := resolve.Question{Labels: labels}
	if len(plates) > 0 {
		q.Plate = plates[0]
	}
	// A unit that cannot be made out yet is no trouble here.
	if d, err := resolve.New(cat, resolve.Edition{}).Decide(q, resolve.Options{NoLookAlikes: true, NoNextCheck: true, NoFigures: true, NoNear: true, NoNotes: true, NoTrails: true}); err == nil {
		for _, as := range d.Assemblies {
			for _, c := range as.Candidates {
				for _, key := range []string{catalog.MakeKey(catalog.Fold(string(catalog.OfFamily)), catalog.Fold(c.Family)), catalog.MakeKey(catalog.Fold(string(catalog.OfVariant)), c.Variant.Key())} {
					if !slices.Contains(scopes, key) {
						scopes = append(scopes, key)
					}
				}
			}
		}
	}
	if len(scopes) == 0 {
		scopes = []string{catalog.MakeKey(catalog.Fold(string(catalog.OfFamily)))}
	}
	slices.Sort(scopes)
	had, prefix := map[[2]string]bool{}, catalog.Fold(text)
	for _, table := range []string{catalog.TSites, catalog.TSeals} {
		t := catalog.TableByName(table)
		for _, scope := range scopes {
			for key, ok, err := cat.Seek(t, scope); ; key, ok, err = cat.Seek(t, key+"\x00") {
				if err != nil {
					return err
				}
				if !ok || !strings.HasPrefix(key, scope) {
					break
				}
				group, err := cat.Group(t, key)
				if err != nil {
					return err
				}
				for _, r := range group {
					name, about, value := "", "", ""
					switch r := r.(type) {
					case *catalog.Site:
						name, about, value = r.Site, "coil of the "+r.Role, r.Ohm.String()
					case *catalog.Seal:
						name, about, value = r.Seal, "length of the seal, "+r.Place, r.Length.String()
					}
					if k := [2]string{catalog.Fold(name), value}; strings.HasPrefix(k[0], prefix) && !had[k] {
						had[k] = true
						if !each(name, about, value) {
							return nil
						}
					}
				}
			}
		}
	}
	return nil
}

// completeChecks proposes what can be looked at: marks, coils at their sites, serial
// number, build date.
func (a *app) completeChecks(plates, labels []string, text string) []string {
	return a.completions(func(cat resolve.Catalogue, add func(string, string) bool) error {
		more := true
		put := func(value, about string) bool {
			more = add(value, about)
			return more
		}
		for _, k := range []resolve.CheckKind{resolve.CheckSerial, resolve.CheckBuilt} {
			if strings.HasPrefix(string(k), text) && !put(string(k), "") {
				return nil
			}
		}
		if err := starting(cat, catalog.TMarks, text, func(r *catalog.Mark) bool { return put(r.Mark, r.Name) }); err != nil || !more {
			return err
		}
		had := map[string]bool{}
		return benchRows(cat, plates, labels, text, func(name, about, _ string) bool {
			if had[name] || !strings.HasPrefix(about, "coil") {
				return true
			}
			had[name] = true
			return put(name, about)
		})
	})
}

func (a *app) completeWork(text string) []string {
	return a.completions(func(cat resolve.Catalogue, add func(string, string) bool) error {
		return starting(cat, catalog.TWork, text, func(r *catalog.WorkScope) bool { return add(r.Work, r.Name) })
	})
}

func (a *app) completeRoles(text string) []string {
	return a.completions(func(cat resolve.Catalogue, add func(string, string) bool) error {
		return starting(cat, catalog.TRoles, text, func(r *catalog.Role) bool { return add(r.Role, r.Name) })
	})
}
