//! Each work by criterion, for its statistics.

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use std::hint::black_box;

fn all(c: &mut Criterion) {
    let readings = steps::readings(2000);
    for group in steps::GROUPS {
        let mut bench = c.benchmark_group(group.title);
        bench.throughput(Throughput::Elements(readings.len() as u64));
        for work in group.works {
            bench.bench_function(work.name, |b| b.iter(|| (work.run)(black_box(&readings))));
        }
    }
}

criterion_group!(benches, all);
criterion_main!(benches);
