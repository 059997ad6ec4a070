// A cheap tablet must be able to open every page.
import assert from 'node:assert/strict';
import { readFileSync, readdirSync } from 'node:fs';
import test from 'node:test';
import { gzipSync } from 'node:zlib';

const folder = new URL('../../static/', import.meta.url);

// A module and all that it imports.
function withImports(name, seen = new Map()) {
  if (seen.has(name)) return seen;
  const text = readFileSync(new URL(name, folder), 'utf8');
  seen.set(name, text);
  for (const [, other] of text.matchAll(/^(?:import |\}).*?'\.\/([\w-]+\.js)';$/gm)) withImports(other, seen);
  return seen;
}

const KIB = 1024;
const sum = (texts, of) => [...texts.values()].reduce((all, text) => all + of(text), 0);
const plain = (text) => Buffer.byteLength(text);
const packed = (text) => gzipSync(text).length;

test('every page but the check form needs at most 50 KiB of script, and the form that much as it is sent', () => {
  for (const page of ['base.js', 'unsent.js', 'received.js']) {
    const bytes = sum(withImports(page), plain);
    assert.ok(bytes <= 50 * KIB, `${page}: ${bytes} bytes`);
  }
  // What seals a signature comes only when it is needed, and counts all the same.
  const form = withImports('seal.js', withImports('check.js'));
  assert.ok(form.has('judge.js') && form.has('outbox.js') && form.has('timer.js'), [...form.keys()].join());
  assert.ok(sum(form, packed) <= 50 * KIB, `check.js: ${sum(form, packed)} bytes as sent`);
});

test('what is signed beside a check needs at most 50 KiB of script as it is sent, none of which the form loads', () => {
  const form = withImports('check.js');
  for (const page of ['accept.js', 'used.js']) {
    const all = withImports('seal.js', withImports(page, withImports('base.js')));
    assert.ok(sum(all, packed) <= 50 * KIB, `${page}: ${sum(all, packed)} bytes as sent`);
    assert.ok(all.has('signing.js') && !form.has('signing.js') && !form.has(page), page);
  }
});

test('a board does not load the judge', () => {
  assert.ok(!withImports('base.js').has('judge.js'));
});

test('no script writes data as markup or takes a script from elsewhere', () => {
  const all = readdirSync(folder).filter((name) => name.endsWith('.js'));
  assert.ok(all.length > 10);
  for (const name of all) {
    const text = readFileSync(new URL(name, folder), 'utf8');
    assert.doesNotMatch(text, /innerHTML|outerHTML|insertAdjacentHTML|document\.write|\beval\b|new Function|https?:\/\//, name);
  }
});
