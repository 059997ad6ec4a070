// Fit for gloves, bad eyes and cheap tablets: sizes, contrast, focus, weight and speed, with and without the
// station.
import assert from 'node:assert/strict';
import { busy, notes, offlineStory } from './offline.mjs';

const KIB = 1024;
const PLACES = ['/stations/kettle', '/units/101', '/units/101/check', '/unsent', '/stations', '/unproven'];

/** Controls that are smaller than a finger in a glove, or opposite answers that are too close. */
const tooSmall = (page, { control, main }) => page.evaluate(([least, large]) => {
  const found = [];
  const shown = (e) => e.checkVisibility({ visibilityProperty: true, opacityProperty: true }) && e.getBoundingClientRect().width > 1;
  const name = (e) => `${e.tagName.toLowerCase()}${e.className && typeof e.className === 'string' ? `.${e.className}` : ''} “${e.textContent.trim().slice(0, 30)}”`;
  const box = (e) => e.getBoundingClientRect();
  const say = (e, size, needs) => found.push(`${name(e)}: ${size} px high, ${needs} needed`);
  for (const e of document.querySelectorAll('a[href], button, input, select, textarea, summary, .choice label')) {
    if (!shown(e) || e.closest('.vh, .skip') || e.matches('[type=hidden], [type=radio], [type=checkbox]')) continue;
    // A link within a sentence is as high as its line.
    if (e.tagName === 'A' && getComputedStyle(e).display === 'inline') continue;
    const { height } = box(e);
    const isAnswer = e.matches('.choice label') && e.parentElement.children.length > 1;
    const isMain = e.matches('.acts .do, .bar button');
    if (height + 0.5 < (isAnswer || isMain ? large : least)) say(e, Math.round(height), isAnswer || isMain ? large : least);
  }
  for (const choice of document.querySelectorAll('.choice')) {
    const labels = [...choice.children].filter(shown);
    for (const [i, one] of labels.slice(1).entries()) {
      const [a, b] = [box(labels[i]), box(one)];
      const apart = Math.max(b.left - a.right, b.top - a.bottom);
      if (apart + 0.5 < 16) found.push(`${name(one)}: ${Math.round(apart)} px from its opposite`);
    }
  }
  const wide = document.documentElement.scrollWidth - document.documentElement.clientWidth;
  if (wide > 0) found.push(`${wide} px too wide`);
  return [...new Set(found)];
}, [control, main]);

offlineStory('a tablet in a bay', (promise) => {
  promise('every control is large enough, at three sizes of screen, with gloves and without, with the station and without (E34)', async (stage) => {
    const tablet = await stage.atStation();
    const wrong = [];
    for (const away of [false, true]) {
      if (away) await stage.net.breaks('refuse');
      for (const gloves of [false, true]) {
        await tablet.page.evaluate((on) => localStorage.setItem('gloves', on ? 'on' : 'off'), gloves);
        for (const [width, height] of [[360, 740], [800, 1280], [1440, 900]]) {
          await tablet.page.setViewportSize({ width, height });
          for (const path of away ? ['/units/101/check', '/tickets/1'] : PLACES) {
            await tablet.page.goto(path);
            await tablet.page.locator('main').waitFor();
            const small = await tooSmall(tablet.page, { control: 56, main: gloves ? 126 : 76 });
            wrong.push(...small.map((say) => `${path} at ${width}${gloves ? ' with gloves' : ''}${away ? ', away' : ''}: ${say}`));
          }
        }
      }
    }
    assert.deepEqual(wrong, [], wrong.join('\n'));
  });

  promise('review, verdict and what is kept have no fault that can be found, contrast is 7:1, by day and by night (E35)', async (stage) => {
    const tablet = await stage.cutOff();
    const wrong = [];
    const look = async (name) => {
      await tablet.picture(`offline-${name}`);
      for (const colorScheme of ['light', 'dark']) {
        await tablet.page.emulateMedia({ colorScheme });
        wrong.push(...(await tablet.faults({ strict: true })).map((say) => `${name}, ${colorScheme}: ${say}`));
      }
      await tablet.page.emulateMedia({ colorScheme: null });
      await tablet.page.setViewportSize({ width: 360, height: 740 });
      await tablet.picture(`offline-${name}-360`);
      const wide = await tablet.page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
      if (wide > 0) wrong.push(`${name}: ${wide} px too wide at 360`);
      await tablet.page.setViewportSize({ width: 800, height: 1280 });
    };
    await tablet.page.goto('/units/109/check');
    await tablet.page.locator('form[data-ready]').waitFor();
    await look('form');
    await tablet.fillIn(['bypass']);
    await tablet.review();
    await look('review');
    await tablet.page.getByRole('button', { name: 'Save on this tablet' }).click();
    await tablet.page.getByText(/^Saved on this tablet .*not yet received\./).waitFor();
    assert.equal(await tablet.page.locator('main h1:visible').count(), 1, 'nothing but the verdict is shown');
    await look('verdict');
    await tablet.page.getByRole('link', { name: 'Back to the board' }).click();
    await tablet.page.getByText(/Saved here .*, not yet received\./).waitFor();
    await look('board');
    await tablet.page.goto('/unsent');
    await tablet.page.getByText('saved here, not yet received.').waitFor();
    await look('unsent');
    await tablet.page.goto('/units/109');
    await tablet.page.getByText(/Saved here .*, not yet received\./).waitFor();
    await tablet.page.locator('section.stand.is-out').waitFor();
    await look('unit');
    await tablet.page.goto('/tickets/1');
    await tablet.page.getByRole('heading', { name: 'The station cannot be reached' }).waitFor();
    await look('away');
    assert.deepEqual(wrong, [], wrong.join('\n'));
  });

  promise('without the station too, what is to be put right takes the focus and leads to each field (E35)', async (stage) => {
    const tablet = await stage.cutOff();
    await tablet.page.goto('/units/101/check');
    await tablet.fillIn();
    await tablet.page.locator('[name="a.gauge-agreement.1.remote"]').fill('lots');
    await tablet.page.locator('.bar').getByRole('button', { name: 'Review' }).click();
    const summary = tablet.page.locator('#problems');
    await summary.getByRole('heading', { name: 'One thing to put right' }).waitFor();
    assert.ok(await summary.evaluate((e) => e === document.activeElement), 'it has the focus');
    assert.deepEqual(await tablet.faults({ strict: true }), []);
    await summary.getByRole('link').click();
    assert.equal(await tablet.page.evaluate(() => document.activeElement.name), 'a.gauge-agreement.1.remote');
    await tablet.page.locator('[name="a.gauge-agreement.1.remote"]').fill('5500');
    await tablet.page.locator('[name="a.facepiece-identity.1.item"]').fill('F 9');
    await tablet.page.locator('.bar').getByRole('button', { name: 'Review' }).click();
    await summary.getByText('copy the number as it is painted').waitFor();
  });

  promise('a first visit to a board and a form loads 100 kB at most, each page 50 KiB of script, nothing from elsewhere (E36)', async (stage) => {
    const tablet = await stage.unpack();
    await tablet.page.goto('about:blank');
    const browser = await tablet.context.newCDPSession(tablet.page);
    await browser.send('Network.enable');
    const kinds = new Map();
    let loaded = [];
    browser.on('Network.responseReceived', ({ requestId, type }) => kinds.set(requestId, type));
    browser.on('Network.loadingFinished', ({ requestId, encodedDataLength }) => loaded.push([kinds.get(requestId), encodedDataLength]));
    const weigh = async (path, ready) => {
      loaded = [];
      await tablet.page.goto(path, { waitUntil: 'networkidle' });
      await tablet.page.locator(ready).waitFor();
      const sum = (of) => loaded.filter(([kind]) => of(kind)).reduce((all, [, bytes]) => all + bytes, 0);
      return { all: sum(() => true), script: sum((kind) => kind === 'Script') };
    };
    // Without the worker, which fetches the rest of the station ahead in its own time.
    await browser.send('Network.setBypassServiceWorker', { bypass: true });
    const board = await weigh('/stations/kettle', 'body.board');
    const form = await weigh('/units/101/check', 'form[data-ready]');
    await browser.send('Network.setCacheDisabled', { cacheDisabled: true });
    const alone = await weigh('/units/101/check', 'form[data-ready]');
    console.log(`bytes over the network: board ${board.all}, then form ${form.all}; a form alone ${alone.all}, of it script ${alone.script}`);
    assert.ok(board.all + form.all <= 100_000, `${board.all} + ${form.all} bytes`);
    assert.ok(alone.all <= 100 * KIB && board.all <= 100 * KIB);
    assert.ok(alone.script > 10_000 && alone.script <= 50 * KIB, `${alone.script} bytes of script`);
  });

  promise('a tap is painted within 100 ms with a thousand records waiting and a processor a quarter as fast (E36)', async (stage) => {
    const tablet = await stage.cutOff();
    await tablet.page.goto('/unsent');
    await tablet.changeRecords({}, notes(1000));
    await tablet.page.goto('/units/101/check');
    await tablet.page.locator('form[data-ready]').waitFor();
    await tablet.page.locator('#unsent', { hasText: '1000 saved here' }).waitFor();
    const browser = await tablet.context.newCDPSession(tablet.page);
    await browser.send('Emulation.setCPUThrottlingRate', { rate: 4 });
    await tablet.page.evaluate(() => {
      globalThis.taps = [];
      document.addEventListener('click', ({ timeStamp, target }) => {
        if (!target.closest('label.good')) return;
        // The next frame has been handed over when a task of its own comes after it.
        requestAnimationFrame(() => setTimeout(() => globalThis.taps.push(performance.now() - timeStamp)));
      }, { capture: true });
    });
    const good = tablet.page.locator('article.step [data-attempt="1"] label.good');
    for (let n = 0; n < 12; n += 1) {
      await good.nth(n).click();
      await tablet.page.waitForFunction((count) => globalThis.taps.length >= count, n + 1);
    }
    const taps = (await tablet.page.evaluate(() => globalThis.taps)).map(Math.round).sort((a, b) => a - b);
    console.log(`tap to paint at 4 × throttle with 1,000 records: ${taps} ms; load ${busy().toFixed(1)}`);
    const median = taps[taps.length >> 1];
    assert.ok(median <= 100 * busy(), `half of the taps took more than ${median} ms`);
  });
});
