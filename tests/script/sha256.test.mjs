// The hash that names a record, against Node's own (OpenSSL).
import assert from 'node:assert/strict';
import { createHash, randomBytes } from 'node:crypto';
import test from 'node:test';
import { sha256 } from '../../static/sha256.js';

const ours = (text) => createHash('sha256').update(text, 'utf8').digest('hex');

test('the published examples of FIPS 180-4 come out', () => {
  assert.equal(sha256('abc'), 'ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad');
  assert.equal(sha256(''), 'e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855');
});

test('texts of every length around a block, of all bytes and beyond the basic plane, hash as in OpenSSL', () => {
  for (let n = 0; n < 200; n += 1) assert.equal(sha256('x'.repeat(n)), ours('x'.repeat(n)), `length ${n}`);
  for (let n = 0; n < 200; n += 1) {
    const text = `${randomBytes(n * 7).toString('latin1')}° “${String.fromCodePoint(0x1f600 + n)}`;
    assert.equal(sha256(text), ours(text));
  }
});

test('bytes that are no text hash as in OpenSSL', () => {
  for (const n of [0, 1, 63, 64, 4096]) {
    const bytes = randomBytes(n);
    assert.equal(sha256(new Uint8Array(bytes)), createHash('sha256').update(bytes).digest('hex'), `length ${n}`);
  }
});

test('a record of a hundred kilobytes is hashed too', () => {
  const long = 'gauge '.repeat(20_000);
  assert.equal(sha256(long), ours(long));
});
