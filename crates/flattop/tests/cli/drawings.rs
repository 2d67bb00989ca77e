//! `--plot`: drawings that other programs can read.

use resvg::{tiny_skia, usvg};

use crate::bench::Bench;
use crate::signals::Signal;

fn parse_svg(bytes: &[u8]) -> usvg::Tree {
    usvg::Tree::from_data(bytes, &usvg::Options::default()).unwrap()
}

#[test]
fn svg_and_png_are_well_formed_and_carry_the_verdict() {
    let bench = Bench::new();
    bench.write("probe07.csv", &Signal::with(10e-12, 98e-12).csv());
    assert_eq!(bench.run(&["assess", "probe07.csv", "--plot", "plot.svg"]).status, 3);
    let svg = bench.read("plot.svg");
    assert!(parse_svg(&svg).size().height() > 600.0);
    let svg = String::from_utf8(svg).unwrap();
    assert!(svg.contains("UNDERCOMPENSATED") && svg.contains("probe07.csv") && !svg.contains("NaN"));

    assert_eq!(bench.run(&["assess", "probe07.csv", "--plot", "plot.PNG", "--json"]).status, 3);
    let image = tiny_skia::Pixmap::decode_png(&bench.read("plot.PNG")).unwrap();
    assert!(image.width() > 1000 && image.height() > 1000);
}

#[test]
fn an_undetermined_record_is_drawn_with_its_reason() {
    let bench = Bench::new();
    bench.write("flat.csv", &Signal { high_v: 0.0, ..Signal::with(10e-12, 98e-12) }.csv());
    assert_eq!(bench.run(&["assess", "flat.csv", "--plot", "flat.svg"]).status, 4);
    let svg = bench.read("flat.svg");
    parse_svg(&svg);
    assert!(String::from_utf8(svg).unwrap().contains("UNDETERMINED"));
}

#[test]
fn several_captures_get_a_drawing_each() {
    let bench = Bench::new();
    bench.write("ch1.csv", &Signal::with(10e-12, 98e-12).csv());
    bench.write("ch2.csv", &Signal::with(10e-12, 84e-12).csv());
    assert_eq!(bench.run(&["assess", "ch1.csv", "ch2.csv", "--plot", "plot.svg"]).status, 3);
    assert!(String::from_utf8(bench.read("plot-ch1.svg")).unwrap().contains("UNDERCOMPENSATED"));
    assert!(String::from_utf8(bench.read("plot-ch2.svg")).unwrap().contains("OVERCOMPENSATED"));
}

#[test]
fn a_drawing_that_cannot_be_written_is_told_and_the_result_still_shown() {
    let bench = Bench::new();
    bench.write("ch1.csv", &Signal::with(10e-12, 98e-12).csv());
    let run = bench.run(&["assess", "ch1.csv", "--plot", "nowhere/plot.svg"]);
    assert_eq!(run.status, 1);
    assert!(
        run.stderr.contains("plot.svg: cannot be written: the folder nowhere does not exist"),
        "{}",
        run.stderr
    );
    assert!(run.stdout.contains("UNDERCOMPENSATED"));
}
