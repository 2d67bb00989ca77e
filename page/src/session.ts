// One session of trimming: where captures come from, the newest reading, and the captures before it.
import { batch, signal } from '@preact/signals';
import { api, path, problemOf, type Problem } from './api';
import { lastReading } from './state';
import type { Assessment, Drawing, Session, TrimCapture } from './types';

export interface Turn {
  number: number;
  name: string;
  error: number | null;
  uncertainty: number | null;
  toGo: number | null;
  verdict: TrimCapture['verdict'];
  phase: TrimCapture['phase'];
}

export type SourceKind = 'files' | 'watch' | 'instrument' | 'practice' | 'eye';

export interface Circuit {
  probe?: string;
  input?: string;
  divider?: string;
  adjust?: string;
  tolerance?: string;
}

const MOST_TURNS = 500;

export const session = signal<Session | null>(null);
export const reading = signal<TrimCapture | null>(null);
/** What follows the reading one frame later, so that the verdict is painted before findings, turns and drawings are. */
export const detail = signal<TrimCapture | null>(null);
export const drawing = signal<Drawing | null>(null);
export const turns = signal<Turn[]>([]);
export const sessionProblem = signal<Problem | null>(null);
export const connection = signal<'none' | 'open' | 'lost' | 'ended'>('none');
export const busy = signal(false);
export const beginning = signal(false);
/** When the newest capture came, for the sound. */
export const arrived = { at: 0 };

let events: EventSource | null = null;
let waitingTurns: Turn[] = [];
let frame = 0;

function showLater(): void {
  if (frame) return;
  frame = requestAnimationFrame(() => {
    frame = 0;
    // behind the frame that paints the reading
    setTimeout(() => {
      const now = reading.peek();
      batch(() => {
        detail.value = now;
        turns.value = waitingTurns;
        if (now?.drawing) drawing.value = now.drawing;
      });
    }, 0);
  });
}

/** Takes a capture in, once: the answer to an upload and its event carry the same number. */
export function accept(next: TrimCapture): void {
  const before = reading.peek();
  if (before && next.number <= before.number) return;
  arrived.at = performance.now();
  const kept = waitingTurns;
  const turn: Turn = {
    number: next.number,
    name: next.capture,
    error: (next.newest ?? next.compensation_error)?.value ?? null,
    uncertainty: (next.newest ?? next.compensation_error)?.standard_uncertainty ?? null,
    toGo: next.adjustment?.change_f ?? null,
    verdict: next.verdict,
    phase: next.phase,
  };
  waitingTurns = kept.length >= MOST_TURNS ? [...kept.slice(kept.length - MOST_TURNS + 1), turn] : [...kept, turn];
  batch(() => {
    reading.value = next;
    if (next.compensation_error) lastReading.value = next;
    const now = session.peek();
    if (now && next.can_log && JSON.stringify(now.can_log) !== JSON.stringify(next.can_log)) session.value = { ...now, can_log: next.can_log };
    if (next.used) sessionProblem.value = null;
  });
  showLater();
}

function listen(id: string): void {
  events?.close();
  const source = new EventSource(`/api/sessions/${encodeURIComponent(id)}/events`);
  events = source;
  source.onopen = () => {
    connection.value = 'open';
  };
  source.onerror = () => {
    if (source === events && connection.peek() !== 'ended') connection.value = 'lost';
  };
  source.addEventListener('capture', (event) => {
    const data = event.data as string;
    // the answer to an upload has usually been taken in before: not worth reading twice
    const number = /"number":\s*(\d+)/.exec(data.slice(0, 4000));
    if (number && Number(number[1]) <= (reading.peek()?.number ?? 0)) return;
    accept(JSON.parse(data) as TrimCapture);
  });
  source.addEventListener('trouble', (event) => {
    const { message, remedy } = JSON.parse(event.data as string) as { message: string; remedy: string };
    sessionProblem.value = { code: 'trouble', message, remedy, at: null, fields: [] };
  });
  source.addEventListener('ended', (event) => {
    const { reason } = JSON.parse(event.data as string) as { reason: string };
    source.close();
    batch(() => {
      connection.value = 'ended';
      const now = session.peek();
      if (now) session.value = { ...now, ended: reason };
    });
  });
}

export async function begin(request: Record<string, unknown>): Promise<boolean> {
  await end();
  clear();
  beginning.value = true;
  try {
    const made = await api.send<Session>('POST', '/api/sessions', request);
    session.value = made;
    listen(made.id);
    return true;
  } catch (cause) {
    sessionProblem.value = problemOf(cause);
    return false;
  } finally {
    beginning.value = false;
  }
}

export function clear(): void {
  batch(() => {
    reading.value = null;
    detail.value = null;
    waitingTurns = [];
    drawing.value = null;
    turns.value = [];
    sessionProblem.value = null;
    connection.value = 'none';
  });
}

/** Ends the session on the server; what was read stays on the page. */
export async function end(): Promise<void> {
  events?.close();
  events = null;
  const now = session.peek();
  session.value = null;
  if (!now || now.ended) return;
  try {
    await api.send('DELETE', `/api/sessions/${encodeURIComponent(now.id)}`);
  } catch {
    // it ends by itself after a while
  }
}

/** Sends files into the session, in order. */
export async function sendFiles(files: readonly File[]): Promise<void> {
  busy.value = true;
  try {
    for (const file of files) {
      const now = session.peek();
      if (!now) return;
      try {
        accept(await api.upload<TrimCapture>(path(`/api/sessions/${encodeURIComponent(now.id)}/captures`, { name: file.name }), file));
      } catch (cause) {
        sessionProblem.value = problemOf(cause);
      }
    }
  } finally {
    busy.value = false;
  }
}

/** A single assessment as a reading, for what is read by eye. */
export function fromAssessment(one: Assessment, number: number, name: string): TrimCapture {
  return {
    capture: name,
    number,
    time_s: 0,
    used: one.compensation_error !== null,
    verdict: one.verdict,
    tolerance: one.tolerance,
    compensation_error: one.compensation_error,
    time_constant_s: one.time_constant_s,
    tip_capacitance_f: one.tip_capacitance_f,
    shunt_capacitance_f: one.shunt_capacitance_f,
    adjustment: one.adjustment,
    newest: one.compensation_error,
    phase: 'settled',
    since_change: null,
    heading: null,
    travel: null,
    changes: 0,
    held: one.verdict === 'within-tolerance' ? 1 : 0,
    hold: 0,
    findings: one.findings,
    logged: [],
    source: one.square_wave ? { frequency_hz: one.square_wave.frequency_hz, suits: true, best_hz: null } : null,
    drawing: one.drawing && one.drawing.time_s.length > 0 ? one.drawing : one.drawing?.error ? one.drawing : null,
  };
}
