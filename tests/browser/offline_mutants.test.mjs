// Tests of the tests: each guard is held against scripts, or a server, in which it is broken on purpose, and
// must fail for that reason. (That the database itself refuses a second row is held in tests/it/store.rs.)
import assert from 'node:assert/strict';
import { isSentOnceThoughKilled, outlivesSigningOut, staysWhoeverAnswers, waitsForHalfDoneChecks, writesStrictly } from './guards.mjs';
import { offlineStory } from './offline.mjs';

/** The same text with this exchanged; a mutant that changes nothing proves nothing. */
const exchange = (from, to) => (text) => {
  assert.ok(text.includes(from), `there is no “${from}” to break`);
  return text.replace(from, to);
};

offlineStory('a tablet that is broken on purpose is caught', (promise) => {
  promise('one that removes a record before it has a receipt', async (stage) => {
    stage.release.changes('/static/sync.js', exchange(
      'export async function sendOne(row) {',
      "export async function sendOne(row) {\n  await (await import('./store.js')).transact('readwrite', ({ records }) => { records.delete(row.id); });",
    ));
    await assert.rejects(isSentOnceThoughKilled(stage, 'blackhole'), /kept until the receipt/);
  });

  promise('one that takes any answer for a receipt', async (stage) => {
    stage.release.changes('/static/sync.js', exchange('if (isReceipt(answer, row)) {', 'if (status >= 200 && status < 300) {'));
    await assert.rejects(staysWhoeverAnswers(stage, ['empty-object']), /kept in spite of “empty-object”/);
  });

  promise('one that does not compare the hash', async (stage) => {
    stage.release.changes('/static/outbox.js', exchange('answer.digest === sha256(text)', 'answer.digest !== undefined'));
    await assert.rejects(staysWhoeverAnswers(stage, ['wrong-hash']), /kept in spite of “wrong-hash”/);
  });

  promise('one that writes in a relaxed way', async (stage) => {
    stage.release.changes('/static/store.js', exchange("durability: 'strict'", "durability: 'relaxed'"));
    await assert.rejects(writesStrictly(stage), /every write is strict/);
  });

  promise('a server that has the storage thrown away at sign-out', async (stage) => {
    stage.release.changes('/sign-out', (text, headers) => {
      headers['clear-site-data'] = '"storage"';
      return text;
    });
    await assert.rejects(outlivesSigningOut(stage), /all are there after signing out/);
  });

  promise('a worker that does not ask whether a check is half done', async (stage) => {
    const careless = exchange('async function isIdle() {', 'async function isIdle() {\n  return true;');
    await assert.rejects(waitsForHalfDoneChecks(stage, careless), /no other release while a form is open/);
  });
});
