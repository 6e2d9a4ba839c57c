#!/bin/sh
# Makes the images that deploy/ and docker-compose.yml name from Debian's own
# packages and this machine's Go, so that the container proofs need no image
# registry. Names that stand are left alone.
#
#   .ci/container-images.sh [debian] [golang] [systemd] [unit] [postgres15] [postgres17] [relay]
#
# Debian, as root. Packages come from the mirror in apt's configuration.
set -eu

work=$(mktemp -d /var/tmp/images.XXXXXX)
trap 'rm -rf "$work"' EXIT
base=debian:bookworm-slim

export DEBIAN_FRONTEND=noninteractive
for program in podman buildah runc debootstrap podman-compose; do
	if ! command -v "$program" >/dev/null; then
		apt-get update -qq
		apt-get install -y -qq --no-install-recommends podman buildah runc debootstrap podman-compose \
			netavark aardvark-dns iptables >/dev/null
		break
	fi
done

# Where control groups of both versions are mounted the default runtime refuses
# them, and limits above the shell's own cannot be set.
if [ ! -e /etc/containers/containers.conf ]; then
	mkdir -p /etc/containers
	cat >/etc/containers/containers.conf <<-'END'
		[engine]
		runtime = "runc"
		cgroup_manager = "cgroupfs"
		[containers]
		default_ulimits = ["nofile=20000:20000", "nproc=8192:8192"]
	END
fi

mirror() {
	cat /etc/apt/sources.list /etc/apt/sources.list.d/* 2>/dev/null | awk '
		/^URIs:/ { print $2; exit }
		/^deb / { for (i = 2; i <= NF; i++) if ($i ~ /^https?:/) { print $i; exit } }'
}

# debian SUITE IMAGE: a minimal Debian, with the certificates that this machine trusts.
debian() {
	podman image exists "$2" && return
	if ! debootstrap --variant=minbase --include=ca-certificates "$1" "$work/$1" "$(mirror)" >"$work/log" 2>&1; then
		tail -n 5 "$work/log" >&2
		exit 1
	fi
	cp /etc/ssl/certs/ca-certificates.crt "$work/$1/etc/ssl/certs/"
	tar -C "$work/$1" -c . | podman import -q - "$2" >/dev/null
	rm -rf "${work:?}/$1"
	echo "made $2"
}

# image NAME DIRECTORY: builds the Containerfile that stands there.
image() {
	buildah bud -q --isolation chroot --network host -t "$1" "$2" >/dev/null
	echo "made $1"
}

golang() {
	podman image exists "$1" && return
	mkdir "$work/golang"
	cp -r "$(go env GOROOT)" "$work/golang/go"
	cat >"$work/golang/Containerfile" <<-END
		FROM $base
		RUN apt-get update -qq && apt-get install -y -qq --no-install-recommends git make >/dev/null
		COPY go /usr/local/go
		ENV PATH=/usr/local/go/bin:/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin
		ENV GOPROXY=$(go env GOPROXY)
	END
	image "$1" "$work/golang"
}

systemd() {
	podman image exists "$1" && return
	mkdir "$work/systemd"
	cat >"$work/systemd/Containerfile" <<-END
		FROM $base
		RUN apt-get update -qq && apt-get install -y -qq --no-install-recommends systemd systemd-sysv dbus >/dev/null
		CMD ["/lib/systemd/systemd"]
	END
	image "$1" "$work/systemd"
}

# unit NAME: what the units need beside systemd.
unit() {
	podman image exists "$1" && return
	mkdir "$work/unit"
	cat >"$work/unit/Containerfile" <<-'END'
		FROM debian-systemd:bookworm
		RUN apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends \
		    postgresql libnss-systemd ca-certificates tzdata curl >/dev/null
	END
	image "$1" "$work/unit"
}

# postgres VERSION BASE IMAGE: Debian's server, set up by the same variables as the
# image of that name that the compose file asks for.
postgres() {
	podman image exists "$3" && return
	mkdir "$work/postgres$1"
	cat >"$work/postgres$1/start" <<-'END'
		#!/bin/bash
		set -eu
		export PGDATA=${PGDATA:-/var/lib/postgresql/data}
		bin=$(echo /usr/lib/postgresql/*/bin)
		as_postgres() { runuser -u postgres -- "$@"; }

		if [ ! -s "$PGDATA/PG_VERSION" ]; then
			user=${POSTGRES_USER:-postgres}
			install -d -o postgres -m 700 "$PGDATA"
			install -o postgres -m 600 /dev/null /tmp/password
			echo "${POSTGRES_PASSWORD:-$(cat "${POSTGRES_PASSWORD_FILE:-/dev/null}")}" >/tmp/password
			# shellcheck disable=SC2086
			as_postgres "$bin/initdb" -U "$user" --pwfile=/tmp/password -A scram-sha-256 ${POSTGRES_INITDB_ARGS:-} >/dev/null
			echo "host all all all scram-sha-256" >>"$PGDATA/pg_hba.conf"
			if [ "${POSTGRES_DB:-$user}" != postgres ]; then
				as_postgres "$bin/pg_ctl" -s -w start -o "-c listen_addresses= -k /tmp"
				PGPASSWORD=$(cat /tmp/password) "$bin/createdb" -h /tmp -U "$user" "${POSTGRES_DB:-$user}"
				as_postgres "$bin/pg_ctl" -s -w stop
			fi
			rm /tmp/password
		fi
		exec runuser -u postgres -- "$bin/postgres" -c listen_addresses='*' -k /tmp "$@"
	END
	cat >"$work/postgres$1/Containerfile" <<-END
		FROM $2
		RUN apt-get update -qq && apt-get install -y -qq --no-install-recommends postgresql-$1 >/dev/null \\
		 && rm -rf /var/lib/apt/lists/* /var/lib/postgresql/$1
		COPY start /usr/local/bin/start
		RUN chmod 755 /usr/local/bin/start && ln -s /usr/lib/postgresql/$1/bin/pg_isready /usr/local/bin/
		ENTRYPOINT ["/usr/local/bin/start"]
	END
	image "$3" "$work/postgres$1"
}

for wanted in ${*:-debian golang systemd postgres15}; do
	debian bookworm $base
	case $wanted in
	debian) ;;
	golang) golang golang:1.26-bookworm ;;
	systemd) systemd debian-systemd:bookworm ;;
	unit)
		systemd debian-systemd:bookworm
		unit coldseam-unit
		;;
	postgres15) postgres 15 $base postgres:15-bookworm ;;
	postgres17)
		debian trixie debian:trixie-slim
		postgres 17 debian:trixie-slim postgres:17-trixie
		;;
	relay) podman image exists coldseam-relay || buildah bud -q --isolation chroot --network host -t coldseam-relay -f deploy/relay.Dockerfile deploy >/dev/null ;;
	*)
		echo "container-images.sh: $wanted: wanted debian, golang, systemd, unit, postgres15, postgres17 or relay" >&2
		exit 2
		;;
	esac
done
