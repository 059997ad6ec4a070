// The pictures in the guides, taken from the running program: node pictures.mjs
//
// Each is what a tablet held upright shows, as a WebP of at most 60 kB. Run it after a change of a page that
// a guide shows.
import { writeFile } from 'node:fs/promises';
import { dirname, join, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';
import { chromium } from 'playwright-core';
import { startProgram } from './program.mjs';

const here = dirname(fileURLToPath(import.meta.url));
const docs = resolve(here, '../../docs');
const PIN = '246810';
const MEMBERS = { officer: 'm-101', technician: 'm-201', administrator: 'm-301' };

/** Who looks at what, and what is touched then. */
const PICTURES = [
  { name: 'board', path: '/stations/millrace', height: 1000 },
  { name: 'check', path: '/units/101/check', gauges: ['5400', '4910'], height: 900 },
  { name: 'roster', by: 'officer', path: '/rigs', follow: 'a[href="/rigs/engine-1"]', height: 1000 },
  { name: 'bench', by: 'technician', path: '/bench', height: 900 },
  { name: 'ticket', by: 'technician', path: '/bench', follow: 'a[href^="/tickets/"]', height: 1000 },
  { name: 'register', by: 'administrator', path: '/register/rigs', follow: 'a[href="/register/rigs/engine-2"]', height: 1000 },
  { name: 'rules', by: 'administrator', draft: true, height: 1000 },
];

/** The browser itself makes the picture smaller. */
async function webp(context, png) {
  const page = await context.newPage();
  const made = await page.evaluate(async (base64) => {
    const image = new Image();
    image.src = `data:image/png;base64,${base64}`;
    await image.decode();
    const canvas = document.createElement('canvas');
    [canvas.width, canvas.height] = [image.width, image.height];
    canvas.getContext('2d').drawImage(image, 0, 0);
    return canvas.toDataURL('image/webp', 0.8).split(',')[1];
  }, png.toString('base64'));
  return Buffer.from(made, 'base64');
}

const program = await startProgram({ prepared: false, startWithin: 300_000 });
const browser = await chromium.launch({
  executablePath: process.env.CHROMIUM ?? '/usr/bin/chromium', chromiumSandbox: false,
  args: ['--headless', '--disable-gpu', '--no-first-run', '--disable-background-networking'],
});
try {
  for (const picture of PICTURES) {
    const context = await browser.newContext({ baseURL: program.url, viewport: { width: 800, height: picture.height } });
    const page = await context.newPage();
    if (picture.by) {
      await page.goto('/sign-in');
      await page.getByLabel('Your name').selectOption(MEMBERS[picture.by]);
      await page.getByLabel('PIN').fill(PIN);
      await page.getByRole('button', { name: 'Sign in' }).click();
      await page.waitForURL((url) => url.pathname !== '/sign-in');
    }
    if (picture.draft) {
      await page.goto('/rules');
      const text = await page.evaluate(async () => {
        const link = [...document.querySelectorAll('a[download]')][0];
        return (await fetch(link.href)).text();
      });
      const stricter = text.replace('edition = "2"', 'edition = "3"').replace('["10 % of rated", "450 psi"]', '["300 psi"]');
      await page.setInputFiles('#file', { name: 'rules.toml', mimeType: 'text/plain', buffer: Buffer.from(stricter) });
      await page.getByRole('button', { name: 'Look through it' }).click();
      await page.getByRole('heading', { name: 'What differs' }).waitFor();
    } else {
      await page.goto(picture.path);
    }
    // What an officer is told at once would fill the picture.
    const late = page.getByRole('button', { name: 'I have read it' });
    for (let left = picture.draft ? 0 : await late.count(); left > 0; left = await late.count()) {
      await late.first().click();
      await page.goto(picture.path);
    }
    if (picture.gauges) {
      await page.locator('form.check[data-ready]').waitFor();
      for (const [nth, reading] of picture.gauges.entries()) {
        await page.locator('article[data-step="gauge-agreement"] .entry input').nth(nth).fill(reading);
      }
      await page.locator('article[data-step="gauge-agreement"][data-state=out]').waitFor();
      await page.locator('article[data-step="gauge-agreement"]').evaluate((step) => step.scrollIntoView({ block: 'start' }));
    }
    if (picture.follow) await page.locator(picture.follow).first().click();
    await page.waitForLoadState();
    const file = join(docs, `${picture.name}.webp`);
    const bytes = await webp(context, await page.screenshot());
    if (bytes.length > 60_000) throw new Error(`${file} would have ${bytes.length} bytes`);
    await writeFile(file, bytes);
    console.log(file, bytes.length);
    await context.close();
  }
} finally {
  await browser.close();
  await program.stop();
}
