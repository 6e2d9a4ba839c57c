# Sourced by the proofs in containers: what they note, how they wait, how they fail.
# A proof that looks inside a container defines inside(), and journal for the units
# whose last lines a failure shows.

# begin NAME: the figures of a proof, in proof-out/NAME.txt.
begin() {
	mkdir -p proof-out
	figures=$PWD/proof-out/$1.txt
	echo "$1, $(git describe --always --dirty), $(nproc) cores" | tee "$figures"
}

# remove CONTAINER...: whatever state they are in.
remove() {
	podman rm -f -t 5 "$@" >/dev/null 2>&1 || podman rm -f -t 5 "$@" >/dev/null || true
}

note() { printf '%4d s  %s\n' "$SECONDS" "$*" | tee -a "$figures"; }

fail() {
	note "FAILED: $*"
	# shellcheck disable=SC2086
	[ -z "${journal:-}" ] || inside journalctl --no-pager -n 40 $journal || true
	exit 1
}

# within SECONDS WHAT COMMAND...: until it succeeds.
within() {
	local end=$((SECONDS + $1)) what=$2
	shift 2
	until "$@" >/dev/null 2>&1; do
		[ "$SECONDS" -lt "$end" ] || fail "$what"
		sleep 1
	done
	note "$what"
}

# exposures: systemd's own measure of both units, 2.0 at most.
exposures() {
	local unit exposure
	for unit in coldseam coldseam-backup; do
		exposure=$(inside systemd-analyze security --threshold=20 --no-pager "$unit.service" | tail -n 1) ||
			fail "exposure of $unit: $exposure"
		exposure=${exposure#*for }
		note "exposure of ${exposure% OK*}"
	done
}

# silent_reach: configuration of a reach whose gauge does not answer, so that its
# word is NO CALL.
silent_reach() {
	cat <<'END'

[[site]]
id = "USGS:USGS-00000000"
profile = "us-water"
code = "USGS-00000000"
name = "Tamsen River at Mill Bridge"
zone = "America/Chicago"
lat = 45.0
lon = -92.0
parameters = ["discharge", "stage", "water_temp"]

[[reach]]
id = "tamsen-bend"
river = "Tamsen"
name = "Bend reach"
site = "USGS:USGS-00000000"
zone = "America/Chicago"
lat = 45.0
lon = -92.0
max_flow_cfs = 6000
max_flow_why = "above it the ramp is under water"
species = ["walleye"]
why = "first entry"
who = "season keeper"
END
}

# noon_zone: the zone in which it is now about noon; it keeps a send time away from
# midnight.
noon_zone() { printf 'Etc/GMT%+d' $((10#$(date -u +%H) - 12)); }
