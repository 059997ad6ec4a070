// What a good check with no network does not make of a unit: the tablet promises no ride that it cannot know of.
import assert from 'node:assert/strict';
import test from 'node:test';
import { afterGood } from '../../static/after.js';

const data = {
  unit: '117', purpose: 'after-use', after: null, another: [],
  limits: { steps: [{ id: 'bypass', title: 'Bypass' }, { id: 'facepiece-vacuum', title: 'Facepiece vacuum' }] },
};
const unsure = { state: 'due', say: 'Everything asked is good. Whether it rides, the station says.', because: [] };
const used = (verdict, words) => ({
  id: 'u', unit: '117', outcome: 'used', state: 'saved', verdict, words, raises: ['used/1'],
});
const after = (more, { rows = [], written = {}, answers = [] } = {}) => (
  afterGood({ data: { ...data, ...more }, rows, made: 10, written, answers })
);

test('with nothing against it a good check is good, and the station’s word is passed on', () => {
  assert.equal(after({}), null);
  assert.equal(after({ after: unsure }), unsure);
  assert.equal(after({}, { rows: [used('due', 'Used, came back clean')] }), null, 'this is the check that it asks for');
});

test('what came back dirty does not ride, whichever form is used and however good the check', () => {
  for (const form of [null, unsure]) {
    const said = after({ after: form }, { rows: [used('out', 'Used, came back contaminated')] });
    assert.equal(said.state, 'out');
    assert.match(said.say, /does not ride/);
    assert.deepEqual(said.because, ['Used, came back contaminated.']);
  }
  assert.equal(after({}, { rows: [used('put-right', 'Used, came back soiled')] }).state, 'put-right');
  assert.equal(after({ unit: '118' }, { rows: [used('out', '')] }), null, 'another unit');
  assert.equal(after({}, { rows: [{ ...used('out', ''), state: 'received', received: 9 }] }), null, 'the page knows');
  const shift = after({ purpose: 'shift-start' }, { rows: [used('due', 'Used, came back clean')] });
  assert.deepEqual([shift.state, shift.say], ['due', unsure.say], 'the check at the start of a shift asks less');
});

test('what the station has against it stays where the tablet knows less', () => {
  const held = { state: 'held', say: 'It is held.', because: ['Held.'] };
  assert.equal(after({ after: held }, { rows: [used('out', '')] }), held);
  const found = { state: 'due', say: 'Only if another member signs.', because: ['Misread.'] };
  assert.deepEqual(after({ after: found }, { rows: [used('out', 'Used')] }).because, ['Misread.', 'Used.']);
});

test('what failed in this check and was written down is not good by being tapped good', () => {
  const written = { 'bypass/1//no': { id: 'w' } };
  const rows = [{ id: 'w', unit: '117', outcome: 'broken_off', state: 'saved', verdict: 'out', words: 'Bypass' }];
  const said = after({}, { rows, written, answers: [{ step: 'bypass', try: 2, values: { good: true } }] });
  assert.equal(said.state, 'out');
  assert.deepEqual(said.because, ['Bypass: not good before, and written down.']);
});

test('a facepiece that failed is made good by another one only, in this check and after one before', () => {
  const good = (item) => [{ step: 'facepiece-vacuum', try: 2, item, values: { good: true } }];
  const here = { written: { 'facepiece-vacuum/1/F-1/no': { id: 'w' } } };
  assert.equal(after({}, { ...here, answers: good('F-9') }), null);
  assert.equal(after({}, { ...here, answers: good('F-1') }).state, 'out');
  const another = [['facepiece-vacuum', 'F-1', 'Needs another one.']];
  assert.equal(after({ another }, { answers: good('F-9') }), null);
  assert.deepEqual(after({ another }, { answers: good('F-1') }).because, ['Needs another one.']);
  assert.equal(after({ another }, { answers: good(undefined) }).state, 'out');
});
