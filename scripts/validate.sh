#!/usr/bin/env bash
# Every test named TestValidate at full counts; prints their tables and, at the end, what failed.
set -euo pipefail
cd "$(dirname "$0")/.."
log=$(mktemp)
trap 'rm -f "$log" "$log.packages"' EXIT
verdict=0
# Only packages that have such tests are built.
"${GO:-go}" list -f '{{.Dir}}' "${1:-./internal/...}" | while read -r dir; do
	if grep -qsE '^func TestValidate' "$dir"/*_test.go; then echo "$dir"; fi
done >"$log.packages"
if [ ! -s "$log.packages" ]; then
	echo "no test named TestValidate in ${1:-./internal/...}" >&2
	exit 1
fi
AFTERBEAM_VALIDATE=full "${GO:-go}" test -count=1 -p 1 -timeout 6h -v -run '^TestValidate' $(cat "$log.packages") 2>&1 |
	tee "$log" | grep --line-buffered -E '^(\||###|[0-9]+ rows|$)' | cat -s || verdict=$?
printf '\nmisses: %d\n' "$(grep -cE '^\|.*\| MISS' "$log" || true)"
if [ "$verdict" -ne 0 ]; then
	echo 'beyond tolerance and not among the known misses, or not run:'
	grep -vE '^(\||###|=== |ok |\?|--- PASS|[0-9]+ rows|PASS|$)' "$log"
fi
exit "$verdict"
