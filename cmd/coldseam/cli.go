package main

import (
	"io"
)

const about = "River gauges to a go/no-go before dawn: forecasts, the lightest jig that holds bottom, one mail."

// streams are the command's outputs, so that tests can read them.
type streams struct{ out, err io.Writer }

// Globals are the flags every command takes.
type Globals struct {
	Config string `help:"The configuration file." default:"coldseam.toml" env:"COLDSEAM_CONFIG" type:"path"`
}

// cli is the whole command line, one field a sub-command.
type cli struct {
	Globals
	Parse parseCmd `cmd:"" help:"Show what a feed document contains, without a database."`
	Serve serveCmd `cmd:"" help:"Run the service: fetch, forecast, mail, pages."`
	Demo  demoCmd  `cmd:"" help:"Run the whole morning on invented rivers, on this machine alone."`
}
