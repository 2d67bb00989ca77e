//! `flattop predict` and `flattop choose` through the real binary.

use flattop_close::{assert_close, relative, within};
use serde_json::Value;

use crate::bench::Bench;

/// The chain of a published check table: 25 Ω source, 9 MΩ ∥ 11.3333 pF tip, 1.2 m of lossy cable, 10 pF box, 1 MΩ ∥ 20 pF.
const KNOWN_CHAIN: &str = r#"
[node]
resistance = "25 ohm"
[signal]
shape = "edge"
low = "0 V"
high = "1 V"
rise = "5 ns"
[probe]
ratio = 10
tip_resistance = "9M"
tip_capacitance = 11.333333333333333e-12
[probe.cable]
length = "1.2 m"
resistance_per_metre = "160 ohm/m"
inductance_per_metre = "330 nH/m"
capacitance_per_metre = "60 pF/m"
[probe.box]
capacitance = "10 pF"
[input]
resistance = "1M"
capacitance = "20 pF"
"#;

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect()
}

fn codes(value: &Value) -> Vec<String> {
    let list = value["findings"].as_array().unwrap();
    list.iter().map(|f| f["code"].as_str().unwrap().to_owned()).collect()
}

#[test]
fn the_response_is_that_of_the_derived_table() {
    // Table of REFERENCES 1.3, kept as reference/published/derived_probe_chain_abcd.csv: |V2/Vs|, phase in degrees.
    let bench = Bench::new();
    bench.write("plan.toml", KNOWN_CHAIN);
    let found = bench.json(&["predict", "plan.toml", "--frequencies", "1MHz,10MHz,30MHz,50MHz,100MHz"], 0);
    let response = &found["response"];
    let gain = [1.000_106_98, 1.015_519_55, 1.123_608_37, 1.221_414_76, 1.148_358_07];
    assert_close!(numbers(&response["gain"]), gain, relative(1e-7));
    let degrees: Vec<f64> = numbers(&response["phase_rad"]).iter().map(|p| p.to_degrees()).collect();
    assert_close!(degrees, [-1.733_744, -17.488_633, -55.924_747, -101.379_646, 151.793_660], within(1e-5));
    assert_close!(numbers(&response["frequency_hz"]), [1e6, 1e7, 3e7, 5e7, 1e8], relative(1e-12));
}

#[test]
fn times_and_frequencies_are_those_asked_for() {
    let bench = Bench::new();
    bench.write("plan.toml", KNOWN_CHAIN);
    let args = ["predict", "plan.toml", "--frequencies", "10:1e9:9", "--times", "0:1us:11"];
    let found = bench.json(&args, 0);
    let frequencies = numbers(&found["response"]["frequency_hz"]);
    assert_eq!(frequencies.len(), 9);
    assert_close!(frequencies[4], 1e5, relative(1e-9));
    let times = numbers(&found["waveform"]["time_s"]);
    assert_close!(times, (0..11).map(|k| f64::from(k) * 1e-7).collect::<Vec<_>>(), within(1e-18));
    let (truth, shown) = (numbers(&found["waveform"]["true_v"]), numbers(&found["waveform"]["shown_v"]));
    assert_close!(truth[0], 0.0, within(1e-12));
    assert_close!(truth[10], 1.0, within(1e-9));
    // 1 µs after the edge a balanced probe shows what is there, but for what the cable's 192 Ω make of the balance.
    assert_close!(shown[10], 0.999_978_3, within(5e-5));
    assert!(codes(&found).contains(&"values-taken-as-exact".to_owned()), "{:?}", codes(&found));
}

#[test]
fn options_stand_for_the_keys_of_a_plan_and_a_setting_wins() {
    let bench = Bench::new();
    bench.write("plan.toml", KNOWN_CHAIN);
    let by_plan = bench.json(&["predict", "plan.toml", "--frequencies", "1kHz"], 0);
    let loaded = ["predict", "plan.toml", "--frequencies", "1kHz", "--node.resistance", "1M"];
    let by_option = bench.json(&loaded, 0);
    assert_close!(numbers(&by_option["response"]["loading"])[0], 10.0 / 11.0, relative(3e-2));
    let set = [
        "predict",
        "plan.toml",
        "--frequencies",
        "1kHz",
        "--node.resistance",
        "1M",
        "--set",
        "node.resistance=25",
    ];
    assert_eq!(bench.json(&set, 0)["response"], by_plan["response"]);
}

#[test]
fn tolerances_make_uncertainties() {
    let bench = Bench::new();
    bench.write("plan.toml", &KNOWN_CHAIN.replace("\"9M\"", "\"9M ± 1%\""));
    let found = bench.json(&["predict", "plan.toml", "--frequencies", "100"], 0);
    // g0 = R2/(R1+R2): 1 % of R1, rectangular, makes 0.9 %/√3 of gain.
    let u = numbers(&found["response"]["gain_standard_uncertainty"])[0];
    assert_close!(u, 0.009 / 3f64.sqrt(), relative(0.05));
}

#[test]
fn a_signal_beyond_the_rating_is_a_fault_with_its_caution() {
    let bench = Bench::new();
    let rated = "[probe.rating]\nfrequency = [\"100 kHz\", \"1 MHz\"]\npeak = [\"600 V\", \"60 V\"]\n[input]";
    let plan = KNOWN_CHAIN.replace("high = \"1 V\"", "high = \"800 V\"").replace("[input]", rated);
    bench.write("plan.toml", &plan);
    let found = bench.json(&["predict", "plan.toml"], 3);
    let codes = codes(&found);
    for code in ["over-rating", "hazardous-voltage", "earthed-clip-danger"] {
        assert!(codes.contains(&code.to_owned()), "{code} is not in {codes:?}");
    }
    let run = bench.run(&["predict", "plan.toml"]);
    assert_eq!(run.status, 3);
    assert!(run.stdout.contains("local codes"), "{}", run.stdout);
    assert!(run.stdout.lines().all(|line| line.chars().count() <= 80), "{}", run.stdout);
}

#[test]
fn faults_of_a_plan_name_line_key_and_remedy() {
    let bench = Bench::new();
    bench.write("plan.toml", &KNOWN_CHAIN.replace("length = \"1.2 m\"", "lenght = \"1.2 m\""));
    let run = bench.run(&["predict", "plan.toml"]);
    assert_eq!(run.status, 1);
    assert!(run.stderr.contains("plan.toml") && run.stderr.contains("line 14"), "{}", run.stderr);
    assert!(run.stderr.contains("length"), "{}", run.stderr);
    assert_eq!(run.stdout, "");
    let run = bench.run(&["predict", "absent.toml"]);
    assert_eq!(run.status, 1);
    assert!(run.stderr.contains("absent.toml"), "{}", run.stderr);
    assert_eq!(bench.run(&["predict"]).status, 2);
    assert_eq!(bench.run(&["predict", "plan.toml", "--set", "node"]).status, 2);
}

#[test]
fn a_measured_adapter_and_a_waveform_come_from_files() {
    let bench = Bench::new();
    // 50 Ω in series, as S-parameters on 50 Ω: S11 = 1/3, S21 = 2/3.
    let entry = |f: &str| {
        format!("{f} 0.3333333333333333 0 0.6666666666666667 0 0.6666666666666667 0 0.3333333333333333 0\n")
    };
    bench.write("adapter.s2p", &format!("# MHz S RI R 50\n{}{}{}", entry("0"), entry("100"), entry("1000")));
    let wave: String = (0..200).map(|k| format!("{}e-9,{}\n", k, if k < 100 { 0.0 } else { 1.0 })).collect();
    bench.write("wave.csv", &format!("time (s),u (V)\n{wave}"));
    let plan = KNOWN_CHAIN.replace(
        "shape = \"edge\"\nlow = \"0 V\"\nhigh = \"1 V\"\nrise = \"5 ns\"",
        "shape = \"file\"\nfile = \"wave.csv\"",
    );
    bench.write("plain.toml", &plan);
    let measured = "\n[[measured]]\nplace = \"before-contact\"\nfile = \"adapter.s2p\"\nuse = \"two-port\"\n";
    bench.write("measured.toml", &format!("{plan}{measured}"));
    let frequencies = ["--frequencies", "1MHz,100MHz"];
    let with = bench.json(&["predict", "measured.toml", frequencies[0], frequencies[1]], 0);
    let same = bench
        .json(&["predict", "plain.toml", frequencies[0], frequencies[1], "--contact.resistance", "50"], 0);
    assert_close!(numbers(&with["response"]["gain"]), numbers(&same["response"]["gain"]), relative(1e-6));
    let shown = numbers(&with["waveform"]["shown_v"]);
    assert_close!(shown[0], 0.0, within(1e-3));
}

#[test]
fn drawings_and_the_template_are_written() {
    let bench = Bench::new();
    bench.write("plan.toml", KNOWN_CHAIN);
    assert_eq!(bench.run(&["predict", "plan.toml", "--plot", "p.svg"]).status, 0);
    assert!(String::from_utf8(bench.read("p.svg")).unwrap().starts_with("<?xml"));
    assert_eq!(bench.run(&["predict", "plan.toml", "--plot", "p.png"]).status, 0);
    assert_eq!(&bench.read("p.png")[..4], b"\x89PNG");
    let template = bench.run(&["predict", "--template"]);
    assert_eq!(template.status, 0);
    bench.write("template.toml", &template.stdout);
    assert_eq!(bench.run(&["predict", "template.toml"]).status, 0);
}

const LIST: &str = r#"
[node]
resistance = "220 ohm"
[signal]
shape = "sine"
frequency = "10 kHz"
low = "-1 V"
high = "1 V"
[measurement]
quantity = "amplitude"
tolerance = "2%"
[[probe]]
label = "Probe 07"
ratio = 10
input_capacitance = "10 pF"
compensation_range = ["8 pF", "18 pF"]
bandwidth = "200 MHz"
[[input]]
label = "Bench A"
resistance = "1M"
capacitance = "15 pF"
[[input]]
label = "Bench C"
resistance = "1M"
capacitance = "30 pF"
"#;

#[test]
fn choosing_ranks_and_refuses_with_reasons() {
    let bench = Bench::new();
    bench.write("list.toml", LIST);
    let found = bench.json(&["choose", "list.toml"], 0);
    assert_eq!(found["best"]["input"], "Bench A");
    let ranking = found["ranking"].as_array().unwrap();
    assert_eq!(ranking.len(), 2);
    assert_eq!(ranking[0]["standing"], "suits");
    assert_eq!(ranking[1]["standing"], "refused");
    assert_eq!(ranking[1]["reach"]["verdict"], "out-of-reach");
    assert_close!(ranking[1]["reach"]["margin_f"].as_f64().unwrap(), -12e-12, relative(1e-9));
    // A stricter tolerance than the doubt about the divider allows.
    assert_eq!(bench.run(&["choose", "list.toml", "--set", "measurement.tolerance=0.5%"]).status, 4);
    assert_eq!(bench.run(&["choose", "list.toml", "--plot", "c.png"]).status, 0);
    assert_eq!(&bench.read("c.png")[..4], b"\x89PNG");
    let words = bench.run(&["choose", "list.toml"]).stdout;
    assert!(words.contains("TAKE Probe 07 on Bench A"), "{words}");
    assert!(words.lines().all(|line| line.chars().count() <= 80), "{words}");
    assert_eq!(bench.run(&["choose", "absent.toml"]).status, 1);
}
