// A tablet that has installed the authority: a real Chromium with a trust store of its own, no error ignored.
import assert from 'node:assert/strict';
import { execFileSync } from 'node:child_process';
import { once } from 'node:events';
import { mkdir, mkdtemp, readFile, rm, writeFile } from 'node:fs/promises';
import { createServer } from 'node:https';
import { isIP } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { after, before, describe, test } from 'node:test';
import { chromium } from 'playwright-core';
import { PHONE, TABLET, story } from './harness.mjs';
import { startProgram } from './program.mjs';

const HOST = 'station.test';
const WAIT = 15_000;

/** The program over HTTPS; `url` is its page over plain http, `https` where it is itself. */
async function startSecure(host = HOST) {
  const program = await startProgram({ args: ['serve', '--tls', '--host', host, '--http-listen', '127.0.0.1:0'] });
  const said = program.said();
  const https = /is at (https:\S+)/.exec(said)[1];
  return { ...program, https, url: /(http:\/\/127\.0\.0\.1:\d+),/.exec(said)[1] };
}

/** Somebody with a home folder, in which Chromium looks for what its user trusts. */
class Tablet {
  static async unpack() {
    const tablet = new Tablet();
    tablet.home = await mkdtemp(join(tmpdir(), 'tablet-'));
    const nss = join(tablet.home, '.pki/nssdb');
    await mkdir(nss, { recursive: true });
    tablet.trusted = `sql:${nss}`;
    execFileSync('certutil', ['-d', tablet.trusted, '-N', '--empty-password']);
    return tablet;
  }

  async install(file) {
    const path = join(this.home, 'airmuster-ca.crt');
    await writeFile(path, file);
    execFileSync('certutil', ['-d', this.trusted, '-A', '-t', 'C,,', '-n', 'airmuster', '-i', path]);
  }

  /** Opens the browser, uses it, and closes it. */
  async browse(use) {
    const context = await chromium.launchPersistentContext(join(this.home, 'profile'), {
      executablePath: process.env.CHROMIUM ?? '/usr/bin/chromium',
      chromiumSandbox: false,
      env: { ...process.env, HOME: this.home },
      ...TABLET,
      args: [
        '--headless', '--disable-gpu', '--disable-quic', '--no-first-run',
        '--disable-background-networking', '--disable-component-update', '--disable-sync',
        '--host-resolver-rules=MAP *.test 127.0.0.1, MAP * ~NOTFOUND, EXCLUDE 127.0.0.1',
      ],
    });
    try {
      context.setDefaultTimeout(WAIT);
      return await use(context.pages()[0] ?? (await context.newPage()));
    } finally {
      await context.close();
    }
  }

  async discard() {
    await rm(this.home, { recursive: true, force: true });
  }
}

const authority = async (program) =>
  Buffer.from(await (await fetch(`${program.url}/airmuster-ca.crt`)).arrayBuffer());

for (const host of [HOST, '127.0.0.1']) {
  describe(`a tablet and the server at ${host}`, () => {
    let program;
    let tablet;
    before(async () => {
      program = await startSecure(host);
      tablet = await Tablet.unpack();
    });
    after(async () => {
      await tablet?.discard();
      await program?.stop();
    });

    test('without the authority the browser refuses', async () => {
      await tablet.browse((page) =>
        assert.rejects(page.goto(`${program.https}/`), /ERR_CERT_AUTHORITY_INVALID/));
    });

    test('with it the page opens, may have a worker, and can be installed as an app', async () => {
      await tablet.install(await authority(program));
      await tablet.browse(async (page) => {
        await page.goto(`${program.https}/stations`);
        assert.equal(await page.evaluate(() => isSecureContext), true);
        // Any script of ours will do: what is tried is whether the browser takes one from this server.
        const scope = await page.evaluate(async () => {
          const worker = await navigator.serviceWorker.register('/static/judge.js', { type: 'module' });
          const { scope } = worker;
          await worker.unregister();
          return scope;
        });
        assert.equal(scope, `${program.https}/static/`);

        const devtools = await page.context().newCDPSession(page);
        const manifest = await devtools.send('Page.getAppManifest');
        assert.equal(new URL(manifest.url).pathname, '/static/manifest.webmanifest');
        assert.deepEqual(manifest.errors, []);
        const { installabilityErrors } = await devtools.send('Page.getInstallabilityErrors');
        assert.deepEqual(installabilityErrors, []);
        const icons = JSON.parse(manifest.data).icons.map((icon) => icon.src);
        const touch = await page.locator('link[rel=apple-touch-icon]').getAttribute('href');
        const widths = await page.evaluate((paths) => Promise.all(paths.map(async (path) => {
          const image = new Image();
          image.src = path;
          await image.decode();
          return image.naturalWidth;
        })), [...icons, touch]);
        assert.deepEqual(widths.filter((_, at) => !icons[at]?.endsWith('.svg')), [192, 512, 512, 180]);
      });
    });

    test('what a thief of its key makes for another site is refused', async () => {
      const visit = async (name) => {
        const site = createServer(await forge(program, name, tablet.home), (_, answer) => answer.end('in'));
        await once(site.listen(0, '127.0.0.1'), 'listening');
        try {
          return await tablet.browse(async (page) => {
            await page.goto(`https://${name}:${site.address().port}/`);
            return page.locator('body').textContent();
          });
        } finally {
          site.close();
          site.closeAllConnections();
        }
      };
      assert.equal(await visit(host), 'in', 'only the name makes the difference');
      await assert.rejects(visit('bank.test'), /ERR_CERT_/);
    });
  });
}

/** A certificate for any name, signed with the authority's own key. */
async function forge(program, name, folder) {
  const tls = join(program.data, 'tls');
  const [key, request, certificate, more] =
    ['forged.key', 'forged.csr', 'forged.pem', 'forged.ext'].map((file) => join(folder, file));
  await writeFile(more, `subjectAltName = ${isIP(name) ? 'IP' : 'DNS'}:${name}\nextendedKeyUsage = serverAuth\n`);
  const openssl = (...args) => execFileSync('openssl', args, { stdio: 'pipe' });
  openssl('req', '-newkey', 'ec', '-pkeyopt', 'ec_paramgen_curve:P-256', '-nodes', '-subj', '/O=thief',
    '-keyout', key, '-out', request);
  openssl('x509', '-req', '-in', request, '-CA', join(tls, 'authority.pem'), '-CAkey', join(tls, 'authority.key'),
    '-set_serial', '4711', '-days', '30', '-extfile', more, '-out', certificate);
  return { key: await readFile(key), cert: await readFile(certificate) };
}

story('plain http beside HTTPS', (promise) => {
  promise('the page is fit to use on a tablet and on a phone', async ({ open }) => {
    for (const [name, screen] of [['tablet', TABLET], ['phone', PHONE]]) {
      const person = await open(screen);
      await person.page.goto('/');
      await person.page.getByRole('heading', { name: 'Let this device trust airmuster' }).waitFor();
      await person.isFitToUse();
      await person.picture(`trust-${name}`);
    }
  });

  promise('any other address leads there', async ({ open }) => {
    const person = await open({ javaScript: false });
    await person.page.goto('/stations/2');
    await person.page.getByRole('link', { name: 'Open airmuster' }).waitFor();
    assert.equal(new URL(person.page.url()).pathname, '/');
  });
}, startSecure);
