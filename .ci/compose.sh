#!/usr/bin/env bash
# docker-compose.yml by the lines at its head: images built, all services up from
# nothing, a first morning mail through the relay into a mailbox, each service
# restarted, a backup. The gauge does not answer, so the word is NO CALL.
#
# Debian, as root; port 8080 of the loopback must be free. Figures: proof-out/compose.txt
set -euo pipefail
cd "$(dirname "$0")/.."
. .ci/proof.sh

.ci/container-images.sh golang postgres15
work=$(mktemp -d /var/tmp/coldseam-compose.XXXXXX)
project=$(basename "$work" | tr 'A-Z.' 'a-z-')
compose() {
	(cd "$work/coldseam" && podman-compose -p "$project" \
		--podman-build-args "--isolation chroot --network host" "$@") >>"$work/log" 2>&1
}
finish() {
	local status=$?
	[ "$status" = 0 ] || tail -n 40 "$work/log"
	compose down -v -t 5 || true
	podman network rm -f "${project}_default" >/dev/null || true
	podman rmi -f "${project}_coldseam" "${project}_relay" >/dev/null || true
	rm -rf "$work"
}
trap finish EXIT

begin compose
in_service() { local service=$1; shift; timeout 120 podman exec "${project}_${service}_1" "$@"; }
program() { in_service coldseam coldseam "$@"; }
answers() { curl -fsS -m 5 http://127.0.0.1:8080/healthz; }

git clone -q . "$work/coldseam"
(cd "$work/coldseam" && sed -n 's/^#   //p' docker-compose.yml | grep -v '^docker ' >"$work/guide" && bash -eu "$work/guide")
silent_reach >>"$work/coldseam/coldseam.toml"

compose build
note "images built"
compose up -d
within 120 "pages answer on 127.0.0.1:8080" answers
keys=$(in_service coldseam sh -c 'sha256sum /var/lib/coldseam/*.key')
[ "$(wc -l <<<"$keys")" = 2 ] || fail "keys made at the first start: $keys"
note "token.key and dkim.key made"
! in_service coldseam touch /written 2>/dev/null || fail "the root is read only"
open=$(podman ps -q --filter "name=^${project}_" | xargs -n1 podman port)
[ "$open" = "8080/tcp -> 127.0.0.1:8080" ] || fail "open to the machine: $open"
note "no port but 127.0.0.1:8080; root read only"

# A mailbox in the relay stands for the member's.
in_service relay useradd keeper
zone=$(noon_zone)
at=$(TZ=$zone date -d '2 minutes' +%H:%M)
program subscriber add keeper@mail.example.org --confirmed --zone "$zone" --send-at "$at" >>"$work/log"
note "member for $at"
within 300 "first morning mail in the mailbox" in_service relay grep -q '^Subject: NO CALL' /var/mail/keeper
in_service relay grep -q '^DKIM-Signature:' /var/mail/keeper || fail "the mail is signed"
podman logs "${project}_relay_1" 2>&1 | grep -o 'dsn=[0-9.]*, status=[a-z]*' | sort | uniq -c | tee -a "$figures"

for service in db relay coldseam; do
	compose restart -t 30 "$service"
	within 90 "$service restarted, pages answer" answers
done
[ "$keys" = "$(in_service coldseam sh -c 'sha256sum /var/lib/coldseam/*.key')" ] || fail "the keys are the same"
in_service relay useradd second || true
program subscriber add second@mail.example.org >>"$work/log"
within 120 "confirm mail after all restarts" in_service relay grep -q '^DKIM-Signature:' /var/mail/second
program backup >>"$work/log"
in_service coldseam sh -c 'ls /var/lib/coldseam/backup/*.tar' >/dev/null || fail "the backup is in the volume state"
note "backup in the volume state"
compose up -d --force-recreate
within 120 "all containers made anew, pages answer" answers
program subscriber list | grep -c mail.example.org | grep -qx 2 || fail "both members are there"
[ "$keys" = "$(in_service coldseam sh -c 'sha256sum /var/lib/coldseam/*.key')" ] || fail "the keys are the same"
note "members and keys are there"
