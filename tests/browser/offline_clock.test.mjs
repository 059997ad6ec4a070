// A tablet whose clock is wrong: both times are kept as they were, nothing counts by the tablet's alone, and
// the person is told.
import assert from 'node:assert/strict';
import { LONG, offlineStory } from './offline.mjs';

const HOUR = 3600_000;
const YEAR = 365 * 24 * HOUR;

/** A tablet at its station whose pages believe that it is so much later. */
async function wrongBy(stage, apart) {
  const tablet = await stage.atStation();
  await tablet.page.clock.install({ time: Date.now() + apart });
  await tablet.page.goto('/stations');
  return tablet;
}

offlineStory('the clock of a tablet', (promise) => {
  for (const [apart, words] of [
    [3 * YEAR, '1095 days ahead of'], [-13 * HOUR, '13 hours behind'],
    ...(LONG ? [[-3 * YEAR, '1095 days behind'], [13 * HOUR, '13 hours ahead of']] : []),
  ]) {
    promise(`${words} the station’s: it is said, and the check is dated right though written offline (E19)`, async (stage) => {
      const tablet = await wrongBy(stage, apart);
      await tablet.page.getByText(`The clock of this tablet is ${words} the station’s. Check the tablet’s date and time.`).waitFor();
      await stage.net.breaks('refuse');
      const [start, before] = [await stage.seq(), Date.now()];
      await tablet.checkAway('106');
      const [row] = await tablet.rows();
      const { at, offset } = JSON.parse(row.text);
      assert.ok(Math.abs(at - apart - before) < 10 * 60_000, 'the tablet’s own time is kept');
      assert.ok(Math.abs(at + offset - Date.now()) < 2 * 60_000, `off by ${at + offset - Date.now()} ms`);
      await stage.net.heals();
      await tablet.until(async () => (await tablet.rows()).every((r) => r.state === 'received'), 'received');
      assert.equal(await stage.seq(), start + 2, 'the check, and that its signature is not proved: no doubt about its time');
    });
  }

  promise('that jumps ahead in the middle of a check: what was typed stays, and the check releases nothing (E19)', async (stage) => {
    const tablet = await wrongBy(stage, 0);
    await stage.net.breaks('refuse');
    const start = await stage.seq();
    await tablet.page.goto('/units/109/check');
    await tablet.page.locator('form[data-ready]').waitFor();
    await tablet.page.locator('article.step [data-attempt="1"] label.good').first().click();
    await tablet.page.clock.setSystemTime(Date.now() + 13 * HOUR);
    await tablet.checkHere();
    await stage.net.heals();
    await tablet.until(async () => (await tablet.rows()).every((r) => r.state === 'received'), 'received');
    assert.equal(await stage.seq(), start + 3, 'a time that has not come is doubted');
    assert.notEqual(await stage.standing('109'), 'in');
  });

  promise('that jumps back in the middle of a check: what was measured before does not date it (E19)', async (stage) => {
    const tablet = await wrongBy(stage, 0);
    await stage.net.breaks('refuse');
    const before = await stage.counting('111');
    await tablet.page.goto('/units/111/check');
    await tablet.page.locator('form[data-ready]').waitFor();
    await tablet.page.locator('article.step [data-attempt="1"] label.good').first().click();
    await tablet.page.clock.setSystemTime(Date.now() - 3 * YEAR);
    await tablet.checkHere();
    const [row] = await tablet.rows();
    assert.equal(JSON.parse(row.text).offset, undefined);
    await stage.net.heals();
    await tablet.until(async () => (await tablet.rows()).every((r) => r.state === 'received'), 'received');
    assert.equal(await stage.counting('111'), before, 'what was good three years ago does not count today');
  });
});
