// What a person does with the page, in a real browser against the real program.
import assert from 'node:assert/strict';
import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { after, before, describe, test } from 'node:test';
import { capture, DIVIDER, drop, errorOf, FLATTOP, launch, open, serve } from './support.mjs';

const TESTDATA = new URL('../../testdata/ngspice/', import.meta.url);
const spice = (name) => ({ name, text: readFileSync(new URL(name, TESTDATA), 'utf8') });
/** True e of the captures that ngspice made (testdata/ngspice/truth.csv). */
const truth = (name) => {
  const [head, ...rows] = readFileSync(new URL('truth.csv', TESTDATA), 'utf8')
    .trim()
    .split('\n')
    .map((line) => line.split(','));
  const row = rows.find((one) => one[0] === name || one[0] === name.replace('.csv', ''));
  assert.ok(row, `truth.csv knows ${name}`);
  return Number(row[head.findIndex((one) => /compensation_error|^e$/.test(one))]);
};
const number = (words) => Number(words.replace(/\u2212/g, '-').replace(/[^\d.eE+-]/g, ''));

let browser;
before(async () => {
  browser = await launch();
});
after(() => browser?.close());

async function on(base, hash, act, allowed) {
  const opened = await open(browser, base, hash);
  try {
    await act(opened.page, opened);
    assert.deepEqual(opened.wrong(allowed), []);
  } finally {
    await opened.close();
  }
}

describe('a first visit with an empty bench', () => {
  let server;
  before(async () => {
    server = await serve();
  });
  after(() => server?.stop());

  test('a dropped capture gives the verdict, direction and picofarads', async () => {
    await on(server.base, '#/', async (page) => {
      const began = Date.now();
      await drop(page, spice('under.csv'));
      const reading = page.locator('.reading[data-verdict="undercompensated"]');
      await reading.waitFor();
      assert.ok(Date.now() - began < 10_000, 'within seconds');
      const shown = number(await reading.locator('.e .digits').innerText()) / 100;
      assert.ok(Math.abs(shown - truth('under.csv')) < 0.001, `shown ${shown}, true ${truth('under.csv')}`);
      assert.match(await reading.locator('.do').innerText(), /grows by 1\.8\d+ ± 0\.0\d+.pF/);
      assert.match(await reading.locator('.verdict').innerText(), /Undercompensated/);
      await page.getByRole('heading', { name: 'Record and fit' }).waitFor();
      await page.getByRole('heading', { name: 'Error of a sine against its frequency' }).waitFor();
      assert.equal((await page.locator('.canvas canvas').count()) >= 3, true);
    });
  });

  test('the other direction, and what cannot be used', async () => {
    await on(
      server.base,
      '#/compensate',
      async (page) => {
        await drop(page, spice('over.csv'));
        await page.locator('.reading[data-verdict="overcompensated"]').waitFor();
        assert.match(await page.locator('.reading .do').innerText(), /shrinks by/);
        await drop(page, { name: 'letter.csv', text: 'this is no capture\nat all\n' });
        const problem = page.getByRole('alert');
        await problem.waitFor();
        assert.match(await problem.innerText(), /That did not work/);
        assert.equal(await page.locator('.reading').getAttribute('data-verdict'), 'overcompensated', 'the reading of before stays');
      },
      /422/,
    );
  });

  test('levels read off a screen give the same verdict', async () => {
    await on(server.base, '#/', async (page) => {
      await page.getByRole('link', { name: 'Enter what you see' }).click();
      await page.getByLabel('Level just after the rising edge').fill('4.6');
      await page.getByLabel('Level just before the falling edge').fill('5');
      await page.getByRole('button', { name: 'Tell me' }).click();
      const reading = page.locator('.reading[data-verdict="undercompensated"]');
      await reading.waitFor();
      // 4.6 of 5 divisions: the flat starts 8 % low
      const shown = number(await reading.locator('.e .digits').innerText());
      assert.ok(Math.abs(shown + 8) < 1.2, `shown ${shown} %`);
    });
  });

  test('an oscilloscope and a probe of one’s own, paired, checked at the field', async () => {
    await on(
      server.base,
      '#/',
      async (page) => {
        await page.getByRole('link', { name: 'Add an oscilloscope' }).click();
        await page.getByRole('textbox', { name: 'Id', exact: true }).fill('bench-a');
        await page.getByLabel('Name for people').fill('Bench A scope, 200 MHz');
        await page.getByRole('button', { name: 'Save' }).click();
        await page.getByRole('heading', { name: 'Add an input to bench-a' }).waitFor();
        await page.getByRole('textbox', { name: 'Id', exact: true }).fill('ch1');
        const resistance = page.getByLabel('Input resistance');
        await resistance.fill('one million');
        await resistance.blur();
        await page.locator('.field-error').waitFor();
        assert.equal(await resistance.getAttribute('aria-invalid'), 'true');
        await resistance.fill('1M ± 2%');
        await page.getByLabel('Input capacitance').fill('15 pF ± 1 pF');
        await page.getByRole('button', { name: 'Save' }).click();
        await page.locator('#bench-said').waitFor();
        await page.getByRole('button', { name: 'Add a probe' }).click();
        await page.getByRole('textbox', { name: 'Id', exact: true }).fill('probe-07');
        await page.getByLabel('Ratio').fill('10');
        await page.getByLabel('Capacitance at the tip, as the circuit sees it').fill('12 pF');
        await page.getByLabel('Compensation range').fill('8 pF to 22 pF');
        await page.getByLabel('Trimmer').selectOption('tip');
        await page.getByRole('button', { name: 'Save' }).click();
        await page.locator('#bench-said').waitFor();
        await page.getByRole('button', { name: 'Pair a probe with an input' }).click();
        await page.getByRole('button', { name: 'Pair', exact: true }).click();
        await page.getByRole('row', { name: /probe-07.*never checked/ }).waitFor();
        const bench = await server.get('/api/bench');
        assert.equal(bench.pairings.length, 1);
        assert.equal(bench.oscilloscopes[0].inputs[0].capacitance_f.value, 15e-12);
      },
      /422/,
    );
  });

  test('trimming by what the page shows alone, then recording before and after', async () => {
    await on(server.base, '#/bench', async (page) => {
      await page.getByRole('link', { name: 'Check: probe-07 on bench-a/ch1' }).click();
      assert.equal(await page.getByLabel('Probe and input').inputValue(), 'probe-07 on bench-a/ch1');
      let c1 = 10.4e-12;
      let shot = 0;
      const show = async () => {
        shot += 1;
        await drop(page, capture({ c1, seed: shot, name: `turn-${shot}.csv` }));
        await page.locator(`.reading[data-number="${shot}"]`).waitFor();
        return page.locator('.reading').getAttribute('data-verdict');
      };
      await show();
      assert.equal(await show(), 'undercompensated');
      let verdict = 'undercompensated';
      for (let turn = 0; turn < 12 && verdict !== 'within-tolerance'; turn += 1) {
        // the screwdriver goes by the figure on the page, and not quite as far
        const toGo = number(await page.locator('.reading .figures dd').first().innerText()) * 1e-12;
        c1 += 0.85 * toGo;
        await show();
        verdict = await show();
      }
      assert.equal(verdict, 'within-tolerance');
      assert.ok(Math.abs(errorOf(c1)) < 0.01, `true e is ${errorOf(c1)}`);
      const offer = page.getByRole('button', { name: 'Record before and after' });
      for (let more = 0; more < 12 && (await offer.count()) === 0; more += 1) await show();
      await page.getByLabel('By').fill('bench technician');
      await offer.click();
      await page
        .getByText(/Recorded as entry \d+ \(before\), entry \d+ \(after\)/)
        .first()
        .waitFor();
      const log = await server.get('/api/log?kind=assessment');
      assert.deepEqual(log.entries.map((entry) => entry.assessment.stage).sort(), ['after-adjustment', 'before-adjustment']);
      assert.ok(log.entries.every((entry) => entry.by === 'bench technician'));
      await page.getByRole('link', { name: 'Bench', exact: true }).click();
      await page
        .getByRole('row', { name: /probe-07/ })
        .first()
        .getByText('in tolerance')
        .waitFor();
    });
  });

  test('sound is off until asked, and can be muted', async () => {
    await on(server.base, '#/compensate', async (page) => {
      const on = page.getByRole('button', { name: 'Turn sound on' });
      assert.equal(await on.getAttribute('aria-pressed'), 'false');
      await on.click();
      await page.getByRole('button', { name: 'Turn sound off' }).waitFor();
      const mute = page.getByRole('button', { name: 'Mute', exact: true });
      await mute.click();
      assert.equal(await page.getByRole('button', { name: 'Unmute' }).getAttribute('aria-pressed'), 'true');
      await drop(page, capture({ c1: 11e-12 }));
      await page.locator('.reading').waitFor();
    });
  });
});

describe('a watched folder', () => {
  let server;
  let folder;
  before(async () => {
    const { mkdtempSync } = await import('node:fs');
    const { tmpdir } = await import('node:os');
    folder = mkdtempSync(join(tmpdir(), 'flattop-watched-'));
    server = await serve('--watch-root', `exports=${folder}`);
  });
  after(async () => {
    await server?.stop();
    const { rmSync } = await import('node:fs');
    rmSync(folder, { recursive: true, force: true });
  });

  test('captures saved into it are followed until the trimmer is right', async () => {
    await on(server.base, '#/compensate', async (page) => {
      await page.getByLabel('A watched folder').check();
      await page.getByRole('button', { name: 'Start', exact: true }).click();
      await page.getByText('Waiting for the first capture').waitFor();
      let c1 = 13.1e-12;
      let shot = 0;
      let verdict = '';
      while (verdict !== 'within-tolerance' && shot < 14) {
        shot += 1;
        const made = capture({ c1, seed: 100 + shot });
        writeFileSync(join(folder, `shot-${String(shot).padStart(3, '0')}.csv`), made.text);
        await page.locator(`.reading[data-number="${shot}"]`).waitFor({ timeout: 15_000 });
        verdict = await page.locator('.reading').getAttribute('data-verdict');
        if (shot > 1) c1 += 0.9 * number(await page.locator('.reading .figures dd').first().innerText()) * 1e-12;
      }
      assert.equal(verdict, 'within-tolerance');
      assert.ok(Math.abs(errorOf(c1)) < 0.01);
      await page.getByRole('button', { name: 'Stop' }).click();
    });
  });
});

describe('the demo', () => {
  let server;
  before(async () => {
    server = await serve('--demo');
  });
  after(() => server?.stop());

  test('says that it is one, and what wants attention', async () => {
    await on(server.base, '#/', async (page) => {
      await page.getByText('demo bench of the invented Harrow Lane Lift Works').waitFor();
      await page
        .getByRole('link', { name: /Check now/ })
        .first()
        .waitFor();
    });
  });

  test('the matrix tells margins in words, signs and picofarads', async () => {
    await on(server.base, '#/compatibility', async (page) => {
      const matrix = await server.get('/api/compatibility');
      const pair = matrix.pairs.find((one) => one.verdict === 'out-of-reach');
      const cell = page.getByRole('button', { name: new RegExp(`^${pair.probe} on ${pair.input}: .*out of reach`) });
      await cell.waitFor();
      const margin = number(/[+−]?[\d.]+(?=\s?pF)/u.exec(await cell.innerText())[0]);
      assert.ok(Math.abs(margin * 1e-12 - pair.margin_f) < 1e-14, `${margin} against ${pair.margin_f}`);
      await cell.click();
      await page.getByRole('heading', { name: / on / }).waitFor();
    });
  });

  test('planning: sliders answer at once, pairings are ranked, a budget is worked out', async () => {
    await on(server.base, '#/plan', async (page) => {
      await page.getByRole('heading', { name: 'There and on the screen' }).waitFor();
      const headline = page.locator('#plan-answer ~ .headline');
      const before = await headline.innerText();
      const slider = page.getByRole('slider', { name: /Node resistance/ });
      await slider.focus();
      for (let step = 0; step < 8; step += 1) await page.keyboard.press('ArrowRight');
      await page.waitForFunction((old) => document.querySelector('#plan-answer ~ .headline')?.textContent !== old, before);
      await page.getByRole('button', { name: 'Rank the pairings of the bench' }).click();
      const table = page.getByRole('region', { name: 'Which pairing to take' }).getByRole('table');
      await table.waitFor();
      assert.ok((await table.getByRole('row').count()) > 3);
      await page.getByRole('button', { name: 'Work out the uncertainty' }).click();
      await page.getByText(/Corrected reading .* ± /).waitFor({ timeout: 60_000 });
    });
  });

  test('correcting a record, with download', async () => {
    await on(server.base, '#/correct', async (page) => {
      const c1 = 10.8e-12;
      await drop(page, capture({ c1, name: 'door-motor.csv' }));
      await page.getByLabel('e and time constant that I type').check();
      await page.getByLabel('Compensation error e').fill(`${(errorOf(c1) * 100).toFixed(3)} % ± 0.1 %`);
      const tau = ((DIVIDER.r1 * DIVIDER.r2) / (DIVIDER.r1 + DIVIDER.r2)) * (c1 + DIVIDER.c2);
      await page.getByLabel('Time constant τp').fill(`${(tau * 1e6).toFixed(2)} us ± 1 us`);
      await page.getByRole('button', { name: 'Correct it' }).click();
      const save = page.getByRole('link', { name: /Download the corrected record/ });
      await save.waitFor();
      await page.getByRole('heading', { name: 'Before and after', exact: true }).waitFor();
      const [download] = await Promise.all([page.waitForEvent('download'), save.click()]);
      const lines = readFileSync(await download.path(), 'utf8')
        .trim()
        .split(/\r?\n/);
      assert.match(lines[0], /corrected/);
      // what was undone: the corrected record is flat where the captured one was not
      const rows = lines
        .slice(1)
        .map((line) => line.split(',').map(Number))
        .filter((row) => row.every(Number.isFinite));
      const column = lines[0].split(',').findIndex((one) => /corrected/.test(one));
      const high = rows.filter((row) => row[0] > 0.83e-3 && row[0] < 1.28e-3);
      const mean = (some, at) => some.reduce((sum, row) => sum + row[at], 0) / some.length;
      const tilt = (at) => mean(high.slice(0, 60), at) - mean(high.slice(-60), at);
      assert.ok(Math.abs(tilt(1)) > 0.15, `captured: ${tilt(1)} V`);
      assert.ok(Math.abs(tilt(column)) < 0.01, `corrected: ${tilt(column)} V`);
    });
  });

  test('the logbook: an entry from near, trends, whether it is intact', async () => {
    await on(server.base, '#/logbook', async (page) => {
      const newest = (await server.get('/api/log?kind=assessment&limit=1')).entries[0];
      await page.getByRole('button', { name: `Entry ${newest.seq}`, exact: true }).click();
      await page.getByRole('heading', { name: `Entry ${newest.seq}` }).waitFor();
      await page.getByText(newest.digest).waitFor();
      await page.getByRole('heading', { name: 'Record and fit' }).waitFor();
      await page.getByRole('button', { name: 'Work it out again' }).click();
      await page.getByText('the same figures').waitFor();
      await page.getByRole('button', { name: 'Is it intact?' }).click();
      await page.getByText(/Intact: \d+ entries/).waitFor();
      await page.getByRole('heading', { name: /over time/ }).waitFor();
    });
  });

  test('records open to print, and are saved as PDF', async () => {
    await on(server.base, '#/logbook', async (page, opened) => {
      await page.getByLabel('Laboratory').fill('Harrow Lane Lift Works');
      const records = page.locator('section', { has: page.getByRole('heading', { name: 'Records to print' }) });
      const [record] = await Promise.all([opened.context.waitForEvent('page'), records.getByRole('link', { name: 'Open to print' }).click()]);
      await record.waitForLoadState();
      assert.match(await record.content(), /Harrow Lane Lift Works/);
      const printed = await record.pdf({ format: 'A4' });
      assert.ok(printed.length > 5000);
      const [download] = await Promise.all([page.waitForEvent('download'), records.getByRole('link', { name: 'Save as PDF' }).click()]);
      assert.equal(
        readFileSync(await download.path())
          .subarray(0, 5)
          .toString(),
        '%PDF-',
      );
    });
  });

  test('theory: the equations answer with the reader’s numbers', async () => {
    await on(server.base, '#/theory', async (page) => {
      await page.getByLabel('Tip capacitance C1').fill('12 pF');
      await page.getByLabel('Cable, box and input C2').fill('100 pF');
      // e = (C1/(C1+C2))·(R1+R2)/R2 − 1 = (12/112)·10 − 1 = +7.14 %
      await page.getByText(/e = \+7\.14.%/).waitFor();
      assert.ok((await page.locator('math').count()) >= 4);
    });
  });

  test('two probes as a difference', async () => {
    await on(server.base, '#/plan', async (page) => {
      await page.getByLabel('Voltage that both tips share').fill('400 V');
      await page.getByRole('button', { name: 'Compare them' }).click();
      const rows = page.getByRole('table', { name: 'How far the shared voltage is rejected' }).getByRole('row');
      await rows.nth(3).waitFor();
      assert.match(await rows.nth(3).innerText(), /\d+(\.\d)?.dB/);
    });
  });

  test('the response of a pairing is measured from edges, and saved as Touchstone', async () => {
    await on(server.base, '#/correct', async (page) => {
      const edges = new URL('../../testdata/characterise/gaussian.csv.gz', import.meta.url);
      await page.getByLabel('Choose a capture of edges').setInputFiles({ name: 'edges.csv.gz', mimeType: 'application/gzip', buffer: readFileSync(edges) });
      await page.getByRole('button', { name: 'Measure it' }).click();
      const save = page.getByRole('link', { name: /Download .*s2p/ });
      await save.waitFor();
      await page.getByRole('heading', { name: 'Measured gain against frequency' }).waitFor();
      const [download] = await Promise.all([page.waitForEvent('download'), save.click()]);
      assert.match(readFileSync(await download.path(), 'utf8'), /^# /m);
    });
  });

  test('moving a probe says what error to expect', async () => {
    await on(server.base, '#/bench', async (page) => {
      await page.getByRole('button', { name: /^Move probe-01 / }).click();
      await page.getByText(/Expected error on the new input|Nothing can be said/).waitFor();
    });
  });
});

describe('the sound', () => {
  let server;
  before(async () => {
    server = await serve();
  });
  after(() => server?.stop());

  test('glides up while e reads low, down while it reads high, and is one steady tone inside; higher the larger the error', async () => {
    const opened = await open(browser, server.base, '#/compensate');
    const { page } = opened;
    // What the page asks of its oscillators, as they start.
    await page.evaluate(() => {
      window.tones = [];
      const start = OscillatorNode.prototype.start;
      OscillatorNode.prototype.start = function (...given) {
        const tone = this.asked ?? { from: this.frequency.value, to: this.frequency.value };
        window.tones.push(tone);
        return start.apply(this, given);
      };
      const set = AudioParam.prototype.setValueAtTime;
      const ramp = AudioParam.prototype.exponentialRampToValueAtTime;
      const create = BaseAudioContext.prototype.createOscillator;
      BaseAudioContext.prototype.createOscillator = function () {
        const made = create.call(this);
        made.frequency.owner = made;
        return made;
      };
      AudioParam.prototype.setValueAtTime = function (value, at) {
        if (this.owner) this.owner.asked = { from: value, to: value };
        return set.call(this, value, at);
      };
      AudioParam.prototype.exponentialRampToValueAtTime = function (value, at) {
        if (this.owner) this.owner.asked.to = value;
        return ramp.call(this, value, at);
      };
    });
    await page.getByRole('button', { name: 'Turn sound on' }).click();
    let number = 0;
    const hear = async (c1) => {
      number += 1;
      await drop(page, capture({ c1, seed: number }));
      await page.locator(`.reading[data-number="${number}"]`).waitFor();
      await page.waitForTimeout(700);
      await page.evaluate(() => window.tones.splice(0));
      await page.waitForTimeout(900);
      return page.evaluate(() => window.tones);
    };
    const low = await hear(10e-12);
    const high = await hear(14e-12);
    const less = await hear(12.5e-12);
    assert.ok(low.length > 0 && low.every((tone) => tone.to > tone.from), JSON.stringify(low));
    assert.ok(high.length > 0 && high.every((tone) => tone.to < tone.from), JSON.stringify(high));
    assert.ok(Math.max(...less.map((tone) => tone.from)) < Math.min(...high.map((tone) => tone.from)), 'the smaller error sounds lower');
    number += 1;
    await page.evaluate(() => window.tones.splice(0));
    await drop(page, capture({ c1: 12e-12, seed: number }));
    await page.locator('.reading[data-verdict="within-tolerance"]').waitFor();
    await page.waitForTimeout(900);
    const inside = await page.evaluate(() => window.tones);
    const steady = inside[inside.length - 1];
    assert.equal(steady.from, steady.to, 'steady inside');
    assert.ok(steady.from < Math.min(...less.map((tone) => Math.min(tone.from, tone.to))) * 1.3);
    assert.deepEqual(opened.wrong(), []);
    await opened.close();
  });
});

describe('reached with a secret', () => {
  let server;
  let secret;
  before(async () => {
    const { execFileSync } = await import('node:child_process');
    const { mkdtempSync } = await import('node:fs');
    const { tmpdir } = await import('node:os');
    const file = join(mkdtempSync(join(tmpdir(), 'flattop-secret-')), 'bench.secret');
    const said = execFileSync(FLATTOP, ['serve', '--make-secret', file], { encoding: 'utf8' });
    secret = said.match(/[A-Za-z0-9_-]{16,}/)?.[0];
    assert.ok(secret, said);
    server = await serve('--secret-file', file);
  });
  after(() => server?.stop());

  test('a wrong secret is refused, the right one opens the page', async () => {
    await on(
      server.base,
      '#/bench',
      async (page) => {
        await page.getByRole('heading', { name: 'Sign in' }).waitFor();
        assert.equal(await page.getByRole('heading', { name: 'Pairings' }).count(), 0);
        await page.getByLabel('Secret').fill('not the secret');
        await page.getByRole('button', { name: 'Sign in' }).click();
        await page.getByRole('alert').waitFor();
        await page.getByLabel('Secret').fill(secret);
        await page.getByRole('button', { name: 'Sign in' }).click();
        await page.getByRole('heading', { name: 'Pairings' }).waitFor();
      },
      /401/,
    );
  });
});

describe('the practice bench', () => {
  let server;
  before(async () => {
    server = await serve();
  });
  after(() => server?.stop());

  test('a hidden trimmer is brought within tolerance by what the page shows alone', async () => {
    await on(server.base, '#/', async (page) => {
      await page.getByRole('link', { name: 'Practise trimming' }).click();
      await page.getByRole('button', { name: 'Start', exact: true }).click();
      const reading = page.locator('.reading');
      await reading.waitFor();
      const trimmer = page.getByRole('region', { name: 'Practice trimmer' });
      const press = (by) => trimmer.getByRole('button', { name: `Turn ${by < 0 ? 'back' : 'clockwise'} by ${Math.abs(by)} degrees`, exact: true }).click();
      // A person turns, looks, and turns less where it went too far: no figure of the trimmer's is known here.
      let step = 30;
      let before = '';
      for (let turn = 0; turn < 60; turn += 1) {
        await page.waitForTimeout(450);
        const verdict = await reading.getAttribute('data-verdict');
        if (verdict === 'within-tolerance') break;
        const way = /grows/.test(await reading.locator('.do').innerText()) ? 'clockwise' : 'back';
        if (before && way !== before) step = { 30: 5, 5: 1, 1: 1 }[step];
        before = way;
        await press(way === 'clockwise' ? step : -step);
      }
      await page.waitForFunction(() => document.querySelector('.reading')?.getAttribute('data-verdict') === 'within-tolerance');
      await page.waitForTimeout(1500);
      assert.equal(await reading.getAttribute('data-verdict'), 'within-tolerance', 'it stays there');
      assert.equal(await trimmer.getByText('True error').count(), 0, 'hidden until asked for');
      await trimmer.getByRole('button', { name: 'Show where it stands' }).click();
      const fact = (name) => trimmer.locator('dt', { hasText: name }).locator('xpath=following-sibling::dd[1]').innerText();
      const truth = number(await fact('True error')) / 100;
      assert.ok(Math.abs(truth) <= 0.01, `true e ${truth}`);
      const [value, interval] = (await fact('Read on this page')).split('±').map((part) => number(part) / 100);
      assert.ok(Math.abs(value - truth) <= 2.5 * interval, `${value} ± ${interval}, true ${truth}`);
    });
  });

  test('a stop is told, and a disturbance that cannot be', async () => {
    await on(
      server.base,
      '#/compensate?source=practice',
      async (page) => {
        await page.getByRole('button', { name: 'Start', exact: true }).click();
        const trimmer = page.getByRole('region', { name: 'Practice trimmer' });
        await trimmer.waitFor();
        for (let turn = 0; turn < 10; turn += 1) await trimmer.getByRole('button', { name: 'Turn clockwise by 30 degrees' }).click();
        await trimmer.getByText('At the upper stop').waitFor();
        await trimmer.getByText('What disturbs the signal').click();
        await trimmer.getByLabel('Noise, rms').fill('9 V');
        await trimmer.getByRole('button', { name: 'Apply' }).click();
        await trimmer.getByText(/out of range/).first().waitFor();
        await trimmer.getByLabel('Noise, rms').fill('20 mV');
        await trimmer.getByRole('button', { name: 'Apply' }).click();
        await page.waitForFunction(() => document.querySelectorAll('.practice [role=alert]').length === 0);
        assert.equal(await trimmer.getByLabel('Noise, rms').inputValue(), '20 mV');
      },
      /422/,
    );
  });
});

describe('the logbook written to', () => {
  let server;
  before(async () => {
    server = await serve('--demo');
  });
  after(() => server?.stop());

  test('a note, and the withdrawal of an entry', async () => {
    await on(server.base, '#/logbook', async (page) => {
      await page.getByRole('textbox', { name: 'Note' }).fill('new batch of probe tips');
      await page.getByRole('button', { name: 'Write it', exact: true }).click();
      await page.getByText(/Written as entry \d+/).waitFor();
      await page.getByRole('cell', { name: 'new batch of probe tips' }).waitFor();
      const { entries } = await server.get('/api/log?kind=assessment&limit=1');
      await page.getByRole('button', { name: `Entry ${entries[0].seq}`, exact: true }).click();
      await page.getByText('Remark on this entry, or withdraw it').click();
      await page.getByLabel('What is to be said').fill('captured on the wrong input');
      await page.getByLabel('This entry counts for nothing any more').check();
      await page.getByRole('button', { name: 'Write it into the logbook' }).click();
      await page.getByText(/Written as entry \d+/).first().waitFor();
      const newest = (await server.get('/api/log?limit=1')).entries[0];
      assert.equal(newest.corrects, entries[0].seq);
      assert.equal(newest.effect, 'withdraws');
    });
  });

  test('a trimmer turned elsewhere makes a check due', async () => {
    await on(server.base, '#/bench', async (page) => {
      await page.getByRole('button', { name: 'Turned: probe-01 on bench-a/ch1' }).click();
      await page.getByRole('dialog').getByRole('button', { name: 'Trimmer was turned' }).click();
      await page.locator('#bench-said').waitFor();
      const pairing = (await server.get('/api/bench')).pairings.find((one) => one.probe === 'probe-01');
      assert.equal(pairing.adjusted_since, true);
    });
  });
});

describe('what no data sheet says', () => {
  let server;
  before(async () => {
    server = await serve();
    await server.post('/api/bench/oscilloscopes', { id: 'bench-a', fields: {} });
    for (const [name, fields] of [
      ['ch1', { resistance: '1M ± 0.1%', capacitance: '20p ± 0.1p' }],
      ['ch2', { resistance: '1M ± 0.1%', capacitance: '15p ± 5p' }],
    ])
      await server.post('/api/bench/oscilloscopes/bench-a/inputs', { name, fields });
    await server.post('/api/bench/probes', { id: 'probe-07', fields: { ratio: '10', tip_resistance: '9M ± 0.1%', adjusted_at: 'tip' } });
  });
  after(() => server?.stop());

  // Captures of ngspice: 20 pF at the known input, 13 pF at the other (testdata/ngspice/measured.csv).
  test('an input’s capacitance is measured and stands on the bench with its entry', async () => {
    const file = (name) => ({ name, mimeType: 'application/gzip', buffer: readFileSync(new URL(name, TESTDATA)) });
    await on(
      server.base,
      '#/bench',
      async (page) => {
        await page.getByText('Measure what no data sheet says').click();
        await page.getByLabel('Input that is asked about').selectOption('bench-a/ch2');
        await page.getByRole('button', { name: 'Measure', exact: true }).click();
        await page.getByText('a capture is needed here').first().waitFor();
        await page.getByLabel('Captures on the known input').setInputFiles(file('input_20p.csv.gz'));
        await page.getByLabel('Captures on the other input').setInputFiles(file('input_13p.csv.gz'));
        await page.getByLabel('Put the value on the bench and into the logbook').check();
        await page.getByLabel('By', { exact: true }).fill('bench technician 2');
        await page.getByRole('button', { name: 'Measure', exact: true }).click();
        const said = page.locator('.headline', { hasText: 'Capacitance of an input' });
        await said.waitFor();
        assert.match(await said.innerText(), /1[23]\.\d+ ± 0\.\d+.pF/);
        const shown = await server.get('/api/bench/oscilloscopes/bench-a/inputs/ch2');
        assert.ok(Math.abs(shown.measured[0].value_f.value - 13e-12) < 0.2e-12, JSON.stringify(shown.measured));
        await page.getByRole('row', { name: /ch2/ }).getByText(/13(\.\d+)?.pF ± 0\.2/).waitFor();
      },
      /422/,
    );
  });
});
