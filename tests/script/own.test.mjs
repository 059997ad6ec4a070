// How the board shows what this tablet found and the server does not know yet.
import assert from 'node:assert/strict';
import test from 'node:test';
import { ownVerdict } from '../../static/after.js';
import { ahead } from '../../static/clock.js';
import { hideReading, standingOf, unknownTo } from '../../static/own.js';

const done = (verdict, sole = true, purpose = 'shift-start') => ({ outcome: 'complete', verdict, sole, purpose });

test('a good check makes a unit better only where nothing but a check was due', () => {
  assert.equal(standingOf('due', [done('in')]), 'in');
  assert.equal(standingOf('due', [done('in', false)]), 'due');
  for (const server of ['retired', 'held', 'out', 'put-right']) assert.equal(standingOf(server, [done('in')]), server);
});

test('of the server’s last word and the tablet’s own the worse holds', () => {
  assert.equal(standingOf('in', [done('out')]), 'out');
  assert.equal(standingOf('in', [done('put-right')]), 'put-right');
  assert.equal(standingOf('held', [done('out')]), 'held');
  assert.equal(standingOf('in', [{ outcome: 'stopped', verdict: 'due' }]), 'due');
});

test('what took a unit out of service here stays, whatever is answered later', () => {
  const broken = { outcome: 'broken_off', verdict: 'out' };
  assert.equal(ownVerdict([broken, done('in')]), 'out');
  assert.equal(ownVerdict([done('put-right'), done('in')]), 'in');
  assert.equal(ownVerdict([done('in'), broken]), 'out');
});

test('what came back dirty stays so until it was cleaned, what came back clean until the next good check after use', () => {
  const used = (verdict) => ({ outcome: 'used', verdict, sole: false, raises: ['used/1'] });
  const afterUse = done('in', false, 'after-use');
  assert.equal(ownVerdict([done('in'), used('due')]), 'due');
  assert.equal(ownVerdict([used('due'), afterUse]), 'in');
  assert.equal(ownVerdict([used('due'), done('in')]), 'due', 'the check at the start of a shift asks less');
  assert.equal(ownVerdict([used('due'), afterUse, used('due')]), 'due');
  assert.equal(ownVerdict([used('due'), done('put-right', false, 'after-use'), done('in')]), 'due');
  // As programs before wrote it: any good check.
  assert.equal(ownVerdict([{ ...used('due'), raises: ['check-again/1'] }, done('in')]), 'in');
  assert.equal(ownVerdict([used('put-right'), afterUse]), 'put-right');
  assert.equal(ownVerdict([used('out'), done('in'), used('due')]), 'out');
  assert.equal(standingOf('in', [used('due')]), 'due');
});

test('what a cylinder held before a use is not shown again after the good check', () => {
  const gauge = { style: {} };
  const shown = (rows) => {
    hideReading({ querySelector: () => gauge }, rows);
    return gauge.style.visibility !== 'hidden';
  };
  const use = { outcome: 'used', verdict: 'due', raises: ['used/1'] };
  assert.equal(shown([done('in')]), true);
  assert.equal(shown([use]), false);
  assert.equal(shown([use, done('in', false, 'after-use')]), false);
});

test('what was received after the page was made is still shown, what was received before is in it', () => {
  const row = (more) => ({ unit: '117', verdict: 'out', ...more });
  assert.equal(unknownTo(10, [row({ state: 'saved' })]).size, 1);
  assert.equal(unknownTo(10, [row({ state: 'received', received: 11 })]).size, 1);
  assert.equal(unknownTo(10, [row({ state: 'received', received: 10 })]).size, 0);
});

test('times are the department’s, whatever zone the tablet is set to', () => {
  const moment = Date.UTC(2026, 10, 25, 15, 8, 30);
  assert.equal(ahead(moment, 'Wed 25 Nov · 08:08'), -420);
  assert.equal(ahead(moment, 'Wed 25 Nov · 20:38'), 330);
  assert.equal(ahead(moment, 'Thu 26 Nov · 02:08'), 660);
});
