// Which probe belongs to which input: pairing, moving with the error to expect, ending.
import { useEffect, useRef, useState } from 'preact/hooks';
import { api, faultsOf, path, problemOf, type Problem } from '../../api';
import { percentWith } from '../../format';
import { bench, labelled, reload } from '../../state';
import { text } from '../../text';
import { announce } from '../../ui/live';
import { Choose, Field, onSubmit, Problems } from '../../ui/parts';

const words = text.bench;

interface Expected {
  compensation_error: number | null;
  standard_uncertainty: number | null;
  missing: string[] | null;
  error?: string;
}

export function expectedWords(expected: Expected | null | undefined): string {
  if (!expected) return '';
  if (expected.error) return `${words.expectedNothing} ${expected.error}`;
  if (expected.compensation_error === null || expected.compensation_error === undefined) return `${words.expectedNothing} ${(expected.missing ?? []).join(', ')}`;
  return words.expected(percentWith({ value: expected.compensation_error, standard_uncertainty: expected.standard_uncertainty }));
}

/** A new pairing, or with `moving` the end of the old one and a new one elsewhere. */
export function PairForm({ moving, done, cancel }: { moving?: { probe: string; input: string }; done: (words: string) => void; cancel: () => void }) {
  const known = bench.value;
  const probes = (known?.probes ?? []).filter((one) => !one.retired);
  const inputs = (known?.oscilloscopes ?? []).flatMap((one) => one.inputs).filter((one) => !one.retired && one.id !== moving?.input);
  const [probe, setProbe] = useState(moving?.probe ?? probes[0]?.id ?? '');
  const [input, setInput] = useState(inputs[0]?.id ?? '');
  const [tolerance, setTolerance] = useState('1 %');
  const [interval, setInterval] = useState('90 days');
  const [problem, setProblem] = useState<Problem | null>(null);
  const [forecast, setForecast] = useState('');
  const top = useRef<HTMLElement>(null);
  useEffect(() => top.current?.querySelector<HTMLElement>('h2')?.focus(), []);
  useEffect(() => {
    setForecast('');
    if (!moving || !input) return;
    void api
      .get<{ expected: Expected }>(path('/api/bench/forecast', { probe, input }))
      .then((got) => setForecast(expectedWords(got.expected)))
      .catch(() => setForecast(''));
  }, [probe, input]);
  const save = async () => {
    setProblem(null);
    try {
      const got = await api.send<{ expected: Expected | null }>('POST', '/api/bench/pairings', { probe, input, tolerance, interval, move: moving !== undefined });
      await reload();
      const said = `${words.paired(labelled(probe), labelled(input))} ${moving ? expectedWords(got.expected) : ''}`.trim();
      announce(said);
      done(said);
    } catch (cause) {
      setProblem(problemOf(cause));
    }
  };
  const faults = problem ? faultsOf(problem) : {};
  return (
    <section class="panel editor" ref={top} aria-labelledby="pair-title">
      <h2 id="pair-title" tabIndex={-1}>
        {moving ? words.move(labelled(moving.probe)) : words.addPairing}
      </h2>
      {moving && <p>{words.moveLead}</p>}
      <form onSubmit={onSubmit(() => void save())} noValidate>
        <div class="grid">
          {!moving && <Choose name="probe" label={words.probe} value={probe} change={setProbe} options={probes.map((one): [string, string] => [one.id, labelled(one.id)])} error={faults['probe']} />}
          <Choose name="input" label={words.input} value={input} change={setInput} options={inputs.map((one): [string, string] => [one.id, labelled(one.id)])} error={faults['input']} />
          <Field name="tolerance" label={words.fields['tolerance']![0]} value={tolerance} change={setTolerance} error={faults['tolerance']} />
          <Field name="interval" label={words.interval} value={interval} change={setInterval} error={faults['interval']} />
        </div>
        {forecast && <p role="status">{forecast}</p>}
        <Problems problem={problem} />
        <div class="row">
          <button type="submit" class="primary">
            {words.pair}
          </button>
          <button type="button" class="quiet" onClick={cancel}>
            {text.cancel}
          </button>
        </div>
      </form>
    </section>
  );
}

/** Asks before something ends; the answer "no" has the focus. */
export function Ask({ question, note, yes, act, cancel }: { question: string; note?: string; yes: string; act: (reason: string) => Promise<void>; cancel: () => void }) {
  const [reason, setReason] = useState('');
  const [problem, setProblem] = useState<Problem | null>(null);
  const box = useRef<HTMLDialogElement>(null);
  useEffect(() => box.current?.showModal(), []);
  const go = async () => {
    try {
      await act(reason);
    } catch (cause) {
      setProblem(problemOf(cause));
    }
  };
  return (
    <dialog ref={box} aria-labelledby="ask-title" onClose={cancel}>
      <h2 id="ask-title">{question}</h2>
      <form onSubmit={onSubmit(() => void go())}>
        {note && <Field label={note} value={reason} change={setReason} />}
        <Problems problem={problem} />
        <div class="row">
          <button type="button" autofocus onClick={() => box.current?.close()}>
            {text.cancel}
          </button>
          <button type="submit" class="primary">
            {yes}
          </button>
        </div>
      </form>
    </dialog>
  );
}
