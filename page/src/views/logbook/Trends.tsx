// How e of each pairing went over time, with its drift where there is one.
import { useEffect, useMemo, useState } from 'preact/hooks';
import { api, path, problemOf, type Problem } from '../../api';
import { integer, percent, percentWith } from '../../format';
import { labelled } from '../../state';
import { text } from '../../text';
import type { Trend } from '../../types';
import { Choose, Problems } from '../../ui/parts';
import { Plot, type Column } from '../../ui/Plot';

const words = text.logbook;

export function Trends({ pairing }: { pairing: string }) {
  const [trends, setTrends] = useState<Trend[] | null>(null);
  const [problem, setProblem] = useState<Problem | null>(null);
  const [wanted, setWanted] = useState('');
  useEffect(() => {
    void api
      .get<Trend[]>(path('/api/trends', { pairing }))
      .then(setTrends)
      .catch((cause: unknown) => setProblem(problemOf(cause)));
  }, [pairing]);
  const usable = (trends ?? []).filter((one) => one.trend.points.length > 0);
  const shown = usable.find((one) => String(one.pairing) === (pairing || wanted)) ?? usable[0];
  return (
    <section class="panel" aria-labelledby="log-trends">
      <h2 id="log-trends">{words.trends}</h2>
      <Problems problem={problem} />
      {trends && !shown && <p class="soft">{words.trendNone}</p>}
      {!pairing && shown && (
        <div class="grid">
          <Choose
            name="trend"
            label={words.about}
            value={String(shown.pairing)}
            change={setWanted}
            options={usable.map((one): [string, string] => [String(one.pairing), `${labelled(one.probe)} on ${labelled(one.input)}`])}
          />
        </div>
      )}
      {shown && <One key={shown.pairing} shown={shown} />}
    </section>
  );
}

function One({ shown }: { shown: Trend }) {
  const { points, drift_per_month: drift, stands_out: out, no_drift_because: because } = shown.trend;
  const data = useMemo<readonly Column[]>(() => [points.map((one) => Date.parse(one.at) / 1000), points.map((one) => one.compensation_error)], [shown]);
  const first = points[0]!;
  const last = points[points.length - 1]!;
  const driftWords = drift ? `${words.drift(percentWith(drift))} ${out ? words.driftOut : ''}` : (because ?? '');
  return (
    <Plot
      title={words.trendDrawing(labelled(shown.probe), labelled(shown.input))}
      sentence={`${words.trendSentence(integer(points.length), percent(first.compensation_error), percent(last.compensation_error))} ${driftWords}`}
      x={{ label: words.at, unit: '', date: true }}
      y={{ label: 'e', unit: '', percent: true }}
      series={[{ label: 'e', ink: '--ink-1', points: true, width: 1.5 }]}
      lines={[-shown.tolerance, shown.tolerance]}
      least={shown.tolerance * 1.2}
      data={data}
      height={220}
      zoom={false}
    />
  );
}
