// The pairings of the bench for this measurement, best first, with the reason why each one lost.
import { useEffect, useState } from 'preact/hooks';
import { api, problemOf, type Problem } from '../../api';
import { percentWith, share, si } from '../../format';
import { go } from '../../router';
import { bench, labelled } from '../../state';
import { text } from '../../text';
import { forThePage } from '../../words';
import type { Choice } from '../../types';
import { Cards, Findings, Problems, Tick } from '../../ui/parts';
import { measurementOf, type Wish } from './Plan';

const words = text.plan;

export function Ranking({ wish }: { wish: Wish }) {
  const [choice, setChoice] = useState<Choice | null>(null);
  const [problem, setProblem] = useState<Problem | null>(null);
  const [all, setAll] = useState(false);
  const [busy, setBusy] = useState(false);
  const wished = JSON.stringify([wish, all]);
  const [ranked, setRanked] = useState('');
  const empty = (bench.value?.probes.length ?? 0) === 0;
  const rank = async () => {
    setBusy(true);
    setProblem(null);
    try {
      const plan = { ...measurementOf(wish), measurement: { quantity: wish.shape === 'sine' ? 'amplitude' : 'transition', tolerance: wish.error } };
      setChoice(await api.send<Choice>('POST', '/api/plan/choose', { plan, all }));
      setRanked(wished);
    } catch (cause) {
      setProblem(problemOf(cause));
    } finally {
      setBusy(false);
    }
  };
  // Once ranked, it follows the sliders, a moment after they rest.
  useEffect(() => {
    if (!ranked || ranked === wished) return undefined;
    const timer = setTimeout(() => void rank(), 250);
    return () => clearTimeout(timer);
  }, [wished, ranked]);
  return (
    <section class="panel" aria-labelledby="plan-rank">
      <h2 id="plan-rank">{words.rank}</h2>
      {empty ? (
        <p class="soft">{words.rankNone}</p>
      ) : (
        <div class="row">
          <button type="button" disabled={busy} onClick={() => void rank()}>
            {words.rankGo}
          </button>
          <Tick label={words.rankAll} value={all} change={setAll} />
        </div>
      )}
      <Problems problem={problem} />
      {choice && (
        <>
          <Cards label={words.rank}>
            <table>
              <thead>
                <tr>
                  <th scope="col">{words.standingTitle}</th>
                  <th scope="col">{words.probe}</th>
                  <th scope="col">{words.input}</th>
                  <th scope="col">{words.predictedError}</th>
                  <th scope="col">{words.totalError}</th>
                  <th scope="col">{words.bandwidth}</th>
                  <th scope="col">{words.reason}</th>
                </tr>
              </thead>
              <tbody>
                {choice.ranking.map((one) => (
                  <tr key={`${one.probe} ${one.input}`}>
                    <td class="n">
                      <span aria-hidden="true">{words.standingSymbol[one.standing]}</span> {words.standing[one.standing]}
                    </td>
                    <th scope="row">{labelled(one.probe)}</th>
                    <td>{labelled(one.input)}</td>
                    <td class="n">{percentWith(one.error)}</td>
                    <td>{share(one.total_error)}</td>
                    <td>{si(one.bandwidth_hz, 'Hz')}</td>
                    <td>{forThePage(one.reason)}</td>
                  </tr>
                ))}
              </tbody>
            </table>
          </Cards>
          {choice.best && (
            <p>
              <button type="button" class="quiet" onClick={() => go('compensate')}>
                {words.checkFirst}
              </button>
            </p>
          )}
          {choice.findings.length > 0 && <Findings findings={choice.findings} heading="h3" />}
        </>
      )}
    </section>
  );
}
