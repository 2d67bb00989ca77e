// The trimmer of the practice bench: turned here, while the reading tells how far.
import { useEffect, useState } from 'preact/hooks';
import { api, problemOf, type Problem } from '../../api';
import { number, percent, percentWith, si } from '../../format';
import { reading } from '../../session';
import { text } from '../../text';
import type { PracticeBench } from '../../types';
import { announce } from '../../ui/live';
import { Facts, Field, Problems, onSubmit } from '../../ui/parts';

const words = text.compensate.practice;
const STEPS = [-30, -5, -1, 1, 5, 30];
const KEYS = ['noise', 'hum', 'ringing', 'droop', 'hook', 'bits'] as const;

export function Practice({ session }: { session: string }) {
  const [bench, setBench] = useState<PracticeBench | null>(null);
  const [problem, setProblem] = useState<Problem | null>(null);
  const [typed, setTyped] = useState<Record<string, string>>({});
  const url = `/api/sessions/${encodeURIComponent(session)}/practice`;
  const take = (work: Promise<PracticeBench>, then?: (now: PracticeBench) => void) =>
    void work.then(
      (now) => {
        setBench(now);
        setProblem(null);
        then?.(now);
      },
      (cause: unknown) => setProblem(problemOf(cause)),
    );
  useEffect(() => take(api.get<PracticeBench>(url)), [url]);
  const act = (body: Record<string, unknown>, then?: (now: PracticeBench) => void) => take(api.send<PracticeBench>('POST', url, body), then);
  const turn = (by: number) => act({ turn_deg: by }, (now) => announce(words.turned(number(now.turned_deg)) + (now.at_stop ? ` ${words.stop[now.at_stop]}` : '')));
  const set = () => act({ set: typed }, () => setTyped({}));
  const shown = reading.value?.compensation_error;

  return (
    <section class="panel practice" aria-labelledby="practice-title">
      <h2 id="practice-title">{words.title}</h2>
      <p class="soft">{words.lead}</p>
      <Problems problem={problem} dismiss={() => setProblem(null)} />
      <div class="row" role="group" aria-label={words.turnLabel}>
        {STEPS.map((by) => (
          <button key={by} type="button" onClick={() => turn(by)} aria-label={words.turn(by)}>
            {by < 0 ? '−' : '+'}
            {Math.abs(by)}°
          </button>
        ))}
      </div>
      {bench && (
        <>
          <p class="n">
            {words.turned(number(bench.turned_deg))}
            {bench.at_stop && <strong> {words.stop[bench.at_stop]}</strong>}
          </p>
          {bench.setting ? (
            <Facts
              facts={[
                [words.trueError, percent(bench.setting.compensation_error)],
                [words.readError, shown ? percentWith(shown) : '–'],
                [words.angle, words.angleOf(number(bench.setting.angle_deg), number(bench.travel_deg))],
                [words.flatAt, bench.setting.matched_angle_deg === null ? words.outOfReach : `${number(bench.setting.matched_angle_deg)}°`],
                [words.capacitance, si(bench.setting.capacitance_f, 'F')],
              ]}
            />
          ) : (
            <button type="button" onClick={() => act({ reveal: true })}>
              {words.reveal}
            </button>
          )}
          <details>
            <summary>{words.disturb}</summary>
            <form onSubmit={onSubmit(set)}>
              <div class="grid">
                {KEYS.map((key) => (
                  <Field key={key} name={`practice-${key}`} label={words.keys[key]} value={typed[key] ?? String(bench.disturbances[key])} change={(value) => setTyped({ ...typed, [key]: value })} error={problem?.fields.find((field) => field.at === `set.${key}`)?.message} />
                ))}
              </div>
              <button type="submit" disabled={Object.keys(typed).length === 0}>
                {words.apply}
              </button>
            </form>
          </details>
        </>
      )}
    </section>
  );
}
