#!/bin/sh
# The main job on the invented data: messy sheets in, a pattern's typical ranges, what is off.
set -eu
cd "$(dirname "$0")/.."
echo "Building the program; the first time this takes a few minutes."
cargo build --release --quiet
target=${CARGO_TARGET_DIR:-target}
export CALIBRIAR_COLLECTION="$target/demo.db"
rm -f "$target"/demo.db "$target"/demo.db-wal "$target"/demo.db-shm

say() {
    printf '\n$ calibriar'
    for word in "$@"; do
        case $word in
            *' '*) printf ' "%s"' "$word" ;;
            *) printf ' %s' "$word" ;;
        esac
    done
    printf '\n\n'
}
run() { say "$@"; "$target/release/calibriar" "$@"; }

run add data/sheets/ledger.csv data/sheets/inch_bench.csv data/sheets/visiting_cards.csv \
    data/sheets/club_evening.csv data/periods.csv
run norms "billiard H21" --format table
# Exit status 1 says that something was found.
run flag --format table > "$target/demo-flags.txt" || [ $? -eq 1 ]
head -n 24 "$target/demo-flags.txt"
echo "(the other rows are left out here)"
tail -n 2 "$target/demo-flags.txt"
run check HR0512 --format table || [ $? -eq 1 ]
# Three pieces on a bench: the first sheet's works.
run refit --from data --file data/bench/bench.csv --traces data/bench/bench_traces.csv --format table \
    > "$target/demo-refit.txt"
head -n 20 "$target/demo-refit.txt"
echo "(the whole sheet is in $target/demo-refit.txt; the safety rules of the place where you work come first)"
