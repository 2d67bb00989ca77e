// What several pages share: the program's own state, the bench, and the last assessment.
import { signal } from '@preact/signals';
import { api, problemOf, type Problem } from './api';
import type { About, Bench, BenchField, TrimCapture } from './types';

export const about = signal<About | null>(null);
export const bench = signal<Bench | null>(null);
export const benchFields = signal<Record<string, BenchField[]> | null>(null);
/** The last capture that told e, on whatever page. */
export const lastReading = signal<TrimCapture | null>(null);
/** A failure that belongs to no field and no part of a page. */
export const trouble = signal<Problem | null>(null);

export async function loadAbout(): Promise<void> {
  try {
    about.value = await api.get<About>('/api/about');
  } catch (cause) {
    trouble.value = problemOf(cause);
  }
}

export async function loadBench(): Promise<void> {
  try {
    bench.value = await api.get<Bench>('/api/bench?all=true');
  } catch (cause) {
    trouble.value = problemOf(cause);
  }
}

export async function loadBenchFields(): Promise<void> {
  if (benchFields.value) return;
  try {
    benchFields.value = await api.get<Record<string, BenchField[]>>('/api/bench/fields');
  } catch (cause) {
    trouble.value = problemOf(cause);
  }
}

/** After a change of the bench: what is on it and what is due. */
export async function reload(): Promise<void> {
  await Promise.all([loadBench(), loadAbout()]);
}

/** The name that people gave a thing, with its id. */
export function labelled(id: string): string {
  const found = bench.value;
  if (!found) return id;
  const probe = found.probes.find((one) => one.id === id);
  if (probe) return probe.label ? `${probe.label} (${id})` : id;
  for (const scope of found.oscilloscopes) {
    if (scope.id === id) return scope.label ? `${scope.label} (${id})` : id;
    const input = scope.inputs.find((one) => one.id === id);
    if (input) return `${scope.label ?? scope.id}, ${input.id.slice(scope.id.length + 1)}`;
  }
  return id;
}
