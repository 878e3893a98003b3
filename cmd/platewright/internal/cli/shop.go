package cli

import (
	"context"
	"errors"
	"fmt"
	"os/user"
	"strings"

	"platewright/catalog"
	"platewright/catalog/shop"
	"platewright/catalog/store"
)

// This file holds what the commands for notes and cards share.

// who is the person who does something: the one named, else the one whom the
// system knows.
func (a *app) who(named string) (string, error) {
	if named != "" {
		return named, nil
	}
	if u, err := user.Current(); err == nil && u.Username != "" {
		_, name, ok := strings.Cut(u.Username, `\`) // DOMAIN\NAME
		if !ok {
			name = u.Username
		}
		return name, nil
	}
	for _, v := range []string{"USER", "LOGNAME", "USERNAME"} {
		if s := a.env(v); s != "" {
			return s, nil
		}
	}
	return "", usagef("who are you? name yourself with --who NAME")
}

const whoHelp = "`NAME` of who does it (default: the user of this computer)"

// changeShop changes the shop's records in one step.
func (a *app) changeShop(ctx context.Context, do func(*store.ShopTx) error) ([]shop.Event, error) {
	dir, err := a.dir()
	if err != nil {
		return nil, err
	}
	now, err := a.now()
	if err != nil {
		return nil, err
	}
	return store.ChangeShop(ctx, dir, store.ShopOptions{Now: now, Program: program()}, do)
}

// seen refuses a change by somebody who has seen another revision than the one
// that stands; 0 stands for whatever there is.
func seen(tx *store.ShopTx, what, name string, saw, stands int, changes []int) error {
	if saw == 0 || saw == stands {
		return nil
	}
	if saw < 0 || saw > stands {
		return usagef("--revision %d: %s %s is at revision %d", saw, what, name, stands)
	}
	since, err := tx.EventsAt(changes[saw:])
	if err != nil {
		return err
	}
	return &shop.ChangedError{What: what, Name: name, Seen: saw, Revision: stands, Since: since}
}

const revisionHelp = "the `REVISION` that you have seen: refuse if somebody was there since"

// place takes PLACE=NAME apart.
func place(s string) (on, of string, err error) {
	on, of, ok := strings.Cut(s, "=")
	on, of = strings.TrimSpace(on), strings.TrimSpace(of)
	if !ok || on == "" || of == "" {
		return "", "", fmt.Errorf("--on %q: write PLACE=NAME, such as part=NUMBER", s)
	}
	return on, of, nil
}

// measured takes NAME=VALUE apart.
func measured(flags []string) ([]shop.Measured, error) {
	var out []shop.Measured
	for _, s := range flags {
		name, value, ok := strings.Cut(s, "=")
		if !ok {
			return nil, usagef("%q: write NAME=VALUE for what was measured", s)
		}
		out = append(out, shop.Measured{Name: strings.TrimSpace(name), Value: strings.TrimSpace(value)})
	}
	return out, nil
}

// within reads the family or variant to which a note is limited.
func within(cat shop.Catalogue, c *shop.Content, name string) error {
	if name == "" {
		return nil
	}
	key := catalog.MakeKey(catalog.Fold(name))
	rows, err := cat.Group(catalog.TableByName(catalog.TFamilies), key)
	if err != nil {
		return err
	}
	if len(rows) > 0 {
		c.Family, c.Variant = rows[0].(*catalog.Family).Family, ""
		return nil
	}
	if rows, err = cat.Group(catalog.TableByName(catalog.TVariants), key); err != nil {
		return err
	}
	if len(rows) > 0 {
		c.Family, c.Variant = "", rows[0].(*catalog.Variant).Variant
		return nil
	}
	return &shop.UnknownError{What: "family or variant", Name: name, Mend: "check the spelling"}
}

// ownShop reads the records of the shop where there have to be some.
func (a *app) ownShop() (*store.Shop, error) {
	s, err := a.readShop()
	if err == nil && s == nil {
		dir, derr := a.dir()
		if derr != nil {
			return nil, derr
		}
		return nil, hint(errors.New("nothing has been noted in "+dir+" yet"), "Begin with: platewright note add, or: platewright card new")
	}
	return s, err
}
