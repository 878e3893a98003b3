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

// Stepper is [Codes] that can also go on to the next key, which is cheaper than
// to seek it. Next gives the key after the one that Seek or Next gave last. A
// Stepper has a position and is for one search at a time.
type Stepper interface {
	Codes
	Next() (key string, ok bool, err error)
}

// SortedKeys is [Codes] in memory: keys in byte order, each once. It is safe
// for concurrent use.
type SortedKeys []string

// Seek implements [Codes].
func (k SortedKeys) Seek(from string) (string, bool, error) { return k.key(k.search(from)) }

// Walk gives the keys as a [Stepper].
func (k SortedKeys) Walk() Stepper { return &walk{keys: k} }

func (k SortedKeys) search(from string) int { return sort.SearchStrings(k, from) }

func (k SortedKeys) key(i int) (string, bool, error) {
	if i >= len(k) {
		return "", false, nil
	}
	return k[i], true, nil
}

type walk struct {
	keys SortedKeys
	at   int
}

func (w *walk) Seek(from string) (string, bool, error) {
	w.at = w.keys.search(from)
	return w.keys.key(w.at)
}

func (w *walk) Next() (string, bool, error) {
	w.at++
	return w.keys.key(w.at)
}

// TrimSep reads keys that end in [catalog.KeySep], as [catalog.MakeKey] makes
// them of one part, as keys without it. The separator is the lowest byte and
// within no part, so the order is the same. It steps if codes does.
func TrimSep(codes Codes) Codes {
	if s, ok := codes.(Stepper); ok {
		return trimmedStepper{s}
	}
	return trimmed{codes}
}

func trim(key string, ok bool, err error) (string, bool, error) {
	return strings.TrimSuffix(key, string(catalog.KeySep)), ok, err
}

type trimmed struct{ Codes }

func (t trimmed) Seek(from string) (string, bool, error) { return trim(t.Codes.Seek(from)) }

type trimmedStepper struct{ Stepper }

func (t trimmedStepper) Seek(from string) (string, bool, error) { return trim(t.Stepper.Seek(from)) }

func (t trimmedStepper) Next() (string, bool, error) { return trim(t.Stepper.Next()) }

// Union reads two collections as one. It steps if both do.
func Union(a, b Codes) Codes {
	u := union{a, b}
	x, okx := a.(Stepper)
	y, oky := b.(Stepper)
	if okx && oky {
		return &unionStepper{a: head{Stepper: x}, b: head{Stepper: y}}
	}
	return u
}

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

// head is a stepper with the key at which it stands.
type head struct {
	Stepper
	key string
	ok  bool
	err error
}

type unionStepper struct{ a, b head }

func (u *unionStepper) Seek(from string) (string, bool, error) {
	u.a.key, u.a.ok, u.a.err = u.a.Stepper.Seek(from)
	u.b.key, u.b.ok, u.b.err = u.b.Stepper.Seek(from)
	return u.lower()
}

func (u *unionStepper) Next() (string, bool, error) {
	low, _, _ := u.lower()
	for _, h := range []*head{&u.a, &u.b} {
		if h.ok && h.key == low {
			h.key, h.ok, h.err = h.Stepper.Next()
		}
	}
	return u.lower()
}

func (u *unionStepper) lower() (string, bool, error) {
	switch {
	case u.a.err != nil:
		return "", false, u.a.err
	case u.b.err != nil:
		return "", false, u.b.err
	case !u.a.ok || u.b.ok && u.b.key < u.a.key:
		return u.b.key, u.b.ok, nil
	}
	return u.a.key, true, nil
}

// nearBy is how many keys a search steps over before it seeks instead. A seek
// in a large collection costs as much as a dozen steps or more.
const nearBy = 6

// Find gives, in byte order, the keys that are as long as the pattern and have
// at each place one of its characters, until each returns false. It does not
// walk the keys but jumps over what cannot match: at a mismatch it works out
// the lowest text above the key found that the pattern allows, and goes there,
// by a few steps where codes is a [Stepper] and it is near, else by seeking.
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
	stepper, _ := codes.(Stepper)
	var words arena
	key, ok, err := codes.Seek(words.word(n, "", 0, pattern))
	for {
		if err != nil || !ok {
			return err
		}
		i := 0
		for i < n && i < len(key) && pattern[i].Has(key[i]) {
			i++
		}
		var from string
		if i == len(key) && i < n {
			// The key ends where the pattern goes on: it sorts before all of
			// the pattern's texts that begin like it.
			from = words.word(n, key, 0, pattern)
		} else {
			if i == n {
				if len(key) == n && !each(key) {
					return nil
				}
				i-- // the lowest text above: change the last place
			}
			// Raise the character at i, or one before it where none is higher.
			for {
				if c, ok := pattern[i].above(key[i]); ok {
					from = words.word(n, key[:i], c, pattern)
					break
				}
				if i == 0 {
					return nil
				}
				i--
			}
		}
		there := false
		if stepper != nil {
			for range nearBy {
				if key, ok, err = stepper.Next(); err != nil || !ok {
					return err
				}
				if there = key >= from; there {
					break
				}
			}
		}
		if !there {
			key, ok, err = codes.Seek(from)
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

// word gives head, then c unless it is 0, then the lowest characters of the
// pattern.
func (a *arena) word(n int, head string, c byte, pattern []Set) string {
	start := a.room(n)
	a.b.WriteString(head)
	done := len(head)
	if c != 0 {
		a.b.WriteByte(c)
		done++
	}
	for _, s := range pattern[done:] {
		a.b.WriteByte(s.min())
	}
	return a.b.String()[start:]
}
