package main

import (
	"example.org/coldseam/cmd/internal/admin"
	"example.org/coldseam/cmd/internal/club"
	"example.org/coldseam/cmd/internal/doctor"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/feeds"
	"example.org/coldseam/cmd/internal/recap"
	"example.org/coldseam/cmd/internal/setup"
)

const about = "River gauges to a go/no-go before dawn: forecasts, the lightest jig that holds bottom, one mail."

// cli is the whole command line, one field a sub-command.
type cli struct {
	env.Globals
	Init       setup.Init       `cmd:"" help:"Write a commented coldseam.toml and the keys; overwrites nothing."`
	Parse      parseCmd         `cmd:"" help:"Show what a feed document contains, without a database."`
	Brief      briefCmd         `cmd:"" help:"Make and show the brief; replay a past morning; hold or release sending."`
	Preview    previewCmd       `cmd:"" help:"Write the next morning's mail as it would be sent, and say who gets it; nothing is sent."`
	Import     setup.Import     `cmd:"" help:"Load documents, daily tables or a paper trip log from files."`
	Hindcast   hindcastCmd      `cmd:"" help:"Score the forecasts on a record they never saw, or those really issued."`
	Rig        rigCmd           `cmd:"" help:"The lightest jig that holds bottom, by hand or for a spot."`
	Runclock   runclockCmd      `cmd:"" help:"Run the spawning run's clock over a daily record."`
	Serve      club.Serve       `cmd:"" help:"Run the service: fetch, forecast, mail, pages."`
	Site       setup.Site       `cmd:"" help:"Set up a river from a feed; list gauges and reaches."`
	Reach      setup.Reach      `cmd:"" help:"What only a person can say of a reach: flow limits, ice."`
	Reading    setup.Reading    `cmd:"" help:"Stand for readings that are not trusted, with a reason."`
	Check      doctor.Check     `cmd:"" help:"Look at everything a morning rests on: found, wanted, how to mend it."`
	Fetch      feeds.Command    `cmd:"" help:"Bring the feeds home now; a back-fill with --from; --replay re-reads kept documents."`
	Migrate    admin.Migrate    `cmd:"" help:"Bring the database to this program's schema, after a backup."`
	Backup     admin.Backup     `cmd:"" help:"Back up database, configuration and keys into one verified file."`
	Restore    admin.Restore    `cmd:"" help:"Load a backup into an empty database; sending is held until released."`
	Subscriber admin.Subscriber `cmd:"" help:"Members: add, list, show, suppress, forget, export, import."`
	Handover   admin.Handover   `cmd:"" help:"Pack what the next admin needs: rivers, reasons, rules, names of keys, the restore drill."`
	Season     seasonCmd        `cmd:"" help:"Live a past season again: each morning by what was known then."`
	Verify     recap.Verify     `cmd:"" help:"Prove that nothing told was edited since, and grade it by what came."`
	Recap      recap.Command    `cmd:"" help:"The season in one page: HTML, text, CSV; or in SQL, read only."`
	Demo       demoCmd          `cmd:"" help:"Run the whole morning on invented rivers, on this machine alone."`
}
