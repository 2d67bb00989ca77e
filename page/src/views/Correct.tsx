// Correct: undo on a record what the pairing did to it; before and after in one drawing, figures, download.
import { useEffect, useMemo, useState } from 'preact/hooks';
import { api, faultsOf, path, problemOf, type Problem } from '../api';
import { integer, number, percent, percentWith, si, siWith } from '../format';
import { lastReading } from '../state';
import { text } from '../text';
import type { Correction, Download, Entry, Numbers, PulseFigures, Stored } from '../types';
import { takeFiles } from '../ui/drop';
import { announce } from '../ui/live';
import { Caution, Choose, Facts, Field, Findings, onSubmit, PickFile, Problems, Radios, Scroll, Tick } from '../ui/parts';
import { Plot, type Column } from '../ui/Plot';
import { Characterise } from './Characterise';
import { presentPlan } from './plan/Plan';

const words = text.correct;

interface Near {
  time_s: number[];
  before: Numbers;
  after: Numbers;
  standard_uncertainty: Numbers;
}

interface Corrected extends Correction {
  download: Download | null;
  drawing: { time_s: number[]; before_low: Numbers; before_high: Numbers; after_low: Numbers; after_high: Numbers; close: Near | null };
}

export function Correct() {
  const last = lastReading.value;
  const [file, setFile] = useState<File | null>(null);
  const [from, setFrom] = useState(last ? 'last' : 'options');
  const [error, setError] = useState('');
  const [timeConstant, setTimeConstant] = useState('');
  const [entry, setEntry] = useState('');
  const [entries, setEntries] = useState<Entry[]>([]);
  const [bandwidth, setBandwidth] = useState('');
  const [column, setColumn] = useState('');
  const [interval, setInterval] = useState('');
  const [rest, setRest] = useState(false);
  const [answer, setAnswer] = useState<Corrected | null>(null);
  const [problem, setProblem] = useState<Problem | null>(null);
  const [busy, setBusy] = useState(false);

  const choose = (files: File[]) => {
    setFile(files[0] ?? null);
    setAnswer(null);
    setProblem(null);
  };
  useEffect(() => takeFiles(choose), []);
  useEffect(() => {
    if (from !== 'entry' || entries.length > 0) return;
    void api
      .get<{ entries: Entry[] }>(path('/api/log', { kind: 'assessment', limit: 50 }))
      .then((got) => {
        const usable = got.entries.filter((one) => one.assessment?.compensation_error);
        setEntries(usable);
        if (usable[0]) setEntry(String(usable[0].seq));
      })
      .catch((cause: unknown) => setProblem(problemOf(cause)));
  }, [from]);

  const go = async () => {
    if (!file) return;
    setBusy(true);
    setProblem(null);
    setAnswer(null);
    const columns = { ...(column ? { column: Number(column) } : {}), ...(interval ? { interval } : {}) };
    try {
      const stored = await api.upload<Stored>(path('/api/captures', { name: file.name, ...columns }), file);
      const plusMinus = (value: number, u: number | null, unit: string) => (u ? `${value} ${unit} ± ${u * Math.sqrt(3)} ${unit}` : `${value} ${unit}`);
      const known =
        from === 'entry'
          ? { entry: Number(entry) }
          : from === 'plan'
            ? { plan: presentPlan(), ...(bandwidth ? { bandwidth } : {}) }
            : from === 'last' && last?.compensation_error && last.time_constant_s
              ? {
                  error: plusMinus(last.compensation_error.value * 100, last.compensation_error.standard_uncertainty === null ? null : last.compensation_error.standard_uncertainty * 100, '%'),
                  time_constant: plusMinus(last.time_constant_s.value, last.time_constant_s.standard_uncertainty, 's'),
                }
              : { error, time_constant: timeConstant };
      const got = await api.send<Corrected>('POST', '/api/correct', { stored: stored.id, known, ...columns, at_rest: rest });
      setAnswer(got);
      announce(words.sentence(si(got.greatest_change, got.unit)));
    } catch (cause) {
      setProblem(problemOf(cause));
    } finally {
      setBusy(false);
    }
  };
  const faults = problem ? faultsOf(problem) : {};
  const fault = (key: string) => faults[key] ?? faults[`known.${key}`];
  return (
    <>
      <h1 tabIndex={-1}>{words.title}</h1>
      <p class="lead">{words.lead}</p>
      <Caution words={text.caution.correcting} />
      <section class="panel drop" aria-label={words.pick}>
        <p>{words.drop}</p>
        <PickFile label={words.pick} pick={choose} primary={!file} />
        {file && <p role="status">{words.chosen(file.name, si(file.size, 'B'))}</p>}
      </section>
      <form class="panel" onSubmit={onSubmit(() => void go())} noValidate>
        <Radios label={words.from} value={from} change={setFrom} options={Object.entries(words.froms)} />
        {from === 'last' && <p class={last ? '' : 'soft'}>{last ? `e ${percentWith(last.compensation_error)}, τp ${siWith(last.time_constant_s, 's')} (${last.capture})` : words.noLast}</p>}
        <div class="grid">
          {from === 'options' && <Field name="error" label={words.errorField} hint={words.errorHint} value={error} change={setError} error={fault('error')} />}
          {from === 'options' && <Field name="time_constant" label={words.timeConstant} hint={words.timeConstantHint} value={timeConstant} change={setTimeConstant} error={fault('time_constant')} />}
          {from === 'entry' && (
            <Choose
              name="entry"
              label={words.entry}
              value={entry}
              change={setEntry}
              options={entries.map((one): [string, string] => [String(one.seq), `${one.seq}: ${one.probe ?? ''} on ${one.input ?? ''}, e ${percentWith(one.assessment?.compensation_error)}`])}
            />
          )}
          {from === 'plan' && <Field name="bandwidth" label={words.bandwidth} hint={words.bandwidthHint} value={bandwidth} change={setBandwidth} error={fault('bandwidth')} />}
          <Field name="column" label={words.column} value={column} change={setColumn} error={fault('column')} />
          <Field name="interval" label={words.interval} hint={words.intervalHint} value={interval} change={setInterval} error={fault('interval')} />
        </div>
        <Tick label={words.rest} value={rest} change={setRest} />
        <Problems problem={problem} />
        <div class="row">
          <button type="submit" class="primary" disabled={busy || !file || (from === 'last' && !last)}>
            {busy ? text.loading : words.go}
          </button>
          {!file && <span class="soft">{words.chooseFirst}</span>}
        </div>
      </form>
      {answer && <Answer answer={answer} />}
      <Characterise />
    </>
  );
}

function Answer({ answer }: { answer: Corrected }) {
  const { drawing, unit } = answer;
  const data = useMemo<readonly Column[]>(() => [drawing.time_s, drawing.before_high, drawing.before_low, drawing.after_high, drawing.after_low], [answer]);
  const near = drawing.close;
  const nearData = useMemo<readonly Column[] | null>(() => (near && near.time_s.length > 1 ? [near.time_s, near.before, near.after] : null), [answer]);
  return (
    <>
      <section class="panel" aria-labelledby="correct-answer">
        <h2 id="correct-answer">{words.after}</h2>
        <p class="headline">{words.sentence(si(answer.greatest_change, unit))}</p>
        <Facts
          facts={[
            ...(answer.compensation_error ? [[text.compensate.errorName, percentWith(answer.compensation_error)] as const] : []),
            ...(answer.time_constant_s ? [[words.timeConstant, siWith(answer.time_constant_s, 's')] as const] : []),
            [words.points, integer(answer.record.points)],
          ]}
        />
        {answer.standard_uncertainty && <p>{words.uncertainty(si(answer.standard_uncertainty.median, unit, 2), si(answer.standard_uncertainty.greatest, unit, 2))}</p>}
        {answer.noise && <p>{words.noise(number(answer.noise.gain, 3))}</p>}
        {answer.download && (
          <a class="button primary" href={answer.download.path} download={answer.download.name}>
            {words.download} ({si(answer.download.bytes, 'B')})
          </a>
        )}
      </section>
      <Findings findings={answer.findings} />
      <Plot
        title={words.drawing}
        sentence={words.sentence(si(answer.greatest_change, unit))}
        x={{ label: text.compensate.record.time, unit: 's' }}
        y={{ label: text.compensate.record.volts, unit }}
        series={[
          { label: words.before, ink: '--ink-2', width: 1.5, dash: [8, 5] },
          { label: `${words.before} (low)`, ink: '--ink-2', width: 1, edge: true },
          { label: words.after, ink: '--ink-1', width: 1.5 },
          { label: `${words.after} (low)`, ink: '--ink-1', width: 1, edge: true },
        ]}
        bands={[[2, 3]]}
        data={data}
        heading="h2"
      />
      {nearData && (
        <Plot
          title={words.near}
          sentence={words.nearSentence}
          x={{ label: text.compensate.record.time, unit: 's' }}
          y={{ label: text.compensate.record.volts, unit }}
          series={[
            { label: words.before, ink: '--ink-2', width: 2, dash: [8, 5] },
            { label: words.after, ink: '--ink-1', width: 2.5 },
          ]}
          data={nearData}
          heading="h2"
          height={220}
        />
      )}
      {answer.pulse && <Figures before={answer.pulse.before} after={answer.pulse.after} unit={unit} />}
    </>
  );
}

function Figures({ before, after, unit }: { before: PulseFigures; after: PulseFigures; unit: string }) {
  const show = (key: keyof PulseFigures, value: number | null) =>
    value === null ? '–' : key.endsWith('_s') ? si(value, 's') : key === 'overshoot' || key === 'preshoot' || key === 'tilt' ? percent(value) : si(value, unit, 4);
  return (
    <section class="panel" aria-labelledby="correct-figures">
      <h2 id="correct-figures">{words.figures}</h2>
      <Scroll label={words.figures}>
        <table>
          <thead>
            <tr>
              <th scope="col">{words.figureName}</th>
              <th scope="col">{words.before}</th>
              <th scope="col">{words.after}</th>
            </tr>
          </thead>
          <tbody>
            {(Object.keys(words.figure) as (keyof PulseFigures)[]).map((key) => (
              <tr key={key}>
                <th scope="row">{words.figure[key]}</th>
                <td>{show(key, before[key])}</td>
                <td>{show(key, after[key])}</td>
              </tr>
            ))}
          </tbody>
        </table>
      </Scroll>
    </section>
  );
}
