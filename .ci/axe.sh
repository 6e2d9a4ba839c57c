#!/bin/sh
# axe.sh - axe-core for the accessibility tests, by npm into bin/axe. A machine
# without npm or network goes without: those tests skip and say so, the tests of
# our own on the accessibility tree and the contrast run everywhere.
set -eu
cd "$(dirname "$0")/.."
version=4.14.1
sum=29348999450cdf2849a8e70b7912fc2da85a849da39c0d0d5394f51d4a9ed95c
file=bin/axe/axe-$version.min.js
[ ! -e $file ] || exit 0
if ! command -v npm >/dev/null 2>&1; then
	echo "axe-core: no npm, its tests skip" >&2
	exit 0
fi
tmp=$(mktemp -d)
trap 'rm -rf "$tmp"' EXIT
if ! npm pack --silent --fetch-retries=0 --fetch-timeout=30000 --pack-destination "$tmp" "axe-core@$version" >/dev/null 2>&1; then
	echo "axe-core: npm could not fetch it, its tests skip" >&2
	exit 0
fi
tar -xzf "$tmp"/axe-core-*.tgz -C "$tmp" package/axe.min.js
echo "$sum  $tmp/package/axe.min.js" | sha256sum -c --quiet
mkdir -p bin/axe
rm -f bin/axe/*
mv "$tmp/package/axe.min.js" $file
