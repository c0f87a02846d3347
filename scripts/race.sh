#!/usr/bin/env bash
# Runs the race detector on the packages whose sources or tests start goroutines or share state under locks; the rest
# has nothing to race. The detector needs cgo. The crash tests are left out: what they test is another process; and so are the
# scripts of the demonstration, which follow photons for minutes under the detector.
set -euo pipefail
cd "$(dirname "$0")/.."
mapfile -t packages < <(
	git ls-files --cached --others --exclude-standard '*.go' |
		xargs grep -lE '(^|[^a-z])go func|[a-zA-Z]\.Go\(|sync\.(Mutex|RWMutex|WaitGroup|Map|Pool|Cond)|"sync/atomic"|"net/http"|t\.Parallel\(\)' |
		xargs -r -n1 dirname | sort -u | grep -vx internal/crashtest | sed 's|^|./|'
)
if [ "${#packages[@]}" -eq 0 ]; then
	echo "race: no package starts a goroutine"
	exit 0
fi
printf 'race: %s\n' "${packages[@]}"
CGO_ENABLED=1 go test -race -timeout 25m -skip '^TestScripts$/^(demo|plan)$' "${packages[@]}"
