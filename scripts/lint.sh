#!/usr/bin/env bash
# go vet and golangci-lint, which checks the format too. The version is the one the build machine installs.
set -euo pipefail
cd "$(dirname "$0")/.."
linter=$(command -v golangci-lint || echo "$(go env GOPATH)/bin/golangci-lint")
if [ ! -x "$linter" ]; then
	echo "lint: golangci-lint not found; see the version in .ci/run" >&2
	exit 1
fi
go vet "${@:-./...}"
"$linter" run "${@:-./...}"
