// The officer's morning and a call with no network, on a tablet and on a phone: the roster is read and the rig
// accepted, what was used is written down, all of it waits and is sent; and what a tablet has kept says until
// when fit tests count and nothing medical.
import assert from 'node:assert/strict';
import { PHONE } from './harness.mjs';
import { offlineStory } from './offline.mjs';

const PIN = '246810';
const [OFFICER, ADMINISTRATOR] = ['m-101', 'm-301'];

/** What somebody who has signed in sends with a form, at the station itself. */
async function atTheStation(stage, member, forms) {
  const url = stage.station.program.url;
  const post = (path, fields, cookie) => fetch(`${url}${path}`, {
    method: 'POST', redirect: 'manual', body: new URLSearchParams(fields), headers: { origin: url, 'sec-fetch-site': 'same-origin', ...(cookie && { cookie }) },
  });
  const signedIn = await post('/sign-in', { member, pin: PIN, next: '/' });
  const cookie = signedIn.headers.getSetCookie().map((c) => c.split(';')[0]).join('; ');
  for (const [path, fields] of forms) {
    const { status } = await post(path, fields, cookie);
    assert.equal(status, 303, path);
  }
  return async (path) => (await fetch(`${url}${path}`, { headers: { cookie } })).text();
}

/** Everything that the tablet has kept of pages, as one text. */
const keptText = (tablet) => tablet.page.evaluate(async () => {
  const texts = [];
  for (const name of await caches.keys()) {
    const cache = await caches.open(name);
    for (const request of await cache.keys()) {
      const response = await cache.match(request);
      if (/html|json/.test(response.headers.get('content-type') ?? '')) texts.push(`${new URL(request.url).pathname}\n${await response.text()}`);
    }
  }
  return texts;
});

const sign = async (page, member) => {
  await page.locator('#member').selectOption(member);
  await page.locator('#pin').fill(PIN);
};

offlineStory('the officer’s morning with no network', (promise) => {
  for (const screen of ['tablet', 'phone']) {
    promise(`a roster is read and the rig accepted, and what was used is written down, on a ${screen}`, async (stage) => {
      const rig = screen === 'tablet' ? 'engine-1' : 'ladder-1';
      const read = await atTheStation(stage, OFFICER, [
        ['/fitness/m-102/clearance', { since: '2026-01-15', cleared: 'no' }],
        ...(screen === 'tablet' ? [['/rigs/engine-1/crew', { 'engine-1-officer': 'm-101', 'engine-1-driver': 'm-102', 'engine-1-3': 'm-103', 'engine-1-4': '' }]] : []),
      ]);
      const tablet = await stage.atStation();
      const { page } = tablet;
      if (screen === 'phone') await page.setViewportSize(PHONE.viewport);
      await stage.net.breaks('refuse');
      const start = await stage.seq();

      // From the rig's own address, which is not kept, to the roster that is.
      await page.goto(`/rigs/${rig}`);
      await page.locator('#accept[data-ready]').waitFor();
      if (screen === 'tablet') {
        await page.getByText(/^Fit until \d+ \w+ \d{4}$/).first().waitFor();
        const kept = await keptText(tablet);
        assert.ok(kept.length > 20 && kept.some((text) => text.includes('Fit until')), `${kept.length} looked at`);
        const medical = kept.filter((text) => /not (medically )?cleared|no (medical )?clearance|“?cleared”?:|clearance entered/i.test(text));
        assert.deepEqual(medical.map((text) => text.split('\n')[0]), [], 'nothing medical is kept');
      }
      await tablet.picture(`offline-roster-${screen}`);
      assert.deepEqual(await tablet.faults(), [], 'fit to use');
      await page.getByRole('button', { name: 'Accept rig and crew' }).click();
      await page.getByText('Choose your name.').waitFor();
      const words = page.locator('.seat .field:visible input');
      const exceptions = await words.count();
      // Of a cylinder that nothing is against there is nothing to be said.
      const sound = page.locator('.seat[data-server=nothing]:not([data-rest])');
      assert.ok(await sound.count() > 0, 'spare cylinders lie on it');
      assert.equal(await sound.locator('.field:visible').count(), 0);
      for (const one of await words.all()) await one.fill('Seen to, first thing');
      await sign(page, OFFICER);
      await page.getByRole('button', { name: 'Accept rig and crew' }).click();
      await page.getByText(/^Saved on this tablet .*not yet received\.$/).waitFor();
      await page.getByText(/^Reviewed by .*not yet received\.$/).waitFor();

      // A call: the first unit of the rig comes back contaminated.
      await page.goto(`/rigs/${rig}/used`);
      await page.locator('form.used[data-ready]').waitFor();
      await tablet.picture(`offline-used-${screen}`);
      await page.getByRole('button', { name: 'Write it down' }).click();
      await page.getByText('Tick what was used.').waitFor();
      const unit = (await page.locator('.usedunit b').first().textContent()).replace('Unit ', '');
      await page.locator(`[name="u.${unit}"]`).check();
      await page.locator(`[name="s.${unit}"]`).selectOption('contaminated');
      await page.getByLabel('What it was').selectOption('incident');
      await page.getByLabel('Which one').fill('Incident 26-118');
      await sign(page, OFFICER);
      await page.getByRole('button', { name: 'Write it down' }).click();
      await page.getByRole('heading', { name: `Written down: ${unit}` }).waitFor();
      await page.getByText(/^Saved on this tablet .*not yet received\.$/).waitFor();

      // What its use asks for is kept too, and is where the way to a check of it leads.
      if (screen === 'tablet') {
        await page.getByRole('link', { name: `After-use check of ${unit}` }).click();
        await page.locator('form.check[data-ready] [name="a.wearer-report.1.good"]').first().waitFor();
        await page.goto(`/units/${unit}/check`);
        await page.waitForURL(`**/units/${unit}/check?purpose=after-use`);
        await page.getByRole('heading', { name: `Unit ${unit}` }).waitFor();
        // Contaminated, and all of it good: that does not let it ride.
        await page.locator('form.check[data-ready]').waitFor();
        await tablet.fillIn();
        await tablet.review();
        await page.locator('.willbe.is-out').getByText('It does not ride before what else is open').waitFor();
        await page.locator('.willbe').getByText('Used, came back contaminated.').waitFor();
        await page.getByRole('button', { name: 'Back to the form' }).click();
      }

      // Both are on the board that this tablet has kept.
      await page.goto('/stations/kettle');
      const line = page.locator('.line', { has: page.getByRole('link', { name: `Unit ${unit}`, exact: true }) });
      await line.getByText('Out of service').waitFor();
      await page.locator(`.rig[data-rig="${rig}"]`).getByText(/^Reviewed by .* Saved here .*, not yet received\.$/).waitFor();
      await tablet.picture(`offline-morning-board-${screen}`);
      await page.goto('/unsent');
      await page.getByText('2 saved here, not yet received.').waitFor();
      await page.getByText('Rig reviewed,').waitFor();
      assert.equal(await stage.seq(), start, 'nothing reached the server');
      assert.ok(!JSON.stringify(await tablet.rows()).includes(PIN), 'no PIN is kept');

      await stage.net.heals();
      await tablet.hasSentAll();
      await stage.areStored(await tablet.rows());
      const [accepted] = (await tablet.rows()).map(({ text }) => JSON.parse(text)).filter(({ kind }) => kind === 'rig_accepted');
      assert.equal(accepted.body.places.filter(({ word }) => word).length, exceptions);
      // The seal is opened a moment later; only then the acceptance counts.
      await tablet.until(async () => /Reviewed by/.test(await read(`/rigs/${rig}`)), 'the acceptance is on the officer’s roster');
      assert.equal(await stage.standing(unit), 'out');
      await page.goto(`/rigs/${rig}/roster`);
      await page.getByText(/^Reviewed by .* at \d\d:\d\d\. Changed since acceptance: Officer\.$/).waitFor();
    });
  }

  promise('where checks are countersigned, a good one leaves the unit due on the tablet too, whatever its own verdict', async (stage) => {
    // A unit that nobody has checked yet: nothing but that check is due on it.
    const unit = '190';
    await atTheStation(stage, ADMINISTRATOR, [
      ['/countersign/setting', { required: 'yes' }],
      ['/register/units/+', { number: unit, profile: 'us-4500-third', cadence: 'each shift', 'in-use': 'yes', place: 'spare at/kettle' }],
    ]);
    const tablet = await stage.atStation();
    await stage.net.breaks('refuse');
    await tablet.page.goto(`/units/${unit}/check`);
    await tablet.fillIn();
    await tablet.review();
    await tablet.page.getByText('Signed like this, it counts once an officer has countersigned it.').waitFor();
    await tablet.page.getByRole('button', { name: 'Save on this tablet' }).click();
    await tablet.page.getByRole('heading', { name: 'Check due' }).waitFor();
    await tablet.page.getByText('It counts once an officer has countersigned it: tell yours.').waitFor();
    await tablet.picture('offline-countersigned');
    await tablet.page.getByRole('link', { name: 'Back to the board' }).click();
    const line = tablet.page.locator('.line', { has: tablet.page.getByRole('link', { name: `Unit ${unit}` }) });
    await line.getByText(/Saved here .*, not yet received\./).waitFor();
    assert.match(await line.getAttribute('class'), /\bis-due\b/);
    await stage.net.heals();
    await tablet.hasSentAll();
    assert.equal(JSON.parse((await tablet.rows()).at(-1).text).body.outcome, 'complete');
    assert.equal(await stage.standing(unit), 'due', 'as the tablet said');
    await atTheStation(stage, ADMINISTRATOR, [['/countersign/setting', { required: 'no' }]]);
  });
});
