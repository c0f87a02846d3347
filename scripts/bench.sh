#!/usr/bin/env bash
# Runs every benchmark, then sets the goals beside what was reached: bench.sh [time] [full|slice] [package pattern].
# A slice shows that the benchmarks run; its sizes are not those that the goals are set for. Other work on the machine
# shows in every rate and time.
set -euo pipefail
cd "$(dirname "$0")/.."
export AFTERBEAM_BENCH=${2:-full}
result=$(mktemp)
trap 'rm -f "$result"' EXIT
go test -run '^$' -bench . -benchmem -benchtime "${1:-1s}" -timeout 3h "${3:-./...}" | tee "$result"
printf '\n%-56s %12s %12s\n' "measured at the sizes of the $AFTERBEAM_BENCH" goal reached
awk '
	function row(text, benchmark, unit, goal,   i) {
		if ($1 !~ "^" benchmark "(-[0-9]+)?$") return
		for (i = 4; i <= NF; i++) if ($i == unit) printf "%-56s %12s %12s\n", text, goal, $(i - 1)
	}
	/^Benchmark/ {
		row("reports of 100 events read and estimated, per s", "BenchmarkReadAndEstimate", "reports/s", ">= 10")
		row("reports of 0.8 MB kept, per s", "BenchmarkKeep", "reports/s", ">= 50")
		row("C-STORE of small reports, rate over DCMTK storescp", "BenchmarkStore/small", "x-storescp", ">= 0.5")
		row("C-STORE of reports of 0.8 MB, the same", "BenchmarkStore/large", "x-storescp", ">= 0.5")
		row("skin map of 1,000 events, processor ms", "BenchmarkMap/1000_events", "cpu-ms", "< 50")
		row("skin map, patches times events per processor s", "BenchmarkMap/1000_events", "patches*events/cpu-s", "-")
		row("its range of 128 samples, processor s (2 x 4 s)", "BenchmarkRange/1000_events", "cpu-s", "< 8")
		row("cumulative dose, 1 caller, 99th percentile, ms", "BenchmarkPatientDose/any_patient,_1_callers", "p99-ms", "< 20")
		row("cumulative dose, 8 callers, 99th percentile, ms", "BenchmarkPatientDose/any_patient,_8_callers", "p99-ms", "< 20")
		row("cumulative dose asked by 64, of the greeting", "BenchmarkPatientDose/patients_of_four_weeks,_64_callers", "x-hello", ">= 0.15")
		row("the same of the interface'"'"'s own health", "BenchmarkPatientDose/patients_of_four_weeks,_64_callers", "x-health", ">= 0.15")
		row("the same for any patient of five years", "BenchmarkPatientDose/any_patient,_64_callers", "x-health", "-")
		row("summary of a month of 100,000 cases, processor ms", "BenchmarkSummary/month", "cpu-ms", "< 1000")
		row("the same question in SQL, which bounds it at 1.5 times", "BenchmarkSummary/month_in_SQL", "cpu-ms", "-")
		row("summary of all days, processor ms", "BenchmarkSummary/all_days", "cpu-ms", "< 5000")
		row("table of 1,000,000 procedures, rows per s", "BenchmarkExport/without_identifiers", "rows/s", ">= 16667")
		row("the same, most memory, MB", "BenchmarkExport/without_identifiers", "MB-most", "< 300")
		row("photon histories in the chest, per s and core", "BenchmarkPhantom/chest_PA", "histories/s/core", ">= 5e5")
		row("import of a folder, most memory, MB", "BenchmarkImport/folder", "peak-MB", "< 300")
		row("import from senders, most memory, MB", "BenchmarkImport/senders", "peak-MB", "< 300")
	}
' "$result"
