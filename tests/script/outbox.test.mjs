// What a record is, and what counts as the server's receipt and so lets it be called received.
import assert from 'node:assert/strict';
import test from 'node:test';
import { signedText } from '../../static/key.js';
import { STATES, fileOf, isReceipt, newId, recordText } from '../../static/outbox.js';
import { sha256 } from '../../static/sha256.js';
import { inTurn } from '../../static/sync.js';

const id = '0190a8c0-0000-7000-8000-000000000001';
const record = { id, tablet: 'tablet-4', at: 7, client: 'a test', by: 'm-1', body: { unit: '117' } };
const count = { incarnation: '0190a8c0-0000-7000-8000-000000000003', number: 1, before: null };
const text = recordText(record, count, -40);
const row = { id, text };
const good = { id, digest: sha256(text), status: 'stored', seq: 3, epoch: 'e' };

test('only an answer that names the record and the hash of its bytes is a receipt', () => {
  assert.equal(isReceipt(good, row), true);
  for (const answer of [undefined, null, 'ok', {}, [], { status: 'refused', say: 'no' }, { id }, { ...good, id: id.replace('1', '2') },
    { ...good, digest: sha256(`${text} `) }, { ...good, digest: undefined }, { ...good, seq: undefined }]) {
    assert.equal(isReceipt(answer, row), false, JSON.stringify(answer));
  }
});

test('a record says which tablet wrote it, as which of its records, after which, and by what clock', () => {
  assert.deepEqual(JSON.parse(text), {
    v: 1, kind: 'check', id, tablet: 'tablet-4', ...count, at: 7, offset: -40, client: 'a test', by: 'm-1', body: { unit: '117' },
  });
  assert.deepEqual(Object.keys(JSON.parse(recordText(record))), ['v', 'kind', 'id', 'tablet', 'at', 'client', 'by', 'body']);
});

test('a file carries the text of each record, so that its hash stays what it is, and beside it its signature and its seal', () => {
  const file = JSON.parse(fileOf([row, { ...row, signature: 'c2lnbmVk', seal: 'AY' }]));
  assert.deepEqual(file, { airmuster_outbox: 1, records: [text, text], signatures: [null, 'c2lnbmVk'], seals: [null, 'AY'] });
});

test('what a key signs names its use, the tablet and the record, as the server reads it', () => {
  // The same as in src/domain/record/tablet.rs; the hash is that of FIPS 180-4's first example.
  const abc = 'ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad';
  assert.equal(signedText('t-1', sha256('abc')), `airmuster record 1\nt-1\n${abc}`);
});

test('what has not been tried comes in the order in which it was written', () => {
  assert.deepEqual(inTurn([{ id: 'a' }, { id: 'b' }]).map((r) => r.id), ['a', 'b']);
});

test('there are four states in all, with the draft, and no word for them but these', () => {
  assert.deepEqual([...new Set(Object.values(STATES))], ['Saved on this tablet, not yet received', 'Received', 'Needs attention']);
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
