// What counts as the server's receipt, and so lets a record leave the tablet.
import assert from 'node:assert/strict';
import test from 'node:test';
import { isReceipt, newId } from '../../static/send.js';

const id = '0190a8c0-0000-7000-8000-000000000001';
const digest = 'b'.repeat(64);

test('only an answer that names the record and the hash of its bytes is a receipt', () => {
  assert.equal(isReceipt({ id, digest, status: 'stored' }, id, digest), true);
  for (const answer of [null, 'ok', {}, [], { status: 'refused', say: 'no' }, { id }, { digest },
    { id: id.replace('1', '2'), digest }, { id, digest: digest.replace('b', 'c') }]) {
    assert.equal(isReceipt(answer, id, digest), false, JSON.stringify(answer));
  }
});

test('without a secure connection nothing can be hashed, and the id must do', () => {
  assert.equal(isReceipt({ id, digest }, id, null), true);
  assert.equal(isReceipt({ id }, id, null), false);
});

test('an id is a UUID, also where the browser makes none itself', () => {
  const uuid = /^[0-9a-f]{8}-[0-9a-f]{4}-4[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$/;
  assert.match(newId(), uuid);
  Object.defineProperty(crypto, 'randomUUID', { value: undefined, configurable: true });
  const [one, other] = [newId(), newId()];
  delete crypto.randomUUID;
  assert.match(one, uuid);
  assert.match(other, uuid);
  assert.notEqual(one, other);
});
