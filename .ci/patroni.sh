#!/usr/bin/env bash
# A Postgres of three nodes that elect their own primary, killed at send time:
# every member's mail goes out, none is lost, and the season is read on a
# replica. Nodes, program and relay are containers of one network.
#
# Debian, as root. Figures: proof-out/patroni.txt
set -euo pipefail
cd "$(dirname "$0")/.."
. .ci/proof.sh

members=400
.ci/container-images.sh debian relay
CGO_ENABLED=0 make -s build
work=$(mktemp -d /var/tmp/coldseam-ha.XXXXXX)
net=${work##*/}
finish() {
	local status=$?
	[ "$status" = 0 ] || tail -n 20 "$work/serve.log" 2>/dev/null | cut -c1-300 || true
	remove "$net-a" "$net-b" "$net-c" "$net-club" "$net-relay"
	podman network rm -f "$net" >/dev/null || true
	rm -rf "$work"
}
trap finish EXIT
begin patroni

mkdir "$work/node"
cat >"$work/node/node" <<'END'
#!/bin/bash
# node NAME PEER...: one member of the store that elects, and one Postgres.
set -eu
me=$1
cluster=$(for n in "$@"; do echo "$n=http://$n:2380"; done | sort | paste -sd,)
hosts=$(for n in "$@"; do echo "$n:2379"; done | sort | paste -sd,)
ETCD_ENABLE_V2=true ETCD_UNSUPPORTED_ARCH=$(dpkg --print-architecture) etcd --name "$me" --data-dir /var/lib/etcd/node --initial-cluster "$cluster" \
	--initial-cluster-state new --listen-peer-urls http://0.0.0.0:2380 --initial-advertise-peer-urls "http://$me:2380" \
	--listen-client-urls http://0.0.0.0:2379 --advertise-client-urls "http://$me:2379" &
cat >/etc/patroni.yml <<YAML
scope: club
name: $me
restapi: {listen: "0.0.0.0:8008", connect_address: "$me:8008"}
etcd3: {hosts: "$hosts"}
bootstrap:
  dcs:
    ttl: 20
    loop_wait: 5
    retry_timeout: 5
    synchronous_mode: true
    postgresql: {use_pg_rewind: true}
  initdb: [{encoding: UTF8}, data-checksums]
  pg_hba: ["host all all all scram-sha-256", "host replication all all scram-sha-256"]
postgresql:
  listen: "0.0.0.0:5432"
  connect_address: "$me:5432"
  data_dir: /var/lib/postgresql/club
  bin_dir: /usr/lib/postgresql/15/bin
  authentication:
    superuser: {username: postgres, password: super}
    replication: {username: standby, password: standby}
  parameters: {unix_socket_directories: /tmp, max_connections: 100}
YAML
exec runuser -u postgres -- patroni /etc/patroni.yml
END
cat >"$work/node/Containerfile" <<'END'
FROM debian:bookworm-slim
RUN apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends \
    postgresql-15 patroni etcd-server python3-etcd >/dev/null
COPY node /usr/local/bin/node
RUN chmod 755 /usr/local/bin/node
END
podman image exists coldseam-patroni || buildah bud -q --isolation chroot --network host -t coldseam-patroni "$work/node" >/dev/null
note "images built"

podman network create "$net" >/dev/null
podman run -d --name "$net-relay" --network "$net" --network-alias relay coldseam-relay sh -c '
	useradd all
	echo "/.*/ all@mail.example.org" >/etc/postfix/everyone
	postconf -e myhostname=mail.example.org virtual_alias_maps=regexp:/etc/postfix/everyone "virtual_alias_domains=regexp:/etc/postfix/homes" mailbox_size_limit=0
	echo "/^home[0-9]*\.example$/ OK" >/etc/postfix/homes
	exec postfix start-fg' >/dev/null
node() { # NAME PEERS
	podman run -d --name "$net-$1" --network "$net" --network-alias "$1" coldseam-patroni node "$@" >/dev/null
}
node a b c
node b a c
node c a b
super() { local n=$1; shift; timeout 20 podman exec -i -e PGPASSWORD=super "$net-$n" psql -X -q -At -v ON_ERROR_STOP=1 -h "$n" -U postgres "$@"; }
primary() { # prints the node that takes writes
	local n
	for n in a b c; do
		[ "$(super "$n" -c 'SELECT pg_is_in_recovery()' 2>/dev/null </dev/null)" = f ] && echo "$n" && return
	done
	return 1
}
replicas() { [ "$(super "$(primary)" -c "SELECT count(*) FROM pg_stat_replication WHERE state = 'streaming'" </dev/null)" = "$1" ]; }
within 180 "three nodes have a primary" primary
within 180 "both others stream from it" replicas 2
first=$(primary)
super "$first" -c "CREATE ROLE keeper LOGIN PASSWORD 'ordinary'" -c 'CREATE DATABASE coldseam OWNER keeper' </dev/null

nodes=a:5432,b:5432,c:5432
mkdir -m 777 "$work/state"
cp deploy/coldseam.toml "$work/coldseam.toml"
silent_reach >>"$work/coldseam.toml"
podman run -d --name "$net-club" --network "$net" -v "$PWD/bin/coldseam:/usr/local/bin/coldseam:ro" -v "$work:/srv" \
	-v "$work/state:/var/lib/coldseam" -e COLDSEAM_CONFIG=/srv/coldseam.toml -e COLDSEAM_SMTP=relay:25 -e COLDSEAM_SMTP_TLS=none \
	-e "COLDSEAM_DATABASE_URL=postgres://keeper:ordinary@$nodes/coldseam?target_session_attrs=read-write" \
	-v /usr/share/zoneinfo:/usr/share/zoneinfo:ro debian:bookworm-slim sleep infinity >/dev/null
program() { timeout 120 podman exec "$net-club" coldseam "$@"; }
program migrate >"$work/log" 2>&1 || { tail -n 5 "$work/log"; fail "the schema on three nodes"; }
program migrate --readers-sql >"$work/readers.sql"
super "$first" -d coldseam <"$work/readers.sql" || fail "what the superuser does once"

podman exec -d "$net-club" sh -c 'coldseam serve >/srv/serve.log 2>&1' >/dev/null
answers() { program check --live; }
within 60 "the program serves" answers

zone=$(noon_zone)
at=$(TZ=$zone date -d '3 minutes' +%H:%M)
super "$first" -d coldseam -v n="$members" -v zone="$zone" -v at="$at" <<'END'
INSERT INTO coldseam.subscriber (email, name, state, prefs, zone, send_at, created_at, confirmed_at)
SELECT 'angler' || i || '@home' || i % 40 || '.example', '', 'confirmed',
  jsonb_build_object('zone', :'zone', 'send_at', :'at', 'reaches', '[]'::jsonb), :'zone', :'at', now() - interval '1 day', now() - interval '1 day'
FROM generate_series(1, :n::int) i;
END
count() { super "${2:-$(primary)}" -d coldseam -c "SELECT count(*) FROM coldseam.outbox WHERE kind = 'morning' AND $1" </dev/null; }
note "$members members for $at"
begun() { [ "$(count "state = 'sent'")" -ge 20 ]; }
within 300 "mails go out" begun
sent=$(count "state = 'sent'")
podman kill "$net-$first" >/dev/null
killed=$SECONDS
note "primary $first killed with $sent of $members sent"
within 90 "another node takes writes" primary
note "without a primary for $((SECONDS - killed)) s"
done_all() { [ "$(count "state = 'sent'")" = "$members" ]; }
within 300 "all $members are sent by the new primary's account" done_all

delivered() { [ "$(podman exec "$net-relay" sh -c "mailq | tail -n 1")" = "Mail queue is empty" ]; }
within 120 "relay has delivered all" delivered
podman exec "$net-relay" grep -h '^X-Original-To:' /var/mail/all | sort | uniq -c >"$work/got"
people=$(wc -l <"$work/got")
twice=$(awk '$1 > 1 { n += $1 - 1 } END { print n + 0 }' "$work/got")
note "delivered to $people of $members, $twice a second time"
[ "$people" = "$members" ] || fail "$((members - people)) lost"
[ "$twice" -le 8 ] || fail "more than the connections of one server: 8"

# The season, on a node that takes no writes.
for n in a b c; do
	[ "$n" != "$first" ] && [ "$n" != "$(primary)" ] && replica=$n
done
super "$(primary)" -c "ALTER ROLE season_reader PASSWORD 'reader'" </dev/null
podman exec -e PGPASSWORD=reader "$net-$replica" psql -X -At -h "$replica" -U season_reader -d coldseam \
	-c 'SELECT count(*), pg_is_in_recovery() FROM season.morning' >"$work/read" || fail "season_reader reads on the replica"
note "season_reader on replica $replica: $(cat "$work/read") (mornings | in recovery)"
podman start "$net-$first" >/dev/null
within 180 "the killed node is a replica again" replicas 2
note "program log: $(grep -c 'level=ERROR' "$work/serve.log" || true) errors while the primary was away"
