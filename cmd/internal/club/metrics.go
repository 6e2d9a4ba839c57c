package club

import (
	"context"
	"net/http"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/mailing"
	"example.org/coldseam/ingest"
	"example.org/coldseam/notify"
	"example.org/coldseam/store"
	"example.org/coldseam/store/backup"
)

// metrics are what a monitor may see: ages, counts and times, named by the
// conventions of Prometheus [source: prometheus.io, Metric and label naming]. No
// address, token or subscriber is ever a label. What this process did is counted
// here; what the club's database says is read at every scrape by stateCollector.
type metrics struct {
	reg      *prometheus.Registry
	fetches  *prometheus.CounterVec
	rows     *prometheus.CounterVec
	verdicts *prometheus.GaugeVec
	briefDur prometheus.Histogram
	mails    *prometheus.CounterVec
	replies  *prometheus.CounterVec
	tick     prometheus.Gauge
	backup   prometheus.Gauge
	crps     *prometheus.GaugeVec
}

// newMetrics registers the metrics of one server.
func newMetrics() *metrics {
	m := &metrics{reg: prometheus.NewRegistry()}
	counter := func(name, help string, labels ...string) *prometheus.CounterVec {
		c := prometheus.NewCounterVec(prometheus.CounterOpts{Namespace: "coldseam", Name: name, Help: help}, labels)
		m.reg.MustRegister(c)
		return c
	}

	gauge := func(name, help string, labels ...string) *prometheus.GaugeVec {
		g := prometheus.NewGaugeVec(prometheus.GaugeOpts{Namespace: "coldseam", Name: name, Help: help}, labels)
		m.reg.MustRegister(g)
		return g
	}
	m.fetches = counter("fetch_total", "Fetches by feed and what came of them.", "feed", "state")
	m.rows = counter("fetch_rows_total", "Rows stored by feed: added or revised.", "feed", "kind")
	m.verdicts = gauge("brief_verdict", "1 for the verdict of the newest brief of a reach.", "reach", "verdict")

	m.mails = counter("mail_total", "Mails by kind of outcome.", "state")
	m.replies = counter("mail_reply_total", "Relay replies by class.", "class")
	m.crps = gauge("forecast_crps", "Mean CRPS of issued forecasts, last 30 days.", "quantity", "lead")
	m.briefDur = prometheus.NewHistogram(prometheus.HistogramOpts{Namespace: "coldseam", Name: "brief_duration_seconds",
		Help: "Time to make one brief.", Buckets: []float64{.05, .1, .25, .5, 1, 2, 5, 15, 60}})
	m.tick = prometheus.NewGauge(prometheus.GaugeOpts{Namespace: "coldseam", Name: "last_tick_timestamp_seconds",
		Help: "Unix time of the last tick."})
	m.backup = prometheus.NewGauge(prometheus.GaugeOpts{Namespace: "coldseam", Name: "last_backup_timestamp_seconds",
		Help: "Unix time of the newest backup."})
	m.reg.MustRegister(m.briefDur, m.tick, m.backup)
	return m
}

// MetricsHandler serves what this process counted, what the database says and
// what Go and the kernel say of the process.
func (a *App) MetricsHandler() http.Handler {
	reg := prometheus.NewRegistry()
	reg.MustRegister(stateCollector{a.env, a.mail}, collectors.NewGoCollector(), collectors.NewBuildInfoCollector(),
		collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	return promhttp.HandlerFor(prometheus.Gatherers{a.metrics.reg, reg}, promhttp.HandlerOpts{})
}

// scrapeTimeout is below the usual ten seconds of a scrape.
const scrapeTimeout = 8 * time.Second

// stateCollector reads at every scrape what all servers of the club share.
type stateCollector struct {
	env  *env.Env
	mail *mailing.Mailer
}

// Describe names nothing: what there is depends on the club's rivers.
func (stateCollector) Describe(chan<- *prometheus.Desc) {}

// Collect reads the state. What cannot be read is left out, and database_up
// says it.
func (c stateCollector) Collect(out chan<- prometheus.Metric) {
	ctx, cancel := context.WithTimeout(context.Background(), scrapeTimeout)
	defer cancel()
	gauge := func(name, help string, v float64, labels ...string) { // labels: name, value, name, value
		var names, values []string
		for i := 0; i < len(labels); i += 2 {
			names, values = append(names, labels[i]), append(values, labels[i+1])
		}
		desc := prometheus.NewDesc("coldseam_"+name, help, names, nil)
		out <- prometheus.MustNewConstMetric(desc, prometheus.GaugeValue, v, values...)
	}

	for what, dir := range map[string]string{"state": c.env.Config.StateDir, "backup": c.env.Config.Backup.Dir} {
		if free, total, err := env.DiskSpace(env.Existing(dir)); err == nil {
			gauge("disk_free_bytes", "Room left where state and backups lie.", float64(free), "directory", what)
			gauge("disk_size_bytes", "Size of that file system.", float64(total), "directory", what)
		}
	}

	up := 1.0
	for _, read := range []func(context.Context, func(string, string, float64, ...string)) error{c.work, c.newest,
		c.morning} {
		if err := read(ctx, gauge); err != nil {
			c.env.Log.Warn("metrics", "err", err)
			up = 0
		}
	}
	gauge("database_up", "1 when all that a scrape reads of the database was read.", up)
}

// work is the queue, the outbox and what holds mail back.
func (c stateCollector) work(ctx context.Context, gauge func(string, string, float64, ...string)) error {
	s, err := c.env.DB.Status(ctx)
	if err != nil {
		return err
	}

	for queue, states := range s.Jobs {
		for state, n := range states {
			gauge("queue_jobs", "Jobs in the queue by state.", float64(n), "queue", queue, "state", state)
		}
	}

	for state, n := range s.Mail {
		gauge("outbox_mails", "Mails of today and yesterday by state.", float64(n), "state", state)
	}
	hold := 0.0
	if s.Held {
		hold = 1
	}
	gauge("queue_oldest_due_seconds", "How long the oldest job that is due has waited.", s.OldestJob.Seconds())
	gauge("mail_hold", "1 while the admin holds all sending.", hold)
	gauge("mail_editions_stopped", "Editions that were stopped by a fault and wait.", float64(s.StoppedEds))
	gauge("database_size_bytes", "Size of the database.", float64(s.Bytes))
	return nil
}

// newest is how far the feeds have come: the newest value of each gauge, the
// newest issue of each weather point, the last good reading of each warning feed.
func (c stateCollector) newest(ctx context.Context, gauge func(string, string, float64, ...string)) error {
	const help = "Unix time of the newest value of a gauge, the newest issue of a weather forecast, the last good reading of a warning feed."
	list, err := c.env.DB.NewestValues(ctx)
	if err != nil {
		return err
	}
	warnings := map[string]bool{}
	for _, p := range c.env.Config.Profiles {
		warnings[p.Name] = p.Format == ingest.FormatCAP
	}

	for _, v := range list {
		if v.Kind == store.KindFeed && !warnings[v.Source] {
			continue
		}
		if v.Kind == store.KindFeed {
			v.Kind = "warnings"
		}
		gauge("newest_value_timestamp_seconds", help, float64(v.At.Unix()), "kind", v.Kind, "source", v.Source,
			"parameter", string(v.Param))
	}

	return nil
}

// morning is how many of today's mails are due by now and how many are sent.
func (c stateCollector) morning(ctx context.Context, gauge func(string, string, float64, ...string)) error {
	loc := env.Zone(c.env.Config.Club.Zone)
	today := coldseam.DateOf(c.env.Now().In(loc))
	sent, due, err := c.mail.Mornings(ctx, today)
	if err != nil {
		return err
	}
	gauge("morning_mails_due", "Morning mails of today that should be out by now.", float64(due))
	gauge("morning_mails_sent", "Morning mails of today that are sent.", float64(sent))
	if deadline, err := coldseam.ParseClock(c.env.Config.Club.Deadline); err == nil {
		gauge("morning_deadline_timestamp_seconds", "Unix time by which today's mails should be out.",
			float64(today.At(deadline, loc).Unix()))
	}
	return nil
}

func (m *metrics) fetched(feed string, r ingest.Result, err error) {
	state := string(r.State)
	if err != nil {
		state = string(ingest.StateError)
	}
	m.fetches.WithLabelValues(feed, state).Inc()
	m.rows.WithLabelValues(feed, "added").Add(float64(r.Added))
	m.rows.WithLabelValues(feed, "revised").Add(float64(r.Revised))
}

func (m *metrics) briefed(b coldseam.Brief, took time.Duration) {
	m.briefDur.Observe(took.Seconds())
	for _, v := range []coldseam.Verdict{coldseam.NoCall, coldseam.Stop, coldseam.Stay, coldseam.TossUp, coldseam.Go} {
		x := 0.0
		if v == b.Verdict {
			x = 1
		}
		m.verdicts.WithLabelValues(string(b.Reach), v.String()).Set(x)
	}
}

func (m *metrics) mailed(t notify.Tally) {
	for state, n := range map[string]int{"sent": t.Sent, "deferred": t.Deferred, "failed": t.Failed,
		"unknown": t.Unknown,
		"expired": t.Expired, "skipped": t.Skipped, "held": t.Held} {
		m.mails.WithLabelValues(state).Add(float64(n))
	}
}

// noteBackup shows the age of the newest backup to a monitor. A directory that
// cannot be read leaves the old figure, which grows stale by itself; check
// names the reason.
func (a *App) noteBackup() {
	if list, err := backup.List(a.env.Config.Backup.Dir); err == nil && len(list) > 0 {
		a.metrics.backup.Set(float64(list[0].MadeAt.Unix()))
	}
}
