// The officer's morning: who rides, what to move, the signature under it, and the page on the wall.
import assert from 'node:assert/strict';
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
});
