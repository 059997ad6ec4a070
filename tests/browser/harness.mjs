// What a browser test needs: the program, a real Chromium, people at screens, and eyes on everything that
// a page must never do. A test says what people see; it never waits for time to pass.
//
//   import { story, TABLET, PHONE } from './harness.mjs';
//   story('a failed step', (promise) => {        // one `airmuster demo` for the promises of a story
//     promise('the officer sees the open seat', async ({ open }) => {
//       const officer = await open(PHONE);       // a person with a browser of their own
//       await officer.signIn('m-101', '246810');
//       await officer.page.getByRole('heading', { name: 'Engine 2' }).waitFor();
//     });
//   });
import assert from 'node:assert/strict';
import { mkdir, readFile, writeFile } from 'node:fs/promises';
import { createRequire } from 'node:module';
import { dirname, join } from 'node:path';
import { after, before, describe, test } from 'node:test';
import { fileURLToPath } from 'node:url';
import { chromium } from 'playwright-core';
import { startProgram } from './program.mjs';

const here = dirname(fileURLToPath(import.meta.url));
export const OUT = join(here, 'out');
const AXE = createRequire(import.meta.url).resolve('axe-core/axe.min.js');

/** The shared station tablet, upright. */
export const TABLET = { viewport: { width: 800, height: 1280 } };
export const PHONE = { viewport: { width: 390, height: 844 } };
export const BENCH_PC = { viewport: { width: 1440, height: 900 } };

const WAIT = 15_000; // for something a person should see
const WHOLE_TEST = 180_000;

/** Promises kept one after the other by one program in one browser; both are gone afterwards. */
export function story(name, promises, start = startProgram) {
  describe(name, () => {
    const stage = {};
    before(async () => {
      stage.browser = await launch();
      stage.program = await start();
    });
    after(async () => {
      await stage.browser?.close();
      await stage.program?.stop();
    });
    const promise = (words, body, timeout = WHOLE_TEST) => test(words, { timeout }, () => keepPromise(stage, words, body));
    promises(promise, stage);
  });
}

/** One browser and one program for `body(open)`, outside of any test. */
export async function withBrowser(body) {
  const stage = { browser: await launch(), program: await startProgram() };
  try {
    await body((options) => Person.arrive(stage, options));
  } finally {
    await stage.browser.close();
    await stage.program.stop();
  }
}

function launch() {
  return chromium.launch({
    executablePath: process.env.CHROMIUM ?? '/usr/bin/chromium',
    chromiumSandbox: false,
    args: [
      '--headless', '--disable-gpu', '--disable-quic', '--no-first-run',
      '--disable-background-networking', '--disable-component-update', '--disable-sync',
      // Nothing but this machine has an address.
      '--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1',
    ],
  });
}

/** Runs `body`; fails with it, or for anything a page did that it must not. Keeps pictures of a failure. */
export async function keepPromise(stage, name, body) {
  const people = [];
  const open = async (options) => {
    const person = await Person.arrive(stage, options);
    people.push(person);
    return person;
  };
  try {
    await body({ open, url: stage.program.url });
    for (const person of people) {
      const trouble = await person.trouble();
      assert.deepEqual(trouble, [], `the page must not:\n${trouble.join('\n')}`);
    }
  } catch (e) {
    for (const [n, person] of people.entries()) await person.keepPictures(`${name}-${n + 1}`);
    throw e;
  } finally {
    for (const person of people) await person.context.close();
  }
}

class Person {
  #trouble = [];
  #allowed = [];

  static async arrive(stage, { viewport = TABLET.viewport, javaScript = true, ...more } = {}) {
    const { url } = stage.program;
    const context = await stage.browser.newContext({
      baseURL: url, viewport, javaScriptEnabled: javaScript, locale: 'en-US', ...more,
    });
    context.setDefaultTimeout(WAIT);
    const person = new Person();
    Object.assign(person, { context, url, javaScript });
    person.#watch();
    person.page = await context.newPage();
    return person;
  }

  #watch() {
    const note = (what) => this.#trouble.push(what);
    // A content security policy violation is reported as a console error too, with or without JavaScript.
    this.context.on('console', (message) => {
      // What failed to load is judged below, where it is known whether a person asked for it.
      if (message.text().startsWith('Failed to load resource')) return;
      if (message.type() === 'error') note(`console: ${message.text()}`);
    });
    this.context.on('weberror', (e) => note(`uncaught: ${e.error().stack ?? e.error()}`));
    this.context.on('request', (request) => {
      const url = new URL(request.url());
      if (['data:', 'blob:', 'about:'].includes(url.protocol)) return;
      if (url.origin !== this.url) note(`request to another origin: ${request.url()}`);
    });
    this.context.on('response', (response) => {
      const status = response.status();
      // A page that says "do this first" has a status of 4xx, rightly.
      const asked = response.request().isNavigationRequest() && status < 500;
      if (status >= 400 && !asked) note(`status ${status}: ${response.url()}`);
    });
    this.context.on('requestfailed', (request) => {
      // Leaving a page while it loads is nobody's fault. What a worker was fetching for it then has failed; what
      // is not there has a status.
      const why = request.failure()?.errorText;
      if (why === 'net::ERR_FAILED' && /\/static\/[^/]+\.js$/.test(request.url())) return;
      if (why !== 'net::ERR_ABORTED') note(`not loaded: ${request.url()} (${why})`);
    });
  }

  /** From here on, trouble that matches is expected: a refused call of a script, say. */
  expectTrouble(pattern) {
    this.#allowed.push(pattern);
  }

  async trouble() {
    // A round trip through each page, so that what it has already reported has arrived here.
    for (const page of this.context.pages()) await page.title();
    return this.#trouble.filter((what) => !this.#allowed.some((pattern) => pattern.test(what)));
  }

  /** Signs in by the member's id, as the real page asks for it. */
  async signIn(member, pin) {
    await this.page.goto('/sign-in');
    await this.page.getByLabel('Your name').selectOption(member);
    await this.page.getByLabel('PIN').fill(pin);
    await this.page.getByRole('button', { name: 'Sign in' }).click();
    await this.page.waitForURL((url) => url.pathname !== '/sign-in');
  }

  /** The page has no fault that axe-core can find (WCAG 2.2, A and AA), and doesn't scroll sideways. */
  async isFitToUse() {
    assert.ok(this.javaScript, 'axe-core needs JavaScript: open the page with it');
    await this.page.evaluate(await readFile(AXE, 'utf8'));
    const faults = await this.page.evaluate(async () => {
      const tags = ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa'];
      const { violations } = await globalThis.axe.run(document, { runOnly: tags });
      return violations.flatMap((v) => v.nodes.map((n) => `${v.id}: ${n.target.join(' ')}: ${n.failureSummary}`));
    });
    assert.deepEqual(faults, [], `${this.page.url()}\n${faults.join('\n')}`);
    const [content, screen] = await this.page.evaluate(() => [
      document.documentElement.scrollWidth, document.documentElement.clientWidth,
    ]);
    assert.ok(content <= screen, `${this.page.url()} is ${content} px wide on a screen of ${screen} px`);
  }

  /** A picture of the whole page, in out/NAME.png. */
  async picture(name) {
    await mkdir(OUT, { recursive: true });
    await this.page.screenshot({ path: join(OUT, `${fileName(name)}.png`), fullPage: true });
  }

  async keepPictures(name) {
    await mkdir(OUT, { recursive: true });
    for (const [n, page] of this.context.pages().entries()) {
      const path = join(OUT, fileName(`failed-${name}-${n + 1}`));
      // What is left of a page that has crashed is still worth the rest.
      await page.screenshot({ path: `${path}.png`, fullPage: true }).catch(() => {});
      await writeFile(`${path}.html`, await page.content().catch(String));
    }
  }
}

export function fileName(text) {
  return text.toLowerCase().replace(/[^a-z0-9]+/g, '-').replace(/^-|-$/g, '').slice(0, 100);
}
