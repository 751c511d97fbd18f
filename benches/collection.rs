//! Readings into a collection and out of it, on disk.

#![allow(missing_docs, clippy::unwrap_used)]

mod common;

use calibriar::collection::{Author, Collection, NewContent, NewFile, sha256_hex};
use criterion::{BatchSize, BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};

fn file(rows: usize) -> NewFile {
    let text = common::sheet(rows);
    NewFile {
        name: "bench.csv".to_owned(),
        sha256: sha256_hex(text.as_bytes()),
        options: "{}".to_owned(),
        content: NewContent::from(common::table(&text, true)),
    }
}

fn author() -> Author {
    Author {
        by: "bench".to_owned(),
        on: "2001-02-03T04:05:06Z".to_owned(),
        why: String::new(),
    }
}

fn store(criterion: &mut Criterion) {
    for rows in [1_000usize, 10_000, 100_000] {
        let files = [file(rows)];
        let mut group = criterion.benchmark_group("collection");
        group
            .throughput(Throughput::Elements(12 * rows as u64))
            .sample_size(10);
        group.bench_function(BenchmarkId::new("add", rows), |b| {
            b.iter_batched(
                || {
                    let folder = tempfile::tempdir().unwrap();
                    let path = folder.path().join("collection.db");
                    (Collection::open_or_create(&path).unwrap(), folder)
                },
                |(mut collection, folder)| {
                    collection
                        .add(&files, &author(), false, &mut |_| {})
                        .unwrap();
                    (collection, folder)
                },
                BatchSize::PerIteration,
            );
        });
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("collection.db");
        let mut collection = Collection::open_or_create(&path).unwrap();
        collection
            .add(&files, &author(), false, &mut |_| {})
            .unwrap();
        group.bench_function(BenchmarkId::new("read all", rows), |b| {
            b.iter(|| Collection::open(&path).unwrap().table().unwrap());
        });
        group.finish();
    }
}

criterion_group!(benches, store);
criterion_main!(benches);
