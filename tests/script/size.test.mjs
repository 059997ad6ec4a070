// A cheap tablet must be able to open the check form.
import assert from 'node:assert/strict';
import { readFileSync } from 'node:fs';
import test from 'node:test';

// A module and all that it imports.
function withImports(name, seen = new Map()) {
  if (seen.has(name)) return seen;
  const text = readFileSync(new URL(`../../static/${name}`, import.meta.url), 'utf8');
  seen.set(name, text);
  for (const [, other] of text.matchAll(/^(?:import|\}) ?.*?'\.\/([\w-]+\.js)';$/gm)) withImports(other, seen);
  return seen;
}

test('the check form needs at most 50 KiB of script', () => {
  const all = withImports('check.js');
  assert.deepEqual([...all.keys()].sort(), ['answers.js', 'base.js', 'check.js', 'draft.js', 'judge.js', 'send.js', 'timer.js']);
  const bytes = [...all.values()].reduce((sum, text) => sum + Buffer.byteLength(text), 0);
  assert.ok(bytes <= 50 * 1024, `${bytes} bytes`);
});

test('no script writes data as markup or takes a script from elsewhere', () => {
  for (const [name, text] of withImports('check.js')) {
    assert.doesNotMatch(text, /innerHTML|outerHTML|insertAdjacentHTML|document\.write|\beval\b|new Function|https?:/, name);
  }
});
