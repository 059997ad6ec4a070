// What must hold of the tablet's scripts, so that its tests and those of its mutants hold it alike.
import assert from 'node:assert/strict';

/** E1: each transaction that writes is strict. A kill cannot show it, so the options are looked at. */
export async function writesStrictly(stage) {
  const tablet = await stage.cutOff();
  await tablet.context.addInitScript(() => {
    const real = IDBDatabase.prototype.transaction;
    globalThis.durabilities = [];
    IDBDatabase.prototype.transaction = function transaction(stores, mode, options) {
      if (mode === 'readwrite') globalThis.durabilities.push(options?.durability ?? 'default');
      return real.call(this, stores, mode, options);
    };
  });
  await tablet.checkAway('102');
  const used = await tablet.page.evaluate(() => globalThis.durabilities);
  assert.ok(used.length > 2, 'drafts and the check were written');
  assert.deepEqual([...new Set(used)], ['strict'], 'every write is strict');
}

/** E2: a record stays, whoever answers in the server's place. */
export async function staysWhoeverAnswers(stage, fakes) {
  const tablet = await stage.cutOff();
  await tablet.checkAway('101');
  await tablet.page.goto('/unsent');
  for (const fake of fakes) {
    await stage.net.breaks(fake, { path: '/api/v1/records' });
    await stage.net.forget();
    await tablet.page.getByRole('button', { name: 'Send now' }).click();
    await tablet.page.locator('[data-said]', { hasText: /^The station (has|cannot)/ }).waitFor();
    assert.deepEqual((await tablet.rows()).map((r) => r.state), ['saved'], `kept in spite of “${fake}”`);
    assert.equal((await stage.net.counts()).reached['POST /api/v1/records'] ?? 0, 0, fake);
  }
  await stage.net.heals();
  await tablet.page.getByRole('button', { name: 'Send now' }).click();
  await tablet.page.getByText('The station has everything.').waitFor();
  await stage.areStored(await tablet.rows());
}

/** E3: killed while it sends, and whatever the network does to what was sent, it is sent once. */
export async function isSentOnceThoughKilled(stage, how) {
  const tablet = await stage.cutOff();
  await tablet.checkAway('103');
  await stage.net.breaks(how, { path: '/api/v1/records' });
  await stage.net.forget();
  await tablet.page.goto('/unsent');
  await tablet.until(() => stage.hasHappened(how), 'it is sent');
  await tablet.kill();
  await stage.net.heals();
  await tablet.start();
  await tablet.page.goto('/unsent');
  await tablet.hasSentAll();
  const rows = await tablet.rows();
  assert.deepEqual(rows.map((r) => r.state), ['received'], 'kept until the receipt');
  await stage.areStored(rows);
}

/** E9: what is unsent outlives signing in and out, and the end of the session. */
export async function outlivesSigningOut(stage) {
  const tablet = await stage.cutOff();
  for (const unit of ['101', '102', '103']) await tablet.checkAway(unit);
  const written = await tablet.rows();
  await stage.net.breaks('blackhole', { path: '/api/' });
  await tablet.signIn('m-101');
  await tablet.page.getByRole('button', { name: 'Sign out' }).click();
  await tablet.page.getByRole('link', { name: 'Sign in' }).waitFor();
  await tablet.context.clearCookies();
  assert.deepEqual((await tablet.rows()).map((r) => r.text), written.map((r) => r.text), 'all are there after signing out');
  await tablet.page.goto('/unsent');
  await tablet.page.getByText('3 saved here, not yet received.').waitFor();
  await stage.net.heals();
  await tablet.hasSentAll();
  await stage.areStored(await tablet.rows());
}

/** E17: a new release waits while a check is half done, whatever else is opened, and comes after it. */
export async function waitsForHalfDoneChecks(stage, worker = (text) => text) {
  stage.release.changes('/sw.js', worker);
  const tablet = await stage.atStation();
  const form = tablet.page;
  await form.goto('/units/104/check');
  await form.locator('form[data-ready]').waitFor();
  await form.locator('article.step [data-attempt="1"] label.good').first().click();
  const before = await tablet.build();
  stage.release.isNow('the-next-one');
  stage.release.changes('/sw.js', (text) => `${worker(text)}\n// the next one\n`);
  tablet.page = await tablet.context.newPage();
  await tablet.page.goto('/stations');
  const waits = () => tablet.page.evaluate(async () => Boolean((await navigator.serviceWorker.getRegistration()).waiting));
  await tablet.until(async () => await waits() || await tablet.build() !== before, 'the new release is there');
  // It is asked again each time a page hears from the station.
  await tablet.page.goto('/unsent');
  await tablet.page.getByRole('button', { name: 'Send now' }).click();
  await tablet.page.getByText('The station has everything.').waitFor();
  assert.equal(await tablet.build(), before, 'no other release while a form is open');
  assert.equal(await form.locator('label.good input:checked').count(), 1, 'the answer is still there');
  await form.close();
  await tablet.page.goto('/stations');
  await tablet.until(async () => await tablet.build() === 'the-next-one', 'the new release has taken over');
  await tablet.hasKept();
  // As a finger asks for it: the page itself leads there.
  await tablet.page.evaluate(() => { location.href = '/units/104/check'; });
  await tablet.page.getByText('1 step kept on this tablet').waitFor();
}
