package plate

import (
	"sort"
	"strings"

	"platewright/catalog"
)

// Codes is a sorted collection of folded keys. Seek gives the first key, in
// byte order, that is not below from; ok is false if there is none.
type Codes interface {
	Seek(from string) (key string, ok bool, err error)
}

// SortedKeys is [Codes] in memory: keys in byte order, each once.
type SortedKeys []string

// Seek implements [Codes].
func (k SortedKeys) Seek(from string) (string, bool, error) {
	i := sort.SearchStrings(k, from)
	if i == len(k) {
		return "", false, nil
	}
	return k[i], true, nil
}

// TrimSep reads keys that end in [catalog.KeySep], as [catalog.MakeKey] makes
// them of one part, as keys without it. The separator is the lowest byte and
// within no part, so the order is the same.
func TrimSep(codes Codes) Codes { return trimmed{codes} }

type trimmed struct{ Codes }

func (t trimmed) Seek(from string) (string, bool, error) {
	key, ok, err := t.Codes.Seek(from)
	return strings.TrimSuffix(key, string(catalog.KeySep)), ok, err
}

// Union reads two collections as one.
func Union(a, b Codes) Codes { return union{a, b} }

type union struct{ a, b Codes }

func (u union) Seek(from string) (string, bool, error) {
	x, okx, err := u.a.Seek(from)
	if err != nil {
		return "", false, err
	}
	y, oky, err := u.b.Seek(from)
	if err != nil {
		return "", false, err
	}
	if !okx || oky && y < x {
		return y, oky, nil
	}
	return x, true, nil
}

// Find gives, in byte order, the keys that are as long as the pattern and have
// at each place one of its characters, until each returns false. It does not
// walk the keys but jumps over what cannot match: at a mismatch it works out
// the lowest text above the key found that the pattern allows, and seeks it.
// The error is that of codes.
func Find(codes Codes, pattern []Set, each func(key string) bool) error {
	n := len(pattern)
	if n == 0 {
		return nil
	}
	for _, s := range pattern {
		if s == 0 {
			return nil
		}
	}
	var words arena
	from := words.next(n, "", pattern)
	for {
		key, ok, err := codes.Seek(from)
		if err != nil || !ok {
			return err
		}
		i := 0
		for i < n && i < len(key) && pattern[i].Has(key[i]) {
			i++
		}
		switch {
		case i == n:
			if len(key) == n && !each(key) {
				return nil
			}
			i-- // the lowest text above: change the last place
		case i == len(key):
			// The key ends where the pattern goes on: it sorts before all of
			// the pattern's texts that begin like it.
			from = words.next(n, key, pattern)
			continue
		}
		// Raise the character at i, or one before it where there is no higher.
		for {
			if c, ok := pattern[i].above(key[i]); ok {
				from = words.raised(n, key[:i], c, pattern)
				break
			}
			if i == 0 {
				return nil
			}
			i--
		}
	}
}

// arena makes the texts that are sought, many to one piece of memory. Texts
// given out stay valid: the builder only appends, and is left behind when full.
type arena struct{ b strings.Builder }

func (a *arena) room(n int) int {
	if a.b.Cap()-a.b.Len() < n {
		size := max(16*n, 2*a.b.Cap())
		a.b = strings.Builder{}
		a.b.Grow(min(size, 1<<14))
	}
	return a.b.Len()
}

// next gives head and then the lowest characters of the pattern.
func (a *arena) next(n int, head string, pattern []Set) string {
	start := a.room(n)
	a.b.WriteString(head)
	for _, s := range pattern[len(head):] {
		a.b.WriteByte(s.min())
	}
	return a.b.String()[start:]
}

// raised gives head, c and then the lowest characters of the pattern.
func (a *arena) raised(n int, head string, c byte, pattern []Set) string {
	start := a.room(n)
	a.b.WriteString(head)
	a.b.WriteByte(c)
	for _, s := range pattern[len(head)+1:] {
		a.b.WriteByte(s.min())
	}
	return a.b.String()[start:]
}
