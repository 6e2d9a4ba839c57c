// Package morning makes a brief: the history of a reach becomes the inputs of
// the forecast, its result is stored with the corrections that it causes. It
// refits the models of a reach.
package morning

import (
	"log/slog"
	"sync"
	"time"

	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/mailing"
	"example.org/coldseam/forecast"
	"example.org/coldseam/forecast/run"
	"example.org/coldseam/forecast/verdict"
	"example.org/coldseam/ingest"
	"example.org/coldseam/store"
)

// Maker makes briefs: from history to inputs to a verdict that is stored.
type Maker struct {
	Config *config.Config
	DB     *store.DB
	Log    *slog.Logger
	Now    func() time.Time
	Table  verdict.Table // of the decision

	mail       *mailing.Mailer
	alertRules []verdict.AlertRule
	effects    verdict.Effects
	Species    []run.Species
	Profile    func(name string) (ingest.Profile, error)

	computing sync.Map                               // reaches whose brief is being computed
	MorningOf func(forecast.Inputs) forecast.Morning // forecast.Make but in tests
}

// New reads the rules of warnings; profiles are those of the configuration.
func New(e *env.Env, mail *mailing.Mailer) (*Maker, error) {
	rules, err := e.Config.Alerts()
	if err != nil {
		return nil, err
	}
	effects, err := e.Config.Effects()
	if err != nil {
		return nil, err
	}
	profiles := &ingest.Fetcher{Profiles: e.Config.Placed()}
	return &Maker{
		Config:     &e.Config,
		DB:         e.DB,
		Log:        e.Log,
		Now:        e.Now,
		Table:      e.Table,
		mail:       mail,
		alertRules: rules,
		effects:    effects,
		Species:    run.DefaultSpecies(),
		Profile:    profiles.Profile,
		MorningOf:  forecast.Make,
	}, nil
}
