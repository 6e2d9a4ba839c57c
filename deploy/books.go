// Package deploy holds the books that the program ships.
package deploy

import _ "embed" // for the files

// Cookbook is the book of questions, with the answers of the demo's club.
//
//go:embed cookbook.md
var Cookbook string

// Yearbook is a page for the printer, not yet answered.
//
//go:embed yearbook.html
var Yearbook string
