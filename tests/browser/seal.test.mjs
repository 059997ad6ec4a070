// Signing with no network: the PIN is sealed on the tablet, and the server says later whether it was right.
// (E28, E29) name the requirement that a test proves.
import assert from 'node:assert/strict';
import { execFileSync } from 'node:child_process';
import { readFileSync, readdirSync } from 'node:fs';
import { join } from 'node:path';
import { after, before, describe, test } from 'node:test';
import { TABLET } from './harness.mjs';
import { BINARY } from './program.mjs';
import { Tablet, answer, startStation } from './tablet.mjs';

const SIGNER = 'm-102';
// Long enough to be found nowhere by chance.
const PIN = '73519264801357';
const OFFICER = ['m-101', '246810'];
const UNITS = ['101', '102', '103'];
const MANY = Number(process.env.SIGNATURES ?? 20);

let station;
before(async () => {
  station = await startStation();
  execFileSync(BINARY, ['person', '--data', station.program.data, SIGNER, 'Tobias Wrenfield'], { input: `${PIN}\n` });
});
after(() => station?.stop());

/** A check made and signed while the station cannot be reached. */
async function signedOffline({ page }, unit, pin, look = () => {}) {
  await page.goto(`/units/${unit}/check`);
  await answer(page);
  await page.locator('.bar').getByRole('button', { name: 'Review' }).click();
  await page.getByRole('heading', { name: `Unit ${unit}: review and sign` }).waitFor();
  await page.getByLabel('I did this check').selectOption(SIGNER);
  if (pin) await page.getByLabel('PIN', { exact: true }).fill(pin);
  await look(page);
  await page.getByRole('button', { name: 'Save on this tablet' }).click();
  await page.getByText(/Saved on this tablet .*, not yet received\./).waitFor();
}

const saysLater = (page) => page.locator('[data-of=said]', { hasText: 'Your PIN is asked when the station can be reached.' }).waitFor();

async function cutOff() {
  await station.net.heals();
  const tablet = await Tablet.unpack(station.net.url);
  await tablet.settleAt('Kettle Street');
  // The key to which it seals comes with the list of who may sign.
  const hasKey = () => tablet.page.evaluate(() => new Promise((done) => {
    indexedDB.open('airmuster').onsuccess = ({ target: { result: db } }) => {
      db.transaction('meta').objectStore('meta').get('list').onsuccess = (e) => { db.close(); done(Boolean(e.target.result?.value.seal_key)); };
    };
  }));
  for (let n = 0; !await hasKey(); n += 1) {
    assert.ok(n < 200, 'the tablet has no key to seal to');
    await new Promise((done) => { setTimeout(done, 100); });
  }
  await station.net.breaks('refuse');
  return tablet;
}

/** What the page of signatures to prove says, once it says this. */
async function says({ page }, words) {
  for (let n = 0; ; n += 1) {
    await page.goto('/unproven');
    if (await page.getByText(words).first().isVisible()) return;
    assert.ok(n < 100, await page.locator('main').innerText());
  }
}

async function received({ page }) {
  await station.net.heals();
  await page.goto('/unsent');
  await page.getByRole('button', { name: 'Send now' }).click();
  await page.getByText('The station has everything.').waitFor();
}

const files = (folder) => readdirSync(folder, { recursive: true, withFileTypes: true })
  .filter((entry) => entry.isFile()).map((entry) => join(entry.parentPath, entry.name));

describe('a signature made with no network', () => {
  test(`is proven once the station is back; after ${MANY} of them the tablet holds no PIN (E28)`, { timeout: 600_000 }, async () => {
    const tablet = await cutOff();
    try {
      for (let n = 0; n < MANY; n += 1) await signedOffline(tablet, UNITS[n % UNITS.length], PIN);
      const rows = (await tablet.rows()).filter(({ outcome }) => outcome === 'complete');
      assert.equal(rows.length, MANY);
      assert.equal(new Set(rows.map(({ seal }) => seal)).size, MANY, 'no two seals are the same');
      assert.deepEqual([...new Set(rows.map(({ seal }) => seal.length))], [250]);

      const held = await tablet.page.evaluate(async () => {
        const out = [document.cookie, JSON.stringify({ ...localStorage }), JSON.stringify({ ...sessionStorage })];
        for (const name of await caches.keys()) {
          const cache = await caches.open(name);
          for (const request of await cache.keys()) out.push(request.url, await (await cache.match(request)).text());
        }
        for (const { name } of await indexedDB.databases()) {
          const db = await new Promise((done) => { indexedDB.open(name).onsuccess = (e) => done(e.target.result); });
          for (const store of db.objectStoreNames) {
            const all = await new Promise((done) => { db.transaction(store).objectStore(store).getAll().onsuccess = (e) => done(e.target.result); });
            out.push(JSON.stringify(all));
          }
          db.close();
        }
        return out.join('\n');
      });
      assert.ok(held.includes(SIGNER) && held.includes(rows[0].seal), 'looked in the wrong place');
      assert.ok(!held.includes(PIN), 'the PIN is in the storage of the page');
      assert.ok(!JSON.stringify(await tablet.context.cookies()).includes(PIN));

      // And on the disk, whatever the browser wrote down by itself.
      await tablet.context.close();
      const needles = [Buffer.from(PIN, 'latin1'), Buffer.from(PIN, 'utf16le')];
      let found = 0;
      for (const file of files(tablet.folder)) {
        const bytes = readFileSync(file);
        // The store packs what is older; what was written last stands there as it is.
        if (rows.some(({ digest }) => bytes.includes(digest))) found += 1;
        for (const needle of needles) assert.ok(!bytes.includes(needle), `the PIN is in ${file}`);
      }
      assert.ok(found > 0, 'the record itself is on the disk, where one looks');

      await tablet.start();
      await received(tablet);
      await says(tablet, 'Every check that was handed in is signed.');
      assert.deepEqual(tablet.elsewhere, []);
    } finally {
      await tablet.discard();
    }
  });

  test('with another PIN is kept and raises, and an officer settles it', { timeout: 180_000 }, async () => {
    const tablet = await cutOff();
    try {
      await signedOffline(tablet, '101', '73519264801358', async (page) => {
        if (process.env.PICTURES) await tablet.picture('sign-offline');
        await page.getByText('this tablet keeps no PIN').waitFor();
      });
      await received(tablet);
      await says(tablet, 'Not proven: the PIN given with it was another one.');
      await tablet.page.goto('/units/101');
      await tablet.page.getByText('the PIN given with it was not its signer’s').first().waitFor();

      const { page } = tablet;
      await page.goto('/sign-in');
      await page.getByLabel('Your name').selectOption(OFFICER[0]);
      await page.getByLabel('PIN').fill(OFFICER[1]);
      await page.getByRole('button', { name: 'Sign in' }).click();
      await page.waitForURL((url) => url.pathname !== '/sign-in');
      await page.goto('/unproven');
      if (process.env.PICTURES) await tablet.picture('unproven-officer');
      await page.getByRole('link', { name: 'Settle it' }).click();
      await page.getByRole('checkbox').check();
      await page.locator('#accepted input').first().check();
      await page.locator('#why').fill('Asked him: he slipped.');
      await page.locator('#member').selectOption(OFFICER[0]);
      await page.locator('#pin').fill(OFFICER[1]);
      await page.getByRole('button', { name: 'Settle' }).click();
      await page.waitForURL(/\/units\/101$/);
      await page.goto('/unproven');
      await page.getByText('Every check that was handed in is signed.').waitFor();
    } finally {
      await tablet.discard();
    }
  });

  test('without a PIN is saved only when one says so, and is proven later; or the officer attests it', { timeout: 180_000 }, async () => {
    const tablet = await cutOff();
    const { page } = tablet;
    try {
      await signedOffline(tablet, '102', '', async () => {
        await page.getByRole('button', { name: 'Save on this tablet' }).click();
        await page.getByText('Give your PIN: six digits or more.').waitFor();
        await page.getByText('I do not have my PIN now').click();
        await page.getByLabel('Save it without.').check();
      });
      await saysLater(page);
      await signedOffline(tablet, '103', '', async () => {
        await page.getByText('I do not have my PIN now').click();
        await page.getByLabel('Save it without.').check();
      });
      await received(tablet);
      await page.goto('/unproven');
      const row = (unit) => page.locator('li.seat', { hasText: `Unit ${unit}` });
      await row('102').getByLabel('PIN of Tobias Wrenfield').fill(PIN);
      await row('102').getByRole('button', { name: 'Prove it' }).click();
      await row('102').waitFor({ state: 'detached' });

      await page.goto('/sign-in');
      await page.getByLabel('Your name').selectOption(OFFICER[0]);
      await page.getByLabel('PIN').fill(OFFICER[1]);
      await page.getByRole('button', { name: 'Sign in' }).click();
      await page.waitForURL((url) => url.pathname !== '/sign-in');
      await page.goto('/unproven');
      await row('103').getByText('The PIN is forgotten').click();
      if (process.env.PICTURES) await tablet.picture('attest');
      await row('103').getByLabel('Your own PIN').fill(OFFICER[1]);
      await row('103').getByRole('button', { name: 'I attest it' }).click();
      await page.getByText('Every check that was handed in is signed.').waitFor();
    } finally {
      await tablet.discard();
    }
  });
});

describe('without a secure connection', () => {
  test('a tablet cannot seal, says so, and saves all the same', { timeout: 180_000 }, async () => {
    await station.net.heals();
    const tablet = await Tablet.unpack(station.net.url);
    try {
      await tablet.context.addInitScript(() => {
        Object.defineProperty(crypto, 'subtle', { value: undefined });
      });
      await tablet.page.setViewportSize(TABLET.viewport);
      await tablet.settleAt('Kettle Street');
      await station.net.breaks('refuse');
      await signedOffline(tablet, '103', '', async (page) => {
        await page.getByText('This tablet cannot lock up a PIN now').waitFor();
        assert.equal(await page.getByLabel('PIN', { exact: true }).isVisible(), false);
      });
      await saysLater(tablet.page);
      assert.equal((await tablet.rows()).at(-1).seal, undefined);
    } finally {
      await station.net.heals();
      await tablet.discard();
    }
  });
});
