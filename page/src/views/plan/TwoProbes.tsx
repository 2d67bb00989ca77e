// Two probes as a difference A − B: how far what both tips share is rejected, and what follows for a reading.
import { useState } from 'preact/hooks';
import { api, faultsOf, problemOf, type Problem } from '../../api';
import { number, percentWith, si, siWith, type Uncertain } from '../../format';
import { bench, labelled } from '../../state';
import { text } from '../../text';
import type { Finding } from '../../types';
import { Choose, Facts, Field, Findings, onSubmit, Problems, Scroll } from '../../ui/parts';

const words = text.plan.two;

interface Pair {
  compensation_errors: Uncertain[] | { a: Uncertain; b: Uncertain } | null;
  rejection: { frequency_hz: number; rejection_db: number | null; at_least_db: number | null }[];
  both_flat: { frequency_hz: number; rejection_db: number | null }[] | null;
  consequences: { code: string; of: number | string | null; unit: string; error: number | Uncertain | null }[];
  findings: Finding[];
}

export function TwoProbes() {
  const paired = [...new Set((bench.value?.pairings ?? []).filter((one) => one.voided_at === null && one.last_check).map((one) => one.probe))];
  const [first, setFirst] = useState('');
  const [second, setSecond] = useState('');
  const [common, setCommon] = useState('');
  const [answer, setAnswer] = useState<Pair | null>(null);
  const [problem, setProblem] = useState<Problem | null>(null);
  const a = first || (paired[0] ?? '');
  const b = second || (paired[1] ?? '');
  const go = async () => {
    setProblem(null);
    try {
      setAnswer(await api.send<Pair>('POST', '/api/plan/pair', { a, b, ...(common ? { common_mode: common } : {}) }));
    } catch (cause) {
      setAnswer(null);
      setProblem(problemOf(cause));
    }
  };
  const errors = answer?.compensation_errors;
  const [ea, eb] = Array.isArray(errors) ? errors : errors ? [errors.a, errors.b] : [undefined, undefined];
  const decibels = (value: number | null | undefined) => (value === null || value === undefined ? '–' : `${number(value, 3)}\u202fdB`);
  const flat = new Map((answer?.both_flat ?? []).map((one) => [one.frequency_hz, one.rejection_db]));
  const options = paired.map((one): [string, string] => [one, labelled(one)]);
  return (
    <section class="panel" aria-labelledby="plan-two">
      <h2 id="plan-two">{words.title}</h2>
      <p>{words.lead}</p>
      {paired.length < 2 ? (
        <p class="soft">{words.none}</p>
      ) : (
        <form onSubmit={onSubmit(() => void go())}>
          <div class="grid">
            <Choose name="a" label={words.a} value={a} change={setFirst} options={options} />
            <Choose name="b" label={words.b} value={b} change={setSecond} options={options} />
            <Field name="common" label={words.common} hint={words.commonHint} value={common} change={setCommon} error={problem ? faultsOf(problem)['common_mode'] : null} />
          </div>
          <button type="submit">{words.go}</button>
        </form>
      )}
      <Problems problem={problem} />
      {answer && (
        <>
          {ea && eb && (
            <Facts
              facts={[
                [words.ea, percentWith(ea)],
                [words.eb, percentWith(eb)],
              ]}
            />
          )}
          <Scroll label={words.table}>
            <table>
              <caption>{words.table}</caption>
              <thead>
                <tr>
                  <th scope="col">{text.plan.frequency}</th>
                  <th scope="col">{words.rejection}</th>
                  <th scope="col">{words.atLeast}</th>
                  <th scope="col">{words.bothFlat}</th>
                </tr>
              </thead>
              <tbody>
                {answer.rejection.map((one) => (
                  <tr key={one.frequency_hz}>
                    <th scope="row">{si(one.frequency_hz, 'Hz')}</th>
                    <td>{decibels(one.rejection_db)}</td>
                    <td>{decibels(one.at_least_db)}</td>
                    <td>{flat.get(one.frequency_hz) === null ? words.complete : decibels(flat.get(one.frequency_hz))}</td>
                  </tr>
                ))}
              </tbody>
            </table>
          </Scroll>
          {answer.consequences.length > 0 && (
            <ul>
              {answer.consequences.map((one) => {
                const off = typeof one.error === 'number' ? { value: one.error, standard_uncertainty: null } : one.error;
                return (
                  <li key={`${one.code}${one.of}`}>
                    {words.consequence[one.code] ?? one.code} {one.of}: {one.unit === '' || one.unit === '1' ? percentWith(off) : siWith(off, one.unit)}
                  </li>
                );
              })}
            </ul>
          )}
          <Findings findings={answer.findings} heading="h3" />
        </>
      )}
    </section>
  );
}
