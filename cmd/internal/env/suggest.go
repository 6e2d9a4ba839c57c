package env

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"example.org/coldseam"
	"example.org/coldseam/store"
)

// knownShown is how many names an error lists.
const knownShown = 12

// NoSite says which gauges there are when one asked for is not: the reader
// mistyped it, or asks at another database.
func NoSite(ctx context.Context, db *store.DB, err error) error {
	return unknown(err, func() (names []string, lerr error) {
		all, lerr := db.Sites(ctx)
		for _, s := range all {
			names = append(names, string(s.ID))
		}
		return names, lerr
	})
}

// NoReach says the same of reaches.
func NoReach(ctx context.Context, db *store.DB, err error) error {
	return unknown(err, func() (names []string, lerr error) {
		all, lerr := db.Reaches(ctx)
		for _, r := range all {
			names = append(names, string(r.ID))
		}
		return names, lerr
	})
}

func unknown(err error, list func() ([]string, error)) error {
	if !errors.Is(err, coldseam.ErrNotFound) {
		return err
	}
	names, lerr := list()
	switch {
	case lerr != nil:
		return err
	case len(names) == 0:
		return fmt.Errorf("%w; there is none yet: coldseam site add", err)
	case len(names) > knownShown:
		names = append(names[:knownShown], fmt.Sprintf("and %d more", len(names)-knownShown))
	}
	return fmt.Errorf("%w; there are: %s", err, strings.Join(names, ", "))
}
