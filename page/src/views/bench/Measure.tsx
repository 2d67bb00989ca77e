// What no data sheet says, measured from captures: an input's capacitance, the range of a trimmer, the capacitance at a tip.
import { useState } from 'preact/hooks';
import { api, faultsOf, path, problemOf, type Problem } from '../../api';
import { siWith, type Uncertain } from '../../format';
import { bench, labelled, reload } from '../../state';
import { text } from '../../text';
import type { Finding, Stored } from '../../types';
import { announce } from '../../ui/live';
import { Caution, Choose, Facts, Field, Findings, onSubmit, PickFile, Problems, Tick } from '../../ui/parts';

const words = text.measure;

type What = 'input-capacitance' | 'compensation-range' | 'tip-capacitance';
type Role = 'known-input' | 'unknown-input' | 'one-stop' | 'other-stop' | 'straight' | 'through-resistor';

const ROLES: Record<What, readonly Role[]> = {
  'input-capacitance': ['known-input', 'unknown-input'],
  'compensation-range': ['one-stop', 'other-stop'],
  'tip-capacitance': ['straight', 'through-resistor'],
};

interface Found {
  quantity: string;
  of: string;
  determined: boolean;
  value_f: Uncertain | null;
  upper_f: Uncertain | null;
  findings: Finding[];
  entries: number[];
}

export function Measure({ may }: { may: boolean }) {
  const known = bench.value;
  const probes = (known?.probes ?? []).filter((one) => !one.retired);
  const inputs = (known?.oscilloscopes ?? []).flatMap((one) => one.inputs).filter((one) => !one.retired);
  const [what, setWhat] = useState<What>('input-capacitance');
  const [wantedProbe, setProbe] = useState('');
  const [wantedInput, setInput] = useState('');
  const [wantedKnown, setKnown] = useState('');
  const [files, setFiles] = useState<Partial<Record<Role, File[]>>>({});
  const [resistor, setResistor] = useState('');
  const [log, setLog] = useState(false);
  const [by, setBy] = useState('');
  const [answer, setAnswer] = useState<Found | null>(null);
  const [problem, setProblem] = useState<Problem | null>(null);
  const [busy, setBusy] = useState(false);
  if (probes.length === 0 || inputs.length === 0) return null;
  const probe = wantedProbe || probes[0]!.id;
  const input = wantedInput || inputs[0]!.id;
  const reference = wantedKnown || inputs.find((one) => one.id !== input)?.id || '';
  const clear = () => {
    setAnswer(null);
    setProblem(null);
  };
  const go = async () => {
    setBusy(true);
    clear();
    try {
      const captures: Partial<Record<Role, string[]>> = {};
      for (const role of ROLES[what]) {
        const ids = [];
        for (const file of files[role] ?? []) ids.push((await api.upload<Stored>(path('/api/captures', { name: file.name }), file)).id);
        if (ids.length > 0) captures[role] = ids;
      }
      const found = await api.send<Found>('POST', '/api/bench/measure', {
        what,
        probe,
        input,
        ...(what === 'input-capacitance' ? { known: reference } : {}),
        ...(what === 'tip-capacitance' && resistor ? { resistor } : {}),
        captures,
        ...(log ? { log, ...(by ? { by } : {}) } : {}),
      });
      setAnswer(found);
      announce(said(found));
      if (found.entries.length > 0) await reload();
    } catch (cause) {
      setProblem(problemOf(cause));
    } finally {
      setBusy(false);
    }
  };
  const faults = problem ? faultsOf(problem) : {};
  const choices = (list: readonly { id: string }[]) => list.map((one): [string, string] => [one.id, labelled(one.id)]);
  return (
    <details class="panel">
      <summary>{words.title}</summary>
      <p>{words.lead[what]}</p>
      <Caution words={words.caution} />
      <form onSubmit={onSubmit(() => void go())} noValidate>
        <div class="grid">
          <Choose
            name="measure-what"
            label={words.what}
            value={what}
            change={(next) => {
              setWhat(next as What);
              clear();
            }}
            options={Object.entries(words.whats)}
          />
          <Choose name="measure-probe" label={text.bench.probe} value={probe} change={setProbe} options={choices(probes)} error={faults['probe']} />
          <Choose name="measure-input" label={what === 'input-capacitance' ? words.unknown : text.bench.input} value={input} change={setInput} options={choices(inputs)} error={faults['input']} />
          {what === 'input-capacitance' && <Choose name="measure-known" label={words.known} value={reference} change={setKnown} options={choices(inputs)} error={faults['known']} />}
          {what === 'tip-capacitance' && <Field name="measure-resistor" label={words.resistor} hint={words.resistorHint} value={resistor} change={setResistor} error={faults['resistor']} />}
        </div>
        {ROLES[what].map((role) => (
          <div class="row" key={role}>
            <PickFile many label={words.roles[role]} pick={(picked) => setFiles({ ...files, [role]: picked })} />
            <span role="status">{(files[role] ?? []).map((one) => one.name).join(', ')}</span>
            {faults[`captures.${role}`] && <span class="field-error">✗ {faults[`captures.${role}`]}</span>}
          </div>
        ))}
        {may && (
          <div class="row">
            <Tick label={words.log} value={log} change={setLog} />
            {log && <Field name="measure-by" label={text.compensate.log.by} value={by} change={setBy} error={faults['by']} />}
          </div>
        )}
        <button type="submit" class="primary" disabled={busy}>
          {busy ? text.loading : words.go}
        </button>
      </form>
      <Problems problem={problem} />
      {answer && (
        <>
          <p class="headline">{said(answer)}</p>
          {answer.value_f && (
            <Facts
              facts={[
                [answer.upper_f ? words.lower : words.whats[answer.quantity] ?? answer.quantity, siWith(answer.value_f, 'F')],
                ...(answer.upper_f ? [[words.upper, siWith(answer.upper_f, 'F')] as const] : []),
                ...(answer.entries.length > 0 ? [[text.nav.logbook, answer.entries.map((seq) => text.logbook.entry(String(seq))).join(', ')] as const] : []),
              ]}
            />
          )}
          <Findings findings={answer.findings} heading="h3" />
        </>
      )}
    </details>
  );
}

function said(found: Found): string {
  if (!found.determined || !found.value_f) return words.undetermined;
  const value = found.upper_f ? `${siWith(found.value_f, 'F')} – ${siWith(found.upper_f, 'F')}` : siWith(found.value_f, 'F');
  return words.said(words.whats[found.quantity] ?? found.quantity, labelled(found.of), value);
}
