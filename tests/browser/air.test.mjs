// A cold bay: what the tablet says beside the pressure, at once and with no network, and what it
// remembers for the next unit.
import assert from 'node:assert/strict';
import { TABLET, story } from './harness.mjs';

const field = (page, id, name, n = 1) => page.locator(`[name="a.${id}.${n}.${name}"]`);

story('in a cold bay', (promise) => {
  promise('the tablet says at once how far cold explains a reading, and keeps the temperature for the shift', async ({ open }) => {
    const { page } = await open(TABLET);
    await page.goto('/units/101/check');
    const rated = Number(await page.locator('svg[data-strip]').first().getAttribute('data-rated'));
    await page.locator('#bay').fill('-20');
    await page.locator('[name=bay_scale]').selectOption('C');
    await page.getByText('At −20 °C a full cylinder reads').waitFor();
    await field(page, 'cylinder-pressure', 'at').fill(String(Math.round(rated * 0.76)));
    await page.getByText('Cold explains it').waitFor();
    await page.locator('article[data-step=cylinder-pressure][data-state=put-right]').waitFor();

    await page.goto('/units/102/check');
    assert.equal(await page.locator('#bay').inputValue(), '-20', 'the next unit has it');
    await page.getByText(/^As entered on this tablet \d\d:\d\d\.$/).waitFor();
    await page.getByText('At −20 °C a full cylinder reads').waitFor();
    await page.locator('#bay').fill('warm');
    await page.getByText('Write the temperature as a number').waitFor();
  });
});
