#!/bin/sh
# What make lint holds beyond the linters: no new code that main cannot reach, and
# lines of 120 columns but for text that cannot be broken.
set -eu
cd "$(dirname "$0")/.."
bin/lint/deadcode -f '{{range .Funcs}}{{$.Path}}.{{.Name}}{{"\n"}}{{end}}' ./cmd/coldseam |
	grep -v -e /clubtest -e /ingest/simagency -e /notify/smtptest -e /storetest -e /browsertest -e /ingesttest -e /notify/brieftest |
	grep . | sort -u >bin/lint/unreached.txt
if ! diff -u .ci/unreached.txt bin/lint/unreached.txt; then
	echo "lint: .ci/unreached.txt lists what only tests reach: delete new entries from the code, gone ones from the list" >&2
	exit 1
fi
git ls-files '*.go' | xargs cat | awk '{ n++ } length($0) > 120 { long++ }
	END { printf "lint: %d of %d lines are over 120 columns\n", long, n; exit long > n / 200 }'
