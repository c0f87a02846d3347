#!/usr/bin/env bash
# Runs each fuzz target of the module for the given time (20s): fuzz.sh [time] [package pattern].
set -euo pipefail
cd "$(dirname "$0")/.."
time=${1:-20s}
pattern=${2:-./...}
count=0
while read -r package folder; do
	while read -r target; do
		count=$((count + 1))
		printf 'fuzz: %s %s for %s\n' "$package" "$target" "$time"
		go test -run '^$' -fuzz "^${target}\$" -fuzztime "$time" -fuzzminimizetime 10x "$package" </dev/null
	done < <(find "$folder" -maxdepth 1 -name '*_test.go' -exec sed -n 's/^func \(Fuzz[A-Za-z0-9_]*\)(.*/\1/p' {} + | sort)
done < <(go list -f '{{.ImportPath}} {{.Dir}}' "$pattern")
printf 'fuzz: %d targets\n' "$count"
