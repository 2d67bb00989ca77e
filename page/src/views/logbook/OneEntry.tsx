// One entry from near: its figures, findings, drawing, digest, and whether the kept capture still gives the same.
import { useEffect, useRef, useState } from 'preact/hooks';
import { api, problemOf, type Problem } from '../../api';
import { integer, percentWith, share, siWith, when } from '../../format';
import { about, reload } from '../../state';
import { text } from '../../text';
import type { Assessment, Drawing, Entry } from '../../types';
import { Facts, Field, Findings, onSubmit, Problems, Tick } from '../../ui/parts';
import { ErrorDrawing, RecordDrawing } from '../compensate/Drawings';
import { resultOf } from './Logbook';

const words = text.logbook;

interface Shown extends Entry {
  result: Assessment | null;
}

export function OneEntry({ seq, close }: { seq: number; close: () => void }) {
  const [entry, setEntry] = useState<Shown | null>(null);
  const [drawing, setDrawing] = useState<Drawing | null>(null);
  const [again, setAgain] = useState<{ same: boolean; differences: string[] | null; error: string | null } | null>(null);
  const [amended, setAmended] = useState('');
  const [problem, setProblem] = useState<Problem | null>(null);
  const top = useRef<HTMLElement>(null);
  useEffect(() => {
    void api
      .get<Shown>(`/api/log/${seq}`)
      .then((got) => {
        setEntry(got);
        requestAnimationFrame(() => {
          top.current?.querySelector<HTMLElement>('h2')?.focus();
          top.current?.scrollIntoView({ block: 'start' });
        });
        if (got.kind !== 'assessment') return;
        void api
          .get<{ drawing: Drawing }>(`/api/log/${seq}/plot`)
          .then((plot) => setDrawing(plot.drawing))
          .catch(() => setDrawing(null));
      })
      .catch((cause: unknown) => setProblem(problemOf(cause)));
  }, [seq]);
  const recompute = async () => {
    try {
      setAgain(await api.send('POST', `/api/log/${seq}/recompute`, {}));
    } catch (cause) {
      setProblem(problemOf(cause));
    }
  };
  return (
    <section class="panel" ref={top} aria-labelledby="entry-title">
      <h2 id="entry-title" tabIndex={-1}>
        {words.entry(integer(seq))}
      </h2>
      <Problems problem={problem} />
      {entry && (
        <>
          <p class="headline">{resultOf(entry) || (words.kinds[entry.kind] ?? entry.kind)}</p>
          <Facts
            facts={[
              [words.at, when(entry.at)],
              [words.by, entry.by ?? '–'],
              [words.what, `${words.kinds[entry.kind] ?? entry.kind}${entry.assessment ? `, ${words.stages[entry.assessment.stage] ?? entry.assessment.stage}` : ''}`],
              [words.about, [entry.probe, entry.input].filter(Boolean).join(' on ') || '–'],
              ...(entry.assessment
                ? ([
                    [text.compensate.errorName, percentWith(entry.assessment.compensation_error)],
                    [words.tolerance, share(entry.assessment.tolerance)],
                    [text.compensate.circuit.timeConstant, siWith(entry.assessment.time_constant_s, 's')],
                  ] as const)
                : []),
              ...(entry.result?.tip_capacitance_f ? [[text.compensate.circuit.tip, siWith(entry.result.tip_capacitance_f, 'F')] as const] : []),
              ...(entry.note ? [[words.note, entry.note] as const] : []),
              [words.digest, <code key="digest">{entry.digest}</code>],
            ]}
          />
          <div class="row">
            {entry.kind === 'assessment' && (
              <>
                <button type="button" onClick={() => void recompute()}>
                  {words.recompute}
                </button>
                <a class="button" href={`/api/log/${seq}/capture`} download>
                  {words.capture}
                </a>
                <a class="button" href={`/api/records/assessment.html?entry=${seq}`} target="_blank" rel="noopener">
                  {words.html}
                </a>
                <a class="button" href={`/api/records/assessment.pdf?entry=${seq}&save=true`}>
                  {words.pdf}
                </a>
              </>
            )}
            <button type="button" class="quiet" onClick={close}>
              {words.close}
            </button>
          </div>
          {about.value?.writable && entry.kind !== 'correction' && <Amend seq={seq} done={setAmended} />}
          {amended && <p role="status">✓ {amended}</p>}
          {again && <p role="status">{again.error ?? (again.same ? `✓ ${words.recomputeSame}` : `✗ ${words.recomputeDiffers} ${(again.differences ?? []).join('; ')}`)}</p>}
          {drawing && drawing.time_s.length > 0 && <RecordDrawing drawing={drawing} windowUrl={null} />}
          {drawing?.error && <ErrorDrawing error={drawing.error} tolerance={entry.assessment?.tolerance ?? 0.01} />}
          {entry.result?.findings && <Findings findings={entry.result.findings} heading="h3" />}
        </>
      )}
    </section>
  );
}

/** A remark on an entry, or its withdrawal: both are entries of their own. */
function Amend({ seq, done }: { seq: number; done: (said: string) => void }) {
  const [said, setSaid] = useState('');
  const [withdraw, setWithdraw] = useState(false);
  const [problem, setProblem] = useState<Problem | null>(null);
  const go = async () => {
    setProblem(null);
    try {
      const made = await api.send<{ entry: number }>('POST', `/api/log/${seq}/correct`, { text: said, withdraw });
      setSaid('');
      done(words.amended(integer(made.entry)));
      void reload();
    } catch (cause) {
      setProblem(problemOf(cause));
    }
  };
  return (
    <details>
      <summary>{words.amend}</summary>
      <form onSubmit={onSubmit(() => void go())}>
        <Field name="amend" label={words.amendText} value={said} change={setSaid} />
        <Tick label={words.withdraw} value={withdraw} change={setWithdraw} />
        <Problems problem={problem} />
        <div class="row">
          <button type="submit" disabled={said.trim() === ''}>
            {words.amendGo}
          </button>
        </div>
      </form>
    </details>
  );
}
