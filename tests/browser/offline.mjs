// What the tests of work without a network have in common: a station with a network before it, its tablets,
// and what the server has of them.
import assert from 'node:assert/strict';
import { createHash, randomUUID } from 'node:crypto';
import { cpus, loadavg } from 'node:os';
import { after, before, describe, test } from 'node:test';
import { Tablet, startStation } from './tablet.mjs';

export const STATION = 'Kettle Street';
export const RIG = ['101', '102', '103', '115'];
const LONGEST = 180_000;
/** Whether to try more of the same (`AIRMUSTER_LONG=1`). */
export const LONG = Boolean(process.env.AIRMUSTER_LONG);

/** Promises kept one after the other before one program; each may have as many tablets as it likes. */
export function offlineStory(name, promises) {
  describe(name, () => {
    const stage = new Stage();
    before(async () => { stage.station = await startStation(); });
    after(async () => {
      await stage.clear();
      await stage.station?.stop();
    });
    const promise = (words, body, timeout = LONGEST) => test(words, { timeout }, async () => {
      stage.release.isItself();
      await stage.net.heals();
      try {
        await body(stage);
        for (const tablet of stage.tablets) assert.deepEqual(tablet.elsewhere, [], 'no request leaves the origin');
      } catch (e) {
        let n = 0;
        for (const tablet of stage.tablets) await tablet.picture(`failed ${name} ${words} ${n += 1}`).catch(() => {});
        throw e;
      } finally {
        await stage.clear();
      }
    });
    promises(promise, stage);
  });
}

class Stage {
  tablets = new Set();

  get net() { return this.station.net; }

  get release() { return this.station.release; }

  async clear() {
    for (const tablet of this.tablets) await tablet.discard();
    this.tablets.clear();
  }

  /** A tablet out of its box. */
  async unpack({ url = this.net.url, ...options } = {}) {
    const tablet = await Tablet.unpack(url, options);
    this.tablets.add(tablet);
    return tablet;
  }

  /** A tablet that has been at its station for a while. */
  async atStation(where = STATION) {
    const tablet = await this.unpack();
    await tablet.settleAt(where);
    return tablet;
  }

  /** The same, and the network is gone. */
  async cutOff() {
    const tablet = await this.atStation();
    await this.net.breaks('refuse');
    return tablet;
  }

  /** Whether the network has done this to a request since it was last told to forget. */
  async hasHappened(how) {
    return (await this.net.counts()).requests[how] > 0;
  }

  /** How many records the server has. */
  async seq() {
    return (await (await fetch(`${this.station.program.url}/api/v1/head`)).json()).seq;
  }

  /** The server has these very bytes, once: it says so when they are handed to it again. */
  async areStored(rows, url = this.station.program.url) {
    const places = new Set();
    for (const row of rows) {
      const again = await fetch(`${url}/api/v1/records`, {
        method: 'POST', headers: { 'content-type': 'application/json' }, body: row.text,
      });
      const receipt = await again.json();
      assert.equal(receipt.status, 'already_stored', row.text);
      assert.deepEqual([receipt.id, receipt.digest, receipt.seq], [row.id, row.digest, row.seq]);
      places.add(receipt.seq);
    }
    assert.equal(places.size, rows.length);
  }

  /** The check by which a unit stands, as its page says it. */
  async counting(unit) {
    const page = await (await fetch(`${this.station.program.url}/units/${unit}`)).text();
    return /<p class="when">([^<]*)/.exec(page)[1];
  }

  /** How a unit stands, as its page says it. */
  async standing(unit) {
    const page = await (await fetch(`${this.station.program.url}/units/${unit}`)).text();
    return /<section class="stand is-([\w-]+)"/.exec(page)[1];
  }
}

/** By how much other work on this machine stretches every time that is measured on it; 1 at least. */
export const busy = () => Math.max(1, loadavg()[0] / cpus().length);

/** Rows of an outbox, as if so many notes had been written on the tablet. */
export function notes(count, tablet = `tablet-${randomUUID().slice(0, 8)}`) {
  const incarnation = randomUUID();
  let before = null;
  return Array.from({ length: count }, (_, n) => {
    const record = {
      v: 1, kind: 'note', id: randomUUID(), tablet, incarnation, number: n + 1, before, at: Date.now() - 1000,
      client: 'a test', body: { asset: 'unit:101', why: `the ${n + 1}th of many` },
    };
    const row = rowOf(record.id, JSON.stringify(record), n + 1);
    before = row.digest;
    return row;
  });
}

/** A row of an outbox with this text. */
export const rowOf = (id, text, number) => ({
  id, text, digest: createHash('sha256').update(text).digest('hex'), state: 'saved', number, at: Date.now() - 1000,
});
