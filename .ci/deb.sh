#!/usr/bin/env bash
# The Debian package in a container that boots systemd: apt install gives user,
# running unit, configuration, man page and completion; the service runs on what
# root set up before its first start; an edited configuration outlives an upgrade,
# and so does a service that is stopped or disabled; removed and purged the package
# leaves the data, and takes them too when asked.
#
# Debian, as root. Figures: proof-out/deb.txt
set -euo pipefail
cd "$(dirname "$0")/.."
. .ci/proof.sh

.ci/container-images.sh unit
make -s deb
name=coldseam-deb-$$
trap 'remove "$name"' EXIT
begin deb
journal="-u coldseam"
inside() { timeout 120 podman exec "$name" "$@"; }
answers() { inside curl -fsS -m 5 http://127.0.0.1:8080/healthz; }
apt() { inside env DEBIAN_FRONTEND=noninteractive ${COLDSEAM_PURGE:+COLDSEAM_PURGE=$COLDSEAM_PURGE} apt-get -o Dpkg::Options::=--force-confold -y -qq --no-install-recommends "$@"; }

podman run -d --name "$name" --systemd=always --privileged coldseam-unit >/dev/null
within 60 "systemd is up" sh -c "podman exec $name systemctl is-system-running | grep -Eq 'running|degraded'"
podman cp bin/coldseam.deb "$name:/srv/coldseam.deb"
runs() { inside systemctl --quiet is-active "$@"; }

# As where images are built: nothing is started, and root sets up what the service
# will run on.
inside sh -c 'printf "#!/bin/sh\nexit 101\n" >/usr/sbin/policy-rc.d && chmod 755 /usr/sbin/policy-rc.d'
apt install /srv/coldseam.deb >/dev/null || fail "apt install"
note "apt install ./coldseam.deb"
! runs coldseam || fail "a machine that lets nothing start"
inside coldseam init --club "Alder Landing Club" --zone America/Chicago >/dev/null || fail "init by root"
inside rm /usr/sbin/policy-rc.d
inside systemctl start coldseam coldseam-backup.timer
within 90 "started on the configuration and keys that root made, pages answer" answers
foreign() { inside find /var/lib/coldseam ! -user coldseam | grep .; }
! foreign || fail "what root made is the service's"
[ "$(inside stat -c %U:%a /var/lib/coldseam)" = coldseam:700 ] || fail "the state is the user's own"
[ "$(inside sh -c 'stat -c %U /proc/$(systemctl show -P MainPID coldseam)')" = coldseam ] || fail "the service runs as the user"
inside sh -c 'systemctl is-enabled coldseam coldseam-backup.timer' >/dev/null || fail "both units are enabled"
inside test -s /usr/share/man/man1/coldseam.1.gz || fail "man page"
inside bash -c '. /usr/share/bash-completion/completions/coldseam; complete -p coldseam' | grep -q _coldseam || fail "completion"
exposures
inside coldseam subscriber add keeper@mail.example.org --confirmed >/dev/null || fail "a command by root finds configuration and database"
! inside coldseam subscriber list --config coldseam.toml 2>/dev/null || fail "a named configuration is no other"
inside coldseam backup >/dev/null || fail "a backup by root"
! foreign || fail "the backup by root is the service's"
inside systemctl start coldseam-backup || fail "backup"
inside sh -c 'ls /var/lib/coldseam/backup/*.tar' >/dev/null || fail "the backup is there"
note "user, units, man page, completion; command by hand; backup"

inside sed -i 's/^name = "Alder Landing Club"/name = "Cedar Bend Club"/' /etc/coldseam/coldseam.toml
keys=$(inside sh -c 'sha256sum /var/lib/coldseam/*.key')
apt install --reinstall /srv/coldseam.deb >/dev/null || fail "apt install again"
within 90 "installed again, pages answer" answers
inside grep -q 'Cedar Bend Club' /etc/coldseam/coldseam.toml || fail "the configuration is the admin's"
inside systemctl stop coldseam
apt install --reinstall /srv/coldseam.deb >/dev/null || fail "apt install over a stopped service"
! runs coldseam || fail "stopped, it stays so"
runs coldseam-backup.timer || fail "the timer goes on"
inside systemctl --quiet disable --now coldseam coldseam-backup.timer
apt install --reinstall /srv/coldseam.deb >/dev/null || fail "apt install over a disabled service"
! runs coldseam && ! runs coldseam-backup.timer || fail "disabled, they stay stopped"
! inside systemctl --quiet is-enabled coldseam || fail "disabled, it stays so"
note "stopped or disabled before an upgrade, so afterwards"
inside systemctl --quiet enable coldseam coldseam-backup.timer
inside runuser -u coldseam -- coldseam subscriber list | grep -q '1 members' || fail "a command by the user, without the service"
apt remove coldseam >/dev/null || fail "apt remove"
apt install /srv/coldseam.deb >/dev/null || fail "apt install after the removal"
within 90 "removed and installed, pages answer" answers
apt remove coldseam >/dev/null || fail "apt remove again"
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
