// The pages that a tablet keeps: a whole set of one build, nobody's own, there within a second, and replaced
// only while no check is half done.
import assert from 'node:assert/strict';
import { waitsForHalfDoneChecks } from './guards.mjs';
import { busy, offlineStory } from './offline.mjs';

const NEXT = 'the-next-one';

/** What the worker has kept, by build. */
const kept = (tablet) => tablet.page.evaluate(async () => {
  const sets = {};
  for (const name of await caches.keys()) {
    sets[name] = (await (await caches.open(name)).keys()).map(({ url }) => new URL(url).pathname).sort();
  }
  return sets;
});

offlineStory('the pages on a tablet', (promise) => {
  promise('a new release waits while a check is half done, and that check survives it (E17)', waitsForHalfDoneChecks);

  promise('an earlier release, kept on a tablet that was away, hands in to the next one what it wrote (E16)', async (stage) => {
    const tablet = await stage.cutOff();
    const before = await tablet.build();
    await tablet.checkAway('102');
    // The server is the next release by the time it can be reached; the tablet does not know that yet.
    stage.release.isNow(NEXT);
    await stage.net.heals();
    await tablet.hasSentAll();
    const rows = await tablet.rows();
    assert.deepEqual(rows.map((r) => r.state), ['received']);
    await stage.areStored(rows);
    await tablet.page.goto('/stations');
    await tablet.until(async () => await tablet.build() === NEXT, 'then the next release takes over');
    assert.notEqual(before, NEXT);
    assert.deepEqual((await tablet.rows()).map((r) => [r.id, r.state]), rows.map((r) => [r.id, 'received']), 'with what was written before');
  });

  for (const how of ['cut', 'cut, and the tablet switched off']) {
    promise(`a set is whole or not used: a new release ${how} while it is fetched leaves the old one as it was (E17)`, async (stage) => {
      const tablet = await stage.atStation();
      const [build, before] = [await tablet.build(), await kept(tablet)];
      stage.release.isNow(NEXT);
      const off = how !== 'cut';
      await stage.net.breaks(off ? 'blackhole' : 'refuse', { path: '/static/timer.js' });
      await stage.net.forget();
      await tablet.page.goto('/unsent');
      await tablet.until(() => stage.hasHappened(off ? 'blackhole' : 'refuse'), 'the new set is being fetched');
      if (off) await tablet.restart();
      await stage.net.breaks('refuse');
      const asked = [];
      tablet.page.on('request', (request) => asked.push(new URL(request.url()).pathname));
      await tablet.page.goto('/units/101/check');
      await tablet.page.locator('form[data-ready]').waitFor();
      assert.equal(await tablet.build(), build);
      assert.deepEqual((await kept(tablet))[`airmuster ${build}`], before[`airmuster ${build}`], 'nothing of it is lost');
      const parts = asked.filter((path) => /\.(js|css)$/.test(path));
      assert.ok(parts.length > 10);
      assert.deepEqual(parts.filter((path) => !path.startsWith(`/kept/${build}/`)), [], 'all of a page is of one build');

      await stage.net.heals();
      await tablet.page.goto('/stations');
      await tablet.until(async () => await tablet.build() === NEXT, 'the new release has taken over');
      await tablet.until(async () => Object.keys(await kept(tablet)).length === 2, 'one set is left');
      const now = await kept(tablet);
      assert.deepEqual(now[`airmuster ${NEXT}`], before[`airmuster ${build}`], 'and it is whole');
    });
  }

  promise('any form of the station, and one that is kept for its kind, opens within a second: server off, worker cold, a processor a quarter as fast (E25)', async (stage) => {
    const tablet = await stage.cutOff();
    const [times, work] = [{}, []];
    for (const mode of ['refuse', 'blackhole']) {
      await stage.net.breaks(mode);
      times[mode] = [];
      for (const path of ['/units/101/check', '/forms/us-4500-third']) {
        await tablet.restart();
        await tablet.context.addInitScript(() => {
          new MutationObserver((_, watch) => {
            if (!document.querySelector('form[data-ready]')) return;
            watch.disconnect();
            globalThis.readyAt = performance.now();
          }).observe(document, { subtree: true, childList: true, attributes: true });
        });
        const browser = await tablet.context.newCDPSession(tablet.page);
        await browser.send('Emulation.setCPUThrottlingRate', { rate: 4 });
        await tablet.page.goto(path);
        await tablet.page.locator('form[data-ready]').waitFor();
        times[mode].push(Math.round(await tablet.page.evaluate(() => globalThis.readyAt)));
        // And what the processor had to do for it, whatever else it did at the time.
        await browser.send('Emulation.setCPUThrottlingRate', { rate: 1 });
        await browser.send('Performance.enable', { timeDomain: 'threadTicks' });
        const done = async () => (await browser.send('Performance.getMetrics')).metrics.find((m) => m.name === 'TaskDuration').value;
        const start = await done();
        await tablet.page.goto(path);
        await tablet.page.locator('form[data-ready]').waitFor();
        work.push(Math.round(1000 * (await done() - start)));
      }
    }
    console.log(`form ready with no network at 4 × throttle: ${JSON.stringify(times)} ms; work of its thread: ${work} ms; load ${busy().toFixed(1)}`);
    // Other work on this machine makes it slower in proportion.
    for (const [mode, all] of Object.entries(times)) assert.ok(Math.min(...all) <= 1000 * busy(), `${mode}: ${all} ms`);
    assert.ok(4 * Math.min(...work) <= 1000, `${work} ms of work`);
  });

  promise('redirects pass through the worker, and without a network the start page leads to the board (E26)', async (stage) => {
    const tablet = await stage.atStation();
    await tablet.page.goto('/');
    await tablet.page.locator('body.board').waitFor();
    await tablet.page.goto('/tickets/1');
    assert.equal(new URL(tablet.page.url()).pathname, '/sign-in');
    await stage.net.breaks('refuse');
    await tablet.page.goto('/');
    await tablet.page.locator('body.board').waitFor();
    await tablet.page.goto('/tickets/1');
    await tablet.page.getByRole('heading', { name: 'The station cannot be reached' }).waitFor();
    await tablet.page.getByRole('link', { name: 'Back to the board' }).click();
    await tablet.page.locator('body.board').waitFor();
  });

  promise('are the tablet’s and nobody’s: an officer is signed in while they are fetched, and is in none of them (E32)', async (stage) => {
    const tablet = await stage.unpack();
    await tablet.signIn('m-101');
    await tablet.settleAt('Kettle Street');
    for (const path of ['/rigs', '/units/101', '/units/101/check', '/unsent', '/bench']) await tablet.page.goto(path);
    await tablet.page.goto('/stations');
    await tablet.hasKept();
    const personal = await tablet.page.evaluate(async () => {
      const found = [];
      let looked = 0;
      for (const name of await caches.keys()) {
        const cache = await caches.open(name);
        for (const request of await cache.keys()) {
          const response = await cache.match(request);
          if (!response.headers.get('content-type')?.startsWith('text/html')) continue;
          looked += 1;
          const page = new DOMParser().parseFromString(await response.text(), 'text/html');
          const own = page.querySelector('form[action="/sign-out"], nav a[href="/rigs"], nav a[href="/bench"]');
          if (own || /^\/(rigs(?!\/[^/]+\/(roster|used)$)|bench|tickets)/.test(new URL(request.url).pathname)) found.push(request.url);
        }
      }
      return { found, looked };
    });
    assert.ok(personal.looked > 10, `${personal.looked} pages looked at`);
    assert.deepEqual(personal.found, []);
    await stage.net.breaks('refuse');
    await tablet.page.goto('/units/101/check');
    await tablet.page.locator('form[data-ready]').waitFor();
    assert.equal(await tablet.page.getByRole('button', { name: /Sign out/ }).count(), 0);
  });
});
