// Sending: nothing is lost, nothing is doubled, nothing waits for what cannot be sent.
import assert from 'node:assert/strict';
import { isSentOnceThoughKilled, staysWhoeverAnswers } from './guards.mjs';
import { notes, offlineStory, rowOf } from './offline.mjs';

offlineStory('what is written on a tablet', (promise) => {
  promise('stays whatever else answers in the server’s place, and goes when the server does (E2)', (stage) => (
    staysWhoeverAnswers(stage, ['login-page', 'empty-object', 'no-content', 'redirect', 'server-error', 'wrong-id', 'wrong-hash'])
  ));

  for (const how of ['blackhole', 'cut-before-the-reply', 'cut-inside-the-reply', 'deliver-again']) {
    promise(`is sent once although the tablet dies while sending, and the network does “${how}” (E3)`, (stage) => (
      isSentOnceThoughKilled(stage, how)
    ));
  }

  for (const locks of [true, false]) {
    promise(`is stored once though five tabs send it, ${locks ? 'with locks' : 'and no locks keep them apart'} (E13)`, async (stage) => {
      const tablet = await stage.atStation();
      if (!locks) await tablet.context.addInitScript(() => { Object.defineProperty(Navigator.prototype, 'locks', { value: undefined }); });
      await stage.net.breaks('refuse', { path: '/api/' });
      const tabs = [tablet.page];
      while (tabs.length < 5) tabs.push(await tablet.context.newPage());
      for (const tab of tabs) await tab.goto('/unsent');
      const start = await stage.seq();
      await tablet.changeRecords({}, notes(12));
      await stage.net.breaks('delay', { path: '/api/v1/records', slow: 200 });
      await stage.net.forget();
      await Promise.all(tabs.map((tab) => tab.getByRole('button', { name: 'Send now' }).click()));
      await tablet.hasSentAll();
      await stage.areStored(await tablet.rows());
      assert.equal(await stage.seq(), start + 12);
      const sent = (await stage.net.counts()).reached['POST /api/v1/records'];
      assert.ok(locks ? sent === 12 : sent > 12, `${sent} requests for 12 records`);
    });
  }

  promise('waits for nothing: of a hundred one is no record and one cannot be judged, all others arrive, and both are shown (E20, E23)', async (stage) => {
    const tablet = await stage.cutOff();
    await tablet.page.goto('/unsent');
    const rows = notes(100);
    const song = JSON.parse(rows[10].text);
    rows[10] = rowOf(song.id, JSON.stringify({ ...song, kind: 'song' }), 11);
    rows[50] = rowOf(rows[50].id, '{"v":1,"kind":"note"}', 51);
    await tablet.changeRecords({}, rows);
    const start = await stage.seq();
    await stage.net.heals();
    await tablet.hasSentAll({ but: '2 need attention' });
    const states = (await tablet.rows()).map((r) => r.state);
    assert.equal(await stage.seq(), start + 99);
    assert.deepEqual([states[10], states[50]], ['attention', 'refused']);
    assert.equal(states.filter((s) => s === 'received').length, 98);
    await tablet.page.getByText('The station has it and cannot judge it').waitFor();
    await tablet.page.getByText('The station does not take it').waitFor();
  });

  promise('is not held up by a network that swallows everything: that is said within 5 s, and 20 s after it heals a hundred are in, without a tap (E21)', async (stage) => {
    const tablet = await stage.cutOff();
    await tablet.page.goto('/unsent');
    await tablet.changeRecords({}, notes(100));
    await stage.net.breaks('blackhole');
    await tablet.page.goto('/stations');
    await tablet.page.getByText('The station cannot be reached.').waitFor();
    const after = await tablet.page.evaluate(() => performance.now());
    assert.ok(after <= 5000, `said after ${Math.round(after)} ms`);
    await stage.net.heals();
    const healed = Date.now();
    await tablet.hasSentAll();
    const took = Date.now() - healed;
    assert.ok(took <= 20_000, `all in after ${took} ms`);
    await stage.areStored(await tablet.rows());
  });

  promise('is sent when the network is back, the tab is looked at again, on a tap, or when a page opens, with no timer (E22)', async (stage) => {
    const tablet = await stage.cutOff();
    const { page } = tablet;
    // Timers stand still: what happens now, something else has caused.
    await page.clock.install();
    await page.goto('/unsent');
    await page.clock.pauseAt(Date.now() + 3600_000);
    for (const [why, happens] of [
      ['the network is back', () => page.evaluate(() => { dispatchEvent(new Event('online')); })],
      ['the tab is looked at again', () => page.evaluate(() => { document.dispatchEvent(new Event('visibilitychange')); })],
      ['a tap', () => page.getByRole('button', { name: 'Send now' }).click()],
      ['a page opens', () => page.goto('/stations')],
    ]) {
      await stage.net.breaks('refuse');
      await tablet.changeRecords({}, notes(1));
      await stage.net.heals();
      assert.equal((await tablet.rows()).filter((r) => r.state === 'saved').length, 1, `nothing is sent before: ${why}`);
      await happens();
      await tablet.until(async () => (await tablet.rows()).every((r) => r.state === 'received'), why);
    }
  });
});
