//! One bay with a disc spring: what a trial costs, and what of it is the making of random normals, the limit no model can beat.
//!
//! `cargo bench -p packdrift-benches`; compare the three lines of one run, not lines of different runs.
#![allow(missing_docs, clippy::unwrap_used, reason = "criterion's macros make undocumented items; a bench may stop")]

use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
use packdrift_numerics::stream::{BLOCK, Key};
use packdrift_pack::Quantity;
use packdrift_spread::{MethodChoice, Options, PackModel, Population, Silent, analyse};
use std::hint::black_box;

fn kernel(c: &mut Criterion) {
    let stack = packdrift_benches::bay().unwrap();
    let population = Population::of_stack(&stack).unwrap();
    let mut group = c.benchmark_group("one block of trials");
    group.throughput(Throughput::Elements(BLOCK as u64));

    group.bench_function("thirteen normals a trial", |b| {
        let keys: Vec<Key> = (0..13).map(|k| Key::new(1, &format!("dimension {k}"))).collect();
        let mut out = vec![0.0; BLOCK];
        let mut block = 0;
        b.iter(|| {
            block += 1;
            for key in &keys {
                key.lanes(block).fill_normal(&mut out);
                black_box(&out);
            }
        });
    });

    group.bench_function("drawing the dimensions", |b| {
        let mut sampler = population.sampler(1);
        let mut x = sampler.columns();
        let mut block = 0;
        b.iter(|| {
            block += 1;
            sampler.fill(block, &mut x);
            black_box(&x);
        });
    });

    group.bench_function("preload and offset of drawn dimensions", |b| {
        use packdrift_spread::{Model, Responses};
        let model = PackModel::new(&stack).unwrap();
        let mut sampler = population.sampler(1);
        let mut x = sampler.columns();
        sampler.fill(0, &mut x);
        let mut out = Responses::new(model.responses(), BLOCK);
        b.iter(|| {
            model.respond_block(&x, &mut out);
            black_box(&out);
        });
    });
    group.finish();

    let mut group = c.benchmark_group("single evaluation");
    let means = population.means();
    for (name, quantity) in
        [("preload", Quantity::Preload { bay: 0 }), ("offset", Quantity::Offset { bay: 0, valve: 0 })]
    {
        group.bench_with_input(BenchmarkId::new("value", name), &quantity, |b, quantity| {
            b.iter(|| stack.pack.evaluate(quantity, 0, black_box(&means)));
        });
        let mut gradient = vec![0.0; means.len()];
        group.bench_with_input(BenchmarkId::new("value and gradient", name), &quantity, |b, quantity| {
            b.iter(|| stack.pack.gradient(quantity, 0, black_box(&means), &mut gradient));
        });
    }
    group.finish();
}

fn whole(c: &mut Criterion) {
    let stack = packdrift_benches::bay().unwrap();
    let mut group = c.benchmark_group("stack");
    group.sample_size(10);
    group.bench_function("everything by default", |b| {
        b.iter(|| analyse(&stack, &Options::default(), &Silent).unwrap());
    });
    let plain = Options { method: MethodChoice::MonteCarlo, trials: Some(1_000_000), ..Options::default() };
    group.throughput(Throughput::Elements(1_000_000));
    group.bench_function("plain Monte Carlo, 1e6 trials", |b| b.iter(|| analyse(&stack, &plain, &Silent).unwrap()));
    group.finish();
}

criterion_group!(benches, kernel, whole);
criterion_main!(benches);
