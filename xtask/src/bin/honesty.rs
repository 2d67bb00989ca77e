//! `honesty [RUNS] [KIND...]`: prints how true the stated uncertainty is, kind by kind.
#![allow(clippy::print_stdout)]

#[path = "../honesty/mod.rs"]
mod honesty;

fn main() {
    let mut arguments = std::env::args().skip(1);
    let runs: u64 = arguments.next().and_then(|a| a.parse().ok()).unwrap_or(10_000);
    let mut kinds: Vec<String> = arguments.collect();
    if let Some(i) = kinds.iter().position(|k| k == "-v") {
        kinds.remove(i);
        for k in &kinds {
            let only: Option<u64> = std::env::var("ONLY").ok().and_then(|v| v.parse().ok());
            for i in (0..runs).filter(|i| only.is_none_or(|o| o == *i)) {
                let o = honesty::trial(k, 1, i, true);
                println!("{i:5} e {:+.4} d {:+.5} u {:.5} crb {:.5} z {:+.2} tau {:.1} dlt {:+.3} {:?}", o.truth.error, o.deviation.unwrap_or(f64::NAN), o.uncertainty, o.bound, o.deviation.unwrap_or(f64::NAN)/o.uncertainty, o.truth.tau_s*1e6, o.tau_deviation, o.codes);
            }
        }
        return;
    }
    if kinds.is_empty() {
        kinds = honesty::simulate::KINDS.iter().map(|k| (*k).to_owned()).collect();
    }
    println!("kind          runs refused  bias/u   sd/u  rms/CRB  u/CRB  cover e  cover tau  worst");
    for kind in kinds {
        let s = honesty::run(&kind, 1, runs, true);
        println!(
            "{:<12} {:>5} {:>6}  {:>+7.3} {:>6.3}  {:>6.3} {:>6.3}  {:>6.2} %  {:>6.2} %  {:.1} (#{})",
            s.kind, s.runs, s.refused, s.bias, s.pull, s.against_bound, s.stated_against_bound,
            100.0 * s.coverage, 100.0 * s.tau_coverage, s.worst.0, s.worst.1
        );
    }
}
