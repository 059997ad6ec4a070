// What is said beside a pressure in a cold or hot bay: the tablet and the server say the same.
import assert from 'node:assert/strict';
import { readFileSync } from 'node:fs';
import test from 'node:test';
import { bayWords, degrees, sameShift, thousandths } from '../../static/bay.js';

const vectors = JSON.parse(readFileSync(new URL('../vectors/bay.json', import.meta.url), 'utf8'));

test('the script says what the server says, word for word', () => {
  assert.ok(vectors.length > 3);
  let said = 0;
  for (const { table, grains, cases } of vectors) {
    for (const { at, reading, expect } of cases) {
      const [number, scale] = at.split(' ');
      assert.equal(bayWords(table, degrees(number, scale), thousandths(reading, grains, table.unit)), expect, `${at}, ${reading}`);
      said += 1;
    }
  }
  assert.ok(said > 400, `${said} cases`);
});

test('what no bay has is not taken for a temperature', () => {
  assert.equal(degrees('−20', 'C').celsius, -20);
  assert.equal(degrees('-4', 'F').celsius, -20);
  for (const [text, scale] of [['', 'C'], ['warm', 'C'], ['91', 'C'], ['-61', 'C'], ['200', 'F'], ['1.2345', 'C']]) {
    assert.equal(degrees(text, scale), null, text);
  }
});

test('a temperature is remembered for the shift, on a page kept from an earlier one too', () => {
  const hour = 3600000;
  const shift = { start: 1000 * hour, hours: 24 };
  assert.ok(sameShift(shift, 1001 * hour, 1023 * hour));
  assert.ok(sameShift(shift, 999.5 * hour, 1002 * hour), 'a check made early');
  assert.ok(!sameShift(shift, 990 * hour, 1002 * hour));
  assert.ok(!sameShift(shift, 1001 * hour, 1025 * hour), 'the next shift');
  assert.ok(sameShift(shift, 1073 * hour, 1074 * hour), 'three shifts after the page was made');
});
