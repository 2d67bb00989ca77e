// Logbook: what was found when, one entry from near, trends, whether it is intact, and records to print.
import { useEffect, useState } from 'preact/hooks';
import { api, path, problemOf, type Problem } from '../../api';
import { integer, percentWith, siWith, when } from '../../format';
import { about, bench, labelled } from '../../state';
import { text } from '../../text';
import type { Entry } from '../../types';
import { Cards, Choose, Field, onSubmit, Problems } from '../../ui/parts';
import { OneEntry } from './OneEntry';
import { Records } from './Records';
import { Trends } from './Trends';

const words = text.logbook;
const PAGE = 25;

interface LogPage {
  entries: Entry[];
  next_before_seq: number | null;
  total: number;
}

interface Verified {
  intact: boolean;
  entries: number;
  captures: number;
  problems: { kind: string; seq: number | null; message: string }[];
}

/** What an entry says, in one line. */
export function resultOf(entry: Entry): string {
  const found = entry.assessment;
  if (found) {
    const sign = text.verdictSymbol[found.verdict];
    return `${sign} ${text.verdict[found.verdict]}${found.compensation_error ? `, e ${percentWith(found.compensation_error)}` : ''}`;
  }
  if (entry.measurement) return siWith(entry.measurement.value_f, 'F');
  if (entry.corrects !== null) return `${words.entry(String(entry.corrects))}${entry.effect === 'withdraws' ? `: ${words.withdrawn}` : ''}`;
  return '';
}

export function Logbook() {
  const [pairing, setPairing] = useState('');
  const [starts, setStarts] = useState<(number | null)[]>([null]);
  const [page, setPage] = useState<LogPage | null>(null);
  const [problem, setProblem] = useState<Problem | null>(null);
  const [picked, setPicked] = useState<number | null>(null);
  const [verified, setVerified] = useState<Verified | null>(null);
  const before = starts[starts.length - 1];
  useEffect(() => {
    setProblem(null);
    void api
      .get<LogPage>(path('/api/log', { pairing, before_seq: before, limit: PAGE }))
      .then(setPage)
      .catch((cause: unknown) => setProblem(problemOf(cause)));
  }, [pairing, starts]);
  const verify = async () => {
    try {
      setVerified(await api.get<Verified>('/api/log/verify'));
    } catch (cause) {
      setProblem(problemOf(cause));
    }
  };
  const pairings = bench.value?.pairings ?? [];
  return (
    <>
      <h1 tabIndex={-1}>{words.title}</h1>
      <p class="lead">{words.lead}</p>
      <Problems problem={problem} />
      {picked !== null && <OneEntry key={picked} seq={picked} close={() => setPicked(null)} />}
      <section class="panel" aria-labelledby="log-entries">
        <h2 id="log-entries">{words.entries}</h2>
        <div class="grid">
          <Choose
            name="pairing"
            label={words.filter}
            value={pairing}
            change={(value) => {
              setPairing(value);
              setStarts([null]);
            }}
            options={[['', words.all], ...pairings.map((one): [string, string] => [String(one.number), `${labelled(one.probe)} on ${labelled(one.input)}`])]}
          />
        </div>
        {page && page.entries.length === 0 && <p class="soft">{words.empty}</p>}
        {page && page.entries.length > 0 && (
          <Cards label={words.entries}>
            <table>
              <thead>
                <tr>
                  <th scope="col">{words.seq}</th>
                  <th scope="col">{words.at}</th>
                  <th scope="col">{words.what}</th>
                  <th scope="col">{words.about}</th>
                  <th scope="col">{words.result}</th>
                  <th scope="col">{words.by}</th>
                  <th scope="col">{words.note}</th>
                </tr>
              </thead>
              <tbody>
                {page.entries.map((entry) => (
                  <tr key={entry.seq}>
                    <th scope="row">
                      <button type="button" class="small" aria-label={words.entry(String(entry.seq))} onClick={() => setPicked(entry.seq)}>
                        {entry.seq}
                      </button>
                    </th>
                    <td class="n">{when(entry.at)}</td>
                    <td>
                      {words.kinds[entry.kind] ?? entry.kind}
                      {entry.assessment && `, ${words.stages[entry.assessment.stage] ?? entry.assessment.stage}`}
                    </td>
                    <td>
                      {entry.probe && <span class="n">{entry.probe}</span>}
                      {entry.probe && entry.input && words.on}
                      {entry.input && <span class="n">{entry.input}</span>}
                    </td>
                    <td class="outcome">{resultOf(entry)}</td>
                    <td>{entry.by ?? '–'}</td>
                    <td class="note">{entry.note ?? ''}</td>
                  </tr>
                ))}
              </tbody>
            </table>
          </Cards>
        )}
        {page && (
          <div class="row">
            <button type="button" disabled={starts.length < 2} onClick={() => setStarts(starts.slice(0, -1))}>
              {words.newer}
            </button>
            <button type="button" disabled={page.next_before_seq === null} onClick={() => setStarts([...starts, page.next_before_seq])}>
              {words.older}
            </button>
            <span class="soft" role="status">
              {page.entries.length > 0 && words.page(integer((starts.length - 1) * PAGE + 1), integer((starts.length - 1) * PAGE + page.entries.length), integer(page.total))}
            </span>
          </div>
        )}
        <div class="row">
          <button type="button" onClick={() => void verify()}>
            {words.verify}
          </button>
          <a class="button" href={path('/api/log.csv', { pairing })} download="logbook.csv">
            {words.csv}
          </a>
          <span role="status">
            {verified && (verified.intact ? `✓ ${words.intact(integer(verified.entries), integer(verified.captures))}` : `✗ ${words.notIntact(integer(verified.problems.length))}`)}
          </span>
        </div>
        {verified && verified.problems.length > 0 && (
          <ul>
            {verified.problems.map((one) => (
              <li key={one.message}>{one.message}</li>
            ))}
          </ul>
        )}
      </section>
      {about.value?.writable && <Note done={() => setStarts([...starts])} />}
      <Trends pairing={pairing} />
      <Records />
    </>
  );
}

/** A note in the logbook, about a probe or about nothing in particular. */
function Note({ done }: { done: () => void }) {
  const [said, setSaid] = useState('');
  const [about, setAbout] = useState('');
  const [written, setWritten] = useState('');
  const [problem, setProblem] = useState<Problem | null>(null);
  const go = async () => {
    setProblem(null);
    try {
      const made = await api.send<{ entry: number }>('POST', '/api/log/notes', { text: said, about: about ? `probe:${about}` : null });
      setSaid('');
      setWritten(words.amended(integer(made.entry)));
      done();
    } catch (cause) {
      setProblem(problemOf(cause));
    }
  };
  return (
    <section class="panel" aria-labelledby="log-note">
      <h2 id="log-note">{words.noteTitle}</h2>
      <form onSubmit={onSubmit(() => void go())}>
        <div class="grid">
          <Field name="note" label={words.note} value={said} change={setSaid} />
          <Choose name="about" label={words.about} value={about} change={setAbout} options={[['', words.nothing], ...(bench.value?.probes ?? []).map((one): [string, string] => [one.id, labelled(one.id)])]} />
        </div>
        <Problems problem={problem} />
        <div class="row">
          <button type="submit" disabled={said.trim() === ''}>
            {words.noteGo}
          </button>
          <span role="status">{written && `✓ ${written}`}</span>
        </div>
      </form>
    </section>
  );
}
