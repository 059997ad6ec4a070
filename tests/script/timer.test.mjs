// What the timers enter, by kind of step.
import assert from 'node:assert/strict';
import test from 'node:test';
import { course, noted } from '../../static/timer.js';

function run(kind, seconds, ...taps) {
  const entered = [];
  const timer = course(kind, seconds, (fields) => entered.push(fields));
  const over = taps.map((ms) => timer.tap(ms));
  return { timer, entered, over };
}

test('a wait that is let go enters the time it held, never rounded up to the limit', () => {
  assert.deepEqual(run('hold', 10, 9990).entered, [{ held: '9.9' }]);
  assert.equal(noted(60), '0');
});

test('a wait that runs out enters the whole time', () => {
  const { timer, entered } = run('hold', 10);
  assert.equal(timer.lasts, 10_000);
  timer.end();
  assert.deepEqual(entered, [{ held: '10' }]);
});

test('the motion alarm takes two taps and enters nothing before the second', () => {
  const { timer, entered, over } = run('stages', 35, 19_840);
  assert.deepEqual([over, entered, timer.label()], [[false], [], 'Full alarm']);
  assert.equal(timer.tap(30_060), true);
  assert.deepEqual(entered, [{ first: '19.8', full: '30' }]);
});

test('a motion alarm that never sounds enters nothing by itself', () => {
  const { timer, entered } = run('stages', 35);
  assert.equal(timer.lasts, 52_500);
  timer.end();
  assert.deepEqual(entered, []);
});

test('a fall enters its seconds when they have passed and nothing when it is stopped', () => {
  assert.deepEqual(run('drop', 60, 30_000).entered, []);
  const { timer, entered } = run('drop', 60);
  timer.end();
  assert.deepEqual(entered, [{ seconds: '60' }]);
});
