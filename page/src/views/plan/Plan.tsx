// Plan: sliders for the measurement; the program predicts at once, ranks the pairings and works out how sure a reading is.
import { useEffect, useMemo, useRef, useState } from 'preact/hooks';
import { api, problemOf, type Problem } from '../../api';
import { percent, percentWith, share, si, siWith } from '../../format';
import { route } from '../../router';
import { bench, labelled } from '../../state';
import { text } from '../../text';
import { forThePage } from '../../words';
import type { Prediction } from '../../types';
import { Cards, Caution, Choose, Facts, Findings, Problems } from '../../ui/parts';
import { Plot, type Column } from '../../ui/Plot';
import { preferred, Slider } from '../../ui/Slider';
import { Budget } from './Budget';
import { Ranking } from './Ranking';
import { TwoProbes } from './TwoProbes';

const words = text.plan;

export interface Wish {
  nodeR: number;
  nodeC: number;
  ground: number;
  edge: number;
  frequency: number;
  high: number;
  shape: string;
  probe: string;
  input: string;
  error: number;
  connection: string;
  category: string;
}

let kept: Wish = { nodeR: 220, nodeC: 22e-12, ground: 0.15, edge: 3.3e-9, frequency: 1e6, high: 3.3, shape: 'edge', probe: '', input: '', error: 0.03, connection: '', category: '' };

const RANGES = {
  nodeR: preferred(1, 1e7, 'nil'),
  nodeC: preferred(1e-12, 1e-8, 'nil'),
  ground: preferred(0.01, 0.33, 'nil'),
  edge: preferred(1e-10, 1e-5, 'none'),
  frequency: preferred(100, 6.8e8, 'none'),
  high: preferred(0.1, 1000, 'none'),
  error: [0.001, 0.002, 0.005, 0.01, 0.02, 0.03, 0.05, 0.1, 0.2],
};

const DATA_SHEET_PROBE = { ratio: 10, input_capacitance: '10 pF', compensation_range: ['8 pF', '22 pF'], bandwidth: '200 MHz', cable_length: '1.2 m', adjusted_at: 'tip' };
const DATA_SHEET_INPUT = { resistance: '1M', capacitance: '15 pF', bandwidth: '200 MHz', response: 'gaussian' };

/** The measurement without the pairing, in the plan's own keys. */
export function measurementOf(wish: Wish): Record<string, unknown> {
  const signal: Record<string, unknown> =
    wish.shape === 'sine'
      ? { shape: 'sine', frequency: wish.frequency, low: -wish.high / 2, high: wish.high / 2 }
      : { shape: wish.shape, low: 0, high: wish.high, rise_10_90: wish.edge, ...(wish.shape === 'square' ? { frequency: wish.frequency, fall_10_90: wish.edge } : {}) };
  return {
    node: { resistance: wish.nodeR, ...(wish.nodeC > 0 ? { capacitance: wish.nodeC } : {}) },
    signal,
    ...(wish.ground > 0 ? { contact: { ground_length: wish.ground } } : {}),
    ...(wish.connection ? { circuit: { connection: wish.connection, ...(wish.category ? { category: wish.category } : {}) } } : {}),
  };
}

export function planOf(wish: Wish): Record<string, unknown> {
  return { ...measurementOf(wish), probe: wish.probe ? { id: wish.probe } : DATA_SHEET_PROBE, input: wish.input ? { id: wish.input } : DATA_SHEET_INPUT };
}

/** The plan as it stands, for the page that corrects with it. */
export function presentPlan(): Record<string, unknown> {
  return planOf(kept);
}

export function Plan() {
  const [wish, setWish] = useState<Wish>(() => {
    const { probe, input } = route.value.query;
    if (probe && input) kept = { ...kept, probe, input };
    return kept;
  });
  const [answer, setAnswer] = useState<Prediction | null>(null);
  const [problem, setProblem] = useState<Problem | null>(null);
  const newest = useRef<Wish | null>(null);
  const flying = useRef(false);
  const slowest = useRef(2e-8);

  const known = bench.value;
  const probes = (known?.probes ?? []).filter((one) => !one.retired);
  const inputs = (known?.oscilloscopes ?? []).flatMap((one) => one.inputs).filter((one) => !one.retired);

  // One request at a time; while it flies, only the newest wish is kept.
  const fly = async () => {
    if (flying.current) return;
    flying.current = true;
    while (newest.current) {
      const now = newest.current;
      newest.current = null;
      const stop = now.shape === 'edge' ? 12 * Math.max(now.edge, slowest.current) : 2 / now.frequency;
      try {
        const got = await api.send<Prediction>('POST', '/api/plan/predict', {
          plan: planOf(now),
          frequencies: '1k:1G:181',
          times: `0 s:${stop} s:800`,
          error: now.error,
        });
        const transition = got.summary.transition_duration_s?.value;
        if (transition && now.shape === 'edge' && (transition > 2 * slowest.current || transition < slowest.current / 4)) {
          slowest.current = transition;
          newest.current ??= now;
        }
        setAnswer(got);
        setProblem(null);
      } catch (cause) {
        setProblem(problemOf(cause));
      }
    }
    flying.current = false;
  };
  const ask = (next: Wish) => {
    newest.current = next;
    void fly();
  };
  useEffect(() => ask(kept), []);
  // The first bench that is seen gives the pairing to start with.
  useEffect(() => {
    const first = known?.pairings.find((one) => one.voided_at === null);
    if (!kept.probe && !kept.input && first) change({ probe: first.probe, input: first.input });
  }, [known === null]);

  const change = (part: Partial<Wish>) => {
    kept = { ...kept, ...part };
    setWish(kept);
    ask(kept);
  };
  const slider = (key: keyof typeof RANGES, label: string, unit: string) => (
    <Slider name={key} label={label} unit={unit} values={RANGES[key]} value={wish[key]} change={(value) => change({ [key]: value })} />
  );

  return (
    <>
      <h1 tabIndex={-1}>{words.title}</h1>
      <p class="lead">{words.lead}</p>
      <div class="twosides">
        <section class="panel" aria-labelledby="plan-controls">
          <h2 id="plan-controls">{words.controls}</h2>
          <Choose
            name="probe"
            label={words.probe}
            value={wish.probe}
            change={(probe) => change({ probe })}
            options={[['', words.dataSheetProbe], ...probes.map((one): [string, string] => [one.id, labelled(one.id)])]}
          />
          <Choose
            name="input"
            label={words.input}
            value={wish.input}
            change={(input) => change({ input })}
            options={[['', words.dataSheetInput], ...inputs.map((one): [string, string] => [one.id, labelled(one.id)])]}
          />
          <Choose name="shape" label={words.shape} value={wish.shape} change={(shape) => change({ shape })} options={Object.entries(words.shapes)} />
          {slider('nodeR', words.nodeR, 'Ω')}
          {slider('nodeC', words.nodeC, 'F')}
          {slider('ground', words.ground, 'm')}
          {wish.shape !== 'sine' && slider('edge', words.edge, 's')}
          {wish.shape !== 'edge' && slider('frequency', words.frequency, 'Hz')}
          {slider('high', words.high, 'V')}
          <Choose
            name="error"
            label={words.error}
            value={String(wish.error)}
            change={(value) => change({ error: Number(value) })}
            options={RANGES.error.map((value): [string, string] => [String(value), share(value)])}
          />
          <Choose name="connection" label={words.circuit} value={wish.connection} change={(connection) => change({ connection })} options={Object.entries(words.circuits)} />
          {wish.connection && (
            <Choose
              name="category"
              label={words.category}
              value={wish.category}
              change={(category) => change({ category })}
              options={[['', text.bench.notStated], ...['I', 'II', 'III', 'IV'].map((one): [string, string] => [one, one])]}
            />
          )}
        </section>
        <div>
          <Problems problem={problem} />
          {answer ? <Answer answer={answer} wish={wish} /> : !problem && <p role="status">{text.loading}</p>}
        </div>
      </div>
      <Caution words={text.caution.planning} />
      {answer && <More answer={answer} />}
      <Ranking wish={wish} />
      <Budget wish={wish} />
      <TwoProbes />
    </>
  );
}

function Answer({ answer, wish }: { answer: Prediction; wish: Wish }) {
  const wave = useMemo<readonly Column[]>(() => [answer.waveform.time_s, answer.waveform.true_v, answer.waveform.shown_v], [answer]);
  const response = useMemo<readonly Column[]>(() => [answer.response.frequency_hz, answer.response.gain, answer.response.gain_at_node], [answer]);
  const leading = answer.errors.find((one) => one.measure === answer.leading_measure) ?? answer.errors[0];
  const within = answer.within_accepted_error;
  return (
    <>
      <section class="panel" aria-labelledby="plan-answer">
        <h2 id="plan-answer">{words.answer}</h2>
        <p class="headline">
          <span aria-hidden="true">{within === null ? '?' : within ? '✓' : '✗'}</span> {answer.headline}
        </p>
        <Facts
          facts={[
            ...(leading?.total ? [[`${words.measure[leading.measure] ?? leading.measure}, ${words.total}`, percentWith(leading.total)] as const] : []),
            [words.bandwidth, answer.summary.bandwidth_hz ? siWith(answer.summary.bandwidth_hz, 'Hz') : words.noBandwidth],
            [words.highestSine, siWith(answer.limits.highest_sine_hz, 'Hz')],
            [words.fastestEdge, siWith(answer.limits.fastest_edge_s, 's')],
            [words.loads, `${si(answer.summary.input_resistance_ohm, 'Ω')} ∥ ${si(answer.summary.input_capacitance_f, 'F')}`],
            ...(answer.summary.ringing ? [[words.rings, si(answer.summary.ringing.frequency_hz, 'Hz')] as const] : []),
          ]}
        />
      </section>
      <Plot
        title={words.waveform}
        sentence={answer.headline}
        x={{ label: text.compensate.record.time, unit: 's' }}
        y={{ label: text.compensate.record.volts, unit: 'V' }}
        series={[
          { label: words.trueName, ink: '--ink-2', dash: [8, 5], width: 2 },
          { label: words.shown, ink: '--ink-1', width: 2.5 },
        ]}
        data={wave}
        heading="h2"
        height={240}
      />
      {leading && <Causes leading={leading} accepted={wish.error} />}
      <Plot
        title={words.response}
        sentence={answer.summary.bandwidth_hz ? words.responseSentence(si(answer.summary.bandwidth_hz.value, 'Hz')) : words.noBandwidth}
        x={{ label: words.frequency, unit: 'Hz', log: true }}
        y={{ label: words.gain, unit: '', percent: true }}
        series={[
          { label: words.gain, ink: '--ink-1', width: 2.5 },
          { label: words.gainNode, ink: '--ink-3', dash: [8, 5], width: 2 },
        ]}
        data={response}
        heading="h2"
        height={220}
      />
    </>
  );
}

function Causes({ leading, accepted }: { leading: Prediction['errors'][number]; accepted: number }) {
  const rows = leading.shares.map((one) => ({ name: words.cause[one.cause] ?? one.cause, value: one.share }));
  rows.push({ name: words.remainder, value: leading.remainder });
  const largest = Math.max(accepted, ...rows.map((one) => Math.abs(one.value ?? 0))) || 1;
  return (
    <section class="panel" aria-labelledby="plan-causes">
      <h2 id="plan-causes">
        {words.causes}: {words.measure[leading.measure] ?? leading.measure}
      </h2>
      <ul class="bars">
        {rows.map(({ name, value }) => {
          const length = (100 * Math.abs(value ?? 0)) / largest;
          return (
            <li key={name}>
              <span>{name}</span>
              <svg viewBox="0 0 200 12" preserveAspectRatio="none" aria-hidden="true">
                <line x1="100" y1="0" x2="100" y2="12" />
                <rect class={(value ?? 0) < 0 ? 'negative' : ''} x={(value ?? 0) < 0 ? 100 - length : 100} y="2" width={length} height="8" />
              </svg>
              <span class="value">{value !== null && Math.abs(value) < 5e-6 ? '0' : percent(value, 2)}</span>
            </li>
          );
        })}
      </ul>
    </section>
  );
}

function More({ answer }: { answer: Prediction }) {
  return (
    <>
      <Findings findings={answer.findings} />
      <section class="panel" aria-labelledby="plan-ratings">
        <h2 id="plan-ratings">{words.ratings}</h2>
        {!answer.ratings || answer.ratings.length === 0 ? (
          <p>{words.ratingsNone}</p>
        ) : (
          <Cards label={words.ratings}>
            <table>
              <thead>
                <tr>
                  <th scope="col">{words.part}</th>
                  <th scope="col">{words.ratingQuantity}</th>
                  <th scope="col">{words.ratingValue}</th>
                  <th scope="col">{words.ratingLimit}</th>
                  <th scope="col">{words.used}</th>
                  <th scope="col">{words.frequency}</th>
                </tr>
              </thead>
              <tbody>
                {answer.ratings.map((one, at) => (
                  <tr key={at}>
                    <th scope="row">{one.part}</th>
                    <td>
                      {words.ratingQuantities[one.quantity] ?? one.quantity}, {one.kind}
                    </td>
                    <td>{one.quantity === 'together' ? (one.value === null ? '–' : share(one.value)) : si(one.value, 'V')}</td>
                    <td>{one.limit === null ? words.notRated : one.quantity === 'together' ? share(one.limit) : si(one.limit, 'V')}</td>
                    <td>{one.used === null ? '–' : `${one.used > 1 ? '✗ ' : '✓ '}${share(one.used)}`}</td>
                    <td>{si(one.frequency_hz, 'Hz')}</td>
                  </tr>
                ))}
              </tbody>
            </table>
          </Cards>
        )}
      </section>
      {answer.assumed.length > 0 && (
        <details class="panel">
          <summary>{words.assumed}</summary>
          <ul>
            {answer.assumed.map((one) => (
              <li key={one.what}>
                <code>{one.what}</code>: {one.value === null ? one.words : siWith({ value: one.value, standard_uncertainty: one.standard_uncertainty }, one.unit ?? '')} – {forThePage(one.why)}
              </li>
            ))}
          </ul>
        </details>
      )}
    </>
  );
}
