// Nothing recorded on a tablet is ever lost, doubled or changed: a real browser on a real disk, a network
// that breaks, and the program. (E1, …) names the requirement that a test proves.
import assert from 'node:assert/strict';
import { RIG, offlineStory } from './offline.mjs';
import { answer } from './tablet.mjs';

offlineStory('a shift with no network', (promise) => {
  promise('every unit of a rig is checked, the tablet dies half way and after the last word, and each check arrives once, byte for byte', async (stage) => {
    const tablet = await stage.atStation();
    const start = await stage.seq();
    await stage.net.breaks('refuse');
    await stage.net.forget();
    for (const [n, unit] of RIG.entries()) {
      await tablet.checkAway(unit);
      if (n === 1 || n === RIG.length - 1) await tablet.restart();
    }
    await tablet.page.goto('/unsent');
    await tablet.page.getByText('4 saved here, not yet received.').waitFor();
    const written = await tablet.rows();
    assert.deepEqual(written.map((r) => [r.unit, r.state, r.number]), RIG.map((unit, n) => [unit, 'saved', n + 1]));
    const records = written.map((r) => JSON.parse(r.text));
    assert.deepEqual(records.map((r) => r.before), [null, ...written.slice(0, -1).map((r) => r.digest)]);
    assert.equal(new Set(records.map((r) => r.incarnation)).size, 1);
    assert.deepEqual(records.map((r) => [r.body.outcome, r.body.run === r.id]), RIG.map(() => ['complete', true]));
    assert.deepEqual((await stage.net.counts()).reached, {}, 'nothing reached the server');
    assert.equal(await stage.seq(), start);

    await stage.net.heals();
    await tablet.hasSentAll();
    const sent = await tablet.rows();
    assert.deepEqual(sent.map((r) => [r.state, r.text]), written.map((r) => ['received', r.text]));
    await stage.areStored(sent);
    // Each check and, beside it, that its signature is not proved yet.
    assert.equal(await stage.seq(), start + 2 * RIG.length);
  });

  for (const first of [0, 1]) {
    promise(`of two tablets that were apart one finds a fault: out of service, whichever arrives ${first ? 'last' : 'first'}`, async (stage) => {
      const unit = first ? '106' : '105';
      const [good, bad] = [await stage.atStation(), await stage.atStation()];
      await stage.net.breaks('refuse');
      await good.checkAway(unit);
      await bad.checkAway(unit, ['bypass']);
      await bad.page.getByRole('heading', { name: 'Out of service' }).waitFor();
      // One tablet is out of reach until the other has sent.
      const [early, late] = first ? [good, bad] : [bad, good];
      await late.context.setOffline(true);
      await stage.net.heals();
      await early.hasSentAll();
      assert.equal(await stage.standing(unit), first ? 'in' : 'out');
      await late.context.setOffline(false);
      await late.hasSentAll();
      assert.equal(await stage.standing(unit), 'out');
      for (const tablet of [good, bad]) {
        await stage.areStored(await tablet.rows());
      }
    });
  }

  promise('the board shows at once what was found here, the worse of two, and how much waits is on every page (E23)', async (stage) => {
    const tablet = await stage.cutOff();
    await tablet.checkAway('109', ['bypass']);
    await tablet.page.getByRole('link', { name: 'Back to the board' }).click();
    const line = tablet.page.locator('.line', { has: tablet.page.getByRole('link', { name: 'Unit 109' }) });
    await line.getByText('Out of service').waitFor();
    await line.getByText(/Saved here .*, not yet received\./).waitFor();
    await tablet.page.locator('.rig', { has: line }).getByText('3 of 4').waitFor();
    await tablet.page.getByText(/^As of \d\d:\d\d\. The station cannot be reached\.$/).waitFor();
    await tablet.picture('offline-board');
    assert.deepEqual(await tablet.faults(), [], 'fit to use (E35)');
    for (const path of ['/units/109', '/units/109/check', '/unsent', '/stations']) {
      await tablet.page.goto(path);
      // The broken-off check at the answer, and the check.
      await tablet.page.locator('#unsent', { hasText: '2 saved here, not yet received' }).waitFor();
    }
    await stage.net.heals();
    await tablet.hasSentAll();
    await tablet.page.goto('/unsent');
    await tablet.page.getByText('Received', { exact: true }).first().waitFor();
  });

  promise('a unit that moved in is checked with the form of its kind; the bell leaves a stopped check, and both arrive', async (stage) => {
    const tablet = await stage.atStation();
    const other = await tablet.page.evaluate(async () => {
      const { units, pages } = await (await fetch('/offline/list')).json();
      return units.find((unit) => !pages.includes(`/units/${unit.number}/check`)).number;
    });
    await stage.net.breaks('refuse');
    await tablet.page.goto('/unsent');
    await tablet.page.getByLabel('Unit number').fill(other);
    await tablet.page.getByRole('button', { name: 'Start check' }).click();
    await tablet.page.getByRole('heading', { name: `Unit ${other}` }).waitFor();
    await answer(tablet.page);
    await tablet.signAway();
    await tablet.page.goto('/units/111/check');
    await tablet.page.locator('form[data-ready]').waitFor();
    await tablet.page.locator('article[data-step=stowed] [data-attempt="1"] label.good').click();
    await tablet.page.getByRole('button', { name: 'Stop, we have a call' }).click();
    await tablet.page.locator('body.board').waitFor();
    const line = tablet.page.locator('.line', { has: tablet.page.getByRole('link', { name: 'Unit 111' }) });
    await line.getByText('Check due').waitFor();
    const records = (await tablet.rows()).map((r) => JSON.parse(r.text).body);
    assert.deepEqual(records.map((b) => [b.unit, b.outcome]), [[other, 'complete'], ['111', 'stopped']]);
    await stage.net.heals();
    await tablet.hasSentAll();
    await stage.areStored(await tablet.rows());
    assert.equal(await stage.standing('111'), 'due');
  });
});
