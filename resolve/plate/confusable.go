package plate

// Source names where a pair of confusable characters comes from.
type Source string

// The sources of the table of confusable characters.
const (
	SourceBase32  Source = "Crockford, Base32, 2019-03-04: decodes O as 0, I and L as 1"
	SourceUTS39   Source = "Unicode UTS #39, confusables"
	SourceISMP    Source = "ISMP, Misidentification of Alphanumeric Symbols, 2009"
	SourcePharm   Source = "Pharmacy Times 82(2), February 2016, Misidentification of Alphanumeric Symbols"
	SourceOwnList Source = "common practice, no published source"
)

// ConfusablePair is two characters that are taken for each other on worn,
// stamped or handwritten plates.
type ConfusablePair struct {
	A       byte
	B       byte
	Sources []Source
}

// confusables is the one table. No published measurement for stamped plates was
// found; the pairs of the own list are what people who read plates report.
var confusables = [...]ConfusablePair{
	{'0', 'O', []Source{SourceBase32, SourceUTS39, SourceISMP, SourcePharm}},
	{'1', 'I', []Source{SourceBase32, SourceUTS39, SourcePharm}},
	{'1', 'L', []Source{SourceBase32, SourceUTS39, SourceISMP}},
	{'I', 'L', []Source{SourceUTS39, SourceISMP, SourcePharm}},
	{'2', 'Z', []Source{SourcePharm}},
	{'5', 'S', []Source{SourceOwnList}},
	{'8', 'B', []Source{SourceOwnList}},
	{'6', 'G', []Source{SourceOwnList}},
	{'1', '7', []Source{SourceOwnList}},
	{'0', 'D', []Source{SourceOwnList}},
	{'0', 'Q', []Source{SourceOwnList}},
	{'D', 'O', []Source{SourceOwnList}},
	{'O', 'Q', []Source{SourceOwnList}},
	{'3', '8', []Source{SourceOwnList}},
	{'6', '8', []Source{SourceOwnList}},
	{'5', '6', []Source{SourceOwnList}},
	{'4', 'A', []Source{SourceOwnList}},
	{'C', 'G', []Source{SourceOwnList}},
	{'E', 'F', []Source{SourceOwnList}},
	{'K', 'X', []Source{SourceOwnList}},
	{'M', 'N', []Source{SourceOwnList}},
	{'P', 'R', []Source{SourceOwnList}},
	{'U', 'V', []Source{SourceOwnList}},
	{'V', 'Y', []Source{SourceOwnList}},
}

// Confusables gives the table of confusable characters. It is a copy.
func Confusables() []ConfusablePair { return append([]ConfusablePair(nil), confusables[:]...) }

// Confusable tells whether a and b, both folded, are taken for each other. A
// character is not confusable with itself.
func Confusable(a, b byte) bool { return confusableWith(a)&one(b) != 0 }

// confusableWith gives all that c is taken for.
func confusableWith(c byte) Set {
	var s Set
	for i := range confusables {
		switch p := &confusables[i]; c {
		case p.A:
			s |= one(p.B)
		case p.B:
			s |= one(p.A)
		}
	}
	return s
}
