//! Whole plans: how many a second, and whether the chances they state come true.
//!
//! `cargo bench --bench plans` plans 100,000 invented eyes from their case files, draws for each what happens to it from the
//! error budget of its own plan, and prints plans per second and, for each tenth of the eyes by stated chance, the share that
//! was left with at most 0.50 D. Nothing is asserted. `cargo bench --bench plans -- --test` does two hundred.

#![expect(
    clippy::unwrap_used,
    clippy::disallowed_methods,
    clippy::print_stdout,
    reason = "a bench reads the clock and prints; what fails stops it"
)]

use std::time::{Duration, Instant};

use axiswright::bridge::{Considered, Outcome, consider_case_file};
use axiswright::checks::NumberScheme;
use axiswright::optics::uncertainty::{AngleMixture, Covariance};
use axiswright::plan::{Computation, Settings};
use axiswright::site::{CaseFile, case_file};
use axiswright::units::{Dioptre, Meridian, PowerVector};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal, StandardNormal};

/// The case file of the examples; its eye is replaced.
const CASE: &str = include_str!("../demo-data/cases/toric_right.toml");

const EYES: usize = 100_000;
const EYES_IN_TEST: usize = 200;
/// What may happen to each eye is drawn this often: the standard error of a tenth is then below a tenth of a percent.
const OUTCOMES: u32 = 50;
const SEED: u64 = 578;

/// An eye as two instruments measured it, in the words of a case file.
fn invented(random: &mut ChaCha8Rng) -> String {
    let steep = random.random_range(1..=180_u16);
    let radius = random.random_range(7.3..8.2);
    let cylinder: f64 = random.random_range(0.4..4.5);
    let flat_power = 337.5 / radius;
    let steep_power = flat_power + cylinder;
    let flat = if steep > 90 { steep - 90 } else { steep + 90 };
    let length: f64 = random.random_range(22.0..26.0);
    let depth: f64 = random.random_range(2.6..3.6);
    CASE.replace(
        "radius_mm = 7.92, meridian_deg = 8",
        &format!("radius_mm = {radius:.2}, meridian_deg = {flat}"),
    )
    .replace(
        "radius_mm = 7.49, meridian_deg = 98",
        &format!("radius_mm = {:.2}, meridian_deg = {steep}", 337.5 / steep_power),
    )
    .replace(
        "power_d = 42.66, meridian_deg = 7",
        &format!("power_d = {flat_power:.2}, meridian_deg = {flat}"),
    )
    .replace(
        "power_d = 45.02, meridian_deg = 97",
        &format!("power_d = {steep_power:.2}, meridian_deg = {steep}"),
    )
    .replace("length_mm = 23.62", &format!("length_mm = {length:.2}"))
    .replace("chamber_depth_mm = 3.12", &format!("chamber_depth_mm = {depth:.2}"))
}

fn considered(file: &CaseFile) -> Considered {
    let now = "2026-03-10T08:00:00Z".parse().unwrap();
    consider_case_file(file, now, NumberScheme::None).unwrap()
}

/// The numbers of a case, planned or held.
fn computation(outcome: &Outcome) -> Option<&Computation> {
    match outcome {
        Outcome::Planned(plan) => Some(plan.computation()),
        Outcome::Held(trial) => Some(trial.computation()),
        Outcome::Waiting | Outcome::Blocked => None,
    }
}

/// A vector of a normal distribution.
fn drawn(mean: PowerVector, covariance: Covariance, random: &mut ChaCha8Rng) -> (f64, f64) {
    let (one, two): (f64, f64) = (StandardNormal.sample(random), StandardNormal.sample(random));
    let first = covariance.xx().sqrt();
    let across = covariance.xy() / first;
    let second = (covariance.yy() - across * across).sqrt();
    (mean.x() + first * one, mean.y() + across * one + second * two)
}

/// The error of a lens's angle, in radians.
fn turned(angles: &AngleMixture, random: &mut ChaCha8Rng) -> f64 {
    let mut left: f64 = random.random();
    let part = angles
        .parts()
        .iter()
        .find(|part| {
            left -= part.weight;
            left < 0.0
        })
        .unwrap_or_else(|| angles.parts().last().unwrap());
    Normal::new(part.mean.degrees(), part.sd.degrees()).unwrap().sample(random).to_radians()
}

/// The chance a plan states and the share of what was drawn that it came true for.
fn came_true(computation: &Computation, settings: &Settings, random: &mut ChaCha8Rng) -> Option<(f64, f64)> {
    let stated = computation.chance?.chances.within_0_50;
    let lens = computation.lens()?;
    let cylinder = lens.corneal_cylinder.map_or(0.0, Dioptre::dioptres);
    let axis = lens.axis.map_or(0.0, Meridian::degrees).to_radians();
    let mean = computation.astigmatism.last()?.total;
    let covariance = settings.components.covariance(settings.budget_factor);
    let angles = settings.angles.mixture(settings.budget_factor).unwrap();
    let mut within = 0_u32;
    for _ in 0..OUTCOMES {
        let (x, y) = drawn(mean, covariance, random);
        let at = 2.0 * (axis + turned(&angles, random));
        within += u32::from((x - cylinder * at.cos()).hypot(y - cylinder * at.sin()) <= 0.5);
    }
    Some((stated, f64::from(within) / f64::from(OUTCOMES)))
}

/// Plans a share of the eyes: time of the planning alone, stated chance and share that came true of each eye.
fn share(eyes: usize, seed: u64) -> (Duration, Vec<(f64, f64)>) {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let settings = Settings::default();
    let mut spent = Duration::ZERO;
    let mut pairs = Vec::with_capacity(eyes);
    while pairs.len() < eyes {
        let file = case_file("case.toml", invented(&mut random).as_bytes()).unwrap();
        let start = Instant::now();
        let result = considered(&file);
        spent += start.elapsed();
        if let Some(pair) = computation(&result.outcome).and_then(|it| came_true(it, &settings, &mut random))
        {
            pairs.push(pair);
        }
    }
    (spent, pairs)
}

#[expect(clippy::cast_precision_loss, reason = "counts of eyes are small")]
fn mean(values: impl ExactSizeIterator<Item = f64>) -> f64 {
    let count = values.len() as f64;
    values.sum::<f64>() / count
}

fn main() {
    let eyes = if std::env::args().any(|argument| argument == "--test") { EYES_IN_TEST } else { EYES };
    let threads = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
    let start = Instant::now();
    let shares: Vec<(Duration, Vec<(f64, f64)>)> = std::thread::scope(|scope| {
        let seeds = (SEED..).take(threads);
        let running: Vec<_> =
            seeds.map(|seed| scope.spawn(move || share(eyes.div_ceil(threads), seed))).collect();
        running.into_iter().map(|thread| thread.join().unwrap()).collect()
    });
    let whole = start.elapsed();
    let planning: Duration = shares.iter().map(|(spent, _)| *spent).sum();
    let mut pairs: Vec<(f64, f64)> = shares.into_iter().flat_map(|(_, pairs)| pairs).collect();
    let planned = u32::try_from(pairs.len()).unwrap();
    println!(
        "{planned} plans on {threads} threads: {:.0} plans per second; one plan with its checks, choices and chances takes {:.3} ms",
        f64::from(planned) / (planning.as_secs_f64() / f64::from(u32::try_from(threads).unwrap())),
        planning.as_secs_f64() * 1000.0 / f64::from(planned),
    );
    println!("{OUTCOMES} outcomes drawn of each eye; all together {:.1} s", whole.as_secs_f64());
    pairs.sort_by(|one, other| one.0.total_cmp(&other.0));
    println!("tenth   stated chance     stated   came true   apart (percentage points)");
    let mut worst = 0.0_f64;
    for (number, tenth) in (1..).zip(pairs.chunks(pairs.len().div_ceil(10))) {
        let (stated, true_for) =
            (mean(tenth.iter().map(|pair| pair.0)), mean(tenth.iter().map(|pair| pair.1)));
        let apart = (true_for - stated) * 100.0;
        worst = worst.max(apart.abs());
        println!(
            "{number:5}   {:.3} to {:.3}    {stated:.4}      {true_for:.4}   {apart:+.2}",
            tenth.first().unwrap().0,
            tenth.last().unwrap().0,
        );
    }
    println!("worst tenth: {worst:.2} percentage points");
}
