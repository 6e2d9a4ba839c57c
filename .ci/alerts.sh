#!/usr/bin/env bash
# Every rule of deploy/alerts.yml, fired by its fault in a running club, through
# Prometheus and its alertmanager to a webhook.
#
# Debian, as root. Figures: proof-out/alerts.txt
set -euo pipefail
cd "$(dirname "$0")/.."
. .ci/proof.sh

if ! command -v prometheus >/dev/null || ! command -v prometheus-alertmanager >/dev/null; then
	apt-get update -qq
	DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends prometheus prometheus-alertmanager >/dev/null
	systemctl disable --now prometheus prometheus-alertmanager 2>/dev/null || true
fi
begin alerts
log=$(mktemp)
trap 'rm -f "$log" "$log.told"' EXIT
COLDSEAM_ALERTS=$log.told go test ./cmd/internal/faults -run TestAlertsReachSomebody -count=1 -timeout 30m -v >"$log" 2>&1 ||
	{ tail -n 60 "$log"; fail "a rule did not reach anybody"; }
tee -a "$figures" <"$log.told"
