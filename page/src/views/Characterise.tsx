// The response of a pairing measured from fast edges, best with the source on a second column; to download and to plan with.
import { useMemo, useState } from 'preact/hooks';
import { api, faultsOf, path, problemOf, type Problem } from '../api';
import { siWith, type Uncertain } from '../format';
import { text } from '../text';
import type { Download, Finding, Stored } from '../types';
import { Facts, Field, Findings, onSubmit, PickFile, Problems } from '../ui/parts';
import { Plot, type Column } from '../ui/Plot';

const words = text.characterise;

interface Measured {
  headline: string;
  bandwidth_hz: Uncertain | null;
  delay_s: Uncertain | null;
  transition: { recorded_s: Uncertain; pairing_s: Uncertain | null } | null;
  response: { frequency_hz: number; gain: Uncertain }[];
  findings: Finding[];
  downloads: { s2p: Download | null; json: Download | null; csv: Download | null };
}

export function Characterise() {
  const [file, setFile] = useState<File | null>(null);
  const [column, setColumn] = useState('2');
  const [reference, setReference] = useState('3');
  const [answer, setAnswer] = useState<Measured | null>(null);
  const [problem, setProblem] = useState<Problem | null>(null);
  const [busy, setBusy] = useState(false);
  const go = async () => {
    if (!file) return;
    setBusy(true);
    setProblem(null);
    try {
      const stored = await api.upload<Stored>(path('/api/captures', { name: file.name }), file);
      setAnswer(
        await api.send<Measured>('POST', '/api/characterise', {
          stored: [stored.id],
          ...(column ? { column: Number(column) } : {}),
          ...(reference ? { reference: Number(reference) } : {}),
        }),
      );
    } catch (cause) {
      setAnswer(null);
      setProblem(problemOf(cause));
    } finally {
      setBusy(false);
    }
  };
  const faults = problem ? faultsOf(problem) : {};
  const data = useMemo<readonly Column[] | null>(
    () =>
      answer && answer.response.length > 1
        ? [
            answer.response.map((one) => one.frequency_hz),
            answer.response.map((one) => one.gain.value),
            answer.response.map((one) => one.gain.value + 1.96 * (one.gain.standard_uncertainty ?? 0)),
            answer.response.map((one) => one.gain.value - 1.96 * (one.gain.standard_uncertainty ?? 0)),
          ]
        : null,
    [answer],
  );
  const files = answer ? ([answer.downloads.s2p, answer.downloads.csv, answer.downloads.json].filter(Boolean) as Download[]) : [];
  return (
    <section class="panel" aria-labelledby="characterise">
      <h2 id="characterise">{words.title}</h2>
      <p>{words.lead}</p>
      <form onSubmit={onSubmit(() => void go())} noValidate>
        <div class="row">
          <PickFile label={words.pick} pick={(files) => setFile(files[0] ?? null)} />
          {file && <span role="status">{file.name}</span>}
        </div>
        <div class="grid">
          <Field name="edge-column" label={text.compensate.column} value={column} change={setColumn} error={faults['column']} />
          <Field name="edge-reference" label={text.compensate.reference} hint={text.compensate.referenceHint} value={reference} change={setReference} error={faults['reference']} />
        </div>
        <button type="submit" disabled={!file || busy}>
          {busy ? text.loading : words.go}
        </button>
      </form>
      <Problems problem={problem} />
      {answer && (
        <>
          <p class="headline">{answer.headline}</p>
          <Facts
            facts={[
              [text.plan.bandwidth, siWith(answer.bandwidth_hz, 'Hz')],
              [words.transition, siWith(answer.transition?.pairing_s ?? answer.transition?.recorded_s, 's')],
              [words.delay, siWith(answer.delay_s, 's')],
            ]}
          />
          <div class="row">
            {files.map((one) => (
              <a class="button" key={one.id} href={one.path} download={one.name}>
                {text.download} {one.name}
              </a>
            ))}
          </div>
          {data && (
            <Plot
              title={words.drawing}
              sentence={answer.headline}
              x={{ label: text.plan.frequency, unit: 'Hz', log: true }}
              y={{ label: words.gain, unit: '', percent: true }}
              series={[
                { label: words.gain, ink: '--ink-1', width: 2.5 },
                { label: text.compensate.error.high, ink: '--ink-1', edge: true },
                { label: text.compensate.error.low, ink: '--ink-1', edge: true },
              ]}
              bands={[[1, 2]]}
              data={data}
              height={220}
            />
          )}
          <Findings findings={answer.findings} heading="h3" />
        </>
      )}
    </section>
  );
}
