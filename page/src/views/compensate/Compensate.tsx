// Compensate: choose what is trimmed and where captures come from, then read one large figure while the trimmer turns.
import { useEffect, useState } from 'preact/hooks';
import { computed, effect } from '@preact/signals';
import { integer, percentWith, picofarads, share, si, siWith } from '../../format';
import { route } from '../../router';
import { begin, beginning, clear, connection, detail, drawing, end, busy, reading, sendFiles, session, sessionProblem, turns, type Circuit, type SourceKind } from '../../session';
import { hear } from '../../sound';
import { about, bench, labelled } from '../../state';
import { text } from '../../text';
import { takeFiles } from '../../ui/drop';
import { announce } from '../../ui/live';
import { Cards, Caution, Choose, Facts, Field, Findings, onSubmit, PickFile, Problems, Radios, Tick } from '../../ui/parts';
import { ByEye } from './ByEye';
import { ErrorDrawing, RecordDrawing, ResidualDrawing, TurnsDrawing } from './Drawings';
import { Log } from './Log';
import { Practice } from './Practice';
import { Reading, turnWords } from './Reading';
import { Sound } from './Sound';

const words = text.compensate;
const TABLE_TURNS = 12;

interface Settings {
  pairing: string;
  divider: string;
  adjust: string;
  tolerance: string;
  hold: string;
  interval: string;
  column: string;
  reference: string;
  source: SourceKind;
  root: string;
  folder: string;
  instrument: string;
  blind: boolean;
}

/** Kept while the reader walks through other pages. */
let kept: Settings = {
  pairing: '',
  divider: '9M:1M',
  adjust: 'tip',
  tolerance: '',
  hold: '5',
  interval: '',
  column: '',
  reference: '',
  source: 'files',
  root: '',
  folder: '',
  instrument: '',
  blind: true,
};

function circuitOf(settings: Settings): Circuit {
  const tolerance = settings.tolerance ? { tolerance: settings.tolerance } : {};
  if (settings.pairing) {
    const [probe = '', input = ''] = settings.pairing.split(' on ');
    return { probe, input, ...tolerance };
  }
  return { divider: settings.divider, adjust: settings.adjust, ...tolerance };
}

function requestOf(settings: Settings): Record<string, unknown> {
  const hold = Math.max(0, Math.round(Number(settings.hold) || 0));
  // Its probe is its own: no pairing, no divider, nothing about columns.
  if (settings.source === 'practice') {
    return { ...(settings.tolerance ? { tolerance: settings.tolerance } : {}), hold, source: { kind: 'practice', blind: settings.blind } };
  }
  const columns: Record<string, unknown> = {};
  if (settings.column) columns['column'] = Number(settings.column);
  if (settings.reference) columns['reference'] = Number(settings.reference);
  if (settings.interval) columns['interval'] = settings.interval;
  const source =
    settings.source === 'watch'
      ? { kind: 'watch', root: settings.root, path: settings.folder }
      : settings.source === 'instrument'
        ? { kind: 'instrument', id: settings.instrument }
        : { kind: settings.source };
  return { ...circuitOf(settings), ...columns, hold, source };
}

const started = computed(() => reading.value !== null);

/** Files that were dropped where no session takes them yet: a session is begun for them. */
export async function takeCaptures(files: File[]): Promise<void> {
  const now = session.peek();
  if (!now || now.ended || now.source.kind !== 'files') {
    kept = { ...kept, source: 'files' };
    if (!(await begin(requestOf(kept)))) return;
  }
  await sendFiles(files);
}

effect(() => {
  const now = reading.value;
  hear({ ratio: now?.compensation_error && now.tolerance > 0 ? now.compensation_error.value / now.tolerance : null });
});

effect(() => {
  const now = reading.value;
  if (!now) return;
  announce(words.announce(text.verdict[now.verdict], now.compensation_error ? percentWith(now.compensation_error) : words.noEstimate, turnWords(now.adjustment, now.verdict)));
});

export function Compensate() {
  const [settings, setSettings] = useState<Settings>(() => {
    const { probe, input, source } = route.value.query;
    if (probe && input) kept = { ...kept, pairing: `${probe} on ${input}` };
    if (source === 'eye' || source === 'practice') kept = { ...kept, source };
    return kept;
  });
  const change = (part: Partial<Settings>) => {
    kept = { ...kept, ...part };
    setSettings(kept);
  };
  useEffect(() => takeFiles((files) => void takeCaptures(files)), []);

  const sources = about.value?.sources;
  const roots = sources?.watch_roots ?? [];
  const instruments = sources?.instruments ?? [];
  const kinds: [string, string][] = [['files', words.sources.files]];
  kinds.push(['watch', words.sources.watch], ['instrument', words.sources.instrument]);
  if (sources?.practice) kinds.push(['practice', words.sources.practice]);
  kinds.push(['eye', words.sources.eye]);

  const pairings = (bench.value?.pairings ?? []).filter((pairing) => pairing.voided_at === null);
  const now = started.value;
  const running = session.value !== null && session.value.ended === null;
  const root = settings.root || (roots[0]?.id ?? '');
  const instrument = settings.instrument || (instruments[0]?.id ?? '');
  const eye = settings.source === 'eye';
  const practised = settings.source === 'practice';

  const start = async () => {
    change({ root, instrument });
    await begin(requestOf({ ...kept, root, instrument }));
  };
  const source = (value: string) => {
    change({ source: value as SourceKind });
    void end();
    clear();
  };

  // Once a reading is there it comes first; moved by key, so that nothing typed is lost. What is read by eye keeps its form in front.
  const setUp = (
    <div key="setup">
      <Caution words={text.caution.trimming} />
      <details class="panel setup" open={!now}>
        <summary>{words.setUp}</summary>
        <form onSubmit={onSubmit(() => void start())}>
          <div class="grid">
            {!practised && (
            <Choose
              name="pairing"
              label={words.pairing}
              value={settings.pairing}
              change={(pairing) => change({ pairing })}
              options={[
                ['', words.noPairing],
                ...pairings.map((one): [string, string] => [`${one.probe} on ${one.input}`, words.pairingOption(labelled(one.probe), labelled(one.input), text.bench.states[one.state] ?? one.state)]),
              ]}
            />
            )}
            {!practised && !settings.pairing && <Field name="divider" label={words.divider} hint={words.dividerHint} value={settings.divider} change={(divider) => change({ divider })} />}
            {!practised && !settings.pairing && (
              <Choose
                name="adjust"
                label={words.adjust}
                value={settings.adjust}
                change={(adjust) => change({ adjust })}
                options={[
                  ['tip', words.adjustTip],
                  ['base', words.adjustBase],
                ]}
              />
            )}
            <Field name="tolerance" label={words.tolerance} hint={words.toleranceHint} value={settings.tolerance} change={(tolerance) => change({ tolerance })} />
            {!eye && <Field name="hold" label={words.hold} value={settings.hold} change={(hold) => change({ hold })} type="number" />}
          </div>
          <Radios label={words.source} value={settings.source} change={source} options={kinds} />
          {settings.source === 'watch' &&
            (roots.length === 0 ? (
              <p class="soft">{words.noWatch}</p>
            ) : (
              <div class="grid">
                <Choose label={words.watchRoot} value={root} change={(value) => change({ root: value })} options={roots.map((one): [string, string] => [one.id, one.name])} />
                <Field label={words.watchPath} hint={words.watchPathHint} value={settings.folder} change={(folder) => change({ folder })} />
              </div>
            ))}
          {settings.source === 'instrument' &&
            (instruments.length === 0 ? (
              <p class="soft">{words.noInstrument}</p>
            ) : (
              <Choose label={words.instrument} value={instrument} change={(value) => change({ instrument: value })} options={instruments.map((one): [string, string] => [one.id, one.name])} />
            ))}
          {practised && <Tick label={words.practice.hide} value={settings.blind} change={(blind) => change({ blind })} />}
          {(settings.source === 'files' || settings.source === 'watch') && (
            <details>
              <summary>{words.more}</summary>
              <div class="grid">
                <Field label={words.interval} hint={words.intervalHint} value={settings.interval} change={(interval) => change({ interval })} />
                <Field label={words.column} hint={words.columnHint} value={settings.column} change={(column) => change({ column })} />
                <Field label={words.reference} hint={words.referenceHint} value={settings.reference} change={(reference) => change({ reference })} />
              </div>
            </details>
          )}
          {settings.source !== 'files' && !eye && (settings.source !== 'watch' || roots.length > 0) && (settings.source !== 'instrument' || instruments.length > 0) && (
            <button type="submit" class="primary" disabled={beginning.value}>
              {running ? words.again : words.start}
            </button>
          )}
        </form>
      </details>

      {settings.source === 'files' && (
        <section class="panel drop" aria-label={words.sources.files}>
          <p>{words.drop}</p>
          <PickFile label={words.pick} many primary={!now} pick={(files) => void takeCaptures(files)} />
        </section>
      )}
      {eye && <ByEye circuit={circuitOf(settings)} />}
    </div>
  );
  const live = (
    <div key="live">
      {now && <Newest />}
      {running && session.value?.source.kind === 'practice' && <Practice session={session.value.id} />}
      <Log />
      {(running || now) && (
        <div class="row">
          {running && settings.source !== 'files' && (
            <button type="button" onClick={() => void end()}>
              {words.stop}
            </button>
          )}
          <button
            type="button"
            class="quiet"
            onClick={() => {
              void end();
              clear();
            }}
          >
            {words.again}
          </button>
        </div>
      )}
    </div>
  );
  const sound = <Sound key="sound" />;
  return (
    <>
      <h1 tabIndex={-1}>{words.title}</h1>
      <Problems problem={sessionProblem.value} dismiss={() => (sessionProblem.value = null)} />
      {connection.value === 'lost' && (
        <p class="soft" role="status">
          {words.reconnecting}
        </p>
      )}
      {session.value?.ended && (
        <p class="soft" role="status">
          {words.ended} {session.value.ended}
        </p>
      )}
      {!now && <Waiting running={running} />}

      {now && !eye ? [live, sound, setUp] : [setUp, live, sound]}
      {now && <Details />}
    </>
  );
}

function Waiting({ running }: { running: boolean }) {
  if (busy.value) return <p role="status">{text.loading}</p>;
  return running ? <p role="status">{words.waiting}</p> : null;
}

/** Alone, so that a new reading renders nothing but itself before it is painted. */
function Newest() {
  const now = reading.value;
  return now && <Reading now={now} />;
}

function Details() {
  const now = detail.value;
  const drawn = drawing.value;
  const id = session.value?.id;
  if (!now) return null;
  return (
    <>
      <Findings findings={now.findings} />
      {drawn && drawn.time_s.length > 0 && <RecordDrawing drawing={drawn} windowUrl={id ? `/api/sessions/${encodeURIComponent(id)}/window` : null} />}
      {drawn && drawn.time_s.length > 0 && <ResidualDrawing drawing={drawn} />}
      {drawn?.error && <ErrorDrawing error={drawn.error} tolerance={now.tolerance} />}
      <Turns tolerance={now.tolerance} />
      <section class="panel">
        <h2>{words.circuit.title}</h2>
        <Facts
          facts={[
            [words.circuit.timeConstant, siWith(now.time_constant_s, 's')],
            [words.circuit.tip, siWith(now.tip_capacitance_f, 'F')],
            [words.circuit.shunt, siWith(now.shunt_capacitance_f, 'F')],
            [words.circuit.frequency, si(now.source?.frequency_hz, 'Hz')],
            [text.bench.tolerance, share(now.tolerance)],
          ]}
        />
      </section>
    </>
  );
}

function Turns({ tolerance }: { tolerance: number }) {
  const all = turns.value;
  const last = all.slice(-TABLE_TURNS).reverse();
  return (
    <section class="panel">
      <h2>{words.history.title}</h2>
      <TurnsDrawing turns={all} tolerance={tolerance} />
      <Cards label={words.history.rows}>
        <table>
          <caption>{words.history.rows}</caption>
          <thead>
            <tr>
              <th scope="col">{words.history.number}</th>
              <th scope="col">{words.history.error}</th>
              <th scope="col">{words.history.trimmer}</th>
              <th scope="col">{words.history.state}</th>
              <th scope="col">{words.history.verdict}</th>
            </tr>
          </thead>
          <tbody>
            {last.map((turn) => (
              <tr key={turn.number}>
                <th scope="row">{integer(turn.number)}</th>
                <td class="n">{turn.error === null ? '–' : percentWith({ value: turn.error, standard_uncertainty: turn.uncertainty })}</td>
                <td class="n">{turn.toGo === null ? '–' : picofarads(turn.toGo)}</td>
                <td>{words.phase[turn.phase]}</td>
                <td class="n">
                  <span aria-hidden="true">{text.verdictSymbol[turn.verdict]}</span> {text.verdict[turn.verdict]}
                </td>
              </tr>
            ))}
          </tbody>
        </table>
      </Cards>
    </section>
  );
}
