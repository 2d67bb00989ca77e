// Bench: pairings with their states and what is due, oscilloscopes with inputs, probes; adding, changing, pairing, import and export.
import { useState } from 'preact/hooks';
import { api, problemOf, type Problem } from '../../api';
import { day, number, percentWith, share, siShort } from '../../format';
import { href, route } from '../../router';
import { about, bench, labelled, reload, trouble } from '../../state';
import { text } from '../../text';
import type { Oscilloscope, Pairing, Probe, WithTolerance } from '../../types';
import { announce } from '../../ui/live';
import { Cards, PickFile, Problems } from '../../ui/parts';
import { address, Editor, type Edited } from './Editor';
import { Measure } from './Measure';
import { Ask, PairForm } from './Pair';

const words = text.bench;

type Open =
  { form: 'edit'; edited: Edited } | { form: 'pair' } | { form: 'move'; probe: string; input: string } | { form: 'unpair'; pairing: Pairing } | { form: 'adjusted'; pairing: Pairing } | { form: 'retire'; edited: Edited; name: string };

function toleranced(value: WithTolerance | null, unit: string): string {
  if (!value) return text.unknown;
  return value.tolerance ? `${siShort(value.value, unit)} ± ${siShort(value.tolerance, unit)}` : siShort(value.value, unit);
}

export function Bench() {
  const [open, setOpen] = useState<Open | null>(() => {
    const { add } = route.value.query;
    return add === 'oscilloscope' || add === 'probe' ? { form: 'edit', edited: { kind: add } } : add === 'pairing' ? { form: 'pair' } : null;
  });
  const [said, setSaid] = useState('');
  const [problem, setProblem] = useState<Problem | null>(null);
  const known = bench.value;
  const may = about.value?.writable ?? false;
  const close = (message = '') => {
    setOpen(null);
    setSaid(message);
    requestAnimationFrame(() => document.querySelector<HTMLElement>(message ? '#bench-said' : 'main h1')?.focus());
  };
  const edit = (edited: Edited) => {
    setSaid('');
    setOpen({ form: 'edit', edited });
  };
  const bring = async (files: File[]) => {
    setProblem(null);
    try {
      const content = await files[0]!.text();
      await api.send('POST', '/api/bench/import', files[0]!.name.toLowerCase().endsWith('.csv') ? { csv: content } : { toml: content });
      await reload();
      setSaid(words.imported);
      announce(words.imported);
    } catch (cause) {
      setProblem(problemOf(cause));
    }
  };
  const inputs = (known?.oscilloscopes ?? []).flatMap((one) => one.inputs);
  const pairings = (known?.pairings ?? []).filter((one) => one.voided_at === null);
  return (
    <>
      <h1 tabIndex={-1}>{words.title}</h1>
      <p class="lead">{words.lead}</p>
      {said && (
        <p id="bench-said" class="banner" role="status" tabIndex={-1}>
          ✓ {said}
        </p>
      )}
      <Problems problem={problem} dismiss={() => setProblem(null)} />
      {open?.form === 'edit' && (
        <Editor
          key={JSON.stringify(open.edited)}
          edited={open.edited}
          cancel={() => close()}
          done={(id) => {
            const { kind, id: old } = open.edited;
            if (old === undefined && kind === 'oscilloscope') setOpen({ form: 'edit', edited: { kind: 'input', parent: id } });
            else close(old === undefined ? `${words.saved(id)} ${pairings.length === 0 ? words.next : ''}` : words.changed(id));
          }}
        />
      )}
      {open?.form === 'pair' && <PairForm done={close} cancel={() => close()} />}
      {open?.form === 'move' && <PairForm moving={open} done={close} cancel={() => close()} />}
      {open?.form === 'unpair' && (
        <Ask
          question={words.unpairAsk(labelled(open.pairing.probe), labelled(open.pairing.input))}
          note={words.why}
          yes={words.unpair}
          cancel={() => setOpen(null)}
          act={async (why) => {
            await api.send('POST', `/api/bench/pairings/${open.pairing.number}/void`, { why });
            await reload();
            close(words.unpaired(labelled(open.pairing.probe)));
          }}
        />
      )}
      {open?.form === 'adjusted' && (
        <Ask
          question={words.adjustedAsk(labelled(open.pairing.probe))}
          note={text.logbook.note}
          yes={words.adjusted}
          cancel={() => setOpen(null)}
          act={async (note) => {
            await api.send('POST', `/api/bench/pairings/${open.pairing.number}/adjusted`, note ? { note } : {});
            await reload();
            close(words.adjustedSaid(labelled(open.pairing.probe)));
          }}
        />
      )}
      {open?.form === 'retire' && (
        <Ask
          question={words.removeAsk(open.name)}
          yes={text.remove}
          cancel={() => setOpen(null)}
          act={async () => {
            await api.send('DELETE', address(open.edited));
            await reload();
            close(words.removed(open.name));
          }}
        />
      )}

      <section class="panel" aria-labelledby="bench-pairings">
        <h2 id="bench-pairings">{words.pairings}</h2>
        {pairings.length === 0 ? (
          <p class="soft">{known && known.probes.length + known.oscilloscopes.length > 0 ? words.next : words.empty}</p>
        ) : (
          <Pairings pairings={pairings} may={may} open={setOpen} />
        )}
        {may && known && known.probes.length > 0 && inputs.length > 0 && (
          <button type="button" onClick={() => setOpen({ form: 'pair' })}>
            {words.addPairing}
          </button>
        )}
      </section>

      <section class="panel" aria-labelledby="bench-scopes">
        <h2 id="bench-scopes">{words.oscilloscopes}</h2>
        {(known?.oscilloscopes ?? []).map((scope) => (
          <Scope key={scope.id} scope={scope} may={may} edit={edit} retire={(edited, name) => setOpen({ form: 'retire', edited, name })} />
        ))}
        {may && (
          <button type="button" onClick={() => edit({ kind: 'oscilloscope' })}>
            {words.addOscilloscope}
          </button>
        )}
      </section>

      <section class="panel" aria-labelledby="bench-probes">
        <h2 id="bench-probes">{words.probes}</h2>
        {(known?.probes ?? []).length > 0 && <Probes probes={known!.probes} may={may} edit={edit} retire={(edited, name) => setOpen({ form: 'retire', edited, name })} />}
        {may && (
          <button type="button" onClick={() => edit({ kind: 'probe' })}>
            {words.addProbe}
          </button>
        )}
      </section>

      <Measure may={may} />

      <section class="panel" aria-labelledby="bench-import">
        <h2 id="bench-import">{words.importTitle}</h2>
        <p>{words.importLead}</p>
        <div class="row">
          <a class="button" href="/api/bench/export" download="bench.toml">
            {words.export}
          </a>
          {may && <PickFile label={words.import} pick={(files) => void bring(files)} />}
        </div>
      </section>
    </>
  );
}

function Pairings({ pairings, may, open }: { pairings: Pairing[]; may: boolean; open: (open: Open) => void }) {
  return (
    <Cards label={words.pairings}>
      <table>
        <thead>
          <tr>
            <th scope="col">{words.probe}</th>
            <th scope="col">{words.input}</th>
            <th scope="col">{words.state}</th>
            <th scope="col">{words.lastCheck}</th>
            <th scope="col">{words.due}</th>
            <th scope="col">{words.tolerance}</th>
            <th scope="col">{words.actions}</th>
          </tr>
        </thead>
        <tbody>
          {pairings.map((one) => {
            const about = `${one.probe} on ${one.input}`;
            const check = one.last_check;
            return (
              <tr key={one.number}>
                <th scope="row">{labelled(one.probe)}</th>
                <td>{labelled(one.input)}</td>
                <td class="n">
                  <span aria-hidden="true">{words.stateSymbol[one.state]}</span> {words.states[one.state] ?? one.state}
                </td>
                <td class="n">
                  {check ? (
                    <>
                      {check.compensation_error === null ? text.verdict[check.verdict] : percentWith({ value: check.compensation_error, standard_uncertainty: check.standard_uncertainty })}
                      <br />
                      <span class="soft">{day(check.at)}</span>
                    </>
                  ) : (
                    '–'
                  )}
                </td>
                <td class="n">{day(one.due_at)}</td>
                <td>{share(one.tolerance)}</td>
                <td>
                  <a class="button small" href={href('compensate', { probe: one.probe, input: one.input })} aria-label={`${words.check}: ${about}`}>
                    {words.check}
                  </a>
                  {may && (
                    <>
                      <button type="button" class="small" aria-label={words.move(about)} onClick={() => open({ form: 'move', probe: one.probe, input: one.input })}>
                        {words.moveShort}
                      </button>
                      <button type="button" class="small" aria-label={words.edit(about)} onClick={() => open({ form: 'edit', edited: { kind: 'pairing', id: String(one.number) } })}>
                        {text.change}
                      </button>
                      <button type="button" class="small" aria-label={`${words.adjustedShort}: ${about}`} onClick={() => open({ form: 'adjusted', pairing: one })}>
                        {words.adjustedShort}
                      </button>
                      <button type="button" class="small" aria-label={`${words.unpair}: ${about}`} onClick={() => open({ form: 'unpair', pairing: one })}>
                        {words.unpairShort}
                      </button>
                    </>
                  )}
                </td>
              </tr>
            );
          })}
        </tbody>
      </table>
    </Cards>
  );
}

interface Editing {
  may: boolean;
  edit: (edited: Edited) => void;
  retire: (edited: Edited, name: string) => void;
}

function Buttons({ edited, name, retired, may, edit, retire }: Editing & { edited: Edited; name: string; retired: boolean }) {
  if (!may) return null;
  if (retired) {
    const back = async () => {
      try {
        await api.send('POST', '/api/bench/reinstate', { thing: `${edited.kind}:${name}` });
        await reload();
      } catch (cause) {
        trouble.value = problemOf(cause);
      }
    };
    return (
      <button type="button" class="small" aria-label={words.reinstate(name)} onClick={() => void back()}>
        {words.reinstateShort}
      </button>
    );
  }
  return (
    <>
      <button type="button" class="small" aria-label={words.edit(name)} onClick={() => edit(edited)}>
        {text.change}
      </button>
      <button type="button" class="small" aria-label={`${text.remove} ${name}`} onClick={() => retire(edited, name)}>
        {text.remove}
      </button>
    </>
  );
}

function Scope({ scope, ...editing }: Editing & { scope: Oscilloscope }) {
  const name = scope.label ? `${scope.label} (${scope.id})` : scope.id;
  return (
    <section aria-label={name}>
      <h3>
        {name}
        {scope.retired && ` – ${words.retired}`}
      </h3>
      <p class="soft">
        {[scope.serial && `${words.columns.serial} ${scope.serial}`, scope.note].filter(Boolean).join('. ')} <Buttons edited={{ kind: 'oscilloscope', id: scope.id }} name={scope.id} retired={scope.retired} {...editing} />
        {editing.may && (
          <button type="button" class="small" aria-label={words.addInputTo(scope.id)} onClick={() => editing.edit({ kind: 'input', parent: scope.id })}>
            {words.addInput}
          </button>
        )}
      </p>
      {scope.inputs.length > 0 && (
        <Cards label={`${words.oscilloscopes}: ${name}`}>
          <table>
            <thead>
              <tr>
                <th scope="col">{words.input}</th>
                <th scope="col">{words.columns.resistance}</th>
                <th scope="col">{words.columns.capacitance}</th>
                <th scope="col">{words.columns.bandwidth}</th>
                <th scope="col">{words.columns.rating}</th>
                {editing.may && <th scope="col">{words.actions}</th>}
              </tr>
            </thead>
            <tbody>
              {scope.inputs.map((input) => {
                const short = input.id.slice(scope.id.length + 1);
                return (
                  <tr key={input.id}>
                    <th scope="row">
                      {short}
                      {input.label && <span class="soft"> {input.label}</span>}
                    </th>
                    <td class="n">{toleranced(input.resistance_ohm, 'Ω')}</td>
                    <td class="n">{toleranced(input.capacitance_f, 'F')}</td>
                    <td>
                      {siShort(input.bandwidth_hz, 'Hz')}
                      {input.response && <span class="soft"> {words.choices[input.response] ?? input.response}</span>}
                    </td>
                    <td>{input.rated_voltage_v === null ? text.unknown : `${siShort(input.rated_voltage_v, 'V')} ${input.rated_voltage_kind ?? ''}`}</td>
                    {editing.may && (
                      <td>
                        <Buttons edited={{ kind: 'input', parent: scope.id, id: short }} name={input.id} retired={input.retired} {...editing} />
                      </td>
                    )}
                  </tr>
                );
              })}
            </tbody>
          </table>
        </Cards>
      )}
    </section>
  );
}

function Probes({ probes, ...editing }: Editing & { probes: Probe[] }) {
  return (
    <Cards label={words.probes}>
      <table>
        <thead>
          <tr>
            <th scope="col">{words.probe}</th>
            <th scope="col">{words.columns.ratio}</th>
            <th scope="col">{words.columns.tipC}</th>
            <th scope="col">{words.columns.range}</th>
            <th scope="col">{words.columns.adjusted}</th>
            <th scope="col">{words.columns.bandwidth}</th>
            {editing.may && <th scope="col">{words.actions}</th>}
          </tr>
        </thead>
        <tbody>
          {probes.map((one) => (
            <tr key={one.id}>
              <th scope="row">
                {one.label ? `${one.label} (${one.id})` : one.id}
                {one.retired && <span class="soft"> {words.retired}</span>}
              </th>
              <td>{one.ratio === null ? text.unknown : `${number(one.ratio, 3).replace(/[.,]0+$/, '')}×`}</td>
              <td class="n">{toleranced(one.tip_capacitance_f, 'F')}</td>
              <td class="n">{one.compensation_range_f ? `${siShort(one.compensation_range_f[0], 'F')} – ${siShort(one.compensation_range_f[1], 'F')}` : text.unknown}</td>
              <td>{one.adjusted_at ? (words.choices[one.adjusted_at] ?? one.adjusted_at) : text.unknown}</td>
              <td class="n">{siShort(one.bandwidth_hz, 'Hz')}</td>
              {editing.may && (
                <td>
                  <Buttons edited={{ kind: 'probe', id: one.id }} name={one.id} retired={one.retired} {...editing} />
                  <button type="button" class="small" aria-label={words.addGroundTo(one.id)} onClick={() => editing.edit({ kind: 'ground', parent: one.id })}>
                    {words.addGround}
                  </button>
                </td>
              )}
            </tr>
          ))}
        </tbody>
      </table>
    </Cards>
  );
}
