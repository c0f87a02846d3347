#!/usr/bin/env bash
# Runs every test that internal/followup/HAZARDS.md names and wants each to have passed: one that does not exist, is skipped or
# fails ends it with 1.
set -euo pipefail
cd "$(dirname "$0")/.."
mapfile -t named < <(grep -o '`internal/[a-z/]*:Test[^`]*`' internal/followup/HAZARDS.md | tr -d '`' | sort -u)
[ "${#named[@]}" -gt 0 ] || { echo "hazards: no test is named" >&2; exit 1; }
quoted() { # quoted NAME: the name as a regular expression
	printf '%s' "$1" | sed 's/[][\.*^$+?(){}|]/\\&/g'
}
log=$(mktemp)
trap 'rm -f "$log"' EXIT
missed=0
# One run a package for whole tests, and one for each named part of a test.
for package in $(printf '%s\n' "${named[@]}" | cut -d: -f1 | sort -u); do
	: >"$log"
	whole=() ; runs=()
	for one in "${named[@]}"; do
		[ "${one%%:*}" = "$package" ] || continue
		name=${one#*:}
		case $name in
		*/*) pattern=""; IFS=/ read -ra parts <<<"$name"
			for part in "${parts[@]}"; do pattern+="/^$(quoted "$part")\$"; done
			runs+=("${pattern#/}") ;;
		*) whole+=("$name") ;;
		esac
	done
	[ "${#whole[@]}" -eq 0 ] || runs+=("^($(IFS='|'; echo "${whole[*]}"))\$")
	binary=$(mktemp -u)
	go test -c -o "$binary" "./$package"
	for run in "${runs[@]}"; do
		(cd "$package" && "$binary" -test.v -test.count=1 -test.run "$run") >>"$log" 2>&1 || true
	done
	rm -f "$binary"
	for one in "${named[@]}"; do
		[ "${one%%:*}" = "$package" ] || continue
		if ! grep -qF -- "--- PASS: ${one#*:} (" "$log"; then
			echo "hazards: $one did not run, was skipped or failed" >&2
			missed=1
		fi
	done
done
[ "$missed" -eq 0 ] || exit 1
echo "hazards: ${#named[@]} tests of the table passed"
