// Small parts that all pages use: fields, findings, problems, tables, drawers.
import type { ComponentChildren } from 'preact';
import { useId, useLayoutEffect, useRef } from 'preact/hooks';
import type { Problem } from '../api';
import { text } from '../text';
import type { Finding, Severity } from '../types';
import { forThePage } from '../words';

export function Problems({ problem, dismiss }: { problem: Problem | null; dismiss?: () => void }) {
  if (!problem) return null;
  return (
    <div class="problem" role="alert">
      <p>
        <strong>{text.problem.title}.</strong> {forThePage(problem.message)}
      </p>
      {problem.remedy && (
        <p>
          {text.problem.remedy} {forThePage(problem.remedy)}
        </p>
      )}
      {dismiss && (
        <button type="button" class="quiet" onClick={dismiss}>
          {text.problem.dismiss}
        </button>
      )}
    </div>
  );
}

interface FieldProps {
  label: string;
  value: string;
  change: (value: string) => void;
  hint?: string;
  error?: string | null;
  name?: string;
  required?: boolean;
  placeholder?: string;
  type?: 'text' | 'password' | 'date' | 'number';
  blur?: () => void;
  list?: readonly string[];
}

export function Field({ label, value, change, hint, error, name, required, placeholder, type = 'text', blur }: FieldProps) {
  const id = useId();
  const notes = [hint ? `${id}-hint` : '', error ? `${id}-error` : ''].filter(Boolean).join(' ');
  return (
    <div class="field">
      <label for={id}>{label}</label>
      {hint && (
        <span class="hint" id={`${id}-hint`}>
          {hint}
        </span>
      )}
      <input
        id={id}
        name={name}
        {...({ type } as { type: 'text' })}
        value={value}
        required={required}
        placeholder={placeholder}
        autocomplete="off"
        autocapitalize="off"
        spellcheck={false}
        aria-invalid={error ? 'true' : undefined}
        aria-describedby={notes || undefined}
        onInput={(event) => change(event.currentTarget.value)}
        onBlur={blur}
      />
      {error && (
        <span class="field-error" id={`${id}-error`}>
          <span aria-hidden="true">✗ </span>
          {error}
        </span>
      )}
    </div>
  );
}

interface ChooseProps {
  label: string;
  value: string;
  change: (value: string) => void;
  options: readonly (readonly [string, string])[];
  hint?: string;
  error?: string | null;
  name?: string;
}

export function Choose({ label, value, change, options, hint, error, name }: ChooseProps) {
  const id = useId();
  const notes = [hint ? `${id}-hint` : '', error ? `${id}-error` : ''].filter(Boolean).join(' ');
  return (
    <div class="field">
      <label for={id}>{label}</label>
      {hint && (
        <span class="hint" id={`${id}-hint`}>
          {hint}
        </span>
      )}
      <select id={id} name={name} value={value} aria-invalid={error ? 'true' : undefined} aria-describedby={notes || undefined} onChange={(event) => change(event.currentTarget.value)}>
        {options.map(([key, words]) => (
          <option key={key} value={key} selected={key === value}>
            {words}
          </option>
        ))}
      </select>
      {error && (
        <span class="field-error" id={`${id}-error`}>
          <span aria-hidden="true">✗ </span>
          {error}
        </span>
      )}
    </div>
  );
}

export function Radios({ label, value, change, options }: ChooseProps) {
  const name = useId();
  return (
    <fieldset class="radios">
      <legend>{label}</legend>
      {options.map(([key, words]) => (
        <label key={key} class="radio">
          <input type="radio" name={name} value={key} checked={key === value} onChange={() => change(key)} />
          <span>{words}</span>
        </label>
      ))}
    </fieldset>
  );
}

export function Tick({ label, value, change }: { label: string; value: boolean; change: (value: boolean) => void }) {
  return (
    <label class="tick">
      <input type="checkbox" checked={value} onChange={(event) => change(event.currentTarget.checked)} />
      <span>{label}</span>
    </label>
  );
}

const SIGNS: Record<Severity, string> = { note: 'i', warning: '!', fault: '✗' };
const ORDER: Record<Severity, number> = { fault: 0, warning: 1, note: 2 };

export function Findings({ findings, heading = 'h2', title = text.findings.title }: { findings: readonly Finding[]; heading?: 'h2' | 'h3' | 'h4'; title?: string }) {
  const Heading = heading;
  const sorted = [...findings].sort((a, b) => ORDER[a.severity] - ORDER[b.severity]);
  return (
    <section class="findings">
      <Heading>{title}</Heading>
      {sorted.length === 0 ? (
        <p class="soft">{text.findings.nothing}</p>
      ) : (
        <ul>
          {sorted.map((finding, at) => (
            <li key={`${finding.code}${at}`} class={`finding ${finding.severity}`}>
              <span class="sign" aria-hidden="true">
                {SIGNS[finding.severity]}
              </span>
              <div>
                <p>
                  <strong>{text.severity[finding.severity]}:</strong> {forThePage(finding.message)}
                </p>
                {finding.remedy && (
                  <p class="remedy">
                    {text.findings.remedy} {forThePage(finding.remedy)}
                  </p>
                )}
                <p class="code">{finding.code}</p>
              </div>
            </li>
          ))}
        </ul>
      )}
    </section>
  );
}

export function Caution({ words, points }: { words?: string; points?: readonly string[] }) {
  return (
    <aside class="caution" aria-label={text.caution.title}>
      <span class="sign" aria-hidden="true">
        ⚠
      </span>
      <div>
        {points ? (
          <>
            <h2 class="plain">{text.caution.title}</h2>
            <ul>
              {points.map((point) => (
                <li key={point}>{point}</li>
              ))}
            </ul>
          </>
        ) : (
          <p>{words}</p>
        )}
      </div>
    </aside>
  );
}

/** A table that scrolls within itself where it is wider than the page, and can be reached by keyboard to do so. */
export function Scroll({ label, children }: { label: string; children: ComponentChildren }) {
  return (
    <div class="scroll" role="group" aria-label={label} tabIndex={0}>
      {children}
    </div>
  );
}

/** A table whose rows become cards of their own where the page is as narrow as a phone: each cell with the heading of its column before it. */
export function Cards({ label, children }: { label: string; children: ComponentChildren }) {
  const frame = useRef<HTMLDivElement>(null);
  useLayoutEffect(() => {
    for (const table of frame.current?.querySelectorAll('table') ?? []) {
      const heads = [...table.querySelectorAll('thead th')].map((head) => head.textContent ?? '');
      for (const row of table.querySelectorAll('tbody tr')) {
        [...row.children].forEach((cell, at) => cell.setAttribute('data-head', heads[at] ?? ''));
      }
    }
  });
  return (
    <div class="scroll cards" role="group" aria-label={label} tabIndex={0} ref={frame}>
      {children}
    </div>
  );
}

export function Facts({ facts }: { facts: readonly (readonly [string, ComponentChildren])[] }) {
  return (
    <dl class="facts">
      {facts.map(([name, value]) => (
        <div key={name}>
          <dt>{name}</dt>
          <dd>{value}</dd>
        </div>
      ))}
    </dl>
  );
}

export function PickFile({ label, pick, many, primary }: { label: string; pick: (files: File[]) => void; many?: boolean; primary?: boolean }) {
  const id = useId();
  return (
    <span class="pick">
      <input
        id={id}
        type="file"
        multiple={many}
        onChange={(event) => {
          const files = [...(event.currentTarget.files ?? [])];
          event.currentTarget.value = '';
          if (files.length > 0) pick(files);
        }}
      />
      <label for={id} class={primary ? 'button primary' : 'button'}>
        {label}
      </label>
    </span>
  );
}

export function onSubmit(act: () => void) {
  return (event: Event) => {
    event.preventDefault();
    act();
  };
}
