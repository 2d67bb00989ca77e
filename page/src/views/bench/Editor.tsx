// One form for everything that stands on the bench: fields as the program names them, each checked when it is left.
import { useEffect, useRef, useState } from 'preact/hooks';
import { api, faultsOf, problemOf, type Problem } from '../../api';
import { benchFields, loadBenchFields, reload } from '../../state';
import { text } from '../../text';
import type { BenchField } from '../../types';
import { announce } from '../../ui/live';
import { Choose, Field, onSubmit, Problems } from '../../ui/parts';

const words = text.bench;

export type Kind = 'oscilloscope' | 'input' | 'probe' | 'ground' | 'pairing';

export interface Edited {
  kind: Kind;
  /** The thing it goes with: an input's oscilloscope, a ground accessory's probe. */
  parent?: string;
  /** What is changed; left out for a new thing. */
  id?: string;
}

export function address(edited: Edited): string {
  const part = (name: string) => encodeURIComponent(name);
  const own = edited.id ? `/${part(edited.id)}` : '';
  switch (edited.kind) {
    case 'oscilloscope':
      return `/api/bench/oscilloscopes${own}`;
    case 'input':
      return `/api/bench/oscilloscopes/${part(edited.parent ?? '')}/inputs${own}`;
    case 'probe':
      return `/api/bench/probes${own}`;
    case 'ground':
      return `/api/bench/probes/${part(edited.parent ?? '')}/grounds${own}`;
    case 'pairing':
      return `/api/bench/pairings${own}`;
  }
}

const MORE = /^(cable|box)\.|^(voltage_rating|voltage_rating_kind|measurement_category|category_voltage|series_resistance|body_capacitance|rated_voltage|rated_voltage_kind)$/;

export function Editor({ edited, done, cancel }: { edited: Edited; done: (id: string) => void; cancel: () => void }) {
  const fresh = edited.id === undefined;
  const [id, setId] = useState(edited.id ?? '');
  const [values, setValues] = useState<Record<string, string>>({});
  const [before, setBefore] = useState<Record<string, string>>({});
  const [faults, setFaults] = useState<Record<string, string>>({});
  const [problem, setProblem] = useState<Problem | null>(null);
  const [busy, setBusy] = useState(false);
  const top = useRef<HTMLElement>(null);

  useEffect(() => {
    void loadBenchFields();
    top.current?.querySelector<HTMLElement>('h2')?.focus();
    top.current?.scrollIntoView({ block: 'start' });
    if (fresh) return;
    void api
      .get<{ fields: Record<string, string | null> }>(address(edited))
      .then((got) => {
        const known = Object.fromEntries(Object.entries(got.fields).map(([key, value]) => [key, value ?? '']));
        setValues(known);
        setBefore(known);
      })
      .catch((cause: unknown) => setProblem(problemOf(cause)));
  }, []);

  const fields = benchFields.value?.[edited.kind] ?? [];
  const filled = () => Object.fromEntries(Object.entries(values).filter(([, value]) => value.trim() !== ''));

  const check = async (key: string) => {
    try {
      const got = await api.send<{ fields: { at: string; message: string }[] }>('POST', '/api/bench/check', { kind: edited.kind, fields: filled() });
      const found = got.fields.find((field) => field.at === key);
      setFaults((now) => {
        const next = { ...now };
        if (found) next[key] = found.message;
        else delete next[key];
        return next;
      });
    } catch {
      // it is checked again when it is saved
    }
  };

  const save = async () => {
    setProblem(null);
    const name = id.trim();
    if (fresh && !/^[\p{L}\p{N}][\p{L}\p{N}._-]*$/u.test(name)) {
      setFaults({ ...faults, id: name ? words.fieldChecks.id : words.fieldChecks.required });
      top.current?.querySelector<HTMLInputElement>('input[name="id"]')?.focus();
      return;
    }
    setBusy(true);
    try {
      if (fresh) {
        const named = edited.kind === 'input' || edited.kind === 'ground' ? { name } : { id: name };
        await api.send('POST', address(edited), { ...named, fields: filled() });
      } else {
        const changed: Record<string, string | null> = {};
        for (const key of new Set([...Object.keys(values), ...Object.keys(before)])) {
          const value = (values[key] ?? '').trim();
          if (value !== (before[key] ?? '').trim()) changed[key] = value === '' ? null : value;
        }
        if (Object.keys(changed).length > 0) await api.send('PATCH', address(edited), { fields: changed });
      }
      await reload();
      announce(fresh ? words.saved(name) : words.changed(name));
      done(name);
    } catch (cause) {
      const found = problemOf(cause);
      setProblem(found);
      setFaults(faultsOf(found));
      requestAnimationFrame(() => top.current?.querySelector<HTMLElement>('[aria-invalid="true"]')?.focus());
    } finally {
      setBusy(false);
    }
  };

  const field = (one: BenchField) => {
    const [label, example] = words.fields[one.key] ?? [one.key, one.example];
    const value = values[one.key] ?? '';
    const change = (next: string) => setValues({ ...values, [one.key]: next });
    if (one.form === 'word') {
      return (
        <Choose
          key={one.key}
          name={one.key}
          label={label}
          value={value}
          change={change}
          error={faults[one.key]}
          options={[['', words.notStated], ...one.words.map((word): [string, string] => [word, words.choices[word] ?? word])]}
        />
      );
    }
    return <Field key={one.key} name={one.key} label={label} value={value} change={change} error={faults[one.key]} placeholder={one.form === 'text' ? '' : example} blur={() => void check(one.key)} />;
  };
  const plain = fields.filter((one) => !MORE.test(one.key));
  const more = fields.filter((one) => MORE.test(one.key));
  const heading = fresh
    ? { oscilloscope: words.addOscilloscope, input: words.addInputTo(edited.parent ?? ''), probe: words.addProbe, ground: words.addGroundTo(edited.parent ?? ''), pairing: words.addPairing }[
        edited.kind
      ]
    : words.edit(edited.kind === 'pairing' ? words.pairingNumber(edited.id!) : edited.id!);
  return (
    <section class="panel editor" ref={top} aria-labelledby="editor-title">
      <h2 id="editor-title" tabIndex={-1}>
        {heading}
      </h2>
      <form onSubmit={onSubmit(() => void save())} noValidate>
        <div class="grid">
          {fresh && (
            <Field
              name="id"
              label={words.id}
              hint={edited.kind === 'input' ? words.inputIdHint : edited.kind === 'ground' ? words.groundIdHint : words.idHint}
              value={id}
              change={(value) => {
                setId(value);
                if (faults['id']) setFaults({ ...faults, id: '' });
              }}
              error={faults['id'] || faults['name'] || null}
              required
            />
          )}
          {plain.map(field)}
        </div>
        {more.length > 0 && (
          <details open={more.some((one) => faults[one.key])}>
            <summary>{words.moreFields}</summary>
            <div class="grid">{more.map(field)}</div>
          </details>
        )}
        <Problems problem={problem} />
        <div class="row">
          <button type="submit" class="primary" disabled={busy}>
            {text.save}
          </button>
          <button type="button" class="quiet" onClick={cancel}>
            {text.cancel}
          </button>
        </div>
      </form>
    </section>
  );
}
