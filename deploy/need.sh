#!/bin/sh
# need.sh NAME... - make sure that what a make target needs is on this machine.
# As root or with password-less sudo it installs Debian packages; otherwise it
# names them in one line and exits 2. chromium, dkim, icalendar and libxml2 are
# second implementations for tests and benchmarks only: without them those skip
# and say so, so an ordinary user is not stopped by them.
set -u

have() {
	case $1 in
	postgres)
		command -v postgres >/dev/null 2>&1 && command -v initdb >/dev/null 2>&1 && return 0
		[ -n "${PG_BIN:-}" ] && [ -x "$PG_BIN/initdb" ] && return 0
		for initdb in /usr/lib/postgresql/*/bin/initdb /usr/pgsql-*/bin/initdb; do
			[ -x "$initdb" ] && return 0
		done
		return 1 ;;
	gcc) command -v gcc >/dev/null 2>&1 ;;
	chromium) command -v chromium >/dev/null 2>&1 ;;
	dkim) /usr/bin/python3 -c 'import dkim' >/dev/null 2>&1 ;;
	icalendar) /usr/bin/python3 -c 'import icalendar' >/dev/null 2>&1 ;;
	libxml2) command -v xml2-config >/dev/null 2>&1 ;;
	esac
}

package() {
	case $1 in
	postgres) echo postgresql ;;
	gcc) echo gcc libc6-dev ;;
	chromium) echo chromium fonts-liberation ;;
	dkim) echo python3-dkim ;;
	icalendar) echo python3-icalendar ;;
	libxml2) echo libxml2-dev ;;
	esac
}

missing='' must=''
for n in "$@"; do
	if ! have "$n"; then
		missing="$missing $(package "$n")"
		case $n in postgres | gcc) must="$must $(package "$n")" ;; esac
	fi
done
if ! command -v go >/dev/null 2>&1; then
	echo "coldseam: Go 1.26 is missing: install it and put it on the PATH" >&2
	exit 2
fi
[ -z "$missing" ] && exit 0

sudo=''
if [ "$(id -u)" != 0 ]; then
	if command -v sudo >/dev/null 2>&1 && sudo -n true 2>/dev/null; then
		sudo='sudo -n'
	elif [ -n "$must" ]; then
		echo "coldseam: missing packages:$must - install them as root, for example: apt-get install$must" >&2
		exit 2
	else
		echo "coldseam: without$missing some tests skip and say so" >&2
		exit 0
	fi
fi
if ! command -v apt-get >/dev/null 2>&1; then
	echo "coldseam: missing packages:$missing - this script installs on Debian only" >&2
	exit 2
fi
# Debian's postgresql package makes and starts a cluster of its own; ours is private.
if [ ! -e /etc/postgresql-common/createcluster.conf ]; then
	$sudo mkdir -p /etc/postgresql-common
	echo 'create_main_cluster = false' | $sudo tee /etc/postgresql-common/createcluster.conf >/dev/null
fi
echo "coldseam: installing$missing" >&2
$sudo apt-get update -qq >/dev/null 2>&1
# shellcheck disable=SC2086
if ! DEBIAN_FRONTEND=noninteractive $sudo apt-get install -y -qq --no-install-recommends $missing >/dev/null 2>/tmp/coldseam-apt.$$; then
	tail -n 2 /tmp/coldseam-apt.$$ >&2
	rm -f /tmp/coldseam-apt.$$
	echo "coldseam: could not install$missing" >&2
	exit 2
fi
rm -f /tmp/coldseam-apt.$$
