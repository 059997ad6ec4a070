// What a person was told is saved stays, whatever happens to the tablet.
import assert from 'node:assert/strict';
import { outlivesSigningOut } from './guards.mjs';
import { LONG, RIG, offlineStory } from './offline.mjs';

const KILLS = LONG ? 100 : 20;

offlineStory('what a person was told is saved', (promise) => {
  promise(`is there after the battery is pulled at that word, ${KILLS} times (E1)`, async (stage) => {
    const tablet = await stage.cutOff();
    for (let n = 1; n <= KILLS; n += 1) {
      await tablet.checkAway(RIG[n % RIG.length]);
      await tablet.restart();
      await tablet.page.goto('/unsent');
      const rows = await tablet.rows();
      assert.deepEqual(rows.map((r) => r.number), Array.from({ length: n }, (_, i) => i + 1));
    }
    await stage.net.heals();
    await tablet.hasSentAll();
    await stage.areStored(await tablet.rows());
  }, KILLS * 20_000);

  promise('is delivered after four hundred days, and said to be old after one (E5, E8)', async (stage) => {
    const tablet = await stage.cutOff();
    await tablet.checkAway('114');
    await tablet.changeRecords({ at: Date.now() - 400 * 24 * 3600 * 1000 });
    await tablet.page.goto('/stations');
    await tablet.page.getByText('This tablet has kept records for more than a day.').waitFor();
    await stage.net.heals();
    await tablet.hasSentAll();
    await stage.areStored(await tablet.rows());
  });

  promise('half a check is there after the battery is pulled, answer by answer (E6)', async (stage) => {
    const tablet = await stage.cutOff();
    await tablet.page.goto('/units/113/check');
    await tablet.page.locator('form[data-ready]').waitFor();
    for (let n = 0; n < 10; n += 1) await tablet.page.locator('article.step [data-attempt="1"] label.good').nth(n).click();
    await tablet.page.locator('#progress', { hasText: /^10 of/ }).waitFor();
    // What is written is what the store has, not what the screen shows.
    await tablet.page.evaluate(() => new Promise((done) => {
      indexedDB.open('airmuster').onsuccess = ({ target: { result: db } }) => {
        const look = () => {
          db.transaction('drafts').objectStore('drafts').getAll().onsuccess = ({ target: { result } }) => {
            const answered = result[0]?.fields.filter(([name, value]) => name.endsWith('.good') && value).length;
            if (answered < 10) look();
            else { db.close(); done(); }
          };
        };
        look();
      };
    }));
    await tablet.restart();
    await tablet.page.goto('/units/113/check');
    await tablet.page.getByText('10 steps kept on this tablet').waitFor();
    await tablet.page.locator('#progress', { hasText: /^10 of/ }).waitFor();
    assert.equal(await tablet.page.locator('article.step [data-attempt="1"] label.good input:checked').count(), 10);
  });

  promise('goes to a file, is taken in elsewhere, twice, and is stored once (E7)', async (stage) => {
    const tablet = await stage.cutOff();
    await tablet.checkAway('107');
    await tablet.page.goto('/unsent');
    const [download] = await Promise.all([
      tablet.page.waitForEvent('download'), tablet.page.getByRole('button', { name: 'Save to a file' }).click(),
    ]);
    const file = await download.path();
    await tablet.page.getByText('1 saved to a file.').waitFor();
    const rows = await tablet.rows();
    const officer = await stage.unpack({ url: stage.station.program.url });
    await officer.signIn('m-101', '/unsent/import');
    const start = await stage.seq();
    for (let twice = 0; twice < 2; twice += 1) {
      await officer.page.locator('#file').setInputFiles(file);
      await officer.page.getByRole('button', { name: 'Take them in' }).click();
      await officer.page.getByRole('heading', { name: 'What became of them' }).waitFor();
      await officer.page.goto('/unsent/import');
    }
    assert.equal(await stage.seq(), start + 2, 'the check, and that its signature is not proved');
    await stage.net.heals();
    await tablet.hasSentAll();
    assert.equal(await stage.seq(), start + 2);
    const [{ text, digest }] = await tablet.rows();
    assert.deepEqual([text, digest], [rows[0].text, rows[0].digest]);
  });

  promise('outlives signing in and out and the end of the session (E9)', outlivesSigningOut);
});
