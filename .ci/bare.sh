#!/usr/bin/env bash
# The README's two commands in a container that has Debian, Go, git and make and
# nothing else: as root, then as an ordinary user on what root installed, whose
# PATH has no Postgres directory. FAST=1 runs a few tests instead of all, and
# installs nothing for them.
#
# Debian, as root. Figures: proof-out/bare.txt
set -euo pipefail
cd "$(dirname "$0")/.."
. .ci/proof.sh

.ci/container-images.sh golang
work=$(mktemp -d /var/tmp/coldseam-bare.XXXXXX)
name=${work##*/}
trap 'remove "$name"; rm -rf "$work"' EXIT
begin bare

# Modules that this machine has are not fetched again.
modules=$(go env GOMODCACHE)/cache/download
mkdir -p "$modules"
podman run -d --name "$name" --network host -v "$modules:/modules:ro" \
	-e GOPROXY="file:///modules,$(go env GOPROXY)" golang:1.26-bookworm sleep infinity >/dev/null
git clone -q . "$work/coldseam"
podman exec "$name" useradd --create-home --shell /bin/bash angler
for user in root angler; do
	podman exec "$name" mkdir -p "/srv/$user"
	podman cp "$work/coldseam" "$name:/srv/$user/coldseam"
	podman exec "$name" chown -R "$user:" "/srv/$user"
done

as() { # USER COMMAND...
	local user=$1 home=/root path=/usr/local/go/bin:/usr/sbin:/usr/bin:/sbin:/bin
	shift
	if [ "$user" != root ]; then
		home=/home/$user path=/usr/local/go/bin:/usr/bin:/bin
	fi
	podman exec -u "$user" -w "/srv/$user/coldseam" -e HOME="$home" -e PATH="$path" "$name" "$@"
}

# timed USER LIMIT COMMAND...: runs it and notes how long it took.
timed() {
	local user=$1 limit=$2 start=$SECONDS status
	shift 2
	# The last line is the command's own word: an exec that was cut off may say 0.
	as "$user" sh -c 'timeout "$@"; echo "ended with $?"' sh "$limit" "$@" >"$work/out" 2>&1 || true
	status=$(sed -n '$s/^ended with //p' "$work/out")
	status=${status:-255}
	printf '%-7s %4d s  exit %d  %s\n' "$user" $((SECONDS - start)) "$status" "$*" | tee -a "$figures"
	[ "$status" = 0 ] || { grep -E '^(--- FAIL|FAIL|panic)' "$work/out" || tail -n 30 "$work/out"; return "$status"; }
}

tests=(make test)
[ "${FAST:-}" != 1 ] || tests=(go test -count=1 -run 'StartStop|DamagedBackup|BackupAndRestore|FetchByHand|KeysBack|StartsFromNothing' ./store/localpg ./store ./cmd/coldseam ./cmd/internal/...)
failed=0
for user in root angler; do
	timed "$user" 60m make demo ONCE=1 || failed=1
	grep -Eq '^mail: +3 sent' "$work/out" || { echo "$user: the demo did not send 3 mails" | tee -a "$figures"; failed=1; }
	timed "$user" 4h "${tests[@]}" || failed=1
done
exit "$failed"
