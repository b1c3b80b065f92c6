//! Nanoseconds a step of everything, and whether all that do the same agree. With a title and a number of
//! readings, it goes through them once and says nothing: for counting instructions; with no such title, it only makes
//! the readings.

use std::hint::black_box;
use std::process::ExitCode;
use std::time::{Duration, Instant};

fn main() -> ExitCode {
    let args: Vec<_> = std::env::args().skip(1).collect();
    if let [title, count] = args.as_slice() {
        let readings = steps::readings(count.parse().expect("a number"));
        if let Some(group) = steps::GROUPS.iter().find(|group| group.title == title) {
            black_box((group.works[0].run)(&readings));
        }
        return ExitCode::SUCCESS;
    }
    if args == ["titles"] {
        steps::GROUPS.iter().for_each(|group| println!("{}", group.title));
        return ExitCode::SUCCESS;
    }
    let readings = steps::readings(8640);
    let (mut timed, mut differ) = (0, 0);
    for group in steps::GROUPS {
        println!("{}", group.title);
        let own = (group.works[0].run)(&readings);
        let mut own_ns = 0.0;
        for work in group.works {
            let answer = (work.run)(&readings);
            let ns = nanoseconds(|| (work.run)(black_box(&readings))) / readings.len() as f64;
            own_ns = if timed_first(work, group) { ns } else { own_ns };
            let same = steps::agree(&own, &answer);
            timed += 1;
            differ += u32::from(!same);
            let shown: Vec<_> = answer.iter().map(|x| format!("{x:.3}")).collect();
            let ratio = if timed_first(work, group) {
                String::new()
            } else {
                format!("ours takes {:.2} of it", own_ns / ns)
            };
            println!(
                "  {:28} {ns:8.1} ns  {ratio:26} {}{}",
                work.name,
                shown.join(" "),
                if same { "" } else { "  DIFFERS" }
            );
        }
    }
    println!("counts: {timed} works timed, {differ} differ");
    if differ == 0 { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

fn timed_first(work: &steps::Work, group: &steps::Group) -> bool {
    std::ptr::eq(work, &group.works[0])
}

/// The least of several runs: what else the machine does only adds.
fn nanoseconds<T>(mut run: impl FnMut() -> T) -> f64 {
    let mut least = Duration::MAX;
    let begun = Instant::now();
    while begun.elapsed() < Duration::from_millis(300) {
        let started = Instant::now();
        black_box(run());
        least = least.min(started.elapsed());
    }
    least.as_nanos() as f64
}
