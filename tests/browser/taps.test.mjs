// What a shift-start check of one good unit costs a hand in a glove: every tap and every digit counted,
// from the board to “saved”.
import assert from 'node:assert/strict';
import { readFile } from 'node:fs/promises';
import { TABLET, story } from './harness.mjs';

const PIN = '246810';
const CREW = 'm-102';
const GUIDE = new URL('../../docs/crew.md', import.meta.url);

/** Fingers that count: nothing is done but by a tap on what is seen, or a digit where the cursor stands. */
function fingers(page) {
  const count = { taps: 0, digits: 0, controls: new Set() };
  return {
    count,
    async tap(what) {
      await what.tap();
      count.taps += 1;
    },
    async type(digits) {
      await page.keyboard.type(digits);
      count.digits += digits.length;
    },
  };
}

story('The hands of whoever checks', (promise) => {
  promise('make one tap a step, type the digits that are read, and wait for nothing but what is timed', async ({ open }) => {
    const { page } = await open({ ...TABLET, hasTouch: true });
    const { count, tap, type } = fingers(page);
    await page.goto('/stations/kettle');
    await tap(page.locator('li.line', { hasText: 'Unit 101' }).getByRole('link', { name: /check/i }));
    await page.locator('form.check[data-ready]').waitFor();
    const begun = Date.now();
    assert.equal(await page.locator('form.check :disabled').count(), 0, 'nothing on the form has to be waited for');

    const steps = await page.locator('article.step').evaluateAll((all) => all.map((a) => a.dataset.step));
    const timed = [];
    for (const id of steps) {
      const before = count.taps;
      const step = page.locator(`article[data-step="${id}"]`);
      const field = (name) => page.locator(`[name="a.${id}.1.${name}"]`);
      if (id === 'cylinder-pressure' || id === 'low-air-alarm') {
        await tap(field('at'));
        await type(id === 'low-air-alarm' ? '1980' : '5350');
      } else if (id === 'gauge-agreement') {
        await tap(field('cylinder'));
        await type('5350');
        // The second gauge has come by itself.
        await type('5300');
        assert.equal(await field('remote').inputValue(), '5300');
      } else if (id === 'facepiece-vacuum') {
        // It runs while the hands go on, and enters by itself how long it held.
        timed.push([field('held'), await step.locator('[data-timer]').getAttribute('data-seconds')]);
        await tap(step.locator('[data-timer]'));
      } else {
        await tap(step.locator('label.good').first());
      }
      assert.equal(count.taps, before + 1, `one tap at ${id}`);
    }
    const handled = Date.now() - begun;
    const longest = 1000 * Math.max(...timed.map(([, seconds]) => Number(seconds)));
    for (const [held, seconds] of timed) {
      await page.waitForFunction(([name, value]) => document.querySelector(`[name="${name}"]`).value === value, [await held.getAttribute('name'), seconds], { timeout: longest + 10_000 });
    }
    await page.locator('[data-progress=done]').getByText(`${steps.length} of ${steps.length}`).waitFor();
    const form = { ...count };

    await tap(page.locator('.bar').getByRole('button', { name: 'Review' }));
    await page.getByRole('heading', { name: 'review and sign' }).waitFor();
    // The list of names opens with one tap and is chosen from with another; a test cannot touch the system's list.
    await tap(page.locator('#member'));
    await page.locator('#member').selectOption(CREW);
    count.taps += 1;
    await tap(page.locator('#pin'));
    await type(PIN);
    await tap(page.getByRole('button', { name: 'Sign and hand in' }).last());
    await page.waitForURL(/\/verdict$/);
    await page.getByRole('heading', { level: 1, name: 'In service' }).waitFor();

    console.log(`${steps.length} steps: ${count.taps} taps and ${count.digits} digits; the form alone ${form.taps - 1} taps, handled in ${handled} ms`);
    const guide = (await readFile(GUIDE, 'utf8')).replaceAll(/\s+/g, ' ');
    const said = `${steps.length} steps take ${count.taps} taps and ${count.digits} digits`;
    assert.ok(guide.includes(said), `docs/crew.md says: ${said}`);
  });
});
