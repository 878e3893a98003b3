package plate

import (
	"bufio"
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"platewright/catalog"
)

// reference computes check characters with python3-stdnum, one line in and one
// line out, so that one process judges all payloads.
const reference = `
import sys
from stdnum.iso7064 import mod_11_2, mod_37_2, mod_97_10, mod_37_36
from stdnum import luhn, ean, isbn
calc = {
    'mod-11-2': mod_11_2.calc_check_digit,
    'mod-37-2': mod_37_2.calc_check_digit,
    'mod-97-10': mod_97_10.calc_check_digits,
    'mod-37-36': mod_37_36.calc_check_digit,
    'luhn': luhn.calc_check_digit,
    'gs1-mod-10': ean.calc_check_digit,
    'mod-11-rest': isbn._calc_isbn10_check_digit,
}
for line in sys.stdin:
    scheme, payload = line.split()
    print(calc[scheme](payload))
`

// TestReferenceProgram holds random payloads against python3-stdnum (Debian
// package python3-stdnum, 1.18 or later). The scheme mod-11-rest is judged as
// ISBN-10 (ISO 2108:1992). Without the package the test is skipped by name, but
// fails where CI says that it must run.
func TestReferenceProgram(t *testing.T) {
	python := "/usr/bin/python3" // Debian's own, for which the package installs
	if err := exec.Command(python, "-c", "import stdnum.iso7064").Run(); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatalf("python3-stdnum is needed here and cannot be used: %v", err)
		}
		t.Skip("python3-stdnum is not installed: the check characters were not held against it")
	}
	rng := rand.New(rand.NewPCG(97, 10))
	all := schemes(t)
	type one struct{ scheme, payload string }
	var asked []one
	var in bytes.Buffer
	for _, s := range []catalog.Scheme{catalog.SchemeMod11_2, catalog.SchemeMod37_2, catalog.SchemeMod97_10, catalog.SchemeMod37_36, catalog.SchemeLuhn, catalog.SchemeGS1, catalog.SchemeMod11Comp} {
		c := all[s]
		var chars []byte
		for ch := range c.payload.All() {
			chars = append(chars, ch)
		}
		for range 400 {
			n := 1 + rng.IntN(30)
			if s == catalog.SchemeMod11Comp {
				n = 9
			}
			b := make([]byte, n)
			for i := range b {
				b[i] = chars[rng.IntN(len(chars))]
			}
			asked = append(asked, one{string(s), string(b)})
			fmt.Fprintln(&in, s, string(b))
		}
	}
	cmd := exec.Command(python, "-c", reference)
	cmd.Stdin = &in
	var trouble bytes.Buffer
	cmd.Stderr = &trouble
	out, err := cmd.Output()
	require.NoError(t, err, "%s", trouble.String())
	lines := bufio.NewScanner(bytes.NewReader(out))
	for _, a := range asked {
		require.True(t, lines.Scan(), "fewer answers than payloads")
		want := strings.TrimSpace(lines.Text())
		c := all[catalog.Scheme(a.scheme)]
		got, err := c.Compute(a.payload)
		if err != nil || got != want || !c.Verify(a.payload, got) {
			t.Errorf("%s of %s: %q, %v; python3-stdnum gives %s", a.scheme, a.payload, got, err, want)
		}
	}
}

// TestSchemeErrors has each way in which a scheme cannot be used.
func TestSchemeErrors(t *testing.T) {
	all := schemes(t)
	for _, c := range []struct {
		scheme catalog.Scheme
		text   string
		code   SchemeCode
		place  int
	}{
		{catalog.SchemeLuhn, "", NothingCovered, 0},
		{catalog.SchemeLuhn, "12A4", NotCounted, 3},
		{catalog.SchemeMod37_2, "12*", NotCounted, 3},
		{catalog.SchemeMod11_2, "12X", NotCounted, 3},
		{catalog.SchemeMod11, "1M8GDM9AI", NotCounted, 9},
		{catalog.SchemeMod11Comp, "1234567890", TooFewWeights, 0},
	} {
		_, err := all[c.scheme].Compute(c.text)
		e, ok := err.(*SchemeError)
		if !ok || e.Code != c.code || e.Place != c.place || all[c.scheme].Verify(c.text, "0") {
			t.Errorf("%s of %q: %v, want %s", c.scheme, c.text, err, c.code)
		}
	}
	for _, c := range []struct {
		scheme          catalog.Scheme
		weights, values catalog.Words
		code            SchemeCode
	}{
		{"sum", nil, nil, UnknownScheme},
		{catalog.SchemeGS1, catalog.Words{"3"}, nil, NotWeighted},
		{catalog.SchemeMod11, nil, nil, NeedsWeights},
		{catalog.SchemeMod11, catalog.Words{"-1"}, nil, BadWeight},
		{catalog.SchemeMod11, catalog.Words{"1"}, catalog.Words{"A"}, BadValue},
		{catalog.SchemeMod11, catalog.Words{"1"}, catalog.Words{"=3"}, BadValue},
	} {
		_, err := NewCheck(c.scheme, c.weights, c.values)
		if e, ok := err.(*SchemeError); !ok || e.Code != c.code {
			t.Errorf("%s %v %v: %v, want %s", c.scheme, c.weights, c.values, err, c.code)
		}
	}
	c := all[catalog.SchemeMod97_10]
	if c.Verify("794", "4") || c.Verify("794", "444") || c.Verify("794", "4A") || !c.Verify("7-9 4", "4/4") {
		t.Error("MOD 97-10 verifies two digits, folded")
	}
}
