// Every screen, fit to use on every size of screen.
import assert from 'node:assert/strict';
import { TABLET, story } from './harness.mjs';
import { walk } from './screens.mjs';

// Widths: a small phone, a tablet lying, a large monitor. 400 px is also 800 px at twice the size of letters.
const SIZES = [[360, 780], [400, 640], [1280, 800], [1920, 1080]];

// Which there is nothing for in the demo, or not always: a verdict just given, a doubt, PINs stopped, a tablet
// that was enrolled, something to be cleared, something held without its unit; and an address that leads to another one.
const MAY_BE_UNMET = [
  '/', '/records/{seq}/verdict', '/records/{seq}/settle', '/records/{seq}/correct', '/unproven', '/pins',
  '/tablets/{tablet}', '/tickets/{ticket}/prove', '/units/{unit}/clear', '/wall/{station}', '/assets/{asset}/release',
];

story('every screen', (promise) => {
  promise('can be reached, has no fault that axe-core finds and never scrolls sideways', async ({ open }) => {
    const wide = [];
    const unmet = await walk(open, async (person, pattern) => {
      await person.isFitToUse();
      for (const [width, height] of SIZES) {
        await person.page.setViewportSize({ width, height });
        const content = await person.page.evaluate(() => document.documentElement.scrollWidth);
        if (content > width) wide.push(`${pattern} is ${content} px wide on a screen of ${width} px`);
      }
      await person.page.setViewportSize(TABLET.viewport);
    });
    assert.deepEqual(wide, []);
    assert.deepEqual(unmet.filter((pattern) => !MAY_BE_UNMET.includes(pattern)), [], 'screens that nothing leads to');
  }, 600_000);
});
