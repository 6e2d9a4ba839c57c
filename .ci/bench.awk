# From the lines of `go test -bench` to a table: the median of each benchmark and,
# within a group (the name before the last slash), how often the fastest fits in it.
/^pkg: / { pkg = $2; sub(/.*coldseam\/?/, "", pkg) }
/^Benchmark/ && / ns\/op/ {
	name = $1
	sub(/^Benchmark/, "", name)
	sub(/-[0-9]+$/, "", name)
	for (i = 2; i < NF; i++) if ($(i + 1) == "ns/op") ns = $i
	key = pkg " " name
	if (!(key in n)) order[++keys] = key
	v[key, ++n[key]] = ns + 0
}
function median(key,    i, j, t, a, len) {
	len = n[key]
	for (i = 1; i <= len; i++) a[i] = v[key, i]
	for (i = 2; i <= len; i++) {
		t = a[i]
		for (j = i - 1; j > 0 && a[j] > t; j--) a[j + 1] = a[j]
		a[j + 1] = t
	}
	return len % 2 ? a[(len + 1) / 2] : (a[len / 2] + a[len / 2 + 1]) / 2
}
function group(key) { return match(key, / .*\//) ? substr(key, 1, RSTART + RLENGTH - 1) : key }
function span(ns) {
	if (ns >= 1e9) return sprintf("%.3g s", ns / 1e9)
	if (ns >= 1e6) return sprintf("%.3g ms", ns / 1e6)
	if (ns >= 1e3) return sprintf("%.3g us", ns / 1e3)
	return sprintf("%.3g ns", ns)
}
END {
	for (i = 1; i <= keys; i++) {
		m[i] = median(order[i])
		g = group(order[i])
		if (!(g in best) || m[i] < best[g]) best[g] = m[i]
		members[g]++
	}
	printf "%-60s %10s %4s %s\n", "benchmark", "median", "n", "times the fastest of its group"
	for (i = 1; i <= keys; i++) {
		g = group(order[i])
		printf "%-60s %10s %4d %s\n", order[i], span(m[i]), n[order[i]], (members[g] > 1 ? sprintf("%.2f", m[i] / best[g]) : "")
	}
}
