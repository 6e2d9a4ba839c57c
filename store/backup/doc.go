// Package backup writes the whole database with the admin's files into one tar
// file while the program goes on, restores it into an empty database, and keeps
// few of many.
package backup
