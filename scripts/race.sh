#!/usr/bin/env bash
# Runs the race detector on the packages whose sources or tests start goroutines or share state under locks; the rest
# has nothing to race. The detector needs cgo. The crash tests are left out: what they test is another process; and so is what
# takes minutes under the detector, on the same goroutines as shorter tests: the console's scripts and commands on a store, the
# demonstration and its year, the comparison with outside values, every operation as every role, the bounds of memory.
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
long='^Test(Scripts|Scenario|AYearGoesThroughTheService|PlanAgreesWithTheService|FHIRFromTheStore|FHIRSaysWhatIsMissing|PaperFromTheStore|PaperRefused|ReleaseAtTheConsole|DrillBringsTheStoreBack|Validate.*|Matrix|Memory.*)$'
CGO_ENABLED=1 go test -race -timeout 25m -skip "$long" "${packages[@]}"
