#!/bin/sh
# The pictures that docs/pages.md shows, again, from the invented data; `program` is calibriar.
set -eu
program=${1:-target/debug/calibriar}
case $program in /*) ;; *) program=$PWD/$program ;; esac
cd "$(dirname "$0")/.."
made=$(mktemp -d)
trap 'rm -rf "$made"' EXIT
"$program" page HR0601 --from data --file data/bench/bench.csv --traces data/bench/bench_traces.csv \
    --pictures -o "$made/piece" 2> /dev/null
"$program" page "billiard H21" --from data --pictures -o "$made/pattern" 2> /dev/null
for name in drawing strip-bit-thickness outline-bowl-wall-left section-bowl-section-23-1 finish size-shape \
    work-bit-thickness; do
    if [ -f "$made/piece/$name.svg" ]; then cp "$made/piece/$name.svg" "docs/drawings/page-$name.svg"; fi
done
years=$(cd "$made/pattern" && ls | grep '^years-bit-thickness' | head -n 1)
cp "$made/pattern/$years" docs/drawings/page-years-bit-thickness.svg
