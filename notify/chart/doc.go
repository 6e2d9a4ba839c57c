// Package chart draws what the mail, the pages and the hindcast show: flow and
// temperature fans, the weight chart of a spot, and the proof of the forecasts.
//
// A fan has one geometry (fan.go) and two writers: SVG with style-sheet
// classes for the pages (svg.go), an indexed PNG on light paper for the mail
// (mail.go). Positions across are shares of the plot's width, positions down
// are pixels, so that the page's text never scales with its width.
package chart
