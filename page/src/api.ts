// All that the page asks of the program. No other file knows a path of docs/http.md.
import { signal } from '@preact/signals';
import { text } from './text';
import { forThePage } from './words';

export interface Problem {
  code: string;
  message: string;
  remedy: string;
  at: string | null;
  /** Every field that is wrong. */
  fields: { at: string; message: string }[];
}

export class ApiError extends Error {
  readonly problem: Problem;
  readonly status: number;

  constructor(problem: Problem, status: number) {
    super(problem.message);
    this.problem = problem;
    this.status = status;
  }
}

/** Whether the program asked for the secret. */
export const signInNeeded = signal(false);

type Query = Record<string, string | number | undefined | null>;

export function path(base: string, query: Query = {}): string {
  const search = new URLSearchParams();
  for (const [key, value] of Object.entries(query)) {
    if (value !== undefined && value !== null && value !== '') search.set(key, String(value));
  }
  const words = search.toString();
  return words ? `${base}?${words}` : base;
}

async function ask(method: string, url: string, body: BodyInit | undefined, type: string | undefined, signal?: AbortSignal): Promise<Response> {
  const headers: Record<string, string> = { Accept: 'application/json' };
  if (type) headers['Content-Type'] = type;
  let response: Response;
  try {
    response = await fetch(url, { method, headers, body, signal, credentials: 'same-origin', cache: 'no-store' });
  } catch (cause) {
    if (cause instanceof DOMException && cause.name === 'AbortError') throw cause;
    throw new ApiError({ code: 'offline', message: text.problem.offline, remedy: text.problem.offlineRemedy, at: null, fields: [] }, 0);
  }
  if (response.ok) return response;
  let problem: Problem = { code: 'unexpected', message: text.problem.unexpected(response.status), remedy: '', at: null, fields: [] };
  try {
    const answer = (await response.json()) as { error?: Partial<Problem> };
    if (answer.error) problem = { ...problem, ...answer.error };
  } catch {
    // an answer without JSON keeps the words above
  }
  if (response.status === 401) signInNeeded.value = true;
  throw new ApiError(problem, response.status);
}

async function read<T>(response: Response): Promise<T> {
  if (response.status === 204) return undefined as T;
  const words = await response.text();
  return (words ? JSON.parse(words) : undefined) as T;
}

export const api = {
  get: async <T>(url: string, signal?: AbortSignal): Promise<T> => read<T>(await ask('GET', url, undefined, undefined, signal)),
  send: async <T>(method: 'POST' | 'PATCH' | 'PUT' | 'DELETE', url: string, body?: unknown, signal?: AbortSignal): Promise<T> =>
    read<T>(await ask(method, url, body === undefined ? undefined : JSON.stringify(body), 'application/json', signal)),
  upload: async <T>(url: string, bytes: Blob | ArrayBuffer, signal?: AbortSignal): Promise<T> => read<T>(await ask('POST', url, bytes, 'application/octet-stream', signal)),
  text: async (url: string): Promise<string> => (await ask('GET', url, undefined, undefined)).text(),
};

/** What went wrong, in words for people. */
export function problemOf(cause: unknown): Problem {
  if (cause instanceof ApiError) return cause.problem;
  return { code: 'unexpected', message: cause instanceof Error ? cause.message : String(cause), remedy: '', at: null, fields: [] };
}

/** The fields that a failure names, by their keys. */
export function faultsOf(problem: Problem): Record<string, string> {
  return Object.fromEntries(problem.fields.map((field) => [field.at, forThePage(field.message)]));
}
