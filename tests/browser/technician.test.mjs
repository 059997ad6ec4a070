// The technician's day: what to take first, a part exchanged, a thing sent away, a notice dealt with,
// jobs joined and split, and what goes on paper.
import assert from 'node:assert/strict';
import { mkdir, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { BENCH_PC, OUT, PHONE, TABLET, story } from './harness.mjs';

// The demo's people; all have the same PIN there.
const PIN = '246810';
const TECHNICIAN = 'm-201';
const JUNIOR = 'm-202';
const ADMINISTRATOR = 'm-301';

/** A page on paper, as its PDF; the number of its sheets. */
async function onPaper(page, name) {
  const pdf = await page.pdf({ format: 'Letter', preferCSSPageSize: true, printBackground: true });
  await mkdir(OUT, { recursive: true });
  await writeFile(join(OUT, `${name}.pdf`), pdf);
  return pdf.toString('latin1').match(/\/Type\s*\/Page\b(?!s)/g)?.length ?? 0;
}

story('the technician’s day', (promise) => {
  for (const [name, screen] of [['tablet', TABLET], ['phone', PHONE], ['bench PC', BENCH_PC]]) {
    promise(`every page of the bench is fit to use on a ${name}`, async ({ open }) => {
      const person = await open(screen);
      await person.signIn(TECHNICIAN, PIN);
      for (const path of [
        '/bench', '/bench?kind=unit&own=yes', '/watch', '/tickets/1', '/units/203/parts', '/units/117/parts', '/units/117',
        '/approvals', '/notices', '/notices/BB-7', '/labels', '/periods', '/sources', '/upkeep', '/fills',
        '/assets/cylinder:C-397', '/qualifications',
      ]) {
        await person.page.goto(path);
        await person.isFitToUse();
        await person.picture(`technician-${name}-${path}`);
      }
    });
  }

  promise('a gauge is exchanged for one that the approval names, and the unit waits to be proved', async ({ open }) => {
    const person = await open(TABLET);
    const { page } = person;
    // A form that comes back says so by its status too.
    person.expectTrouble(/status 422/);
    await person.signIn(TECHNICIAN, PIN);
    await page.goto('/bench');
    await page.locator('.job', { hasText: 'Unit 203' }).getByRole('link', { name: /490 psi apart/ }).click();
    await page.getByRole('heading', { name: /Unit 203/ }).waitFor();
    const ticket = new URL(page.url()).pathname;
    await page.goto('/units/203/parts');
    const gauge = page.locator('#remote_gauge');
    const old = (await gauge.locator('dd').first().innerText()).trim();
    const fill = async (part, serial) => {
      await gauge.locator('summary').click();
      await gauge.getByText('Replace it with another one').click();
      await gauge.getByLabel('Name on its label').selectOption(part);
      await gauge.getByLabel('Serial').fill(serial);
      await gauge.getByLabel('Edition').fill('2018');
      await gauge.getByRole('button', { name: 'Write it down' }).click();
    };
    await fill('another', 'GA-77001');
    await page.getByText(/does not name this remote gauge: do not fit it/).first().waitFor();
    await person.isFitToUse();
    await person.picture('technician-not-approved');
    await gauge.getByLabel('Name on its label').selectOption({ index: 1 });
    await gauge.getByRole('button', { name: 'Write it down' }).click();
    await gauge.getByText('GA-77001').first().waitFor();
    await page.goto(ticket);
    await page.getByText(`Remote gauge GA-77001 fitted in the place of ${old}`).first().waitFor();
    await page.getByLabel('What was done').first().fill('Remote gauge exchanged');
    await page.getByLabel('Parts used').fill('remote gauge, 1');
    await page.getByRole('button', { name: 'Write it down' }).click();
    await page.locator('.work').getByText('Remote gauge exchanged').waitFor();
    // By keyboard alone, the digit that stands on the button, once one of them has the focus; elsewhere it is typed.
    await page.getByLabel('Readings').press('4');
    await page.getByRole('heading', { name: 'Stage: On the bench' }).or(page.getByRole('heading', { name: 'Stage: Reported' })).waitFor();
    await page.locator('#stages button').first().focus();
    await page.keyboard.press('4');
    await page.getByRole('heading', { name: 'Stage: Ready to prove' }).waitFor();
    await person.picture('technician-ticket');
    await person.isFitToUse();
  });

  promise('a unit goes to a repairer and is checked when it is back', async ({ open }) => {
    const person = await open(TABLET);
    const { page } = person;
    person.expectTrouble(/status 422/);
    await person.signIn(TECHNICIAN, PIN);
    await page.goto('/units/110');
    await page.getByRole('link', { name: /See the ticket|Ticket \d+/ }).first().click();
    await page.getByText('Send it to an outside repairer').click();
    await page.getByRole('button', { name: 'Send it' }).click();
    await page.getByText('Name the repairer.').first().waitFor();
    await page.getByLabel('Repairer', { exact: true }).fill('Basin Instruments');
    await page.getByLabel('Their reference').fill('BI-512');
    await page.getByLabel('Due back').fill('2031-01-15');
    await page.getByRole('button', { name: 'Send it' }).click();
    await page.getByText('With Basin Instruments, reference BI-512, due back 15 Jan 2031.').first().waitFor();
    await person.isFitToUse();
    await page.getByRole('button', { name: 'Take it on the bench' }).click();
    await page.getByRole('heading', { name: 'Stage: On the bench' }).waitFor();
    await page.goto('/units/110');
    await page.getByText('It was at an outside repairer or on loan: check it before it rides.').waitFor();
  });

  promise('a notice stops what it reaches until each is dealt with', async ({ open }) => {
    const person = await open(TABLET);
    const { page } = person;
    await person.signIn(TECHNICIAN, PIN);
    await page.goto('/units/301/parts');
    const serial = (await page.locator('#reducer dd').first().innerText()).trim();
    await page.goto('/notices');
    await page.getByLabel('Number').fill('T-1');
    await page.getByLabel('From whom, and its reference').fill('Basin Breathing letter 8');
    await page.getByLabel('What it is about, in a line').fill('Reducers that freeze');
    await page.getByLabel('What is to be done to each').fill('Exchange the spring');
    await page.getByLabel('Things').selectOption('reducer');
    await page.getByLabel('First serial').fill(serial);
    await page.getByLabel('Last serial').fill(serial);
    await page.getByRole('button', { name: 'Put it in force' }).click();
    await page.getByRole('heading', { name: 'Still to be dealt with: 1' }).waitFor();
    await person.isFitToUse();
    await person.picture('technician-notice');
    await page.goto('/units/301');
    await page.getByText(/Notice T-1, Reducers that freeze/).first().waitFor();
    assert.match(await page.locator('.stand').innerText(), /out of service/i);
    await page.goto('/notices/T-1');
    await page.getByLabel('Unit 301').check();
    await page.getByLabel('What was done and found').fill('Spring exchanged, bench sheet 311');
    await page.getByRole('button', { name: 'It is dealt with' }).click();
    await page.getByRole('heading', { name: 'Dealt with: 1' }).waitFor();
    // Who is not qualified for a kind of unit changes nothing on it.
    const junior = await open(TABLET);
    await junior.signIn(JUNIOR, PIN);
    await junior.page.goto('/bench?own=yes');
    await junior.page.getByRole('heading', { name: 'Bench' }).waitFor();
  });

  promise('the administrator sets a period and a source, and the tag and labels go on paper', async ({ open }) => {
    const admin = await open(TABLET);
    await admin.signIn(ADMINISTRATOR, PIN);
    await admin.page.goto('/periods');
    await admin.isFitToUse();
    await admin.picture('technician-periods-admin');
    await admin.page.getByLabel('Upkeep', { exact: true }).selectOption('battery');
    await admin.page.getByLabel('Months').fill('6');
    await admin.page.getByRole('button', { name: 'Set it' }).click();
    await admin.page.locator('tr', { hasText: 'Batteries' }).getByText('set here').waitFor();
    await admin.page.goto('/sources');
    await admin.page.getByLabel('Name', { exact: true }).fill('Drill yard cascade');
    await admin.page.getByLabel('Where it stands').selectOption({ index: 1 });
    await admin.page.getByLabel(/^Short name/).fill('drill-yard');
    await admin.page.getByRole('button', { name: 'Write it down' }).click();
    await admin.page.getByRole('link', { name: 'Drill yard cascade' }).waitFor();
    const tag = await open(BENCH_PC);
    await tag.signIn(TECHNICIAN, PIN);
    await tag.page.goto('/units/203/tag');
    await tag.page.locator('svg.qr').waitFor();
    await tag.picture('technician-tag');
    assert.equal(await onPaper(tag.page, 'technician-tag'), 1, 'a red tag is one sheet');
    await tag.page.goto('/labels?kind=unit');
    const labels = await tag.page.locator('.label').count();
    assert.ok(labels > 20, `${labels} labels`);
    const sheets = await onPaper(tag.page, 'technician-labels');
    assert.ok(sheets >= 2 && sheets <= Math.ceil(labels / 15), `${labels} labels on ${sheets} sheets`);
  });
});
