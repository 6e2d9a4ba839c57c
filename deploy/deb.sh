#!/bin/sh
# deb.sh - makes bin/coldseam.deb of bin/coldseam: program, units that run
# as the user coldseam, configuration, man page, completion, guide.
set -eu
cd "$(dirname "$0")/.."
version=0.$(git rev-list --count HEAD 2>/dev/null || echo 0)
root=$(mktemp -d)
trap 'rm -rf "$root"' EXIT
chmod 755 "$root"

install -D -m 755 bin/coldseam "$root/usr/bin/coldseam"
install -D -m 644 deploy/coldseam.toml "$root/etc/coldseam/coldseam.toml"
install -D -m 644 deploy/coldseam.bash "$root/usr/share/bash-completion/completions/coldseam"
for f in README.md deploy/ADMIN.md deploy/alerts.yml deploy/profiles.toml deploy/cookbook.md; do
	install -D -m 644 "$f" "$root/usr/share/doc/coldseam/${f##*/}"
done
install -d "$root/usr/share/man/man1" "$root/lib/systemd/system" "$root/DEBIAN"
gzip -9n <deploy/coldseam.1 >"$root/usr/share/man/man1/coldseam.1.gz"
for f in deploy/coldseam*.service deploy/coldseam*.timer; do
	sed -e 's,/usr/local/bin,/usr/bin,; s,/usr/local/share,/usr/share,; /^DynamicUser=/d; /^#/{/LoadCredential/!d}' "$f" >"$root/lib/systemd/system/${f##*/}"
done
sed "s/@VERSION@/$version/; s/@ARCH@/$(dpkg --print-architecture)/" deploy/debian/control >"$root/DEBIAN/control"
cp deploy/debian/conffiles "$root/DEBIAN/"
for f in preinst postinst prerm postrm; do install -m 755 "deploy/debian/$f" "$root/DEBIAN/$f"; done
dpkg-deb -Zgzip --root-owner-group -b "$root" bin/coldseam.deb >/dev/null
echo "bin/coldseam.deb $version"
