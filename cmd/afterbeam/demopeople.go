package main

import (
	"context"
	"fmt"
	"strings"

	"afterbeam/internal/access"
	"afterbeam/internal/access/password"
	"afterbeam/internal/store"
)

// demoLogin is an account of the demonstration that signs in to the pages.
type demoLogin struct{ name, password string }

// signIns makes an account with a password for each role that people have. The passwords are new at every start.
func (d *demoService) signIns(ctx context.Context) error {
	hasher := password.NewHasher(password.DefaultCost(), 1)
	for _, role := range []access.Role{access.Physicist, access.Operator, access.Quality, access.Admin, access.Auditor} {
		text, _ := access.NewSessionSecret()
		one := demoLogin{string(role), strings.Join([]string{text[:5], text[5:10], text[10:15]}, "-")}
		var rooms []string
		if role == access.Operator {
			rooms = []string{"Hybrid 1", "Cath 2"}
		}
		account, err := d.works.db.AddAccount(ctx, store.System("demo"), one.name, string(role), rooms)
		if err != nil {
			return err
		}
		hash, err := hasher.Hash(ctx, one.password)
		if err != nil {
			return err
		}
		if err := d.works.db.ChangePassword(ctx, store.System("demo"), account.ID, hash); err != nil {
			return err
		}
		d.logins = append(d.logins, one)
	}
	return nil
}

// signInLines tells how to sign in to the pages, one account a line.
func (d *demoService) signInLines() string {
	var b strings.Builder
	for _, one := range d.logins {
		_, _ = fmt.Fprintf(&b, "sign in   %-10s %s\n", one.name, one.password)
	}
	return b.String()
}
