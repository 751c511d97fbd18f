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
for name in drawing strip-bit-thickness outline-bowl-wall-left section-bowl-section size-shape work-bit-thickness; do
    # Behind the name of a picture stands a number of its own.
    picture=$(cd "$made/piece" && ls | grep "^$name" | head -n 1)
    cp "$made/piece/$picture" "docs/drawings/page-$name.svg"
done
years=$(cd "$made/pattern" && ls | grep '^years-bit-thickness' | head -n 1)
cp "$made/pattern/$years" docs/drawings/page-years-bit-thickness.svg
