package main

import (
	"net/http"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
	"example.org/coldseam/notify"
)

// metrics are what a monitor may see: ages, counts and times. No address,
// token or subscriber is ever a label.
type metrics struct {
	reg      *prometheus.Registry
	fetches  *prometheus.CounterVec
	rows     *prometheus.CounterVec
	newest   *prometheus.GaugeVec
	verdicts *prometheus.GaugeVec
	briefDur prometheus.Histogram
	mails    *prometheus.CounterVec
	replies  *prometheus.CounterVec
	outbox   *prometheus.GaugeVec
	tick     prometheus.Gauge
	backup   prometheus.Gauge
	crps     *prometheus.GaugeVec
}

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
	m.newest = gauge("feed_newest_valid_seconds", "Unix time of the newest value a feed brought.", "feed")
	m.verdicts = gauge("brief_verdict", "1 for the verdict of the newest brief of a reach.", "reach", "verdict")
	m.mails = counter("mail_total", "Mails by kind of outcome.", "state")
	m.replies = counter("mail_reply_total", "Relay replies by class.", "class")
	m.outbox = gauge("outbox_rows", "Outbox rows of the last two days by state.", "state")
	m.crps = gauge("forecast_crps", "Mean CRPS of issued forecasts, last 30 days.", "quantity", "lead")
	m.briefDur = prometheus.NewHistogram(prometheus.HistogramOpts{Namespace: "coldseam", Name: "brief_seconds",
		Help: "Time to make one brief.", Buckets: []float64{.05, .1, .25, .5, 1, 2, 5, 15, 60}})
	m.tick = prometheus.NewGauge(prometheus.GaugeOpts{Namespace: "coldseam", Name: "tick_seconds", Help: "Unix time of the last tick."})
	m.backup = prometheus.NewGauge(prometheus.GaugeOpts{Namespace: "coldseam", Name: "backup_seconds", Help: "Unix time of the newest backup."})
	m.reg.MustRegister(m.briefDur, m.tick, m.backup)
	return m
}

func (m *metrics) handler() http.Handler { return promhttp.HandlerFor(m.reg, promhttp.HandlerOpts{}) }

func (m *metrics) fetched(feed string, r ingest.Result, err error) {
	state := string(r.State)
	if err != nil {
		state = string(ingest.StateError)
	}
	m.fetches.WithLabelValues(feed, state).Inc()
	m.rows.WithLabelValues(feed, "added").Add(float64(r.Added))
	m.rows.WithLabelValues(feed, "revised").Add(float64(r.Revised))
	if !r.NewestValid.IsZero() {
		m.newest.WithLabelValues(feed).Set(float64(r.NewestValid.Unix()))
	}
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
	for state, n := range map[string]int{"sent": t.Sent, "deferred": t.Deferred, "failed": t.Failed, "unknown": t.Unknown,
		"expired": t.Expired, "skipped": t.Skipped, "held": t.Held} {
		m.mails.WithLabelValues(state).Add(float64(n))
	}
}
