// Takes the pictures for `tests/gallery.sh`.
import { mkdir, rm, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { PHONE, TABLET, fileName, withBrowser } from './harness.mjs';
import { walk } from './screens.mjs';

const folder = process.argv[2];
const WAYS = [
  ['tablet', TABLET, 'light'], ['tablet', TABLET, 'dark'], ['phone', PHONE, 'light'], ['phone', PHONE, 'dark'],
];

await rm(folder, { recursive: true, force: true });
await mkdir(folder, { recursive: true });
const taken = [];
await withBrowser(async (open) => {
  await walk(open, async ({ page }, pattern) => {
    const pictures = [];
    for (const [device, { viewport }, colorScheme] of WAYS) {
      await page.setViewportSize(viewport);
      await page.emulateMedia({ colorScheme });
      const name = `${fileName(pattern) || 'start'}-${device}-${colorScheme}.png`;
      await page.screenshot({ path: join(folder, name) });
      pictures.push(name);
    }
    await page.emulateMedia({ colorScheme: 'light' });
    taken.push({ pattern, pictures });
    console.log(pattern);
  }, TABLET);
});

const rows = taken.map(({ pattern, pictures }) =>
  `<h2>${pattern}</h2>\n<p>${pictures.map((name) => `<img src="${name}" alt="${name}" loading="lazy">`).join('\n')}</p>`);
await writeFile(join(folder, 'index.html'), `<!doctype html>
<html lang="en"><meta charset="utf-8"><title>Every screen</title>
<style>body{font:16px sans-serif;margin:24px;background:#777}img{height:640px;margin:0 12px 12px 0;vertical-align:top}</style>
${rows.join('\n')}
`);
console.log(`${taken.length} screens, ${taken.length * WAYS.length} pictures: ${join(folder, 'index.html')}`);
