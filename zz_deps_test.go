//go:build deps

package coldseam_test

import (
	_ "github.com/BurntSushi/toml"
	_ "github.com/alecthomas/kong"
	_ "github.com/arran4/golang-ical"
	_ "github.com/chromedp/cdproto/page"
	_ "github.com/chromedp/chromedp"
	_ "github.com/emersion/go-message/mail"
	_ "github.com/emersion/go-msgauth/dkim"
	_ "github.com/emersion/go-sasl"
	_ "github.com/emersion/go-smtp"
	_ "github.com/go-resty/resty/v2"
	_ "github.com/jackc/pgx/v5/pgxpool"
	_ "github.com/jackc/tern/v2/migrate"
	_ "github.com/prometheus/client_golang/prometheus/promhttp"
	_ "github.com/riverqueue/river"
	_ "github.com/riverqueue/river/riverdriver/riverpgxv5"
	_ "github.com/riverqueue/river/rivermigrate"
	_ "github.com/riverqueue/river/rivertype"
	_ "github.com/robfig/cron/v3"
	_ "github.com/stretchr/testify/require"
	_ "github.com/wneessen/go-mail"
	_ "golang.org/x/image/font"
	_ "golang.org/x/net/html/charset"
	_ "golang.org/x/time/rate"
	_ "gonum.org/v1/gonum/mat"
	_ "gonum.org/v1/plot/plotter"
	_ "pgregory.net/rapid"
)
