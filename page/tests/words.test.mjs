// The program's advice names options of commands; the page has fields. Every sentence of the program's that may come here is looked for in its sources.
import assert from 'node:assert/strict';
import { readdirSync, readFileSync, statSync } from 'node:fs';
import { join } from 'node:path';
import { test } from 'node:test';
import { fileURLToPath } from 'node:url';
import { createServer } from 'vite';

const CRATES = fileURLToPath(new URL('../../crates', import.meta.url));
// What the page's routes call. What only a command says, and the faces of results as text, are not among it.
const SPEAKING = ['core/src', 'captures/src', 'flattop/src/setup', 'flattop/src/assess/pairing.rs', 'flattop/src/assess/run.rs', 'flattop/src/pair/run.rs', 'flattop/src/bench/measure/mod.rs', 'flattop/src/bench/measure/question.rs'];
// Told for flattop assess --by-eye, choose and reach; none of them can be typed on the page.
const NOT_HERE = /^--|needs captures at two frequencies/;

function sources(path) {
  if (statSync(path).isFile()) return path.endsWith('.rs') ? [path] : [];
  return readdirSync(path)
    .filter((name) => !name.startsWith('tests'))
    .flatMap((name) => sources(join(path, name)));
}

/** The string literals of a Rust source above its tests that name an option or a command. */
function advice(path) {
  const code = readFileSync(path, 'utf8')
    .split('#[cfg(test)]')[0]
    .replace(/^\s*\/\/.*$/gm, '');
  return [...code.matchAll(/"((?:[^"\\]|\\[\s\S])*)"/g)]
    .map(([, words]) => words.replace(/\\\n\s*/g, '').replace(/\\"/g, '"').replace(/\{[^{}]*\}/g, 'probe-07'))
    .filter((words) => / \(?--[a-z]|flattop [a-z]/.test(words) && !NOT_HERE.test(words));
}

test('no advice names an option or a command that the page does not have', async () => {
  const vite = await createServer({ root: fileURLToPath(new URL('..', import.meta.url)), server: { middlewareMode: true, watch: null }, appType: 'custom', logLevel: 'error', optimizeDeps: { noDiscovery: true } });
  try {
    const { forThePage } = await vite.ssrLoadModule('/src/words.ts');
    const all = SPEAKING.flatMap((part) => sources(join(CRATES, part))).flatMap((path) => advice(path).map((words) => [path.slice(CRATES.length + 1), words]));
    assert.ok(all.length > 20, `only ${all.length} found`);
    const left = all.map(([path, words]) => [path, words, forThePage(words)]).filter(([, , here]) => /--[a-z]/.test(here) || /flattop [a-z]/.test(here.replace(/the command flattop [a-z]+/g, '')));
    assert.deepEqual(left, []);
    assert.equal(forThePage('check --column and --reference'), 'check “Column of the probe” and “Column of the source”');
    assert.equal(forThePage('nothing to change here'), 'nothing to change here');
    if (process.env.SHOW) for (const [, words] of all) console.log(forThePage(words));
  } finally {
    await vite.close();
  }
});
