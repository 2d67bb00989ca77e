// Theory: the divider's equations with the reader's own numbers in them and drawings that follow; the program works the numbers out.
import { useEffect, useMemo, useRef, useState } from 'preact/hooks';
import type { ComponentChildren } from 'preact';
import { api, faultsOf, problemOf, type Problem } from '../api';
import { percent, si, siShort } from '../format';
import { lastReading } from '../state';
import { text } from '../text';
import type { Prediction } from '../types';
import { Caution, Field, Problems } from '../ui/parts';
import { Plot, type Column } from '../ui/Plot';

const words = text.theory;

interface Numbers {
  r1: string;
  r2: string;
  c1: string;
  c2: string;
}

interface Divider extends Prediction {
  chain: { tip: { resistance_ohm: number; capacitance_f: number }; input: { resistance_ohm: number; capacitance_f: number } };
}

const KEYS: Record<keyof Numbers, string> = { r1: 'probe.tip_resistance', c1: 'probe.tip_capacitance', r2: 'input.resistance', c2: 'input.capacitance' };
let kept: Numbers = { r1: '9 MΩ', r2: '1 MΩ', c1: '10 pF', c2: '99 pF' };

const plain = (value: number | { value: number }): number => (typeof value === 'number' ? value : value.value);

export function Theory() {
  const [numbers, setNumbers] = useState(kept);
  const [answer, setAnswer] = useState<Divider | null>(null);
  const [problem, setProblem] = useState<Problem | null>(null);
  const newest = useRef<Numbers | null>(null);
  const flying = useRef(false);
  const fly = async () => {
    if (flying.current) return;
    flying.current = true;
    while (newest.current) {
      const now = newest.current;
      newest.current = null;
      try {
        setAnswer(
          await api.send<Divider>('POST', '/api/plan/predict', {
            plan: {
              signal: { shape: 'square', frequency: '1 kHz', low: '0 V', high: '1 V' },
              probe: { tip_resistance: now.r1, tip_capacitance: now.c1 },
              input: { resistance: now.r2, capacitance: now.c2 },
            },
            frequencies: '10:10M:121',
            times: '0:2ms:801',
          }),
        );
        setProblem(null);
      } catch (cause) {
        setProblem(problemOf(cause));
      }
    }
    flying.current = false;
  };
  const change = (part: Partial<Numbers>) => {
    kept = { ...kept, ...part };
    setNumbers(kept);
    newest.current = kept;
    void fly();
  };
  useEffect(() => change({}), []);
  const last = lastReading.value;
  const faults = problem ? faultsOf(problem) : {};
  return (
    <>
      <h1 tabIndex={-1}>{words.title}</h1>
      <p class="lead">{words.lead}</p>
      <section class="panel" aria-labelledby="theory-numbers">
        <h2 id="theory-numbers">{words.numbers}</h2>
        <div class="grid">
          <Field name="r1" label={words.r1} value={numbers.r1} change={(r1) => change({ r1 })} error={faults[KEYS.r1]} />
          <Field name="c1" label={words.c1} value={numbers.c1} change={(c1) => change({ c1 })} error={faults[KEYS.c1]} />
          <Field name="r2" label={words.r2} value={numbers.r2} change={(r2) => change({ r2 })} error={faults[KEYS.r2]} />
          <Field name="c2" label={words.c2} value={numbers.c2} change={(c2) => change({ c2 })} error={faults[KEYS.c2]} />
        </div>
        {problem && Object.keys(faults).length === 0 && <Problems problem={problem} />}
        {last?.tip_capacitance_f && last.shunt_capacitance_f && (
          <button
            type="button"
            onClick={() =>
              change({
                c1: `${(last.tip_capacitance_f!.value * 1e12).toFixed(3)} pF`,
                c2: `${(last.shunt_capacitance_f!.value * 1e12).toFixed(2)} pF`,
              })
            }
          >
            {words.fromLast}
          </button>
        )}
      </section>
      <Explained answer={answer} />
      <section class="panel" aria-labelledby="theory-causes">
        <h2 id="theory-causes">{words.causesTitle}</h2>
        <dl>
          {words.causes.map(([name, what]) => (
            <div key={name}>
              <dt>
                <strong>{name}</strong>
              </dt>
              <dd>{what}</dd>
            </div>
          ))}
        </dl>
      </section>
      <section aria-label={words.cautionsTitle}>
        <Caution points={text.caution.points} />
      </section>
    </>
  );
}

function Explained({ answer }: { answer: Divider | null }) {
  const wave = useMemo<readonly Column[] | null>(() => (answer ? [answer.waveform.time_s, answer.waveform.true_v, answer.waveform.shown_v] : null), [answer]);
  const sine = useMemo<readonly Column[] | null>(() => (answer ? [answer.response.frequency_hz, answer.response.gain.map((gain) => (gain === null ? null : gain - 1))] : null), [answer]);
  const found = answer?.summary.compensation ?? null;
  const e = found ? plain(found.error) : null;
  const tau = found ? plain(found.time_constant_s) : null;
  const tip = answer?.chain.tip;
  const input = answer?.chain.input;
  return (
    <>
      <section class="panel" aria-labelledby="theory-divider">
        <h2 id="theory-divider">{words.dividerTitle}</h2>
        <p>{words.dividerText}</p>
        <Circuit />
        <h3>{words.compensatedTitle}</h3>
        <p>{words.compensatedText}</p>
        <Formula>
          <Product of={['R', '1', 'C', '1']} />
          <mo>=</mo>
          <Product of={['R', '2', 'C', '2']} />
        </Formula>
        {tip && input && (
          <p class="result" aria-live="polite">
            {words.withYours} R₁C₁ = {si(tip.resistance_ohm * tip.capacitance_f, 's', 4)}, R₂C₂ = {si(input.resistance_ohm * input.capacitance_f, 's', 4)}
          </p>
        )}
      </section>
      <section class="panel" aria-labelledby="theory-error">
        <h2 id="theory-error">{words.errorTitle}</h2>
        <p>{words.errorText}</p>
        <Formula>
          <mi>e</mi>
          <mo>=</mo>
          <mfrac>
            <mrow>
              <Symbol of="C" index="1" />
              <mo>/</mo>
              <mo stretchy={false}>(</mo>
              <Symbol of="C" index="1" />
              <mo>+</mo>
              <Symbol of="C" index="2" />
              <mo stretchy={false}>)</mo>
            </mrow>
            <mrow>
              <Symbol of="R" index="2" />
              <mo>/</mo>
              <mo stretchy={false}>(</mo>
              <Symbol of="R" index="1" />
              <mo>+</mo>
              <Symbol of="R" index="2" />
              <mo stretchy={false}>)</mo>
            </mrow>
          </mfrac>
          <mo>−</mo>
          <mn>1</mn>
          <mo>=</mo>
          <mfrac>
            <Symbol of="τ" index="z" />
            <Symbol of="τ" index="p" />
          </mfrac>
          <mo>−</mo>
          <mn>1</mn>
        </Formula>
        {e !== null && (
          <p class="result" aria-live="polite">
            {words.withYours} e = {percent(e)}
          </p>
        )}
        <h3>{words.trimTitle}</h3>
        <p>{words.trimText}</p>
        {tip && input && (
          <p class="result">
            C₁ → {siShort(Number(((input.capacitance_f * input.resistance_ohm) / tip.resistance_ohm).toPrecision(4)), 'F')}; C₂ →{' '}
            {siShort(Number(((tip.capacitance_f * tip.resistance_ohm) / input.resistance_ohm).toPrecision(4)), 'F')}
          </p>
        )}
      </section>
      <section class="panel" aria-labelledby="theory-step">
        <h2 id="theory-step">{words.stepTitle}</h2>
        <p>{words.stepText}</p>
        <Formula>
          <mi>v</mi>
          <mo stretchy={false}>(</mo>
          <mi>t</mi>
          <mo stretchy={false}>)</mo>
          <mo>=</mo>
          <mn>1</mn>
          <mo>+</mo>
          <mi>e</mi>
          <mo>·</mo>
          <mi>exp</mi>
          <mo stretchy={false}>(</mo>
          <mo>−</mo>
          <mi>t</mi>
          <mo>/</mo>
          <Symbol of="τ" index="p" />
          <mo stretchy={false}>)</mo>
          <mo>,</mo>
          <Symbol of="τ" index="p" />
          <mo>=</mo>
          <mfrac>
            <Product of={['R', '1', 'R', '2']} />
            <mrow>
              <Symbol of="R" index="1" />
              <mo>+</mo>
              <Symbol of="R" index="2" />
            </mrow>
          </mfrac>
          <mo stretchy={false}>(</mo>
          <Symbol of="C" index="1" />
          <mo>+</mo>
          <Symbol of="C" index="2" />
          <mo stretchy={false}>)</mo>
        </Formula>
        {tau !== null && <p class="result">τp = {si(tau, 's', 4)}</p>}
        {wave && e !== null && (
          <Plot
            title={words.stepTitle}
            sentence={words.waveSentence(percent(e))}
            x={{ label: text.compensate.record.time, unit: 's' }}
            y={{ label: text.compensate.record.volts, unit: 'V' }}
            series={[
              { label: text.plan.trueName, ink: '--ink-2', dash: [8, 5], width: 2 },
              { label: text.plan.shown, ink: '--ink-1', width: 2.5 },
            ]}
            data={wave}
            height={220}
            zoom={false}
          />
        )}
      </section>
      <section class="panel" aria-labelledby="theory-sine">
        <h2 id="theory-sine">{words.sineTitle}</h2>
        <p>{words.sineText}</p>
        <Formula>
          <msqrt>
            <mfrac>
              <mrow>
                <mn>1</mn>
                <mo>+</mo>
                <Squared index="z" />
              </mrow>
              <mrow>
                <mn>1</mn>
                <mo>+</mo>
                <Squared index="p" />
              </mrow>
            </mfrac>
          </msqrt>
          <mo>−</mo>
          <mn>1</mn>
          <mo>,</mo>
          <mi>ω</mi>
          <mo>=</mo>
          <mn>2</mn>
          <mi>π</mi>
          <mi>f</mi>
        </Formula>
        {sine && e !== null && (
          <Plot
            title={words.sineTitle}
            sentence={words.sineSentence(percent(e))}
            x={{ label: text.compensate.error.frequency, unit: 'Hz', log: true }}
            y={{ label: text.compensate.error.amplitude, unit: '', percent: true }}
            series={[{ label: text.compensate.error.amplitude, ink: '--ink-1', width: 2.5 }]}
            lines={[-0.01, 0.01]}
            least={0.013}
            data={sine}
            height={220}
            zoom={false}
          />
        )}
      </section>
    </>
  );
}

function Formula({ children }: { children: ComponentChildren }) {
  return (
    <div class="formula" role="group" aria-label={words.formula} tabIndex={0}>
      <math display="block">
        <mrow>{children}</mrow>
      </math>
    </div>
  );
}

function Symbol({ of, index }: { of: string; index: string }) {
  return (
    <msub>
      <mi>{of}</mi>
      {/\d/.test(index) ? <mn>{index}</mn> : <mi>{index}</mi>}
    </msub>
  );
}

function Product({ of }: { of: [string, string, string, string] }) {
  return (
    <mrow>
      <Symbol of={of[0]} index={of[1]} />
      <mo>·</mo>
      <Symbol of={of[2]} index={of[3]} />
    </mrow>
  );
}

function Squared({ index }: { index: string }) {
  return (
    <msup>
      <mrow>
        <mo stretchy={false}>(</mo>
        <mi>ω</mi>
        <Symbol of="τ" index={index} />
        <mo stretchy={false}>)</mo>
      </mrow>
      <mn>2</mn>
    </msup>
  );
}

/** The divider as a circuit: R1 with C1 across it, then R2 and C2 to ground. */
function Circuit() {
  return (
    <svg class="circuit" viewBox="0 0 520 210" role="img" aria-label={words.circuitLabel}>
      <path d="M20 90H90M90 90V55H130M90 90V125H146M154 125H220M190 55H220V125M220 90H330" />
      <path d="M130 45h60v20h-60z" />
      <path d="M146 110v30M154 110v30" />
      <path d="M330 90H490M330 90V105M330 165V185M320 105h20v60h-20z" />
      <path d="M420 90V131M405 131h30M405 139h30M420 139V185" />
      <path d="M300 185H450M360 185v10M345 195h30M351 201h18" />
      <circle cx="20" cy="90" r="5" fill="var(--ink)" />
      <circle cx="490" cy="90" r="5" fill="var(--ink)" />
      <text x="20" y="75" text-anchor="middle">
        {words.tipWord}
      </text>
      <text x="160" y="36" text-anchor="middle">
        R1
      </text>
      <text x="172" y="158" text-anchor="middle">
        C1
      </text>
      <text x="312" y="141" text-anchor="end">
        R2
      </text>
      <text x="442" y="141">
        C2
      </text>
      <text x="490" y="75" text-anchor="end">
        {words.screenWord}
      </text>
    </svg>
  );
}
