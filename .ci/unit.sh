#!/usr/bin/env bash
# The systemd units, installed by the lines at the head of coldseam.service in a
# container that boots systemd: first start, kill -9 of the service and of all it
# runs, reboot, a backup by the timer, exposure by systemd's own measure.
#
# Debian, as root. Figures: proof-out/unit.txt
set -euo pipefail
cd "$(dirname "$0")/.."
. .ci/proof.sh

.ci/container-images.sh unit
work=$(mktemp -d /var/tmp/coldseam-unit.XXXXXX)
name=${work##*/}
trap 'remove "$name"; rm -rf "$work"' EXIT

begin unit
journal="-u coldseam -u coldseam-backup"
inside() { timeout 60 podman exec "$name" "$@"; }
answers() { inside curl -fsS -m 5 http://127.0.0.1:8080/healthz; }
booted() { inside systemctl is-system-running | grep -Eq 'running|degraded'; }
process() { inside systemctl show -P MainPID coldseam; }
killed() { # a new process of the service answers
	local now
	now=$(process) && [ "$now" != 0 ] && [ "$now" != "$before" ] && answers
}
keys() { inside sh -c 'sha256sum /var/lib/private/coldseam/*.key'; }

make -s build
note "program built"
podman run -d --name "$name" --systemd=always --privileged coldseam-unit >/dev/null
within 60 "systemd is up" booted

inside mkdir -p /srv/coldseam/bin
podman cp deploy "$name:/srv/coldseam/deploy"
podman cp bin/coldseam "$name:/srv/coldseam/bin/coldseam"
sed -n 's/^#   //p' deploy/coldseam.service >"$work/guide"
podman cp "$work/guide" "$name:/srv/coldseam/guide"
inside sh -eu -c 'cd /srv/coldseam && . ./guide' || fail "the guide's lines"
within 90 "installed by the guide's lines, pages answer" answers
made=$(keys)
[ "$(wc -l <<<"$made")" = 2 ] || fail "keys made at the first start: $made"
note "token.key and dkim.key made"

exposures

before=$(process)
inside sh -c "kill -9 $before"
within 60 "service killed, answers again" killed
before=$(process)
inside systemctl kill -s KILL coldseam
within 60 "service and its Postgres killed, answers again" killed

before=$(process)
inside systemctl reboot || true
within 60 "container stopped by the reboot" sh -c "podman inspect -f '{{.State.Running}}' $name | grep -qx false"
podman start "$name" >/dev/null
within 60 "systemd is up again" booted
within 90 "pages answer after the reboot" answers

# Commands by hand, as the guide says: beside the service as root, without it as its user.
inside coldseam subscriber list --config /etc/coldseam/coldseam.toml || fail "command beside the running service"
inside systemctl stop coldseam
inside systemd-run --pipe -p DynamicUser=yes -p User=coldseam -p StateDirectory=coldseam \
	coldseam subscriber list --config /etc/coldseam/coldseam.toml || fail "command without the service"
inside systemctl start coldseam
within 60 "commands beside the service and without it; pages answer again" answers

# The timer as installed, but for the hour.
inside systemctl list-timers --no-pager coldseam-backup.timer | grep -q coldseam-backup.service || fail "the timer is armed"
inside sh -eu -c 'mkdir -p /etc/systemd/system/coldseam-backup.timer.d
	printf "[Timer]\nOnCalendar=\nOnActiveSec=1\nRandomizedDelaySec=0\nAccuracySec=1\n" >/etc/systemd/system/coldseam-backup.timer.d/now.conf
	systemctl daemon-reload && systemctl restart coldseam-backup.timer'
within 120 "backup made by the timer" inside sh -c 'ls /var/lib/private/coldseam/backup/*.tar'
within 30 "backup unit ended well" inside sh -c 'systemctl show -P Result coldseam-backup | grep -qx success && ! systemctl is-active -q coldseam-backup'
[ "$made" = "$(keys)" ] || fail "the keys are the same"
note "keys as at the first start"
