// A tablet for the offline tests: a real Chromium with a folder of its own on the disk, so that it can be
// killed and started again, and between it and the program a network that can be broken.
import { readFileSync, readdirSync } from 'node:fs';
import { mkdir, mkdtemp, readFile, rm, writeFile } from 'node:fs/promises';
import { createRequire } from 'node:module';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { chromium } from 'playwright-core';
import { startProxy } from '../faultproxy/proxy.mjs';
import { OUT, TABLET, fileName } from './harness.mjs';
import { startProgram } from './program.mjs';
import { startRelease } from './release.mjs';

const WAIT = 20_000;
const AXE = createRequire(import.meta.url).resolve('axe-core/axe.min.js');

/** The program, and before it a network. */
export async function startStation(options) {
  const program = await startProgram(options);
  const release = await startRelease(program.url);
  const net = await startProxy(release.url);
  const stop = async () => {
    await net.stop();
    await release.stop();
    await program.stop();
  };
  return { program, release, net, stop };
}

const commandOf = (pid) => {
  try {
    return readFileSync(`/proc/${pid}/cmdline`, 'utf8').split('\0');
  } catch {
    return []; // gone in the meantime
  }
};

export class Tablet {
  /** Out of its box: nothing stored. */
  static async unpack(url, { preferences } = {}) {
    const tablet = new Tablet();
    tablet.folder = await mkdtemp(join(tmpdir(), 'tablet-'));
    if (preferences) {
      await mkdir(join(tablet.folder, 'Default'));
      await writeFile(join(tablet.folder, 'Default', 'Preferences'), JSON.stringify(preferences));
    }
    tablet.url = url;
    tablet.elsewhere = [];
    await tablet.start();
    return tablet;
  }

  async start() {
    this.context = await chromium.launchPersistentContext(this.folder, {
      executablePath: process.env.CHROMIUM ?? '/usr/bin/chromium',
      chromiumSandbox: false,
      baseURL: this.url,
      locale: 'en-US',
      ...TABLET,
      args: [
        '--headless', '--disable-gpu', '--disable-quic', '--no-first-run',
        '--disable-background-networking', '--disable-component-update', '--disable-sync',
        '--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1',
      ],
    });
    this.context.setDefaultTimeout(WAIT);
    this.context.on('request', (request) => {
      const url = new URL(request.url());
      if (['http:', 'https:', 'ws:', 'wss:'].includes(url.protocol) && url.origin !== this.url) this.elsewhere.push(url.href);
    });
    this.page = this.context.pages()[0] ?? await this.context.newPage();
  }

  /** Everything of it, at once, as when the battery is pulled. */
  async kill() {
    const gone = new Promise((done) => { this.context.once('close', done); });
    const mine = readdirSync('/proc').filter((pid) => /^\d+$/.test(pid))
      .filter((pid) => commandOf(pid).includes(`--user-data-dir=${this.folder}`) && !commandOf(pid).some((word) => word.startsWith('--type=')));
    if (!mine.length) throw new Error('the browser was not found');
    for (const pid of mine) process.kill(-pid, 'SIGKILL');
    await gone;
  }

  async restart() {
    await this.kill();
    await this.start();
  }

  async discard() {
    await this.context.close().catch(() => {});
    await rm(this.folder, { recursive: true, force: true });
  }

  /** Signs in as the demo's member with this id. */
  async signIn(member, next = '/stations') {
    await this.page.goto(`/sign-in?next=${next}`);
    await this.page.locator('#member').selectOption(member);
    await this.page.locator('#pin').fill('246810');
    await this.page.getByRole('button', { name: 'Sign in' }).click();
    await this.page.waitForURL((url) => url.pathname === next);
  }

  /** Opens the board of a station and waits until the tablet has kept all that the list names. */
  async settleAt(station) {
    await this.page.goto('/stations');
    await this.page.getByRole('link', { name: station }).first().click();
    await this.page.locator('body.board').waitFor();
    await this.hasKept();
  }

  /** Until the set in use is what the server lists now. */
  async hasKept() {
    const until = Date.now() + 60_000;
    const whole = () => this.page.evaluate(async () => {
      const list = await (await fetch('/offline/list')).json();
      const kept = await (await caches.open('airmuster')).match('/offline/list');
      const own = kept && await kept.json();
      return own?.build === list.build && own.pages.join() === list.pages.join();
    });
    while (!await whole()) {
      if (Date.now() > until) throw new Error('the tablet has not kept its pages');
      await new Promise((done) => { setTimeout(done, 100); });
    }
    await this.page.evaluate(() => navigator.serviceWorker.ready);
  }

  /** The release that its worker uses. */
  build(page = this.page) {
    return page.evaluate(async () => (await (await (await caches.open('airmuster')).match('/offline/list')).json()).build);
  }

  /** Waits until something is so that no person can see. */
  async until(so, what, longest = 30_000) {
    const end = Date.now() + longest;
    while (!await so()) {
      if (Date.now() > end) throw new Error(`not within ${longest / 1000} s: ${what}`);
      await new Promise((done) => { setTimeout(done, 100); });
    }
  }

  /** What is in its outbox. */
  rows() {
    return this.page.evaluate(async () => {
      // Looking must not make a store that is gone anew.
      if (!(await indexedDB.databases()).some(({ name }) => name === 'airmuster')) return [];
      return new Promise((done, failed) => {
        const opening = indexedDB.open('airmuster');
        opening.onerror = () => failed(opening.error);
        opening.onsuccess = () => {
          const db = opening.result;
          const all = db.transaction('records').objectStore('records').getAll();
          all.onsuccess = () => { db.close(); done(all.result.sort((a, b) => a.number - b.number)); };
        };
      });
    });
  }

  /** Puts `fields` into every record of its outbox, or into the one with this id, and adds more records. */
  changeRecords(fields, more = [], id = undefined) {
    return this.page.evaluate(([given, added, only]) => new Promise((done, failed) => {
      indexedDB.open('airmuster').onsuccess = ({ target: { result: db } }) => {
        const transaction = db.transaction('records', 'readwrite');
        const records = transaction.objectStore('records');
        records.openCursor().onsuccess = ({ target: { result: row } }) => {
          if (!row) return void added.forEach((one) => records.put(one));
          if (!only || row.value.id === only) row.update({ ...row.value, ...given });
          row.continue();
        };
        transaction.oncomplete = () => { db.close(); done(); };
        transaction.onabort = () => failed(transaction.error);
      };
    }), [fields, more, id]);
  }

  /** One check of a unit, from the form to the words that it is saved. */
  async checkAway(unit, bad = []) {
    await this.page.goto(`/units/${unit}/check`);
    await this.checkHere(bad);
  }

  /** The same on a form that is open. */
  async checkHere(bad = []) {
    await this.fillIn(bad);
    await this.signAway();
  }

  /** Answers every step of the form that is open. */
  fillIn(bad = []) {
    return answer(this.page, bad);
  }

  /** From the form to its review, with a name chosen and, as far as it is asked, without a PIN. */
  async review() {
    await this.page.locator('.bar').getByRole('button', { name: 'Review' }).click();
    await this.page.getByRole('heading', { name: 'Everything entered' }).waitFor();
    await this.page.locator('form.check').waitFor({ state: 'hidden' });
    await this.page.getByLabel('I did this check').selectOption({ index: 1 });
    const without = this.page.getByText('I do not have my PIN now');
    if (!await without.isVisible()) return;
    await without.click();
    await this.page.getByLabel('Save it without.').check();
  }

  /** From the form to the words that it is saved. */
  async signAway() {
    await this.review();
    await this.page.getByRole('button', { name: 'Save on this tablet' }).click();
    await this.page.getByText(/^Saved on this tablet .*not yet received\./).waitFor();
  }

  /** Waits until nothing is left to be received, without touching anything; `but` is what stays. */
  async hasSentAll({ but } = {}) {
    if (but) await this.page.locator('#unsent').getByText(but, { exact: true }).waitFor();
    else await this.page.locator('#unsent[data-counted][hidden]').waitFor({ state: 'attached' });
  }

  /** What axe-core finds at the page; when it is strict, contrast must be 7:1 (WCAG 2.2, 1.4.6). */
  async faults({ strict = false } = {}) {
    await this.page.evaluate(await readFile(AXE, 'utf8'));
    return this.page.evaluate(async (enhanced) => {
      const tags = ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa'];
      const rules = { 'color-contrast-enhanced': { enabled: enhanced } };
      const { violations } = await globalThis.axe.run(document, { runOnly: tags, rules });
      return violations.flatMap((v) => v.nodes.map((n) => `${v.id}: ${n.target.join(' ')}: ${n.failureSummary}`));
    }, strict);
  }

  async picture(name) {
    await mkdir(OUT, { recursive: true });
    await this.page.screenshot({ path: join(OUT, `${fileName(name)}.png`), fullPage: true });
  }
}

/** Every step of the check form answered as it should be; `bad` names steps that are not good. */
export async function answer(page, bad = []) {
  await page.locator('form.check[data-ready]').waitFor();
  await page.evaluate((wrong) => {
    const { limits } = JSON.parse(document.getElementById('limits').textContent);
    const tap = (input) => { input.checked = true; input.dispatchEvent(new Event('change', { bubbles: true })); };
    const type = (input, value) => { input.value = value; input.dispatchEvent(new Event('change', { bubbles: true })); };
    for (const step of limits.steps) {
      const set = document.querySelector(`article[data-step="${step.id}"] fieldset[data-attempt="1"]`);
      const field = (name) => set.querySelector(`[name$=".${name}"]`);
      const not = set.querySelector('input[name$=".good"][value=no]');
      const yes = set.querySelector('input[name$=".good"][value=yes]');
      const unit = set.querySelector('select')?.value ?? limits.unit;
      const inUnit = ([grains, parts], more) => String(Math.round(Number(grains) / Number(parts) / Number(limits.grains[unit]) / 1000 + more));
      if (wrong.includes(step.id)) tap(not);
      else if (yes) tap(yes);
      else if (step.kind === 'reading') type(field('at'), inUnit(limits.rated.at, 0));
      else if (step.kind === 'pair') for (const gauge of ['cylinder', 'remote']) type(field(gauge), inUnit(limits.rated.at, 0));
      else if (step.kind === 'trip') type(field('at'), inUnit(step.low.at, unit === 'bar' ? 2 : 30));
      else throw new Error(`no answer known for ${step.id} (${step.kind})`);
    }
  }, bad);
}
