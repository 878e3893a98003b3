package store_test

import (
	"errors"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/require"

	"platewright/catalog"
	"platewright/catalog/catalogtest"
	"platewright/catalog/store"
)

const bench = `
sources: source=BENCH | title=Bench | kind=invented
makers: maker=M | name=M | source=BENCH
assemblies: assembly=case | name=case | source=BENCH
families: family=F | maker=M | name=F | source=BENCH
marks: mark=coil | assembly=case | name=coil | kind=measured | force=deciding | unit=ohm | effort=1 | how=measure | source=BENCH
marks: mark=plug | assembly=case | name=plug | kind=seen | force=deciding | effort=1 | how=look | source=BENCH
marks: mark=colour | assembly=case | name=colour | kind=seen | force=hinting | effort=1 | how=look | source=BENCH
roles: role=seal | name=seal | assembly=case | kind=part
roles: role=fluid | name=fluid | assembly=case | kind=fluid
parts: part=P1 | name=P1 | kind=single | origin=unit-maker | status=sold | source=BENCH
shows: scope=family | of=F | mark=coil | value=5.2 | tolerance=0.3 | source=BENCH
shows: scope=family | of=F | mark=plug | value=round | source=BENCH
fits: scope=family | of=F | statement=1 | role=seal | effect=fits | part=P1 | qty=1 | when=plug=round | source=BENCH
`

// Rows that by themselves are sound are refused where they use a mark or a role
// against its kind: those that come, and those that stand when the mark alters.
func TestImportChecksRowsBesideMarksAndRoles(t *testing.T) {
	for _, c := range []struct {
		name, update string
		want         []string // table, column and code of each finding
	}{
		{"a measured value that is no number", `shows: scope=family | of=F | mark=coil | value=low | source=BENCH`, []string{"shows value cell"}},
		{"a tolerance of what is seen", `shows: scope=family | of=F | mark=plug | value=square | tolerance=1 | source=BENCH`, []string{"shows tolerance combination"}},
		{"a condition on a measured mark", `fits: scope=family | of=F | statement=2 | role=seal | effect=fits | part=P1 | qty=1 | when=coil=5.2 | source=BENCH`, []string{"fits when combination"}},
		{"a condition on a hinting mark", `fits: scope=family | of=F | statement=2 | role=seal | effect=fits | part=P1 | qty=1 | when=colour=red | source=BENCH`, []string{"fits when combination"}},
		{"a condition on a mark that is not there", `fits: scope=family | of=F | statement=2 | role=seal | effect=fits | part=P1 | qty=1 | when=colr=red | source=BENCH`, []string{"fits when dangling"}},
		{"a scope of a hinting mark", `fits: scope=mark | of=colour=red | statement=2 | role=seal | effect=fits | part=P1 | qty=1 | source=BENCH`, []string{"fits of combination"}},
		{"a part in a fluid role", `fits: scope=family | of=F | statement=2 | role=fluid | effect=fits | part=P1 | qty=1 | source=BENCH`, []string{"fits role combination"}},
		{"a mark that is measured no longer", `marks: mark=coil | kind=seen | unit=(clear) | tolerance=(clear)`, []string{"shows tolerance combination"}},
		{"a mark that only hints from now on", `marks: mark=plug | force=hinting`, []string{"fits when combination"}},
		{"nothing wrong", `fits: scope=family | of=F | statement=2 | role=seal | effect=does-not-fit | part=P1 | when=plug=square | source=BENCH`, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, dir := catalogtest.Store(t, lines(t, "bench", bench))
			require.Equal(t, 1, s.Number())
			update := lines(t, "update", c.update)
			var got []string
			_, err := store.Import(t.Context(), dir, update, store.ImportOptions{Now: catalogtest.Now})
			var refused *catalog.RefusedError
			if errors.As(err, &refused) {
				for _, f := range refused.Findings {
					got = append(got, f.Table+" "+f.Column+" "+string(f.Code))
				}
			} else {
				require.NoError(t, err)
			}
			slices.Sort(got)
			if d := cmp.Diff(c.want, got); d != "" {
				t.Errorf("findings (-want +got):\n%s", d)
			}
			want := 2
			if c.want != nil {
				want = 1
			}
			require.Equal(t, want, catalogtest.Open(t, dir).Number())
		})
	}
	// A first import, whose rows stream past, is judged alike.
	_, err := store.Import(t.Context(), t.TempDir(), lines(t, "bad", bench+"shows: scope=family | of=F | mark=coil | value=low | source=BENCH\n"), store.ImportOptions{Now: catalogtest.Now})
	var refused *catalog.RefusedError
	require.ErrorAs(t, err, &refused)
	require.Len(t, refused.Findings, 1)
	require.Equal(t, catalog.BadCell, refused.Findings[0].Code)
}
