// What the browser tests share: a server of their own, a browser, captures made here, and what must never happen on a page.
import assert from 'node:assert/strict';
import { execFileSync, spawn } from 'node:child_process';
import { existsSync, mkdtempSync, rmSync } from 'node:fs';
import { createRequire } from 'node:module';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { chromium } from 'playwright-core';

const CHROMIUM = process.env.CHROMIUM ?? '/usr/bin/chromium';
export const FLATTOP = process.env.FLATTOP ?? fileURLToPath(new URL('../../target/debug/flattop', import.meta.url));
const axePath = createRequire(import.meta.url).resolve('axe-core/axe.min.js');

export const VIEWS = ['start', 'compensate', 'bench', 'compatibility', 'plan', 'correct', 'logbook', 'theory'];

function ready() {
  if (!existsSync(FLATTOP)) throw new Error(`there is no program at ${FLATTOP}: build it, or set FLATTOP to its path`);
  if (existsSync(CHROMIUM)) return;
  console.error('chromium is missing; installing it from Debian');
  execFileSync('apt-get', ['install', '--yes', '--no-install-recommends', 'chromium'], { stdio: 'inherit' });
}

/** A server with a bench of its own in a temporary folder. */
export async function serve(...args) {
  ready();
  const folder = mkdtempSync(join(tmpdir(), 'flattop-page-'));
  const bench = args.includes('--demo') ? [] : ['--bench', join(folder, 'bench.sqlite')];
  const child = spawn(FLATTOP, ['serve', '--listen', '127.0.0.1:0', ...bench, ...args], { stdio: ['ignore', 'pipe', 'pipe'], env: { ...process.env, FLATTOP_BENCH: '' } });
  let said = '';
  const base = await new Promise((resolve, reject) => {
    const timer = setTimeout(() => reject(new Error(`the server did not say its address within 60 s: ${said}`)), 60_000);
    const read = (bytes) => {
      said += bytes;
      const found = /http:\/\/\S+?:\d+/.exec(said);
      if (found) {
        clearTimeout(timer);
        resolve(found[0]);
      }
    };
    child.stdout.on('data', read);
    child.stderr.on('data', read);
    child.on('exit', (code) => reject(new Error(`the server ended with status ${code}: ${said}`)));
  });
  return {
    base,
    folder,
    pid: child.pid,
    get: async (path) => (await fetch(base + path)).json(),
    post: async (path, body) => {
      const response = await fetch(base + path, { method: 'POST', headers: { 'Content-Type': 'application/json' }, body: JSON.stringify(body) });
      const words = await response.text();
      assert.ok(response.ok, `POST ${path}: ${response.status} ${words}`);
      return words ? JSON.parse(words) : null;
    },
    stop: async () => {
      child.removeAllListeners('exit');
      if (child.exitCode === null) {
        const gone = new Promise((resolve) => child.once('exit', resolve));
        child.kill('SIGINT');
        const late = setTimeout(() => child.kill('SIGKILL'), 5000);
        await gone;
        clearTimeout(late);
      }
      rmSync(folder, { recursive: true, force: true });
    },
  };
}

export async function launch(...args) {
  ready();
  return chromium.launch({ executablePath: CHROMIUM, args: ['--no-sandbox', '--autoplay-policy=no-user-gesture-required', ...args] });
}

export const LOOKS = {
  light: { viewport: { width: 1180, height: 900 }, colorScheme: 'light' },
  dark: { viewport: { width: 1180, height: 900 }, colorScheme: 'dark' },
  phone: { viewport: { width: 360, height: 740 }, colorScheme: 'light', hasTouch: true, isMobile: true },
};

/** A page that remembers everything that must not happen: console errors, script errors, policy violations, foreign requests. */
export async function open(browser, base, hash = '#/', look = LOOKS.light) {
  const context = await browser.newContext({ ...look, locale: 'en-GB', acceptDownloads: true, reducedMotion: 'reduce' });
  const page = await context.newPage();
  const wrong = [];
  page.on('console', (message) => {
    if (message.type() === 'error' || message.type() === 'warning') wrong.push(`console ${message.type()}: ${message.text()}`);
  });
  page.on('pageerror', (error) => wrong.push(`script error: ${error.message}`));
  page.on('request', (request) => {
    if (!request.url().startsWith(base) && !/^(blob|data):/.test(request.url())) wrong.push(`request to elsewhere: ${request.url()}`);
  });
  await page.addInitScript(() => {
    document.addEventListener('securitypolicyviolation', (event) => console.error(`policy violated: ${event.violatedDirective} ${event.blockedURI} ${event.sample}`));
  });
  await page.goto(`${base}/${hash}`);
  await page.locator('main h1').waitFor();
  return {
    page,
    context,
    /** What went wrong so far; a test that provokes an error names it. */
    wrong: (allowed = /^$/) => wrong.filter((one) => !allowed.test(one)),
    close: () => context.close(),
  };
}

/** Drops files on the page, as a hand would. */
export async function drop(page, ...files) {
  await page.evaluate((given) => {
    const transfer = new DataTransfer();
    for (const { name, text } of given) transfer.items.add(new File([text], name));
    for (const kind of ['dragenter', 'dragover', 'drop']) document.body.dispatchEvent(new DragEvent(kind, { dataTransfer: transfer, bubbles: true, cancelable: true }));
  }, files);
}

/** Violations of WCAG 2.0 to 2.2, A and AA, and of axe's good practice. */
export async function audit(page) {
  if (!(await page.evaluate(() => 'axe' in window))) await page.evaluate(await (await import('node:fs/promises')).readFile(axePath, 'utf8'));
  const results = await page.evaluate(() => window.axe.run(document, { runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'] }));
  return results.violations.map(
    (one) =>
      `${one.id} (${one.impact}): ${one.nodes
        .slice(0, 3)
        .map((node) => `${node.target.join(' ')} ${node.failureSummary?.split('\n').slice(1, 3).join(' ')}`)
        .join(' | ')}`,
  );
}

// The divider of the tests, after the closed form of the unit step through it: g0·(1 + e·exp(−t/τp)), e = (C1/(C1+C2))/g0 − 1,
// τp = (R1∥R2)(C1+C2). In the steady state of a square wave each flat starts with e/(1 + q), q = exp(−half period/τp), by superposition of all edges before.
export const DIVIDER = { r1: 9e6, r2: 1e6, c2: 108e-12 };

export function errorOf(c1) {
  const g0 = DIVIDER.r2 / (DIVIDER.r1 + DIVIDER.r2);
  return c1 / (c1 + DIVIDER.c2) / g0 - 1;
}

/** A generator of its own, so that a test gives the same captures again (mulberry32). */
export function seeded(seed) {
  let state = seed;
  return () => {
    state = (state + 0x6d2b79f5) | 0;
    let mixed = Math.imul(state ^ (state >>> 15), 1 | state);
    mixed = (mixed + Math.imul(mixed ^ (mixed >>> 7), 61 | mixed)) ^ mixed;
    return ((mixed ^ (mixed >>> 14)) >>> 0) / 4294967296;
  };
}

/** One capture of a 1 kHz square wave of 0 to 3 V through the divider with this tip capacitance, as CSV. */
export function capture({ c1, points = 4000, periods = 3, noise_v = 0.003, seed = 1, name = 'capture.csv' }) {
  const random = seeded(seed);
  const e = errorOf(c1);
  const tau = ((DIVIDER.r1 * DIVIDER.r2) / (DIVIDER.r1 + DIVIDER.r2)) * (c1 + DIVIDER.c2);
  const half = 0.5e-3;
  const q = Math.exp(-half / tau);
  const interval = (periods * 2 * half) / points;
  const lines = ['Time [s],Probe [V]'];
  for (let at = 0; at < points; at += 1) {
    const t = (at + 0.37) * interval + 0.2e-3;
    const flat = Math.floor(t / half);
    const since = t - flat * half;
    const rising = flat % 2 === 0;
    const shape = (rising ? 1 : 0) + ((rising ? e : -e) / (1 + q)) * Math.exp(-since / tau);
    const gauss = Math.sqrt(-2 * Math.log(1 - random())) * Math.cos(2 * Math.PI * random());
    lines.push(`${(at * interval).toExponential(7)},${(3 * shape + noise_v * gauss).toFixed(5)}`);
  }
  return { name, text: lines.join('\n') };
}
