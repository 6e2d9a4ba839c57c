package store

import (
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/riverqueue/river"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"

	"example.org/coldseam"
)

// queueSchema is where River keeps its tables.
const queueSchema = "river"

// The queues of the program.
const (
	QueueFetch       = "fetch"
	QueueCompute     = "compute" // briefs
	QueueMaintenance = "upkeep"  // fits and the daily round: minutes, and never before a morning's brief
	QueueMail        = "mail"
)

// FetchArgs asks for one fetch of one feed of a profile.
type FetchArgs struct {
	Profile string `json:"profile" river:"unique"`
	// key of the feed within the profile, never an address with a key in it
	Feed string    `json:"feed" river:"unique"`
	Slot time.Time `json:"slot" river:"unique"` // the due time, so that a slot is fetched once
}

// Kind is the name of the job.
func (FetchArgs) Kind() string { return "fetch" }

// InsertOpts puts it on its queue, once per slot.
func (FetchArgs) InsertOpts() river.InsertOpts {
	return river.InsertOpts{Queue: QueueFetch, MaxAttempts: 3, UniqueOpts: river.UniqueOpts{ByArgs: true}}
}

// BriefArgs asks for the brief of one reach and day.
type BriefArgs struct {
	Reach  coldseam.ReachID `json:"reach" river:"unique"`
	Day    coldseam.Date    `json:"day" river:"unique"`
	Issued time.Time        `json:"issued" river:"unique"`
}

// Kind is the name of the job.
func (BriefArgs) Kind() string { return "brief" }

// InsertOpts puts it on its queue, once per issue, before fits.
func (BriefArgs) InsertOpts() river.InsertOpts {
	return river.InsertOpts{Queue: QueueCompute, UniqueOpts: river.UniqueOpts{ByArgs: true}}
}

// MailArgs asks to send up to 50 rows of the outbox. It is not unique: the
// claim of the rows arbitrates, so a stuck job never blocks the next one.
type MailArgs struct {
	Mailing int64  `json:"edition"`
	Domain  string `json:"domain"` // the rows it was made for; the claim may hand out others
	N       int    `json:"n"`
}

// Kind is the name of the job.
func (MailArgs) Kind() string { return "mail" }

// InsertOpts puts it on its queue.
func (MailArgs) InsertOpts() river.InsertOpts { return river.InsertOpts{Queue: QueueMail} }

// RefitArgs asks to fit the models of one site anew.
type RefitArgs struct {
	Site coldseam.SiteID `json:"site" river:"unique"`
	Day  coldseam.Date   `json:"day" river:"unique"`
}

// Kind is the name of the job.
func (RefitArgs) Kind() string { return "refit" }

// InsertOpts puts it behind all that a morning needs.
func (RefitArgs) InsertOpts() river.InsertOpts {
	return river.InsertOpts{Queue: QueueMaintenance, UniqueOpts: river.UniqueOpts{ByArgs: true}}
}

// SeasonsArgs asks to replay the last spring and autumn of a reach for its page.
type SeasonsArgs struct {
	Reach coldseam.ReachID `json:"reach" river:"unique"`
	Asked time.Time        `json:"asked" river:"unique"`
}

// Kind is the name of the job.
func (SeasonsArgs) Kind() string { return "seasons" }

// InsertOpts puts it behind everything else.
func (SeasonsArgs) InsertOpts() river.InsertOpts {
	return river.InsertOpts{Queue: QueueMaintenance, Priority: river.PriorityDefault + 3,
		UniqueOpts: river.UniqueOpts{ByArgs: true}}
}

// MaintenanceArgs asks for the daily upkeep: scores, climatology, pruning.
type MaintenanceArgs struct {
	Day coldseam.Date `json:"day" river:"unique"`
}

// Kind is the name of the job.
func (MaintenanceArgs) Kind() string { return "upkeep" }

// InsertOpts puts it behind all that a morning needs, once a day.
func (MaintenanceArgs) InsertOpts() river.InsertOpts {
	return river.InsertOpts{Queue: QueueMaintenance, UniqueOpts: river.UniqueOpts{ByArgs: true}}
}

// QueueOptions of NewQueue; zero values are the settings of the house.
type QueueOptions struct {
	ID                   string // of this process; "" = River's own
	Fetch, Compute, Mail int    // workers; 0 = 4, 2, 4
	JobTimeout           time.Duration
	RescueAfter          time.Duration // must exceed JobTimeout
	SoftStop             time.Duration // shorter than the service manager's limit
	TestOnly             bool
}

// NewQueue returns a River client on the database. Without workers it can only
// insert. A mail worker whose work may take longer than JobTimeout must state
// its own Timeout: the rescuer respects it.
func (db *DB) NewQueue(workers *river.Workers, o QueueOptions) (*river.Client[pgx.Tx], error) {
	cfg := &river.Config{
		ID:                   o.ID,
		Schema:               queueSchema,
		Logger:               db.log,
		JobTimeout:           orDefault(o.JobTimeout, 60*time.Second),
		RescueStuckJobsAfter: orDefault(o.RescueAfter, 90*time.Second),
		SoftStopTimeout:      orDefault(o.SoftStop, 45*time.Second),
		MaxAttempts:          8,
		TestOnly:             o.TestOnly,
	}

	if workers != nil {
		cfg.Workers = workers
		cfg.Queues = map[string]river.QueueConfig{
			QueueFetch:       {MaxWorkers: orDefault(o.Fetch, 4)},
			QueueCompute:     {MaxWorkers: orDefault(o.Compute, 2)}, // one river that is slow leaves room for the others
			QueueMaintenance: {MaxWorkers: 1},
			QueueMail:        {MaxWorkers: orDefault(o.Mail, 4)},
		}
	}

	c, err := river.NewClient(pollingDriver{riverpgxv5.New(db.pool)}, cfg)
	if err != nil {
		return nil, fmt.Errorf("queue: %w", err)
	}

	return c, nil
}

// pollingDriver looks for work every second and neither sends nor hears
// notifications: their queue is one for the whole server, and whoever may log in
// to any of its databases can fill it, after which a job that notifies cannot be
// inserted, or send the words that pause a queue.
type pollingDriver struct{ *riverpgxv5.Driver }

// SupportsListener is false: the queue is polled.
func (pollingDriver) SupportsListener() bool { return false }

// SupportsListenNotify is false: an insert notifies nobody.
func (pollingDriver) SupportsListenNotify() bool { return false }

func orDefault[T comparable](v, d T) T {
	var zero T
	if v == zero {
		return d
	}
	return v
}
