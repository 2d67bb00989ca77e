// Open to all: axe on every view in light, dark and at 360 px; the keyboard alone; focus; no sideways scrolling; targets large enough.
import assert from 'node:assert/strict';
import { after, before, describe, test } from 'node:test';
import { audit, capture, drop, launch, LOOKS, open, serve, VIEWS } from './support.mjs';

let browser;
let demo;
let empty;
before(async () => {
  [browser, demo, empty] = await Promise.all([launch(), serve('--demo'), serve()]);
});
after(async () => {
  await browser?.close();
  await demo?.stop();
  await empty?.stop();
});

/** Brings a view to where it shows most. */
async function fill(page, view) {
  if (view === 'compensate') {
    await drop(page, capture({ c1: 10.5e-12, seed: 1 }), capture({ c1: 11e-12, seed: 2 }));
    await page.locator('.reading[data-number="2"]').waitFor();
    await page.getByRole('heading', { name: 'What the fit leaves' }).waitFor();
    await page.getByRole('button', { name: 'Turn sound on' }).click();
  } else if (view === 'bench') {
    await page.getByRole('button', { name: /^Change probe-07$/ }).click();
    await page.getByRole('heading', { name: 'Change probe-07' }).waitFor();
  } else if (view === 'compatibility') {
    await page
      .getByRole('button', { name: /out of reach/ })
      .first()
      .click();
    await page.getByText('What the signs mean').click();
  } else if (view === 'plan') {
    await page.getByRole('heading', { name: 'There and on the screen' }).waitFor();
    await page.getByRole('button', { name: 'Rank the pairings of the bench' }).click();
    await page.getByRole('region', { name: 'Which pairing to take' }).getByRole('table').waitFor();
    await page.getByText('The same as a table').first().click();
  } else if (view === 'correct') {
    await drop(page, capture({ c1: 10.8e-12 }));
    await page.getByLabel('e and time constant that I type').check();
    await page.getByLabel('Compensation error e').fill('-2 %');
    await page.getByLabel('Time constant τp').fill('107 us');
    await page.getByRole('button', { name: 'Correct it' }).click();
    await page.getByRole('heading', { name: 'Before and after', exact: true }).waitFor();
  } else if (view === 'logbook') {
    await page
      .getByRole('button', { name: /^Entry \d+$/ })
      .first()
      .click();
    await page.locator('#entry-title').waitFor();
    await page.getByRole('heading', { name: /over time/ }).waitFor();
  } else if (view === 'theory') {
    await page.getByText('With your numbers:').first().waitFor();
  }
}

for (const [look, settings] of Object.entries(LOOKS)) {
  describe(`axe, ${look}`, () => {
    for (const view of VIEWS) {
      test(view, async () => {
        const opened = await open(browser, demo.base, `#/${view}`, settings);
        try {
          await opened.page.waitForLoadState('networkidle');
          assert.deepEqual(await audit(opened.page), [], 'as it opens');
          await fill(opened.page, view);
          assert.deepEqual(await audit(opened.page), [], 'filled');
          const [needs, has] = await opened.page.evaluate(() => [document.documentElement.scrollWidth, document.documentElement.clientWidth]);
          assert.ok(needs <= has, `${needs} px wide in ${has} px`);
          if (look === 'phone') {
            const small = await opened.page.evaluate(() =>
              [...document.querySelectorAll('button, a.button, nav a, select, input, summary')]
                .filter((one) => one.getClientRects().length > 0 && one.type !== 'file')
                .map((one) => [one.outerHTML.slice(0, 80), one.getBoundingClientRect()])
                .filter(([, box]) => box.width < 24 || box.height < 24)
                .map(([what, box]) => `${what} ${box.width}×${box.height}`),
            );
            assert.deepEqual(small, [], 'touch targets of at least 24 px (WCAG 2.2, 2.5.8)');
          }
          assert.deepEqual(opened.wrong(), []);
        } finally {
          await opened.close();
        }
      });
    }
  });
}

describe('axe, an empty bench', () => {
  for (const view of VIEWS) {
    test(view, async () => {
      const opened = await open(browser, empty.base, `#/${view}`);
      try {
        await opened.page.waitForLoadState('networkidle');
        assert.deepEqual(await audit(opened.page), []);
        assert.deepEqual(opened.wrong(), []);
      } finally {
        await opened.close();
      }
    });
  }
});

describe('on a phone', () => {
  test('a pairing is a card: each figure behind its heading, all actions on the screen', async () => {
    const opened = await open(browser, demo.base, '#/bench', LOOKS.phone);
    try {
      const table = opened.page.getByRole('group', { name: 'Pairings' }).getByRole('table');
      await table.waitFor();
      const cells = await table.locator('tbody tr').first().locator('td').all();
      for (const cell of cells) {
        const head = await cell.evaluate((one) => getComputedStyle(one, '::before').content);
        assert.match(head, /^"(Input|State|Last check|Due|Tolerance|Actions)"$/);
      }
      for (const action of await table.locator('tbody button, tbody a').all()) {
        const box = await action.boundingBox();
        assert.ok(box.x >= 0 && box.x + box.width <= 360, JSON.stringify(box));
      }
    } finally {
      await opened.close();
    }
  });

  test('a record is read without scrolling sideways', async () => {
    const context = await browser.newContext(LOOKS.phone);
    const page = await context.newPage();
    try {
      for (const record of ['bench.html', 'assessment.html?entry=67']) {
        const response = await page.goto(`${demo.base}/api/records/${record}`);
        assert.ok(response.ok(), `${record}: ${response.status()}`);
        assert.equal(await page.evaluate(() => document.documentElement.scrollWidth), 360);
      }
    } finally {
      await context.close();
    }
  });
});

describe('the keyboard alone', () => {
  const focused = (page) => page.evaluate(() => `${document.activeElement?.tagName} ${document.activeElement?.textContent?.trim().slice(0, 60)}`);
  const tabTo = async (page, found, most = 120) => {
    for (let step = 0; step < most; step += 1) {
      await page.keyboard.press('Tab');
      if (await page.evaluate(found)) return;
    }
    assert.fail(`not reached by the tabulator: the focus is on ${await focused(page)}`);
  };

  test('skip link, then every view from the navigation, the focus on its heading', async () => {
    const opened = await open(browser, demo.base);
    const { page } = opened;
    await page.keyboard.press('Tab');
    assert.match(await focused(page), /Skip to the content/);
    await page.keyboard.press('Enter');
    assert.match(await focused(page), /^MAIN/);
    for (const view of VIEWS.slice(1)) {
      await page.locator(`nav a[href="#/${view}"]`).focus();
      await page.keyboard.press('Enter');
      await page.waitForFunction(() => document.activeElement?.tagName === 'H1');
      assert.equal(await page.locator('nav a[aria-current="page"]').getAttribute('href'), `#/${view}`);
    }
    assert.deepEqual(opened.wrong(), []);
    await opened.close();
  });

  test('levels read by eye, from the first page to the verdict', async () => {
    const opened = await open(browser, empty.base);
    const { page } = opened;
    await tabTo(page, () => document.activeElement?.textContent === 'Enter what you see');
    await page.keyboard.press('Enter');
    await page.waitForFunction(() => document.activeElement?.tagName === 'H1');
    await tabTo(page, () => document.activeElement?.getAttribute('name') === 'start');
    await page.keyboard.type('5.3');
    await page.keyboard.press('Tab');
    await page.keyboard.type('5');
    await page.keyboard.press('Enter');
    await page.locator('.reading[data-verdict="overcompensated"]').waitFor();
    await page.waitForFunction(() => /Overcompensated, e/.test(document.querySelector('[aria-live="polite"].hidden')?.textContent ?? ''));
    assert.deepEqual(opened.wrong(), []);
    await opened.close();
  });

  test('a drawing is zoomed and told as a table', async () => {
    const opened = await open(browser, demo.base, '#/compensate');
    const { page } = opened;
    await drop(page, capture({ c1: 10.5e-12 }));
    await page.getByRole('heading', { name: 'Record and fit' }).waitFor();
    const tools = page.getByRole('group', { name: 'Drawing: Record and fit' });
    await tools.getByRole('button', { name: 'Zoom in' }).focus();
    await page.keyboard.press('Enter');
    await tools.getByText(/^Shown: /).waitFor();
    await tools.getByRole('button', { name: 'Show all' }).focus();
    await page.keyboard.press('Enter');
    const table = page.locator('figure', { has: page.getByRole('heading', { name: 'Record and fit' }) }).locator('summary');
    await table.focus();
    await page.keyboard.press('Enter');
    await page.getByRole('group', { name: 'Record and fit, The same as a table' }).getByRole('row').nth(20).waitFor();
    assert.deepEqual(opened.wrong(), []);
    await opened.close();
  });

  test('a question is answered and closed by keys', async () => {
    const opened = await open(browser, demo.base, '#/bench');
    const { page } = opened;
    const end = page.getByRole('button', { name: /^End this pairing: / }).first();
    await end.focus();
    await page.keyboard.press('Enter');
    await page.getByRole('dialog').waitFor();
    assert.deepEqual(await audit(page), []);
    await page.keyboard.press('Escape');
    await page.getByRole('dialog').waitFor({ state: 'detached' });
    assert.deepEqual(opened.wrong(), []);
    await opened.close();
  });
});

test('numbers follow the reader’s locale', async () => {
  const context = await browser.newContext({ ...LOOKS.light, locale: 'de-DE' });
  const page = await context.newPage();
  await page.goto(`${demo.base}/#/theory`);
  await page.getByText(/e = −8,26.%/).waitFor();
  await context.close();
});

test('the record of a printed page holds no controls', async () => {
  const opened = await open(browser, demo.base, '#/bench');
  await opened.page.getByRole('table').first().waitFor();
  await opened.page.emulateMedia({ media: 'print' });
  assert.equal(await opened.page.locator('main button:visible').count(), 0);
  await opened.close();
});
