// Where the reader is: `#/page?key=value`. Going somewhere moves the focus to the heading of the new page.
import { signal } from '@preact/signals';

export const PAGES = ['start', 'compensate', 'bench', 'compatibility', 'plan', 'correct', 'logbook', 'theory'] as const;
export type Page = (typeof PAGES)[number];

export interface Route {
  page: Page;
  query: Record<string, string>;
}

function parse(hash: string): Route {
  const [name = '', search = ''] = hash.replace(/^#\/?/, '').split('?');
  const page = (PAGES as readonly string[]).includes(name) ? (name as Page) : 'start';
  return { page, query: Object.fromEntries(new URLSearchParams(search)) };
}

export const route = signal<Route>(parse(location.hash));

export function href(page: Page, query: Record<string, string> = {}): string {
  const search = new URLSearchParams(query).toString();
  return `#/${page}${search ? `?${search}` : ''}`;
}

export function go(page: Page, query: Record<string, string> = {}): void {
  const target = href(page, query);
  if (location.hash !== target) location.hash = target;
}

export function follow(moved: (from: Page, to: Page) => void): void {
  addEventListener('hashchange', () => {
    const before = route.value;
    route.value = parse(location.hash);
    if (before.page !== route.value.page) moved(before.page, route.value.page);
  });
}
