// The store of a tablet: full, lost, held by an older page, refused, or of another version. What was typed
// stays on the screen, and the person is told what to do.
import assert from 'node:assert/strict';
import { writesStrictly } from './guards.mjs';
import { RIG, offlineStory, notes } from './offline.mjs';
import { answer } from './tablet.mjs';

const good = (page) => page.locator('article.step [data-attempt="1"] label.good');
const stays = (page) => page.locator('#unkept', { hasText: 'The answers stay on this page' });

/** A page of this origin that runs none of our scripts' stores. */
async function bare(tablet) {
  const page = await tablet.context.newPage();
  await page.goto('/static/away.html');
  return page;
}

offlineStory('the store of a tablet', (promise) => {
  promise('is written to strictly, each time (E1)', writesStrictly);

  promise('a connection that is lost is opened again, and nothing typed is lost (E10)', async (stage) => {
    const tablet = await stage.cutOff();
    await tablet.context.addInitScript(() => {
      const real = IDBFactory.prototype.open;
      globalThis.connections = [];
      IDBFactory.prototype.open = function open(...given) {
        const request = real.apply(this, given);
        request.addEventListener('success', () => globalThis.connections.push(request.result));
        return request;
      };
    });
    await tablet.page.goto('/units/108/check');
    await tablet.page.locator('form[data-ready]').waitFor();
    await good(tablet.page).first().click();
    // As a tablet does to a page in the background.
    assert.ok(await tablet.page.evaluate(() => {
      globalThis.connections.forEach((db) => db.close());
      return globalThis.connections.length;
    }));
    await answer(tablet.page);
    assert.equal(await tablet.page.locator('#unkept').count(), 0);
    await tablet.signAway();
    assert.deepEqual((await tablet.rows()).map((r) => [r.unit, r.number]), [['108', 1]]);
  });

  promise('one that is gone altogether is begun anew; who may sign is still known (E10)', async (stage) => {
    const tablet = await stage.cutOff();
    await tablet.page.goto('/units/108/check');
    await tablet.page.locator('form[data-ready]').waitFor();
    await good(tablet.page).first().click();
    const other = await bare(tablet);
    await other.evaluate(() => new Promise((done, failed) => {
      Object.assign(indexedDB.deleteDatabase('airmuster'), { onsuccess: done, onerror: failed });
    }));
    await other.close();
    await answer(tablet.page);
    await tablet.signAway();
    assert.deepEqual((await tablet.rows()).map((r) => r.number), [1], 'a new store counts anew');
  });

  promise('full: it says so, the answers stay, and the check is saved once there is room (E8)', async (stage) => {
    const tablet = await stage.cutOff();
    // A store that is open already asks only now and then how much room there is.
    await tablet.restart();
    const browser = await tablet.context.newCDPSession(tablet.page);
    await browser.send('Storage.overrideQuotaForOrigin', { origin: tablet.url, quotaSize: 1 });
    await tablet.page.goto('/units/110/check');
    await tablet.page.locator('form[data-ready]').waitFor();
    await good(tablet.page).first().click();
    await stays(tablet.page).waitFor();
    await tablet.page.locator('#unkept', { hasText: 'The storage of this tablet is full.' }).waitFor();
    await tablet.picture('offline-storage-full');
    assert.deepEqual(await tablet.faults(), []);
    await answer(tablet.page);
    await tablet.review();
    await tablet.page.getByRole('button', { name: 'Save on this tablet' }).click();
    await tablet.page.getByText('The storage of this tablet is full. This check is not saved.').waitFor();
    assert.deepEqual(await tablet.rows(), []);
    await browser.send('Storage.overrideQuotaForOrigin', { origin: tablet.url });
    await tablet.page.getByRole('button', { name: 'Save on this tablet' }).click();
    await tablet.page.getByText(/^Saved on this tablet .*not yet received\./).waitFor();
    assert.equal((await tablet.rows()).length, 1);
  });

  promise('almost full, or not promised by the browser: it says so (E8)', async (stage) => {
    const tablet = await stage.atStation();
    await tablet.page.goto('/unsent');
    await tablet.page.getByText('The browser has not promised to keep what is stored here').waitFor();
    await tablet.page.getByText('Install this program on the home screen').waitFor();
    // This browser tells every origin of plenty of room.
    await tablet.context.addInitScript(() => {
      StorageManager.prototype.estimate = async () => ({ usage: 85, quota: 100 });
    });
    await tablet.page.goto('/stations');
    await tablet.page.getByText('The storage of this tablet is almost full.').waitFor();
  });

  promise('held by an older page: it says which tab to close, the answers stay, and then it goes on (E10, E18)', async (stage) => {
    const tablet = await stage.unpack();
    const old = tablet.page;
    await old.goto('/static/away.html');
    await old.evaluate(() => new Promise((done) => {
      const request = indexedDB.open('airmuster', 1);
      request.onupgradeneeded = () => {
        request.result.createObjectStore('drafts', { keyPath: 'key' });
        request.result.createObjectStore('records', { keyPath: 'id' });
      };
      // It does not listen for a newer page.
      request.onsuccess = () => { globalThis.held = request.result; done(); };
    }));
    tablet.page = await tablet.context.newPage();
    await tablet.page.goto('/units/111/check');
    await tablet.page.locator('form[data-ready]').waitFor();
    await good(tablet.page).first().click();
    await stays(tablet.page).waitFor();
    await tablet.page.locator('#unkept', { hasText: 'Close every other tab of it' }).waitFor();
    await good(tablet.page).nth(1).click();
    assert.equal(await good(tablet.page).locator('input:checked').count(), 2);
    // Nothing more is pressed here: what stands on the page is kept as soon as it can be.
    await old.close();
    await tablet.page.locator('#unkept').waitFor({ state: 'detached' });
    await tablet.page.reload();
    await tablet.page.getByText('2 steps kept on this tablet').waitFor();
  });

  promise('refused by the browser’s settings: the page works, says so, and the answers stay', async (stage) => {
    const tablet = await stage.unpack({ preferences: { profile: { default_content_setting_values: { cookies: 2 } } } });
    await tablet.page.goto('/units/113/check');
    await tablet.page.locator('form[data-ready]').waitFor();
    assert.equal(await tablet.page.evaluate(() => {
      try {
        return typeof localStorage;
      } catch (e) {
        return e.name;
      }
    }), 'SecurityError', 'this browser refuses');
    await good(tablet.page).first().click();
    await stays(tablet.page).waitFor();
    await tablet.page.locator('#unkept', { hasText: 'This browser keeps nothing for this program.' }).waitFor();
    await answer(tablet.page);
    await tablet.page.locator('.bar').getByRole('button', { name: 'Review' }).click();
    // The station is there: it is signed there.
    await tablet.page.getByRole('button', { name: 'Sign and hand in' }).last().waitFor();
  });

  promise('a newer version takes it over within 5 s though three tabs are open, and these say what to do (E18)', async (stage) => {
    const tablet = await stage.atStation();
    const old = [];
    for (const unit of RIG.slice(0, 3)) {
      const tab = await tablet.context.newPage();
      await tab.goto(`/units/${unit}/check`);
      await tab.locator('form[data-ready]').waitFor();
      await good(tab).first().click();
      old.push(tab);
    }
    await tablet.changeRecords({}, notes(1));
    stage.release.changes('/static/store.js', (text) => text.replace(/const VERSION = (\d+)/, (_, n) => `const VERSION = ${Number(n) + 1}`));
    await tablet.page.goto('/units/115/check');
    await tablet.page.locator('form[data-ready]').waitFor();
    const took = await tablet.page.evaluate(() => performance.now());
    assert.ok(took < 5000, `ready after ${Math.round(took)} ms`);
    await good(tablet.page).first().click();
    await tablet.page.locator('#progress', { hasText: /^1 of/ }).waitFor();
    assert.equal(await tablet.page.locator('#unkept').count(), 0);
    for (const tab of old) {
      await good(tab).nth(1).click();
      await stays(tab).waitFor();
      await tab.locator('#unkept', { hasText: 'A newer version of this program has used the store.' }).waitFor();
      assert.equal(await good(tab).locator('input:checked').count(), 2);
    }
  });

  promise('the first version’s records and drafts are carried forwards, and sent', async (stage) => {
    const tablet = await stage.unpack();
    await tablet.page.goto('/static/away.html');
    const [{ id, text }] = notes(1);
    await tablet.page.evaluate((row) => new Promise((done) => {
      const request = indexedDB.open('airmuster', 1);
      request.onupgradeneeded = () => {
        request.result.createObjectStore('drafts', { keyPath: 'key' }).add({ key: '101/shift-start', run: row.id, fields: [['a.harness-condition.1.good', 'yes']], at: 1, seen: [], written: {} });
        request.result.createObjectStore('records', { keyPath: 'id' }).add(row);
      };
      request.onsuccess = () => { request.result.close(); done(); };
    }), { id, text });
    await tablet.page.goto('/unsent');
    await tablet.page.getByRole('link', { name: 'Go on' }).waitFor();
    await tablet.hasSentAll();
    const [row] = await tablet.rows();
    assert.deepEqual([row.state, row.text], ['received', text]);
  });
});
