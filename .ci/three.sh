#!/usr/bin/env bash
# Three servers of one club, each in a container of one network, on one database
# and a relay that takes a second for a mail. While all three send, one is killed
# and started again, one is cut from the network and one is paused, both for three
# minutes. Every member gets the mail; at each fault at most as many get it twice as
# the server had connections.
#
# Debian, as root. Figures: proof-out/three.txt
set -euo pipefail
cd "$(dirname "$0")/.."
. .ci/proof.sh

members=600
workers=4 # connections to the relay of each server
lost_s=180
.ci/container-images.sh postgres15 relay
make -s build
work=$(mktemp -d /var/tmp/coldseam-three.XXXXXX)
net=$(basename "$work" | tr 'A-Z.' 'a-z-')
finish() {
	local status=$?
	[ "$status" = 0 ] || for s in db relay a b c; do
		echo "== $s"
		podman logs --tail 15 "$net-$s" 2>&1 || true
	done
	podman unpause "$net-c" >/dev/null 2>&1 || true
	remove "$net-a" "$net-b" "$net-c" "$net-relay" "$net-db"
	podman network rm -f "$net" >/dev/null || true
	rm -rf "$work"
}
trap finish EXIT
begin three
address() { podman inspect -f '{{range .NetworkSettings.Networks}}{{.IPAddress}}{{end}}' "$net-$1"; }
super() { PGPASSWORD=super psql -X -q -At -v ON_ERROR_STOP=1 -h "$(address db)" -U postgres "$@"; }
count() { super -c "SELECT count(*) FROM coldseam.outbox WHERE kind = 'morning' AND $1"; }
sent() { [ "$(count "state = 'sent'")" -ge "$1" ]; }
sending() { [ "$(count "worker LIKE '$1-%' AND state = 'in_data'")" -gt 0 ]; }
holds() { count "worker LIKE '$1-%' AND state IN ('claimed', 'in_data')"; }
answers() { curl -fsS -m 5 "http://$(address "$1"):8080/healthz"; }

podman network create "$net" >/dev/null
podman run -d --name "$net-db" --network "$net" -e POSTGRES_PASSWORD=super postgres:15-bookworm >/dev/null
podman run -d --name "$net-relay" --network "$net" coldseam-relay >/dev/null
within 90 "Postgres answers" super -c 'SELECT 1'
relay() { podman exec "$net-relay" "$@"; }
within 60 "postfix answers" relay postfix status
relay useradd keeper
relay postconf -e luser_relay=keeper local_recipient_maps= mydestination=static:all 'smtpd_end_of_data_restrictions=sleep 1'
relay postfix reload 2>/dev/null

# The keys are the club's, so every server has them.
mkdir "$work/etc"
openssl rand -base64 48 >"$work/etc/token.key"
openssl genpkey -quiet -algorithm RSA -pkeyopt rsa_keygen_bits:2048 >"$work/etc/dkim.key"
sed -e 's/^#\(dkim_key_file\|token_key_file\)/\1/' -e "s/^unknown = .*/&\nworkers = $workers/" deploy/coldseam.toml >"$work/etc/coldseam.toml"
silent_reach >>"$work/etc/coldseam.toml"
coldseam() { # NAME COMMAND...: in a container of that name
	local name=$1
	shift
	podman run --name "$net-$name" --hostname "$name" --network "$net" \
		-v "$PWD/bin/coldseam:/usr/local/bin/coldseam:ro" -v "$work/etc:/etc/coldseam:ro" \
		-e "COLDSEAM_DATABASE_URL=postgres://postgres:super@$(address db)/postgres" \
		-e "COLDSEAM_SMTP=$(address relay):25" -e COLDSEAM_SMTP_TLS=none -e COLDSEAM_LISTEN=0.0.0.0:8080 \
		$detached debian:bookworm-slim coldseam "$@" --config /etc/coldseam/coldseam.toml
}

zone=$(noon_zone)
at=$(TZ=$zone date -d '4 minutes' +%H:%M)
{
	echo email,zone,send_at
	for i in $(seq "$members"); do echo "angler$i@home$((i % 30)).example,$zone,$at"; done
} >"$work/etc/members.csv"
detached=--rm coldseam setup subscriber import --confirmed /etc/coldseam/members.csv >"$work/log" 2>&1 || { cat "$work/log"; fail "import of members"; }
note "$members members for $at"
for s in a b c; do
	detached=-d coldseam "$s" serve >/dev/null
done
for s in a b c; do
	within 60 "server $s answers" answers "$s"
done

# Each fault hits mail under way.
within 400 "first mails" sent $((members / 20))
for s in a b c; do
	within 30 "server $s sends" sending "$s"
done
podman kill -s KILL "$net-a" >/dev/null
killed=$(holds a)
podman network disconnect "$net" "$net-b"
podman pause "$net-c" >/dev/null
began=$SECONDS
note "a killed with $killed mails in hand, b cut off with $(holds b), c paused with $(holds c)"
before=$(count "state = 'sent'")
podman start "$net-a" >/dev/null
within 90 "a started again, answers" answers a
within 170 "a sends" sent $((before + 20))
while [ $((SECONDS - began)) -lt "$lost_s" ]; do sleep 1; done
note "a alone for $lost_s s: $(($(count "state = 'sent'") - before)) mails"
podman unpause "$net-c" >/dev/null
podman network connect "$net" "$net-b"
within 600 "c woken, b back: all mails sent" sent "$members"
for s in a b c; do
	within 120 "server $s answers" answers "$s"
done
idle() { relay postqueue -p | grep -q empty && [ "$(count "state <> 'sent'")" = 0 ]; }
within 120 "nothing left to send, the relay's queue empty" idle

relay sed -n 's/^To: .*\(angler[0-9]*\)@.*/\1/p' /var/mail/keeper >"$work/to"
told=$(sort -u "$work/to" | wc -l)
copies=$(($(wc -l <"$work/to") - told))
note "$told of $members members told, $copies copies, at most $((3 * workers)); $(count 'attempt > 1') mails tried again"
[ "$told" = "$members" ] || fail "a mail is lost"
[ "$copies" -le $((3 * workers)) ] || fail "more copies than connections"
