// A tablet's life in a department of its own, served as a department serves it: enrolled with a code, a
// key of its own made in the browser, a check without a network, given up, and its last record proved.
import assert from 'node:assert/strict';
import { spawnSync } from 'node:child_process';
import { mkdtemp, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';
import { after, before, describe, test } from 'node:test';
import { startProxy } from '../faultproxy/proxy.mjs';
import { BINARY, startProgram } from './program.mjs';
import { Tablet } from './tablet.mjs';

const RECORDS = resolve(fileURLToPath(import.meta.url), '../../../demo/records/department.ndjson');
const PIN = '603917';
const LONGEST = 180_000;

function ran(args, input = '') {
  const { status, stderr } = spawnSync(BINARY, args, { input, encoding: 'utf8' });
  assert.equal(status, 0, stderr);
}

/** What the tablet's store knows under a key; a key itself is asked what it lets out. */
const known = (page, key) => page.evaluate((name) => new Promise((done, failed) => {
  indexedDB.open('airmuster').onsuccess = ({ target: { result: db } }) => {
    const asked = db.transaction('meta').objectStore('meta').get(name);
    asked.onerror = () => failed(asked.error);
    asked.onsuccess = async () => {
      db.close();
      const { value } = asked.result ?? {};
      if (!(value instanceof CryptoKey)) return void done(value);
      const out = await crypto.subtle.exportKey('pkcs8', value).then(() => 'let out', () => 'kept');
      done({ extractable: value.extractable, usages: value.usages, curve: value.algorithm.namedCurve, out });
    };
  };
}), key);

describe('a tablet of a department', () => {
  const stage = { tablets: [] };

  before(async () => {
    stage.data = await mkdtemp(join(tmpdir(), 'department-'));
    ran(['submit', '--data', stage.data, RECORDS]);
    ran(['person', '--data', stage.data, 'm-1', 'Ida Sample'], `${PIN}\n`);
    ran(['person', '--data', stage.data, 'm-2', 'Otto Sample'], `${PIN}\n`);
    stage.program = await startProgram({ args: ['serve'], data: stage.data });
    stage.net = await startProxy(stage.program.url);
  });

  after(async () => {
    for (const tablet of stage.tablets) await tablet.discard();
    await stage.net?.stop();
    await stage.program?.stop();
    await rm(stage.data, { recursive: true, force: true });
  });

  async function unpack(url) {
    const tablet = await Tablet.unpack(url);
    stage.tablets.push(tablet);
    return tablet;
  }

  async function fitToUse(tablet, name) {
    assert.deepEqual(await tablet.faults(), [], name);
    await tablet.picture(name);
  }

  /** The officer's own phone, signed in. */
  async function officer() {
    const { page, ...own } = Object.assign(await unpack(stage.program.url));
    await page.goto('/tablets');
    await page.getByLabel('Your member number').fill('m-2');
    await page.getByLabel('PIN').fill(PIN);
    await page.getByRole('button', { name: 'Sign in' }).click();
    await page.getByRole('heading', { level: 1, name: 'Tablets' }).waitFor();
    return { page, ...own };
  }

  test('is enrolled with a code, signs what it hands in, and once given up is still believed up to its last trusted number', { timeout: LONGEST }, async () => {
    await officer();
    const phone = stage.tablets[0];
    await phone.page.getByLabel('Name of the tablet').fill('Bay');
    await phone.page.getByLabel('Station').selectOption({ label: 'North' });
    await phone.page.getByRole('button', { name: 'Make a code' }).click();
    const code = await phone.page.locator('.code').textContent();
    await fitToUse(phone, 'enrol-1-code');

    const tablet = await unpack(stage.net.url);
    await tablet.page.goto('/stations');
    await tablet.page.getByLabel('Your member number').waitFor();
    await fitToUse(tablet, 'enrol-2-nobody');
    await tablet.page.getByRole('link', { name: 'Enrol this tablet with a code' }).click();
    await tablet.page.getByText('This tablet makes a key of its own').waitFor();
    await fitToUse(tablet, 'enrol-3-form');
    await tablet.page.getByLabel('Code').fill('1234 5678');
    await tablet.page.getByRole('button', { name: 'Enrol' }).click();
    await tablet.page.locator('#code-problem').getByText('This code is not open').waitFor();
    await tablet.page.getByLabel('Code').fill(code);
    await tablet.page.getByRole('button', { name: 'Enrol' }).click();
    await tablet.page.getByRole('heading', { name: 'This tablet is Bay' }).waitFor();
    await tablet.page.getByText('It has a key of its own').waitFor();
    await fitToUse(tablet, 'enrol-4-enrolled');
    await tablet.page.getByRole('link', { name: 'To the board' }).click();
    await tablet.page.locator('body.board').waitFor();
    await tablet.hasKept();

    const { id, point } = await known(tablet.page, 'enrolled');
    assert.match(point, /^04[0-9a-f]{128}$/);
    assert.deepEqual(await known(tablet.page, `key of ${id}`), { extractable: false, usages: ['sign'], curve: 'P-256', out: 'kept' });

    await stage.net.breaks('refuse');
    await tablet.checkAway('1');
    const [saved] = await tablet.rows();
    assert.match(saved.signature, /^[\w-]{86}$/, 'signed when it is saved');
    assert.equal(JSON.parse(saved.text).tablet, id);
    await stage.net.heals();
    await tablet.hasSentAll();
    assert.deepEqual((await tablet.rows()).map((r) => r.state), ['received'], 'and believed');

    await stage.net.breaks('refuse');
    await tablet.checkAway('2');
    assert.deepEqual((await tablet.rows()).map((r) => r.state), ['received', 'saved']);

    await phone.page.goto('/tablets');
    await fitToUse(phone, 'enrol-5-list');
    await phone.page.getByRole('link', { name: 'Look at or give up Bay' }).click();
    await phone.page.getByLabel('Last number that you believe').fill('2');
    await phone.page.getByLabel('Why').fill('Left at the hydrant');
    await fitToUse(phone, 'enrol-6-give-up');
    await phone.page.getByRole('button', { name: 'Give it up' }).click();
    await phone.page.getByRole('heading', { name: 'Given up' }).waitFor();

    await stage.net.heals();
    await tablet.hasSentAll();
    assert.deepEqual((await tablet.rows()).map((r) => r.state), ['received', 'received'], 'what it still had has arrived, and is believed');
    await tablet.page.goto('/stations');
    await tablet.page.getByLabel('Your member number').waitFor();
    // What the pages of the department said stays here no longer; what was written here does.
    await tablet.until(() => tablet.page.evaluate(async () => !(await caches.keys()).length), 'the pages are forgotten');
    assert.equal((await tablet.rows()).length, 2);
    for (const { elsewhere } of stage.tablets) assert.deepEqual(elsewhere, [], 'no request leaves the origin');
  });

  /** A code for a tablet of this name, made on an officer's phone. */
  async function codeFor(name) {
    const { page } = await officer();
    await page.getByLabel('Name of the tablet').fill(name);
    await page.getByLabel('Station').selectOption({ label: 'North' });
    await page.getByRole('button', { name: 'Make a code' }).click();
    return page.locator('.code').textContent();
  }

  async function enrol(tablet, name) {
    const code = await codeFor(name);
    await tablet.page.goto('/enrol');
    await tablet.page.getByText('This tablet makes a key of its own').waitFor();
    await tablet.page.getByLabel('Code').fill(code);
    await tablet.page.getByRole('button', { name: 'Enrol' }).click();
    await tablet.page.getByRole('heading', { name: `This tablet is ${name}` }).waitFor();
    await tablet.page.getByRole('link', { name: 'To the board' }).click();
    await tablet.page.locator('body.board').waitFor();
    await tablet.hasKept();
  }

  test('keeps what it has not handed in when it loses its cookie and is enrolled anew, and hands it in then (E9)', { timeout: LONGEST }, async () => {
    const tablet = await unpack(stage.net.url);
    await enrol(tablet, 'Watch room');
    const first = (await known(tablet.page, 'enrolled')).id;
    await stage.net.breaks('refuse');
    for (const unit of ['1', '2', '1']) await tablet.checkAway(unit);
    const written = await tablet.rows();
    assert.deepEqual(written.map((r) => r.state), ['saved', 'saved', 'saved']);
    // The station can be reached again, but for where records are handed in.
    await stage.net.heals();
    await stage.net.breaks('blackhole', { path: '/api/v1/records' });
    await tablet.context.clearCookies();
    await tablet.page.goto('/unsent');
    await tablet.page.getByText('3 saved here, not yet received.').waitFor();
    await enrol(tablet, 'Watch room again');
    const second = (await known(tablet.page, 'enrolled')).id;
    assert.notEqual(second, first);
    const same = (rows) => rows.map(({ id, text, signature }) => ({ id, text, signature }));
    assert.deepEqual(same(await tablet.rows()), same(written), 'nothing of it has changed');
    await stage.net.heals();
    await tablet.hasSentAll();
    const rows = await tablet.rows();
    assert.deepEqual(rows.map((r) => r.state), ['received', 'received', 'received'], 'each is taken as its first self wrote it, and believed');
    // What comes next is written in the new name, after what was written before.
    await stage.net.breaks('refuse');
    await tablet.checkAway('2');
    const last = (await tablet.rows()).at(-1);
    const { tablet: name, number, before, incarnation } = JSON.parse(last.text);
    assert.deepEqual({ name, number, before }, { name: second, number: 1, before: null });
    assert.notEqual(incarnation, JSON.parse(written[0].text).incarnation);
    await stage.net.heals();
    await tablet.hasSentAll();
    assert.deepEqual((await tablet.rows()).map((r) => [r.number, r.state]), [1, 2, 3, 4].map((n) => [n, 'received']));
    const { page } = await officer();
    await page.goto('/tablets/gaps');
    await page.getByText('No number is missing').waitFor();
  });
});
