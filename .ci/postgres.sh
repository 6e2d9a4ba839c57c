#!/usr/bin/env bash
# A Postgres of the club's own: 15 with an ordinary owner role, moved to 17 by
# backup and restore and by logical replication. Servers in containers of one
# network, the program on this machine.
#
# Debian, as root. Figures: proof-out/postgres.txt
set -euo pipefail
cd "$(dirname "$0")/.."
. .ci/proof.sh

.ci/container-images.sh postgres15 postgres17
make -s build
work=$(mktemp -d /var/tmp/coldseam-pg.XXXXXX)
net=${work##*/}
trap 'remove "$net-old" "$net-new"; podman network rm -f "$net" >/dev/null || true; rm -rf "$work"' EXIT
begin postgres
address() { podman inspect -f '{{range .NetworkSettings.Networks}}{{.IPAddress}}{{end}}' "$net-$1"; }
super() { local s=$1; shift; PGPASSWORD=super psql -X -q -At -v ON_ERROR_STOP=1 -h "$(address "$s")" -U postgres "$@"; }
url() { echo "postgres://keeper:ordinary@$(address "$1")/${2:-coldseam}"; }
program() { local s=$1; shift; COLDSEAM_DATABASE_URL=$(url "$s") bin/coldseam "$@" --config "$work/coldseam.toml"; }
server() { # NAME IMAGE
	podman run -d --name "$net-$1" --network "$net" -e POSTGRES_PASSWORD=super "$2" -c wal_level=logical >/dev/null
	within 90 "$1 answers: $2" super "$1" -c 'SELECT 1'
	super "$1" -c "CREATE ROLE keeper LOGIN PASSWORD 'ordinary'" -c 'CREATE DATABASE coldseam OWNER keeper'
}

podman network create "$net" >/dev/null
printf 'state_dir = "%s/state"\n[club]\nname = "Alder Landing Club"\nzone = "America/Chicago"\n' "$work" >"$work/coldseam.toml"
server old postgres:15-bookworm
server new postgres:17-trixie

program old migrate --readers-sql >"$work/readers.sql"
program old subscriber add one@club.example.org --confirmed >/dev/null || fail "a role that owns its database alone is enough"
note "15: schema made and member added by an ordinary role"
super old -d coldseam <"$work/readers.sql" || fail "what the superuser does once"
super old -c "COPY (SELECT d::date AS date, 90 + extract(doy FROM d)::int AS flow_m3s FROM generate_series('2023-01-01'::timestamp, '2024-12-31', '1 day') d) TO STDOUT (FORMAT csv, HEADER)" >"$work/daily.csv"
program old import --site hand:T-1 --zone America/Chicago --lat 45 --lon -92 "$work/daily.csv" >"$work/log" 2>&1 || { cat "$work/log"; fail "import"; }
rows() { super "$1" -d "${2:-coldseam}" -c 'SELECT count(*) FROM coldseam.observation' -c 'SELECT count(*) FROM coldseam.subscriber' | paste -sd ' '; }
note "15: $(rows old) observations and members"

# By the guide's backup and restore.
program old backup --dir "$work/backup" >/dev/null || fail "backup of 15"
COLDSEAM_DATABASE_URL=$(url new) bin/coldseam restore "$work"/backup/*.tar --files keep --config "$work/coldseam.toml" >"$work/log" 2>&1 || { tail -n 5 "$work/log"; fail "restore into 17"; }
[ "$(rows old)" = "$(rows new)" ] || fail "17 has $(rows new)"
program new subscriber add two@club.example.org --confirmed | grep -q 'member 2' || fail "17 goes on counting"
note "17 by backup and restore, owner role alone: same rows, next member is 2"

super new -d coldseam <"$work/readers.sql" || fail "the readers' role of 17, by the superuser"

# By logical replication: schema, rows, then what it leaves out, the sequences.
super new -c 'CREATE DATABASE moved OWNER keeper'
PGPASSWORD=super pg_dump -s -n coldseam -n season -n river -h "$(address old)" -U postgres coldseam | sed '/transaction_timeout/d' | super new -d moved >/dev/null
super old -d coldseam -c 'CREATE PUBLICATION moved FOR ALL TABLES'
super new -d moved -c "CREATE SUBSCRIPTION moved CONNECTION 'host=$(address old) user=postgres password=super dbname=coldseam' PUBLICATION moved" 2>/dev/null
copied() { [ "$(rows old)" = "$(rows new moved)" ] && [ "$(super new -d moved -c "SELECT count(*) FROM pg_subscription_rel WHERE srsubstate <> 'r'")" = 0 ]; }
within 120 "17 by logical replication: all tables copied" copied
program old subscriber add three@club.example.org --confirmed >/dev/null
within 60 "a member who joined meanwhile is there" copied
super new -d moved -c 'DROP SUBSCRIPTION moved' 2>/dev/null
super old -d coldseam -c "SELECT format('SELECT setval(%L, %s);', schemaname || '.' || sequencename, last_value) FROM pg_sequences WHERE last_value IS NOT NULL" | super new -d moved >/dev/null
COLDSEAM_DATABASE_URL=$(url new moved) bin/coldseam subscriber add four@club.example.org --confirmed --config "$work/coldseam.toml" | grep -q 'member 3' || fail "the sequences are those of 15"
note "17 by logical replication: next member is 3"
