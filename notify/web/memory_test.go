package web

import (
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"net/http"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/notify"
	"example.org/coldseam/notify/brieftest"
)

// memory is a store in memory. It counts writes, so that a test can show that
// a page changed nothing.
type memory struct {
	mu      sync.Mutex
	briefs  []coldseam.Brief
	reaches []coldseam.Reach
	subs    map[int64]coldseam.Subscriber
	trips   map[string]coldseam.Trip
	confirm map[string]int // confirm mails by address
	welcome int
	writes  int
	fail    error // returned by every call
	season  Season
	noScore bool
	table   json.RawMessage
	bank    []coldseam.BankWord // newest first
	timings []coldseam.FloatTiming
}

func newMemory() *memory {
	m := &memory{
		briefs:  brieftest.All(),
		subs:    map[int64]coldseam.Subscriber{},
		trips:   map[string]coldseam.Trip{},
		confirm: map[string]int{},
		season: Season{Year: 2027, Years: []int{2026, 2027}, Seal: "0123456789abcdef",
			Parts: `<h2>The catch</h2><div class="scroll" tabindex="0" role="region" aria-label="Answer"><table><thead><tr><th scope="col">reach</th></tr></thead><tbody><tr><td>Bend reach</td></tr></tbody></table></div>`},
	}
	for _, b := range m.briefs {
		r := coldseam.Reach{
			ID:      b.Reach,
			River:   b.River,
			Name:    b.ReachName,
			Zone:    b.Zone,
			Species: []string{"walleye"},
			Rules:   b.Rules,
		}
		for _, j := range b.Jig {
			r.Spots = append(r.Spots, coldseam.Spot{ID: j.SpotID, Name: j.Spot, Kind: j.Kind})
		}
		m.reaches = append(m.reaches, r)
	}
	m.subs[7] = coldseam.Subscriber{
		ID:        7,
		Email:     "ann@example.org",
		State:     "confirmed",
		CreatedAt: brieftest.Issued,
		Prefs: coldseam.Preferences{
			Reaches: []coldseam.ReachID{"tamsen-bend", "brandt-lower"}, Zone: brieftest.Zone, SendAt: "04:45", Units: "us",
			WindowFrom: "06:00", WindowTo: "10:00",
			Line: "braid-0.14", Presentation: "quartering", BoxOz: []float64{.125, .1875, .25, .375}},
	}
	return m
}

// lock begins one call; write says whether it would change a row.
func (m *memory) lock(write bool) error {
	m.mu.Lock()
	if m.fail != nil {
		return m.fail
	}
	if write {
		m.writes++
	}
	return nil
}

// rows is the whole content, to compare.
func (m *memory) rows(t *testing.T) string {
	t.Helper()
	m.mu.Lock()
	defer m.mu.Unlock()
	b, err := json.Marshal([]any{m.subs, m.trips, m.confirm, m.welcome, m.writes})
	require.NoError(t, err)
	return string(b)
}

func (m *memory) Board(context.Context) ([]coldseam.Brief, error) {
	defer m.mu.Unlock()
	if err := m.lock(false); err != nil {
		return nil, err
	}
	return append([]coldseam.Brief(nil), m.briefs...), nil
}

func (m *memory) Reaches(context.Context) ([]coldseam.Reach, error) {
	defer m.mu.Unlock()
	return m.reaches, m.lock(false)
}

func (m *memory) BankWords(context.Context, coldseam.ReachID) ([]coldseam.BankWord, error) {
	defer m.mu.Unlock()
	if err := m.lock(false); err != nil {
		return nil, err
	}
	return slices.Clone(m.bank), nil
}

func (m *memory) SaveBankWord(_ context.Context, w coldseam.BankWord) error {
	defer m.mu.Unlock()
	if err := m.lock(true); err != nil {
		return err
	}
	if !slices.ContainsFunc(m.bank, func(o coldseam.BankWord) bool { return w.Entry != "" && o.Entry == w.Entry }) {
		m.bank = append([]coldseam.BankWord{w}, m.bank...)
	}
	return nil
}

func (m *memory) SaveTiming(_ context.Context, t coldseam.FloatTiming) error {
	defer m.mu.Unlock()
	if err := m.lock(true); err != nil {
		return err
	}
	if !slices.ContainsFunc(m.timings, func(o coldseam.FloatTiming) bool { return t.Entry != "" && o.Entry == t.Entry }) {
		m.timings = append(m.timings, t)
	}
	return nil
}

func (m *memory) RigTable(context.Context, coldseam.Brief) (json.RawMessage, error) {
	return m.table, nil
}

func (m *memory) PastSeasons(_ context.Context, id coldseam.ReachID) ([]coldseam.Replay, error) {
	day := coldseam.Date{Year: 2025, Month: 4, Day: 30}
	r := coldseam.Replay{From: day, To: day.Add(1), Cells: []coldseam.ReplayCell{
		{Day: day, Word: coldseam.Stop, Stops: []string{"max_flow"}}, {Day: day.Add(1), Word: coldseam.Go}}}
	r.Sum()
	if id != "tamsen-bend" {
		return nil, nil
	}
	return []coldseam.Replay{r}, nil
}

func (m *memory) Scorecard(_ context.Context, id coldseam.ReachID) (Scorecard, error) {
	defer m.mu.Unlock()
	if err := m.lock(false); err != nil || m.noScore || id != "tamsen-bend" {
		return Scorecard{}, err
	}
	return Scorecard{
		Since:    coldseam.Date{Year: 2025, Month: 3, Day: 1},
		Mornings: 58,
		Brier:    .19,
		Climate:  .23,
		Gain:     [2]float64{.01, .07},
		GainOK:   true,
		Bins:     scoreBins(),
	}, nil
}

func (m *memory) Season(_ context.Context, year int) (Season, error) {
	defer m.mu.Unlock()
	if err := m.lock(false); err != nil {
		return Season{}, err
	}
	if year != 0 && year != m.season.Year {
		return Season{}, fmt.Errorf("season %d: %w", year, coldseam.ErrNotFound)
	}
	return m.season, nil
}

func (m *memory) Status(context.Context) (Status, error) {
	defer m.mu.Unlock()
	return Status{
		Feeds: []FeedState{{"Flow, Mill Bridge", "Meridian water survey", brieftest.Issued.Add(-20 * time.Minute),
			6 * time.Hour, "good", ""},
			{"Flow, Quern weir", "Meridian water survey", brieftest.Issued.Add(-7 * time.Hour), 6 * time.Hour, "good",
				"connection refused"}},
		Briefs: []BriefState{{"Tamsen River", "Bend reach", brieftest.Zone, brieftest.Day, brieftest.Issued, coldseam.Go}},
		Mail:   MailCount{212, 211, 1, 0},
	}, m.lock(false)
}

func (m *memory) SignUp(_ context.Context, email string, p coldseam.Preferences, at time.Time) error {
	defer m.mu.Unlock()
	if err := m.lock(true); err != nil {
		return err
	}
	for _, s := range m.subs {
		if s.Email == email && s.State != "pending" {
			return nil
		}
	}
	if m.confirm[email] >= 3 {
		return nil
	}
	m.confirm[email]++
	id := int64(100 + len(m.subs))
	m.subs[id] = coldseam.Subscriber{ID: id, Email: email, State: "pending", CreatedAt: at, Prefs: p}
	return nil
}

func (m *memory) Confirm(_ context.Context, id int64, at time.Time) error {
	defer m.mu.Unlock()
	if err := m.lock(true); err != nil {
		return err
	}
	s, ok := m.subs[id]
	if !ok {
		return fmt.Errorf("subscriber: %w", coldseam.ErrNotFound)
	}
	if s.State == "pending" {
		s.State, s.ConfirmedAt = "confirmed", at
		m.welcome++
	}
	m.subs[id] = s
	return nil
}

func (m *memory) Subscriber(_ context.Context, id int64) (coldseam.Subscriber, error) {
	defer m.mu.Unlock()
	if err := m.lock(false); err != nil {
		return coldseam.Subscriber{}, err
	}
	s, ok := m.subs[id]
	if !ok {
		return s, fmt.Errorf("subscriber: %w", coldseam.ErrNotFound)
	}
	return s, nil
}

func (m *memory) SavePreferences(_ context.Context, id int64, p coldseam.Preferences, _ time.Time) error {
	defer m.mu.Unlock()
	if err := m.lock(true); err != nil {
		return err
	}
	s := m.subs[id]
	s.Prefs = p
	m.subs[id] = s
	return nil
}

func (m *memory) Data(_ context.Context, id int64) ([]byte, error) {
	defer m.mu.Unlock()
	if err := m.lock(false); err != nil {
		return nil, err
	}
	s, ok := m.subs[id]
	if !ok {
		return nil, fmt.Errorf("subscriber: %w", coldseam.ErrNotFound)
	}
	return json.Marshal(s)
}

func (m *memory) Forget(_ context.Context, id int64) error {
	defer m.mu.Unlock()
	if err := m.lock(true); err != nil {
		return err
	}
	delete(m.subs, id)
	return nil
}

func (m *memory) Unsubscribe(_ context.Context, id int64, _ time.Time) error {
	defer m.mu.Unlock()
	if err := m.lock(true); err != nil {
		return err
	}
	if s, ok := m.subs[id]; ok {
		s.State = "unsubscribed"
		m.subs[id] = s
	}
	return nil
}

func tripKey(sub int64, r coldseam.ReachID, d coldseam.Date) string {
	return fmt.Sprint(sub, " ", r, " ", d)
}

func (m *memory) Trip(_ context.Context, sub int64, r coldseam.ReachID, d coldseam.Date) (coldseam.Trip, error) {
	defer m.mu.Unlock()
	if err := m.lock(false); err != nil {
		return coldseam.Trip{}, err
	}
	t, ok := m.trips[tripKey(sub, r, d)]
	if !ok {
		return t, fmt.Errorf("trip: %w", coldseam.ErrNotFound)
	}
	return t, nil
}

func (m *memory) SaveTrip(_ context.Context, t coldseam.Trip) error {
	defer m.mu.Unlock()
	if err := m.lock(true); err != nil {
		return err
	}
	m.trips[tripKey(t.Subscriber, t.Reach, t.Date)] = t
	return nil
}

const publicURL = "https://club.example"

func testLinks() notify.Links {
	return notify.Links{PublicURL: publicURL, Tokens: notify.Tokens{List: "coldseam.club.example",
		Current:  notify.TokenKey{ID: 2, Secret: []byte("0123456789abcdef0123456789abcdef")},
		Previous: notify.TokenKey{ID: 1, Secret: []byte("fedcba9876543210fedcba9876543210")}}}
}

// clock is 05:10 local on the day of the sample.
func clock() time.Time { return brieftest.Issued.Add(20 * time.Minute) }

func testConfig(m *memory) Config {
	return Config{
		Store:       m,
		Links:       testLinks(),
		Club:        "Tamsen Valley Walleye Club",
		Now:         clock,
		Log:         slog.New(slog.DiscardHandler),
		SignUpFloor: -1,
		Limits:      Limits{PagesPerMinute: 1e6},
	}
}

func testHandler(t *testing.T, m *memory) http.Handler {
	t.Helper()
	h, err := New(testConfig(m))
	require.NoError(t, err)
	return h
}

func scoreBins() []ScoreBin {
	return []ScoreBin{{From: 0, To: 2, Mornings: 21, Good: 3}, {From: 3, To: 4, Mornings: 17, Good: 6},
		{From: 5, To: 6, Mornings: 14, Good: 7}, {From: 7, To: 10, Mornings: 6, Good: 5}}
}
