#!/usr/bin/env bash
# The Debian package in a container that boots systemd: apt install gives user,
# running unit, configuration, man page and completion; an edited configuration
# outlives an upgrade; removed and purged it leaves the data, and takes them too
# when asked.
#
# Debian, as root. Figures: proof-out/deb.txt
set -euo pipefail
cd "$(dirname "$0")/.."
. .ci/proof.sh

.ci/container-images.sh unit
make -s deb
name=coldseam-deb-$$
trap 'podman rm -f -t 5 "$name" >/dev/null' EXIT
begin deb
journal="-u coldseam"
inside() { timeout 120 podman exec "$name" "$@"; }
answers() { inside curl -fsS -m 5 http://127.0.0.1:8080/healthz; }
apt() { inside env DEBIAN_FRONTEND=noninteractive ${COLDSEAM_PURGE:+COLDSEAM_PURGE=$COLDSEAM_PURGE} apt-get -o Dpkg::Options::=--force-confold -y -qq --no-install-recommends "$@"; }

podman run -d --name "$name" --systemd=always --privileged coldseam-unit >/dev/null
within 60 "systemd is up" sh -c "podman exec $name systemctl is-system-running | grep -Eq 'running|degraded'"
podman cp bin/coldseam.deb "$name:/srv/coldseam.deb"
apt install /srv/coldseam.deb >/dev/null || fail "apt install"
note "apt install ./coldseam.deb"
within 90 "pages answer" answers
[ "$(inside stat -c %U:%a /var/lib/coldseam)" = coldseam:700 ] || fail "the state is the user's own"
[ "$(inside sh -c 'stat -c %U /proc/$(systemctl show -P MainPID coldseam)')" = coldseam ] || fail "the service runs as the user"
inside sh -c 'systemctl is-enabled coldseam coldseam-backup.timer' >/dev/null || fail "both units are enabled"
inside test -s /usr/share/man/man1/coldseam.1.gz || fail "man page"
inside bash -c '. /usr/share/bash-completion/completions/coldseam; complete -p coldseam' | grep -q _coldseam || fail "completion"
exposures
inside coldseam subscriber add keeper@mail.example.org --confirmed >/dev/null || fail "a command by root finds configuration and database"
inside systemctl start coldseam-backup || fail "backup"
inside sh -c 'ls /var/lib/coldseam/backup/*.tar' >/dev/null || fail "the backup is there"
note "user, units, man page, completion; command by hand; backup"

inside sed -i 's/^name = "Our River Club"/name = "Alder Landing Club"/' /etc/coldseam/coldseam.toml
keys=$(inside sh -c 'sha256sum /var/lib/coldseam/*.key')
apt install --reinstall /srv/coldseam.deb >/dev/null || fail "apt install again"
within 90 "installed again, pages answer" answers
inside grep -q 'Alder Landing Club' /etc/coldseam/coldseam.toml || fail "the configuration is the admin's"
inside systemctl stop coldseam
inside runuser -u coldseam -- coldseam subscriber list | grep -q '1 members' || fail "a command by the user, without the service"
apt remove coldseam >/dev/null || fail "apt remove"
inside test -s /etc/coldseam/coldseam.toml || fail "removed: the configuration stays"
apt purge coldseam >/dev/null || fail "apt purge"
! inside test -e /etc/coldseam/coldseam.toml || fail "purged: the configuration goes"
[ "$keys" = "$(inside sh -c 'sha256sum /var/lib/coldseam/*.key')" ] || fail "purged: the data stay"
note "removed and purged: configuration gone, data left"
apt install /srv/coldseam.deb >/dev/null || fail "apt install after the purge"
within 90 "installed on the old data, pages answer" answers
inside coldseam subscriber list | grep -q '1 members' || fail "the member is there"
[ "$keys" = "$(inside sh -c 'sha256sum /var/lib/coldseam/*.key')" ] || fail "the keys are the same"
COLDSEAM_PURGE=data apt purge coldseam >/dev/null || fail "apt purge with the data"
! inside test -e /var/lib/coldseam || fail "asked for: the data go"
note "member and keys as before; purged with COLDSEAM_PURGE=data: data gone"
