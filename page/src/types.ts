// The contracts of docs/*-json.md and docs/http.md, as far as the page reads them.
import type { Uncertain } from './format';

export type Verdict = 'within-tolerance' | 'undercompensated' | 'overcompensated' | 'undetermined';
export type Severity = 'note' | 'warning' | 'fault';

export interface Finding {
  code: string;
  severity: Severity;
  message: string;
  remedy: string;
}

export interface Adjustment {
  at: 'tip' | 'base';
  change_f: number;
  change_standard_uncertainty_f: number | null;
  direction: 'increase' | 'decrease' | 'none';
}

export interface ErrorBand {
  frequency_hz: number[];
  value: number[];
  low: (number | null)[];
  high: (number | null)[];
}

export type Numbers = (number | null)[];

/** A record for drawing: one entry for each stretch of it. */
export interface Drawing {
  time_s: number[];
  low_v: Numbers;
  high_v: Numbers;
  mean_v: Numbers;
  fit_v: Numbers;
  residual_v: Numbers;
  error: ErrorBand | null;
}

export interface RecordWindow {
  from_s: number;
  to_s: number;
  points_per_stretch: number;
  time_s: number[];
  low_v: Numbers;
  high_v: Numbers;
}

export interface At {
  frequency_hz: number;
  value: number;
  standard_uncertainty: number | null;
}

export interface SquareWave {
  frequency_hz: number | null;
  duty: number | null;
  low_level: number;
  high_level: number;
  edges: number;
  transition_s: number | null;
  noise_rms_v: number | null;
}

export interface Assessment {
  flattop_version: string;
  file: string | null;
  method: string;
  verdict: Verdict;
  tolerance: number;
  coverage: { probability: number; factor: number };
  compensation_error: Uncertain | null;
  time_constant_s: Uncertain | null;
  correlation: number | null;
  tip_capacitance_f: Uncertain | null;
  shunt_capacitance_f: Uncertain | null;
  seen_at_tip_f: Uncertain | null;
  adjustment: Adjustment | null;
  square_wave: SquareWave | null;
  amplitude_error: At[] | null;
  phase_error: At[] | null;
  findings: Finding[];
  pairing: { number: number | null; probe: string; input: string; logged_as: { entry: number; digest: string } | null } | null;
  record: { points: number; interval_s: number; columns: number; column: number; column_name: string | null; format: string; sha256: string } | null;
  drawing?: Drawing | null;
}

export interface TrimCapture {
  capture: string;
  number: number;
  time_s: number;
  used: boolean;
  verdict: Verdict;
  tolerance: number;
  compensation_error: Uncertain | null;
  time_constant_s: Uncertain | null;
  tip_capacitance_f: Uncertain | null;
  shunt_capacitance_f: Uncertain | null;
  adjustment: Adjustment | null;
  newest: Uncertain | null;
  phase: 'moving' | 'settling' | 'settled';
  since_change: { captures: number; seconds: number } | null;
  heading: 'towards' | 'away' | 'past' | 'at-rest' | null;
  travel: { compensation_error: Uncertain | null; trimmer_f: Uncertain | null } | null;
  changes: number;
  held: number;
  hold: number;
  findings: Finding[];
  logged: { stage: string; entry: number; digest: string }[];
  source: { frequency_hz: number | null; suits: boolean; best_hz: number | null } | null;
  can_log?: CanLog;
  adjusted_at?: 'tip' | 'base';
  drawing?: Drawing | null;
}

export interface WithTolerance {
  value: number;
  tolerance: number | null;
}

export interface Input {
  id: string;
  label: string | null;
  resistance_ohm: WithTolerance | null;
  capacitance_f: WithTolerance | null;
  bandwidth_hz: number | null;
  response: string | null;
  rated_voltage_v: number | null;
  rated_voltage_kind: string | null;
  note: string | null;
  retired: boolean;
}

export interface Oscilloscope {
  id: string;
  label: string | null;
  serial: string | null;
  note: string | null;
  retired: boolean;
  inputs: Input[];
}

export interface Probe {
  id: string;
  label: string | null;
  serial: string | null;
  ratio: number | null;
  tip_resistance_ohm: WithTolerance | null;
  tip_capacitance_f: WithTolerance | null;
  series_resistance_ohm: number | null;
  body_capacitance_f: number | null;
  compensation_range_f: [number, number] | null;
  adjusted_at: 'tip' | 'base' | 'fixed' | null;
  bandwidth_hz: number | null;
  cable: { length_m: number | null; capacitance_f_per_m: number | null; inductance_h_per_m: number | null; resistance_ohm_per_m: number | null } | null;
  box: { series_resistance_ohm: number | null; capacitance_f: number | null } | null;
  voltage_rating: { frequency_hz: number; voltage_v: number }[] | null;
  voltage_rating_kind: string | null;
  measurement_category: string | null;
  category_voltage_v: number | null;
  ground_accessories: { name: string; label: string | null; length_m: number | null; inductance_h: number | null }[];
  note: string | null;
  retired: boolean;
}

export type PairingState = 'in-tolerance' | 'due' | 'never-checked' | 'out-of-tolerance' | 'out-of-reach' | 'void-moved';

export interface Pairing {
  number: number;
  probe: string;
  input: string;
  state: PairingState;
  tolerance: number;
  recheck_interval_days: number | null;
  made_at: string;
  made_by: string | null;
  voided_at: string | null;
  voided_why: string | null;
  last_check: { at: string; verdict: Verdict; compensation_error: number | null; standard_uncertainty: number | null } | null;
  due_at: string | null;
  adjusted_since: boolean;
}

export interface Bench {
  oscilloscopes: Oscilloscope[];
  probes: Probe[];
  pairings: Pairing[];
}

export interface About {
  flattop_version: string;
  signed_in: boolean;
  secret_needed: boolean;
  bench: { name: string; exists: boolean; oscilloscopes: number; inputs: number; probes: number; pairings: number; due: number; empty: boolean } | null;
  demo: boolean;
  demo_available?: boolean;
  writable: boolean;
  by: string | null;
  cautions: string[];
  sources: { files: boolean; watch_roots: { id: string; name: string }[]; instruments: { id: string; name: string }[]; practice: boolean };
  limits: { assess_bytes: number; store_bytes: number; sessions: number };
}

export interface CanLog {
  before: boolean;
  after: boolean;
  check: boolean;
}

export interface Session {
  id: string;
  title: string;
  source: { kind: string };
  pairing: { probe: string; input: string; number: number | null } | null;
  tolerance: number;
  hold: number;
  adjusted_at: 'tip' | 'base';
  captures: number;
  left_out: number;
  ended: string | null;
  can_log: CanLog;
  history?: { number: number; time_s: number; value: number; standard_uncertainty: number | null }[];
  last?: TrimCapture | null;
}

/** The practice bench of a session, as docs/http.md has it. */
export interface PracticeBench {
  divider: string;
  blind: boolean;
  revealed: boolean;
  disturbances: { noise: string; hum: string; ringing: string; droop: string; hook: string; bits: number };
  turned_deg: number;
  travel_deg: number;
  at_stop: 'low' | 'high' | null;
  setting: { angle_deg: number; capacitance_f: number; compensation_error: number; matched_angle_deg: number | null } | null;
}

export interface BenchField {
  key: string;
  form: 'text' | 'number' | 'quantity' | 'toleranced' | 'range' | 'days' | 'rating' | 'word';
  example: string;
  words: string[];
}

export interface Stored {
  id: string;
  name: string;
  bytes: number;
  points: number;
  interval_s: number;
  start_s: number;
  columns: number;
  column: number;
  column_name: string | null;
  unit: string;
  format: string;
  findings: Finding[];
}

export interface Download {
  id: string;
  name: string;
  bytes: number;
  path: string;
}

export interface ReachPair {
  probe: string;
  input: string;
  verdict: 'reaches' | 'may-reach' | 'out-of-reach' | 'nothing-to-balance' | 'cannot-be-said';
  suits: boolean;
  margin_f: number | null;
  margin_tolerance_f: number | null;
  compensation_error: number | null;
  compensation_error_bounds: { lowest: number; highest: number } | null;
  bandwidth_hz: number | null;
  transition_duration_s: number | null;
  reads: number | null;
  wrong_load: boolean;
  missing: string[];
}

export interface ReachMatrix {
  kind: 'matrix' | 'candidates';
  bandwidth_rule: string;
  counts: Record<string, number>;
  probes: {
    id: string;
    label: string | null;
    ratio: number | null;
    range_least_f: number | null;
    range_most_f: number | null;
    bandwidth_hz: number | null;
    balances: boolean;
    error: string | null;
    suits: number;
    inputs: number;
  }[];
  inputs: { id: string; label: string | null; capacitance_f: number | null; capacitance_tolerance_f: number | null; resistance_ohm: number | null; bandwidth_hz: number | null }[];
  pairs: ReachPair[] | null;
}

export interface Prediction {
  headline: string;
  ideal_ratio: number;
  within_accepted_error: boolean | null;
  leading_measure: string | null;
  response: {
    frequency_hz: number[];
    gain: (number | null)[];
    gain_standard_uncertainty: (number | null)[] | null;
    gain_at_node: (number | null)[];
    phase_rad: (number | null)[];
    impedance_ohm: (number | null)[];
    loading: (number | null)[];
  };
  waveform: { time_s: number[]; true_v: (number | null)[]; shown_v: (number | null)[]; shown_standard_uncertainty_v: (number | null)[] | null };
  summary: {
    bandwidth_hz: Uncertain | null;
    compensation: { error: number | Uncertain; time_constant_s: number | Uncertain } | null;
    input_resistance_ohm: number | null;
    input_capacitance_f: number | null;
    transition_duration_s: Uncertain | null;
    ringing: { frequency_hz: number; damping_ratio: number; quality: number; step_share: number } | null;
  };
  limits: { accepted_error: number; lowest_sine_hz: Uncertain | null; highest_sine_hz: Uncertain | null; fastest_edge_s: Uncertain | null };
  errors: { measure: string; total: Uncertain | null; shares: { cause: string; without: number | null; share: number | null }[]; remainder: number | null }[];
  ratings: { part: string; quantity: string; kind: string; value: number | null; limit: number | null; used: number | null; frequency_hz: number | null }[] | null;
  assumed: { what: string; value: number | null; unit: string | null; standard_uncertainty: number | null; words: string | null; why: string }[];
  findings: Finding[];
}

export interface Choice {
  measure: string;
  tolerance: number;
  best: { probe: string; input: string } | null;
  ranking: {
    probe: string;
    input: string;
    standing: 'suits' | 'may-suit' | 'too-far-off' | 'refused';
    reason: string;
    error: Uncertain | null;
    total_error: number | null;
    shares: { cause: string; share: number | null }[];
    reach: { verdict: string; margin_f: number; residual_error: number | null } | null;
    bandwidth_hz: number | null;
    input_capacitance_f: number | null;
    findings: Finding[];
  }[];
  findings: Finding[];
}

export interface Budget {
  measurand: string;
  unit: 'V' | 's';
  coverage_probability: number;
  seed: number;
  trials: number;
  inputs: { name: string; unit: string; value: number; standard_uncertainty: number; distribution: string; evaluation: 'A' | 'B' }[];
  results: {
    frequency_hz: number | null;
    shown: number;
    known_error: number;
    propagation: {
      value: number;
      standard_uncertainty: number;
      coverage_factor: number;
      expanded_uncertainty: number;
      interval: [number, number];
      effective_degrees_of_freedom: number | null;
      terms: { sensitivity: number; contribution: number; share: number }[];
    };
    monte_carlo: { value: number; standard_uncertainty: number; symmetric_interval: [number, number]; shortest_interval: [number, number] } | null;
    validation: { verdict: 'valid' | 'not-valid' | 'undecided' } | null;
  }[];
  findings: Finding[];
}

export interface Correction {
  file: string;
  undone: 'shelf' | 'chain';
  known_from: string;
  compensation_error: Uncertain | null;
  time_constant_s: Uncertain | null;
  unit: string;
  noise: { standard_deviation: number; source: string; gain: number } | null;
  standard_uncertainty: { least: number; rms: number; greatest: number; median: number | null; greatest_inside: number | null } | null;
  greatest_change: number | null;
  pulse: { before: PulseFigures; after: PulseFigures } | null;
  findings: Finding[];
  record: { points: number; interval_s: number; column_name: string | null; format: string };
}

export interface PulseFigures {
  low_level: number | null;
  high_level: number | null;
  amplitude: number | null;
  transition_duration_s: number | null;
  overshoot: number | null;
  preshoot: number | null;
  tilt: number | null;
  settling_duration_s: number | null;
}

export interface Entry {
  seq: number;
  at: string;
  by: string | null;
  program: string;
  note: string | null;
  kind: string;
  pairing: number | null;
  probe: string | null;
  oscilloscope: string | null;
  input: string | null;
  assessment: {
    stage: string;
    verdict: Verdict;
    tolerance: number;
    compensation_error: Uncertain | null;
    time_constant_s: Uncertain | null;
    method: string;
    temperature_c: number | null;
  } | null;
  measurement: { quantity: string; value_f: Uncertain; upper_f: Uncertain | null } | null;
  corrects: number | null;
  effect: string | null;
  digest: string;
  previous: string;
}

export interface Trend {
  pairing: number;
  probe: string;
  input: string;
  tolerance: number;
  trend: {
    points: { entry: number; at: string; stage: string; compensation_error: number; standard_uncertainty: number | null }[];
    drift_per_month: Uncertain | null;
    stands_out: boolean | null;
    chance: number | null;
    no_drift_because: string | null;
  };
}
