// The officer's morning: who rides, what to move, the signature under it, and the page on the wall.
import assert from 'node:assert/strict';
import { readFile } from 'node:fs/promises';
import { BENCH_PC, PHONE, TABLET, story } from './harness.mjs';

// The demo's people; all have the same PIN there.
const PIN = '246810';
const OFFICER = 'm-101';

story('the officer’s morning', (promise) => {
  for (const [name, screen] of [['tablet', TABLET], ['phone', PHONE]]) {
    promise(`a crew is put on, a plan read, the rig accepted, on a ${name}`, async ({ open }) => {
      const person = await open(screen);
      const { page } = person;
      await person.signIn(OFFICER, PIN);
      const visit = async (path) => {
        await page.goto(path);
        await person.isFitToUse();
        await person.picture(`morning-${name}-${path}`);
      };
      for (const path of ['/rigs', '/swap', '/teams', '/fitness', '/fitness/m-103', '/uninspected', '/rigs/engine-1/status', '/past', '/questions', '/rigs/engine-1/used']) await visit(path);
      await visit('/rigs/engine-1/crew');
      const seats = page.locator('main select');
      for (const [nth, member] of [[0, 'm-101'], [1, 'm-102'], [2, 'm-103'], [3, '']]) await seats.nth(nth).selectOption(member);
      await page.getByRole('button', { name: 'Put this crew on' }).click();
      await page.getByText('Staffed, 3 on it').waitFor();
      // Her fit test is more than a year old.
      const third = page.locator('li.seat', { hasText: 'Dalia Okereke' });
      assert.match(await third.innerText(), /fit test .* counted until/);
      await person.isFitToUse();
      await person.picture(`morning-${name}-roster`);
      await visit('/rigs/engine-1/accept');
      for (const word of await page.locator('.accepting input').all()) await word.fill('Seen to, first thing');
      await page.locator('#member').selectOption(OFFICER);
      await page.locator('#pin').fill(PIN);
      await page.getByRole('button', { name: 'Accept rig and crew' }).click();
      await page.getByText('Nothing has changed since.').waitFor();
      await page.getByRole('link', { name: 'Daily sheet' }).click();
      await page.getByText('Logbook head').waitFor();
      await person.picture(`morning-${name}-sheet`);
    });
  }

  promise('the wall hears of a change by itself, and says when it hears nothing', async ({ open }) => {
    const wall = await open(BENCH_PC);
    await wall.page.goto('/wall/kettle');
    const rig = wall.page.locator('#wall li', { hasText: 'Ladder 1' });
    await rig.waitFor();
    const officer = await open(TABLET);
    await officer.signIn(OFFICER, PIN);
    await officer.page.goto('/rigs/ladder-1/status');
    await officer.page.locator('#duty').selectOption('lent_out');
    await officer.page.locator('#why').fill('Upper Valley, until Friday');
    await officer.page.getByRole('button', { name: 'That is how it stands' }).click();
    await rig.getByText('Lent out: Upper Valley, until Friday').waitFor();
    await wall.picture('wall');
    await wall.context.setOffline(true);
    await wall.page.getByText('Out of touch with the station since').waitFor({ timeout: 40_000 });
    wall.expectTrouble(/ERR_INTERNET_DISCONNECTED|\/wall/);
  });

  promise('a late record is read, a swap carried out, everything moved to the reserve, and the pack taken along', async ({ open }) => {
    const person = await open(TABLET);
    const { page } = person;
    await person.signIn(OFFICER, PIN);
    await page.goto('/rigs');
    const late = page.getByRole('alert').filter({ hasText: 'Unit 206 was taken out of service' });
    await late.getByRole('button', { name: 'I have read it' }).click();
    await late.waitFor({ state: 'detached' });

    await page.goto('/swap');
    assert.equal(await late.count(), 0);
    const moves = page.locator('label.tick');
    const there = moves.filter({ hasText: 'Tender 2, driver: spare 210' });
    await there.waitFor();
    for (const other of await moves.filter({ hasNotText: 'Tender 2, driver' }).getByRole('checkbox').all()) await other.uncheck();
    await page.getByRole('button', { name: 'These are moved' }).click();
    await there.waitFor({ state: 'detached' });
    await page.goto('/rigs/tender-2');
    await page.locator('li.seat', { hasText: 'Driver' }).getByText('Unit 210').waitFor();

    await page.goto('/rigs/engine-2/status');
    await page.locator('#to').selectOption('reserve-5');
    await page.getByRole('button', { name: 'Everything is moved' }).click();
    await page.getByText('Still on Engine 2, as no place here is free for it: Rescue-team pack: unit 207.').waitFor();
    await page.getByText('Reserve 5 is in use now and stands at Millrace, Engine 2 is reserve.').waitFor();
    await person.isFitToUse();
    await person.picture('morning-tablet-moved');
    await page.getByRole('link', { name: 'Daily sheet' }).click();
    await page.getByText('Logbook head').waitFor();
    const printed = await page.pdf({ format: 'Letter' });
    assert.equal(printed.toString('latin1').match(/\/Type\s*\/Page\b/g).length, 1, 'the daily sheet is one page');

    await page.goto('/past');
    const coming = page.waitForEvent('download');
    await page.getByRole('link', { name: 'Inspector’s pack' }).click();
    const pack = await coming;
    assert.match(pack.suggestedFilename(), /^inspection-.+\.zip$/);
    const bytes = await readFile(await pack.path());
    for (const name of ['inspections.csv', 'technicians.csv', 'air.csv']) assert.ok(bytes.includes(name), name);
  });
});
