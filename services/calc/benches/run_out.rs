//! Times the run-out calculations, and the simulation beside the numpy program next to it.
//!
//! One command, from anywhere in the repository:
//!
//! ```text
//! PYTHON=<a python that has numpy> cargo bench -p calc --bench run_out
//! ```
//!
//! Both programs get the very same materials, lots, deliveries and records; numpy draws its own
//! random numbers, so the two answers are held against each other by their chances and quantiles.
//! Without `PYTHON` (or `python3`) that can import numpy only the Rust figures are printed.
//! `numpy` runs every material of the first table; the second table says what it scales.

use std::{
    env,
    error::Error,
    fmt::Write as _,
    fs, io,
    io::Write as _,
    num::NonZeroUsize,
    process::{Command, Stdio},
    thread,
    time::Instant,
};

use calc::{
    RunOutInput, SimulatedRunOut, SimulationInput, StockDelivery, StockLot, run_out,
    simulate_run_outs,
};
use chrono::{Days, NaiveDate};

type Outcome<T> = Result<T, Box<dyn Error>>;

/// What both programs are given.
struct Material {
    lots: Vec<StockLot>,
    deliveries: Vec<StockDelivery>,
    production: Vec<f64>,
    waste_factors: Vec<f64>,
    quantity_per_unit: f64,
    seed: u64,
}

struct Size {
    materials: usize,
    lots_each: usize,
    days: u32,
    paths: u32,
}

fn main() -> Outcome<()> {
    let arguments: Vec<String> = env::args().collect();
    if let Some(place) = arguments.iter().position(|it| it == "--peak-memory-of-paths") {
        let paths = arguments.get(place + 1).ok_or("how many paths?")?.parse()?;
        return peak_memory(paths);
    }
    // Without `--bench` (cargo test --benches) a small size only shows that it works.
    let full = arguments.iter().any(|it| it == "--bench");
    let (materials, days, paths) = if full { (200, 365, 1000) } else { (4, 60, 50) };
    deterministic(full)?;
    say(format_args!("\nsimulation, 10,000 lots in all:"))?;
    let lots_each = 10_000 / materials;
    simulation(&Size { materials, lots_each, days, paths }, materials)?;
    if full {
        say(format_args!("\nsimulation, 10,000 lots of each material:"))?;
        simulation(&Size { materials, lots_each: 10_000, days, paths }, 1)?;
        memory()?;
    }
    Ok(())
}

fn say(line: std::fmt::Arguments<'_>) -> io::Result<()> {
    writeln!(io::stdout(), "{line}")
}

fn start() -> Outcome<NaiveDate> {
    Ok(NaiveDate::from_ymd_opt(2026, 3, 2).ok_or("no such date")?)
}

/// A plain linear congruential generator: the bench needs variety, not quality.
struct Variety(u64);

impl Variety {
    fn below(&mut self, limit: u32) -> u32 {
        let step = self.0.wrapping_mul(6_364_136_223_846_793_005);
        self.0 = step.wrapping_add(1_442_695_040_888_963_407);
        u32::try_from(((self.0 >> 32) * u64::from(limit)) >> 32).unwrap_or(0)
    }

    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * f64::from(self.below(1 << 20)) / f64::from(1 << 20)
    }
}

/// Stock that lasts most paths some 200 to 400 days, a part of it expiring on the way.
fn material(index: usize, size: &Size) -> Outcome<Material> {
    let seed = u64::try_from(index)?;
    let mut variety = Variety(seed + 1);
    let start = start()?;
    let on = |day: u32| start + Days::new(u64::from(day));
    let quantity_per_unit = variety.between(5.0, 40.0);
    // About 20 joints a day, 6 days of 7.
    let total = 17.0 * f64::from(size.days) * quantity_per_unit * variety.between(0.6, 1.1);
    let each = total / f64::from(u32::try_from(size.lots_each)?);
    let lots = (0..size.lots_each).map(|_| {
        let expires_on = Some(on(20 + variety.below(size.days * 2)));
        StockLot { quantity: each * variety.between(0.5, 1.5), expires_on }
    });
    let lots = lots.collect();
    let deliveries = (0..6).map(|_| {
        let day = variety.below(size.days);
        let expires_on = Some(on(day + 30 + variety.below(size.days)));
        StockDelivery { on: on(day), quantity: total / 40.0, expires_on }
    });
    let deliveries = deliveries.collect();
    let production = (0..120).map(|_| f64::from(variety.below(41))).collect();
    let waste_factors = (0..40).map(|_| variety.between(1.02, 1.15)).collect();
    Ok(Material { lots, deliveries, production, waste_factors, quantity_per_unit, seed })
}

/// Six working days, then one off.
fn working_share(size: &Size) -> Vec<f64> {
    (0..size.days).map(|day| if day % 7 == 6 { 0.0 } else { 1.0 }).collect()
}

fn inputs<'a>(
    materials: &'a [Material],
    size: &Size,
    working_share: &'a [f64],
) -> Outcome<Vec<SimulationInput<'a>>> {
    let start_on = start()?;
    let input = |it: &'a Material| SimulationInput {
        start_on,
        days: size.days,
        lots: &it.lots,
        deliveries: &it.deliveries,
        production: &it.production,
        quantity_per_unit: it.quantity_per_unit,
        waste_factors: &it.waste_factors,
        working_share,
        units_left: None,
        paths: size.paths,
        seed: it.seed,
    };
    Ok(materials.iter().map(input).collect())
}

fn timed(inputs: &[SimulationInput<'_>], threads: usize) -> Outcome<(f64, Vec<SimulatedRunOut>)> {
    let threads = NonZeroUsize::new(threads).ok_or("no threads")?;
    let (mut best, mut answers) = (f64::INFINITY, Vec::new());
    for _ in 0..3 {
        let begun = Instant::now();
        answers = simulate_run_outs(inputs, threads).into_iter().collect::<Result<_, _>>()?;
        best = best.min(begun.elapsed().as_secs_f64());
    }
    Ok((best, answers))
}

fn simulation(size: &Size, numpy_materials: usize) -> Outcome<()> {
    let materials: Vec<Material> =
        (0..size.materials).map(|index| material(index, size)).collect::<Result<_, _>>()?;
    let share = working_share(size);
    let inputs = inputs(&materials, size, &share)?;
    let (materials_n, lots) = (size.materials, size.materials * size.lots_each);
    let (days, paths) = (size.days, size.paths);
    say(format_args!("{materials_n} materials, {lots} lots, {days} days, {paths} paths"))?;
    let threads = thread::available_parallelism()?.get();
    let (one, _) = timed(&inputs, 1)?;
    let (all, answers) = timed(&inputs, threads)?;
    say(format_args!("  calc, 1 thread:    {one:9.3} s"))?;
    say(format_args!("  calc, {threads} threads:   {all:9.3} s"))?;
    let Some((measured, counts)) = numpy(&inputs[..numpy_materials])? else {
        return say(format_args!("  numpy is not at hand: set PYTHON")).map_err(Into::into);
    };
    let scale = f64::from(u32::try_from(size.materials / numpy_materials)?);
    let seconds = measured * scale;
    let how = if numpy_materials == size.materials {
        "every material run".to_owned()
    } else {
        format!("{numpy_materials} material run in {measured:.3} s, scaled by {scale}")
    };
    say(format_args!("  numpy:             {seconds:9.3} s   ({how})"))?;
    say(format_args!("  numpy / calc, 1 thread:  {:7.1}", seconds / one))?;
    say(format_args!("  numpy / calc, {threads} threads: {:7.1}", seconds / all))?;
    agreement(&answers[..numpy_materials], &counts)
}

/// Both simulate the same: the chances of having run out by the end of each quarter of the
/// horizon, over all materials, differ by sampling only.
fn agreement(answers: &[SimulatedRunOut], counts: &[Vec<u32>]) -> Outcome<()> {
    let (mut worst, mut paths) = (0.0_f64, 0);
    for (answer, numpy) in answers.iter().zip(counts) {
        paths = answer.paths;
        for quarter in 1..=4 {
            let end = numpy.len() * quarter / 4;
            let share = |days: &[u32]| f64::from(days[..end].iter().sum::<u32>());
            let apart = (share(&answer.run_out_counts) - share(numpy)).abs();
            worst = worst.max(apart / f64::from(answer.paths));
        }
    }
    let run_out: f64 = answers.iter().map(|answer| answer.run_out_chance).sum();
    let mean = run_out / f64::from(u32::try_from(answers.len())?);
    // Two samples of n: a standard deviation of at most √(1/2n); five of them.
    let allowed = 5.0 * (0.5 / f64::from(paths)).sqrt();
    say(format_args!("  mean chance of running out {mean:.3}; largest difference {worst:.3}"))?;
    if worst > allowed {
        return Err(format!("the two programs disagree by more than {allowed:.3}").into());
    }
    Ok(())
}

/// Runs the numpy program: its seconds, and its run-outs by day for each material.
fn numpy(inputs: &[SimulationInput<'_>]) -> Outcome<Option<(f64, Vec<Vec<u32>>)>> {
    let python = env::var("PYTHON").unwrap_or_else(|_| "python3".to_owned());
    let program = concat!(env!("CARGO_MANIFEST_DIR"), "/benches/run_out_numpy.py");
    let present = Command::new(&python).args(["-c", "import numpy"]).stderr(Stdio::null()).status();
    if !present.is_ok_and(|status| status.success()) {
        return Ok(None);
    }
    let mut child =
        Command::new(python).arg(program).stdin(Stdio::piped()).stdout(Stdio::piped()).spawn()?;
    child.stdin.take().ok_or("no input")?.write_all(as_json(inputs)?.as_bytes())?;
    let output = child.wait_with_output()?;
    if !output.status.success() {
        return Err("the numpy program failed".into());
    }
    let text = String::from_utf8(output.stdout)?;
    let mut lines = text.lines();
    let seconds = lines.next().ok_or("no seconds")?.parse()?;
    let counts = lines.map(|line| line.split(' ').map(str::parse).collect());
    Ok(Some((seconds, counts.collect::<Result<_, _>>()?)))
}

fn as_json(inputs: &[SimulationInput<'_>]) -> Outcome<String> {
    let mut text = String::from("[");
    for (index, input) in inputs.iter().enumerate() {
        let day = |date: NaiveDate| (date - input.start_on).num_days();
        let last = |date: Option<NaiveDate>| date.map_or(-1, day);
        let lots: Vec<_> = input
            .lots
            .iter()
            .map(|it| format!("[{},{}]", it.quantity, last(it.expires_on)))
            .collect();
        let delivery = |it: &StockDelivery| {
            format!("[{},{},{}]", day(it.on), it.quantity, last(it.expires_on))
        };
        let deliveries: Vec<_> = input.deliveries.iter().map(delivery).collect();
        write!(
            text,
            "{}{{\"days\":{},\"paths\":{},\"lots\":[{}],\"deliveries\":[{}],\"production\":{:?},\
             \"waste_factors\":{:?},\"working_share\":{:?},\"quantity_per_unit\":{},\"seed\":{}}}",
            if index == 0 { "" } else { "," },
            input.days,
            input.paths,
            lots.join(","),
            deliveries.join(","),
            input.production,
            input.waste_factors,
            input.working_share,
            input.quantity_per_unit,
            input.seed,
        )?;
    }
    text.push(']');
    Ok(text)
}

/// A project of 100,000 joints at 40 a working day: the whole of it in one look.
fn deterministic(full: bool) -> Outcome<()> {
    let (lots_each, days) = if full { (10_000, 3_000) } else { (100, 300) };
    let size = Size { materials: 1, lots_each, days, paths: 1 };
    let material = material(0, &size)?;
    let rate = 40.0 * material.quantity_per_unit;
    let demand: Vec<f64> = working_share(&size).iter().map(|share| share * rate).collect();
    let input = RunOutInput {
        start_on: start()?,
        days,
        lots: &material.lots,
        deliveries: &material.deliveries,
        demand: &demand,
        lead_time_days: 21,
        safety_days: 5,
    };
    let mut best = f64::INFINITY;
    let mut on = None;
    for _ in 0..20 {
        let begun = Instant::now();
        on = run_out(&input)?.run_out_on;
        best = best.min(begun.elapsed().as_secs_f64());
    }
    let joints = demand.iter().sum::<f64>() / material.quantity_per_unit;
    say(format_args!("run-out, {joints} joints over {days} days, {lots_each} lots:"))?;
    let on = on.map_or_else(|| "none".to_owned(), |on| on.to_string());
    Ok(say(format_args!("  {:.3} ms (run-out on {on})", best * 1000.0))?)
}

/// Peak memory of whole processes that differ in their paths only.
fn memory() -> Outcome<()> {
    say(format_args!("\npeak resident memory of a whole process, 20 materials, 365 days:"))?;
    for paths in ["1000", "10000", "100000"] {
        let mut again = Command::new(env::current_exe()?);
        let output = again.args(["--peak-memory-of-paths", paths]).output()?;
        let text = String::from_utf8(output.stdout)?;
        say(format_args!("  {paths:>6} paths: {}", text.trim()))?;
    }
    Ok(())
}

fn peak_memory(paths: u32) -> Outcome<()> {
    let size = Size { materials: 20, lots_each: 50, days: 365, paths };
    let materials: Vec<Material> =
        (0..size.materials).map(|index| material(index, &size)).collect::<Result<_, _>>()?;
    let share = working_share(&size);
    let inputs = inputs(&materials, &size, &share)?;
    for answer in simulate_run_outs(&inputs, thread::available_parallelism()?) {
        answer?;
    }
    let status = fs::read_to_string("/proc/self/status")?;
    let peak = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    Ok(say(format_args!("{}", peak.ok_or("no VmHWM")?.trim()))?)
}
