package config

import (
	"net"
	"net/url"
	"regexp"
	"strconv"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/store"
)

var (
	domainName = regexp.MustCompile(
		`^([A-Za-z0-9]([A-Za-z0-9-]{0,61}[A-Za-z0-9])?\.)+[A-Za-z][A-Za-z0-9-]*[A-Za-z0-9]$`)
	dnsLabels = regexp.MustCompile(`^[A-Za-z0-9_-]+(\.[A-Za-z0-9_-]+)*$`)
	currency  = regexp.MustCompile(`^[A-Z]{3}$`)
)

func isHostPort(s string) bool {
	host, port, err := net.SplitHostPort(s)
	n, perr := strconv.Atoi(port)
	return err == nil && perr == nil && n >= 0 && n <= 65535 && !strings.ContainsAny(host, " /@")
}

// isRelay is a host and port that can be called.
func isRelay(s string) bool {
	return isHostPort(s) && !strings.HasPrefix(s, ":") && !strings.HasSuffix(s, ":0")
}

func isPage(s string) bool {
	u, err := url.Parse(s)
	return err == nil && (u.Scheme == "https" || u.Scheme == "http") && u.Hostname() != "" &&
		!strings.ContainsAny(s, " \t\n")
}

func isBase(s string) bool {
	u, err := url.Parse(s)
	return isPage(s) && err == nil && u.RawQuery == "" && u.Fragment == "" && u.User == nil
}

func isAddress(s string) bool { return store.CheckEmail(s) == nil }

func isZone(s string) bool {
	_, err := time.LoadLocation(s)
	return err == nil && s != "Local"
}

func isDate(s string) bool {
	d, err := coldseam.ParseDate(s)
	return err == nil && d.Year >= 1900 && d.Year < 2200
}

func isRole(s string) bool { return !strings.Contains(s, "@") }

// isDatabase: the value may hold a password, so it is never repeated.
func isDatabase(s string) bool {
	u, err := url.Parse(s)
	return err == nil && (u.Scheme == "postgres" || u.Scheme == "postgresql") ||
		!strings.Contains(s, "://") && regexp.MustCompile(`^\s*[a-z_]+\s*=`).MatchString(s)
}
