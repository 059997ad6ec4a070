// A day with the program, as its people live it: a failed step, an open seat, a repair proved and
// returned; a bell half way; a facepiece that does not hold; a slip while typing; going back.
import assert from 'node:assert/strict';
import { BENCH_PC, PHONE, TABLET, story } from './harness.mjs';

// The demo's people; all have the same PIN there.
const PIN = '246810';
const CREW = 'm-102';
const OFFICER = 'm-101';
const TECHNICIAN = 'm-201';
const WITHOUT_SCRIPT = { ...TABLET, javaScript: false };

const step = (page, id) => page.locator(`article[data-step="${id}"]`);
const attempt = (page, id, n = 1) => step(page, id).locator(`fieldset[data-attempt="${n}"]`);
const field = (page, id, name, n = 1) => page.locator(`[name="a.${id}.${n}.${name}"]`);

/** Answers every step that is still open, well, but for those that `odd` answers in its own way. */
async function answer(page, odd = {}) {
  const rated = await page.locator('svg[data-strip]').first().getAttribute('data-rated');
  const full = String(Math.round(Number(rated) * 0.98));
  for (const id of await page.locator('article.step').evaluateAll((all) => all.map((a) => a.dataset.step))) {
    if (odd[id]) await odd[id](page, id);
    else if (id === 'cylinder-pressure') await field(page, id, 'at').fill(full);
    else if (id === 'gauge-agreement') {
      await field(page, id, 'cylinder').fill(full);
      await field(page, id, 'remote').fill(full);
    } else if (id === 'low-air-alarm') await field(page, id, 'at').fill(String(Math.ceil(Number(rated) * 0.35)));
    else await attempt(page, id).locator('label.good').first().click();
  }
}

const apart = (a, b) => async (page, id) => {
  await field(page, id, 'cylinder').fill(a);
  await field(page, id, 'remote').fill(b);
};

async function review(page) {
  await page.locator('.bar').getByRole('button', { name: 'Review' }).click();
  await page.getByRole('heading', { name: 'review and sign' }).waitFor();
}

async function sign(page, member = CREW, pin = PIN) {
  await page.locator('#member').selectOption(member);
  await page.locator('#pin').fill(pin);
  await page.getByRole('button', { name: 'Sign and hand in' }).last().click();
}

const verdict = async (page, word) => {
  await page.waitForURL(/\/verdict$/);
  await page.getByRole('heading', { level: 1, name: word }).waitFor();
};

/** A bad pair of gauges, from the board to the repaired unit back in its seat. */
async function failedStepToReturn(open, unit, rig, screen) {
  const crew = await open(screen);
  await crew.page.goto('/stations/kettle');
  await crew.page.locator('li.line', { has: crew.page.getByRole('link', { name: `Unit ${unit}`, exact: true }) })
    .getByRole('link', { name: /check/i }).click();
  await crew.page.getByRole('heading', { level: 1, name: `Unit ${unit}` }).waitFor();
  await answer(crew.page, { 'gauge-agreement': apart('5400', '4910') });
  await review(crew.page);
  await crew.page.getByText('490 psi apart; limit 450 psi, the stricter of 10 % of 5,500 and 450 psi').waitFor();
  await sign(crew.page);
  await verdict(crew.page, 'Out of service');
  await crew.page.getByRole('link', { name: 'Print the red tag' }).waitFor();

  const officer = await open(screen.javaScript === false ? { ...PHONE, javaScript: false } : PHONE);
  await officer.signIn(OFFICER, PIN);
  await officer.page.goto(`/rigs/${rig}`);
  const seat = officer.page.locator('li.seat', { hasText: `Unit ${unit}` });
  await seat.getByText('Out of service').first().waitFor();
  assert.match(await seat.innerText(), /490 psi apart/, 'the roster says why the seat is open');
  const places = await officer.page.locator('li.seat').allInnerTexts();
  assert.match(places[0], new RegExp(`Unit ${unit}`), 'open seats come first');

  const technician = await open({ ...BENCH_PC, javaScript: screen.javaScript });
  await technician.signIn(TECHNICIAN, PIN);
  const bench = technician.page;
  await bench.goto('/bench');
  const job = bench.locator('li.job', { hasText: `Unit ${unit}` });
  assert.match(await job.innerText(), /is open/, 'the queue says what waits for it');
  await job.locator('p.working a').click();
  await bench.getByRole('button', { name: 'Take it on the bench' }).click();
  await bench.getByRole('heading', { name: 'Stage: On the bench' }).waitFor();
  await bench.locator('#text').fill('Remote gauge exchanged.');
  await bench.getByRole('button', { name: 'Write it down' }).click();
  await bench.locator('.work').getByText('Remote gauge exchanged.').waitFor();
  await bench.getByRole('button', { name: 'Ready to prove' }).click();
  await bench.getByRole('link', { name: 'Start the proving check' }).click();
  await bench.getByText('Proving check').first().waitFor();
  await answer(bench);
  await review(bench);
  await sign(bench, TECHNICIAN);
  await bench.waitForURL(/\/verdict$/);
  // A proving check alone returns nothing.
  await bench.getByRole('heading', { level: 1, name: 'Out of service' }).waitFor();
  await bench.getByRole('link', { name: 'Return it to service' }).click();
  for (const ground of await bench.locator('.returning input[name=ground]').all()) await ground.check();
  await bench.locator('.returning').getByLabel('Gauge', { exact: true }).check();
  await bench.locator('#certificate').fill('bench test 26-118');
  await bench.locator('.returning #member').selectOption(TECHNICIAN);
  await bench.locator('.returning #pin').fill(PIN);
  await bench.getByRole('button', { name: 'Return to service' }).click();
  await bench.waitForURL((url) => url.pathname === `/units/${unit}`);
  await bench.locator('section.stand').getByText('In service').first().waitFor();

  await officer.page.reload();
  await officer.page.locator('li.seat', { hasText: `Unit ${unit}` }).getByText('In service').waitFor();
}

story('A day at the station', (promise) => {
  promise('from a failed step to an open seat to a proved repair', async ({ open }) => {
    await failedStepToReturn(open, '102', 'engine-1', TABLET);
  });

  promise('the same without JavaScript', async ({ open }) => {
    await failedStepToReturn(open, '103', 'engine-1', WITHOUT_SCRIPT);
  });

  promise('a bell half way: the answers are kept, the unit stays due, and another goes on', async ({ open }) => {
    const { page } = await open(TABLET);
    await page.goto('/units/105/check');
    for (const id of ['unit-identity', 'cylinder-identity', 'facepiece-identity']) {
      await attempt(page, id).locator('label.good').click();
    }
    await page.getByRole('button', { name: 'Stop, we have a call' }).click();
    await page.waitForURL(/\/verdict$/);
    await page.locator('.now').getByText('Read the gauge before it rides').waitFor();
    await page.getByRole('heading', { level: 1, name: 'Check due' }).waitFor();
    await page.goto('/stations/kettle');
    await page.locator('li.line', { hasText: 'Unit 105' }).getByRole('link', { name: /^Go on/ }).click();
    await attempt(page, 'facepiece-identity').locator('input[value=yes]').waitFor({ state: 'attached' });
    assert.ok(await attempt(page, 'facepiece-identity').locator('input[value=yes]').isChecked(), 'the answers are there');
    await answer(page);
    await review(page);
    await sign(page, OFFICER);
    await verdict(page, 'In service');
  });

  promise('a facepiece that does not hold is tagged, and another lets the unit ride', async ({ open }) => {
    const person = await open(TABLET);
    const { page } = person;
    await page.goto('/units/106/check');
    await answer(page, {
      'facepiece-vacuum': async (_, id) => {
        await attempt(page, id).locator('label.bad').click();
        await attempt(page, id, 2).locator('input[name$=".item"]').fill('F-901');
        await attempt(page, id, 2).locator('label.good').click();
      },
    });
    await review(page);
    await page.getByText('is out of service itself; another one was good').waitFor();
    await sign(page);
    await verdict(page, 'In service');
    await person.signIn(TECHNICIAN, PIN);
    await page.goto('/bench');
    await page.locator('li.job', { hasText: 'Facepiece F-106' }).waitFor();
  });

  promise('a slip comes back with everything kept, the field named, and the summary in focus', async ({ open }) => {
    const { page } = await open(WITHOUT_SCRIPT);
    await page.goto('/units/107/check');
    await answer(page, { 'cylinder-pressure': async (_, id) => field(page, id, 'at').fill('5,100') });
    await page.locator('.bar').getByRole('button', { name: 'Review' }).click();
    const summary = page.locator('#problems');
    await summary.getByText('is not a number').waitFor();
    assert.ok(await summary.evaluate((e) => e === document.activeElement), 'the summary has the focus');
    assert.equal(await field(page, 'cylinder-pressure', 'at').inputValue(), '5,100');
    assert.ok(await attempt(page, 'stowed').locator('input[value=yes]').isChecked(), 'the last answer is kept');
    await summary.getByRole('link').first().click();
    assert.ok(page.url().endsWith('#a.cylinder-pressure.1.at'));
  });

  promise('going back and sending again leads to the record that is there', async ({ open }) => {
    const { page } = await open(WITHOUT_SCRIPT);
    await page.goto('/units/201/check');
    await answer(page);
    await review(page);
    // What the browser sends again when a person goes back and lets it.
    const again = await page.locator('form[action$="/sign"] input[type=hidden]')
      .evaluateAll((all) => all.map((field) => [field.name, field.value]));
    await sign(page);
    await verdict(page, 'In service');
    const body = new URLSearchParams([...again, ['member', OFFICER], ['pin', PIN], ['do', 'sign']]);
    const answered = await page.request.post('/units/201/check/sign', {
      data: body.toString(), headers: { 'content-type': 'application/x-www-form-urlencoded' },
    });
    assert.equal(answered.url(), page.url(), 'it leads to the first one');
  });

  promise('a wrong PIN is said at the field, and nothing is stored', async ({ open }) => {
    const person = await open(TABLET);
    const { page } = person;
    person.expectTrouble(/^status 422: .*\/sign$/);
    await page.goto('/units/101/check');
    await answer(page);
    await review(page);
    await sign(page, CREW, '000000');
    await page.locator('#pin-problem').waitFor();
    assert.equal(await page.locator('#pin').inputValue(), '', 'the PIN is not sent back');
    await sign(page);
    await verdict(page, 'In service');
  });

  promise('everything answered is there after a reload', async ({ open }) => {
    const { page } = await open(TABLET);
    await page.goto('/units/115/check');
    await attempt(page, 'harness-condition').locator('label.bad').click();
    await field(page, 'cylinder-pressure', 'at').fill('5000');
    await field(page, 'cylinder-pressure', 'at').blur();
    await page.locator('[data-progress=done]').getByText('2 of').waitFor();
    await page.reload();
    await page.locator('[data-progress=done]').getByText('2 of').waitFor();
    assert.equal(await field(page, 'cylinder-pressure', 'at').inputValue(), '5000');
    assert.ok(await attempt(page, 'harness-condition').locator('input[value=no]').isChecked());
  });

  for (const [name, screen] of [['tablet', TABLET], ['phone', PHONE]]) {
    promise(`every screen is fit to use on a ${name}`, async ({ open }) => {
      const person = await open(screen);
      person.expectTrouble(/^status 404: .*\/nothing-here$/);
      const visit = async (path) => {
        await person.page.goto(path);
        await person.isFitToUse();
        await person.picture(`${name}-${path}`);
      };
      for (const path of ['/stations', '/stations/kettle', '/units/101', '/units/101/check', '/units/302/out', '/units/302/tag', '/sign-in', '/unproven', '/nothing-here']) await visit(path);
      await person.signIn(OFFICER, PIN);
      for (const path of ['/rigs', '/rigs/engine-1', '/unsent/import']) await visit(path);
      await person.signIn(TECHNICIAN, PIN);
      await person.page.goto('/bench');
      await person.isFitToUse();
      await person.picture(`${name}-bench`);
      const ticket = await person.page.locator('li.job p.working a').first().getAttribute('href');
      for (const path of [ticket, '/units/302/retire']) await visit(path);
    });
  }
});
