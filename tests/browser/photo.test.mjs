// A photo of damage, from the tablet's camera to the technician's ticket.
import assert from 'node:assert/strict';
import { TABLET, story } from './harness.mjs';
import { offlineStory } from './offline.mjs';
import { picture } from './picture.mjs';

const PIN = '246810';
const TECHNICIAN = 'm-201';
// The worker asks for the answer to a form on behalf of the page; one that says what to do is rightly a 4xx.
const COMES_BACK = /^status 422: .*\/(photos|correct)$/;

const shown = (page) => page.locator('.shots img').first().evaluate(async (image) => {
  image.loading = 'eager';
  await image.decode();
  return [image.naturalWidth, image.naturalHeight];
});

story('a photo of damage', (promise) => {
  promise('is taken at a failed step, scaled down, sent by itself, and seen on the unit, the record and the ticket', async ({ open }) => {
    const crew = await open(TABLET);
    const { page } = crew;
    await page.goto('/units/111/check');
    await page.locator('form.check[data-ready]').waitFor();
    assert.equal(await page.locator('.camera').count(), 0, 'no camera where nothing has failed');
    const card = page.locator('article[data-step="harness-condition"]');
    await card.locator('label.bad, label:has(input[value="no"])').first().click();
    const camera = card.locator('.camera');
    await camera.getByText('Take a photo').waitFor();
    const buffer = picture(3200, 2400);
    await camera.locator('input[type=file]').setInputFiles({ name: 'crack.png', mimeType: 'image/png', buffer });
    await camera.getByText('Saved on this tablet.').waitFor();
    assert.deepEqual(await camera.locator('canvas').evaluate((c) => [c.width, c.height]), [1600, 1200]);
    await crew.isFitToUse();
    await crew.picture('photo-step');

    // For three seconds a slip can be taken back; only what is written down leads to the bench.
    await card.getByText(/^Written down/).waitFor();

    // It is there once the station has it; until then the page says that it is on its way.
    await page.goto('/units/111');
    await page.locator('.shots li').first().waitFor();
    await assert.doesNotReject(async () => {
      for (let left = 30; !await page.locator('.shots img').count(); left -= 1) {
        if (!left) throw new Error('the picture never arrived');
        await page.reload();
        await page.locator('.shots li').first().waitFor();
      }
    });
    assert.deepEqual(await shown(page), [1600, 1200]);

    await crew.isFitToUse();
    await crew.picture('photo-unit');

    const technician = await open(TABLET);
    technician.expectTrouble(COMES_BACK);
    await technician.signIn(TECHNICIAN, PIN);
    await technician.page.goto('/bench');
    await technician.page.locator('li.job', { hasText: 'Unit 111' }).locator('p.working a').click();
    await technician.page.locator('.shots img').first().waitFor();
    assert.deepEqual(await shown(technician.page), [1600, 1200]);
    await technician.page.locator('#photo').setInputFiles({ name: 'a.txt', mimeType: 'text/plain', buffer: Buffer.from('no picture') });
    await technician.page.getByRole('button', { name: 'Add the photo' }).click();
    await technician.page.locator('#photo-problem', { hasText: 'Only JPEG, PNG and WebP pictures are taken.' }).waitFor();
    await technician.page.locator('#photo').setInputFiles({ name: 'b.png', mimeType: 'image/png', buffer: picture(640, 480) });
    await technician.page.locator('#what').fill('The spare part');
    await technician.page.getByRole('button', { name: 'Add the photo' }).click();
    await technician.page.locator('.shots').getByText('The spare part').waitFor();
    assert.deepEqual(await shown(technician.page), [640, 480]);
    await technician.isFitToUse();
    await technician.picture('photo-ticket');
  });

  promise('a check is corrected by an officer from its record, with gloves on', async ({ open }) => {
    const officer = await open(TABLET);
    officer.expectTrouble(COMES_BACK);
    await officer.signIn('m-101', PIN);
    const { page } = officer;
    await page.goto('/units/113');
    await page.locator('section.stand a[href^="/records/"]').first().click();
    await page.getByRole('link', { name: 'Correct it: another unit, or misread' }).click();
    await page.getByRole('button', { name: 'Correct', exact: true }).click();
    await page.locator('#what-problem').waitFor();
    await officer.isFitToUse();
    await officer.picture('correct');
    await page.getByLabel('A reading.').check();
    await page.getByText('Which reading?').click();
    await page.locator('#step label').first().click();
    await page.locator('#why').fill('Asked the member; the other gauge was read.');
    await page.locator('#member').selectOption('m-101');
    await page.locator('#pin').fill(PIN);
    await page.getByRole('button', { name: 'Correct', exact: true }).click();
    await page.getByRole('heading', { name: 'A check was corrected' }).waitFor();
    await officer.isFitToUse();
    await officer.picture('corrected');
    await page.goto('/units/113');
    await page.getByText('somebody else does this step again').first().waitFor();
  });
});

offlineStory('a photo taken with no network', (promise) => {
  promise('waits apart, keeps no record waiting, and arrives once it can', async (stage) => {
    const tablet = await stage.cutOff();
    const { page } = tablet;
    await page.goto('/units/101/check');
    await page.locator('form.check[data-ready]').waitFor();
    await page.locator('article[data-step="harness-condition"] label:has(input[value="no"])').first().click();
    const camera = page.locator('article[data-step="harness-condition"] .camera');
    await camera.locator('input[type=file]').setInputFiles({ name: 'a.png', mimeType: 'image/png', buffer: picture(800, 600) });
    await camera.getByText('Saved on this tablet.').waitFor();
    // Records get through, pictures do not.
    await stage.net.breaks('refuse', { path: '/api/v1/photos' });
    await page.goto('/unsent');
    await tablet.hasSentAll();
    assert.ok((await tablet.rows()).some(({ text }) => JSON.parse(text).kind === 'photo'), 'it has a record of its own');
    await page.getByText('1 picture is still here').waitFor();
    await stage.net.heals();
    await page.getByRole('button', { name: 'Send now' }).click();
    await page.getByText('The station has everything.').waitFor();
    await page.reload();
    await page.locator('[data-photos]:empty').waitFor({ state: 'attached' });
    await page.goto('/units/101');
    await page.locator('.shots img').first().waitFor();
    assert.deepEqual(await shown(page), [800, 600]);
  });
});
