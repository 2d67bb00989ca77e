// Which probe reaches which input, with the margin in picofarads: sign, word and number in each cell, not colour alone.
import { useEffect, useState } from 'preact/hooks';
import { api, problemOf, type Problem } from '../api';
import { integer, percent, si, siShort } from '../format';
import { href } from '../router';
import { bench, labelled } from '../state';
import { text } from '../text';
import type { ReachMatrix, ReachPair } from '../types';
import { Facts, Problems, Scroll } from '../ui/parts';

const words = text.compatibility;

function margin(pair: ReachPair): string {
  if (pair.margin_f === null) return '';
  return `${pair.margin_f > 0 ? '+' : ''}${siShort(Number(pair.margin_f.toPrecision(4)), 'F')}`;
}

export function Compatibility() {
  const [matrix, setMatrix] = useState<ReachMatrix | null>(null);
  const [problem, setProblem] = useState<Problem | null>(null);
  const [picked, setPicked] = useState<ReachPair | null>(null);
  const known = bench.value;
  const empty = known !== null && (known.probes.length === 0 || known.oscilloscopes.every((one) => one.inputs.length === 0));
  useEffect(() => {
    if (known === null || empty) return;
    void api
      .get<ReachMatrix>('/api/compatibility')
      .then(setMatrix)
      .catch((cause: unknown) => setProblem(problemOf(cause)));
  }, [known]);
  const pairs = new Map((matrix?.pairs ?? []).map((pair) => [`${pair.probe} ${pair.input}`, pair]));
  const counts = matrix?.counts ?? {};
  return (
    <>
      <h1 tabIndex={-1}>{words.title}</h1>
      <p class="lead">{words.lead}</p>
      <Problems problem={problem} />
      {empty && (
        <p class="panel">
          {words.empty} <a href={href('bench')}>{text.nav.bench}</a>
        </p>
      )}
      {matrix && !empty && (
        <>
          <p>{words.counts(integer(counts['reaches'] ?? 0), integer(counts['may_reach'] ?? 0), integer(counts['out_of_reach'] ?? 0), integer(counts['pairs'] ?? 0))}</p>
          <section class="panel" aria-label={words.table}>
            <Scroll label={words.table}>
              <table class="matrix">
                <caption>{words.pick}</caption>
                <thead>
                  <tr>
                    <th scope="col">{words.probe}</th>
                    {matrix.inputs.map((input) => (
                      <th scope="col" key={input.id}>
                        {input.id}
                        <br />
                        <small>{siShort(input.capacitance_f, 'F')}</small>
                      </th>
                    ))}
                  </tr>
                </thead>
                <tbody>
                  {matrix.probes.map((probe) => (
                    <tr key={probe.id}>
                      <th scope="row">
                        {probe.label ?? probe.id}
                        <br />
                        <small>{probe.range_least_f === null ? '' : `${siShort(probe.range_least_f, 'F')} – ${siShort(probe.range_most_f, 'F')}`}</small>
                      </th>
                      {matrix.inputs.map((input) => {
                        const pair = pairs.get(`${probe.id} ${input.id}`);
                        if (!pair) {
                          return (
                            <td key={input.id} class="left-out">
                              <span aria-hidden="true">·</span>
                              <span class="hidden">{words.leftOut}</span>
                            </td>
                          );
                        }
                        return (
                          <td key={input.id} class={pair.wrong_load ? 'out-of-reach' : pair.verdict}>
                            <button type="button" aria-pressed={picked === pair} onClick={() => setPicked(pair)}>
                              <span class="hidden">{words.details(probe.id, input.id)}: </span>
                              <span>
                                <span aria-hidden="true">{pair.wrong_load ? '✗' : words.symbol[pair.verdict]} </span>
                                {margin(pair)}
                              </span>
                              <small>{pair.wrong_load ? words.wrongLoad : (words.verdict[pair.verdict] ?? pair.verdict)}</small>
                            </button>
                          </td>
                        );
                      })}
                    </tr>
                  ))}
                </tbody>
              </table>
            </Scroll>
          </section>
          <div aria-live="polite">
            {picked && (
              <section class="panel" aria-labelledby="pair-details">
                <h2 id="pair-details">{words.details(labelled(picked.probe), labelled(picked.input))}</h2>
                <p class="headline">
                  <span aria-hidden="true">{picked.wrong_load ? '✗' : words.symbol[picked.verdict]}</span> {picked.wrong_load ? words.wrongLoad : (words.verdict[picked.verdict] ?? picked.verdict)}
                </p>
                <Facts
                  facts={[
                    [words.margin, picked.margin_f === null ? '–' : `${margin(picked)}${picked.margin_tolerance_f === null ? '' : ` ± ${siShort(picked.margin_tolerance_f, 'F')}`}`],
                    [words.left, percent(picked.compensation_error, 2)],
                    [words.bounds, picked.compensation_error_bounds ? `${percent(picked.compensation_error_bounds.lowest, 2)} … ${percent(picked.compensation_error_bounds.highest, 2)}` : '–'],
                    [words.bandwidth, si(picked.bandwidth_hz, 'Hz')],
                    [words.transition, si(picked.transition_duration_s, 's')],
                    [words.reads, picked.reads === null ? '–' : percent(picked.reads - 1, 2)],
                    ...(picked.missing.length > 0 ? [[words.missing, picked.missing.join(', ')] as const] : []),
                  ]}
                />
                <p class="row">
                  <a class="button" href={href('plan', { probe: picked.probe, input: picked.input })}>
                    {text.nav.plan}
                  </a>
                </p>
              </section>
            )}
          </div>
          <details class="panel">
            <summary>{words.legend}</summary>
            <ul>
              {Object.entries(words.symbol).map(([key, sign]) => (
                <li key={key}>
                  <strong aria-hidden="true">{sign}</strong> {words.verdict[key]}
                </li>
              ))}
              <li>
                <strong aria-hidden="true">·</strong> {words.leftOut}
              </li>
            </ul>
            <p class="soft">{matrix.bandwidth_rule}</p>
          </details>
        </>
      )}
      {!matrix && !empty && !problem && <p role="status">{text.loading}</p>}
    </>
  );
}
