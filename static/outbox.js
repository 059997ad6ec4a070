// The records that this tablet wrote. Each has a number, names the one before it, and stays until
// the server has named it and the hash of its bytes, and a backup of the server covers it.
import { enrolledAs, signatureOf } from './key.js';
import { sha256 } from './sha256.js';
import { ask, recall, transact } from './store.js';

/** The states a record can be in, as people read them; before them comes the draft. */
export const STATES = {
  saved: 'Saved on this tablet, not yet received',
  received: 'Received',
  attention: 'Needs attention',
  refused: 'Needs attention',
};
const KEPT = 30 * 24 * 3600 * 1000;

/** A new id. */
export function newId() {
  if (crypto.randomUUID) return crypto.randomUUID();
  const b = crypto.getRandomValues(new Uint8Array(16));
  b[6] = (b[6] & 0x0f) | 0x40;
  b[8] = (b[8] & 0x3f) | 0x80;
  const hex = Array.from(b, (x) => x.toString(16).padStart(2, '0')).join('');
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, '$1-$2-$3-$4-$5');
}

/**
 * The text of a record: what is hashed, kept and sent, byte for byte. `count` says which of this
 * tablet's records it is, `offset` what its clock lacked when that was last measured.
 */
export function recordText({ kind = 'check', id, tablet, at, client, by, written_by, body }, count = {}, offset) {
  const { incarnation, number, before } = count;
  return JSON.stringify({ v: 1, kind, id, tablet, incarnation, number, before, at, offset, client, by, written_by, body });
}

// ---------------------------------------------------------------- other pages of this tablet

const channel = 'BroadcastChannel' in globalThis ? new BroadcastChannel('airmuster outbox') : null;
channel?.unref?.();
const listeners = new Set();
const tell = (named) => {
  for (const listener of listeners) listener(named);
};
if (channel) channel.onmessage = ({ data }) => tell(data);
function changed(named = []) {
  tell(named);
  channel?.postMessage(named);
}

/** Calls back whenever records were written or answered, here or on another page. */
export const onChange = (listener) => { listeners.add(listener); };

// ---------------------------------------------------------------- writing

// An offset is worth something only while the clock it was measured on has gone on as it was.
const MEASURED_WITHIN = 7 * 24 * 3600 * 1000;
const offsetOf = (clock, at) => (clock && at >= clock.at && at - clock.at < MEASURED_WITHIN ? clock.offset : undefined);

// The record as it would be written now, after the last one that this tablet wrote. Enrolled anew it has
// another name, and to the server is another tablet: under that it counts from 1, so that nothing seems
// missing. `nth` goes on, and is the order in which all were written.
function compose(record, last = undefined, clock = undefined) {
  const goesOn = last && (last.tablet ?? record.tablet) === record.tablet;
  const { incarnation, number, before } = goesOn ? last : { incarnation: newId(), number: 0, before: null };
  const count = { incarnation, number: number + 1, before };
  const text = recordText(record, count, offsetOf(clock, record.at));
  const digest = sha256(text);
  const next = { tablet: record.tablet, incarnation, number: count.number, before: digest, nth: (last?.nth ?? last?.number ?? 0) + 1 };
  return { next, text, digest };
}

function lastOf({ meta }, then) {
  const clock = meta.get('clock');
  const own = meta.get('count');
  own.onsuccess = () => then(own.result?.value, clock.result?.value);
}

// A browser seals only while no transaction is open: what is to be written is made up first, and
// made up again if another record came between.
async function sealed(record, seal) {
  const [last, clock] = await transact('readonly', (stores, done) => lastOf(stores, (...known) => done(known)));
  const made = compose(record, last, clock);
  return { ...made, last, seal: await seal(made.digest) };
}

/**
 * Writes a record down, with the draft it comes from (or, given `over`, in place of that draft), in
 * one transaction: it is saved when this resolves, and not before. `more(digest)` tells what this
 * tablet should remember of it beside the bytes; `seal(digest)` seals its signature.
 */
export async function write(record, { draft, over, more, seal } = {}) {
  const ahead = seal && await sealed(record, seal);
  const row = await transact('readwrite', ({ drafts, records, meta }, done) => {
    lastOf({ meta }, (last, clock) => {
      if (ahead && ahead.last?.before !== last?.before) return;
      const { next, text, digest } = ahead ?? compose(record, last, clock);
      const kept = { id: record.id, text, digest, seal: ahead?.seal, state: 'saved', number: next.nth, at: record.at, ...more?.(digest) };
      // Never over another one: a record once written stays as it is.
      records.add(kept);
      meta.put({ key: 'count', value: next });
      if (over) drafts.delete(over);
      if (draft) drafts.put(draft);
      done(kept);
    });
  });
  if (!row) return write(record, { draft, over, more, seal });
  changed();
  // A record does not wait for its signature: what is saved is saved.
  return signed(row).catch(() => row);
}

/** A record with what this tablet's key says of it, which is kept with it. */
export async function signed(row) {
  if (row.signature) return row;
  const signature = await signatureOf(row.text);
  if (!signature) return row;
  await update(row.id, { signature });
  return { ...row, signature };
}

// ---------------------------------------------------------------- what became of them

/** Every record that this tablet still has, oldest first. */
export const all = async () => (await ask('readonly', ({ records }) => records.getAll()))
  .sort((a, b) => a.number - b.number || a.at - b.at);

/** The records that the server has not taken, oldest first. */
export const unsent = async () => (await all()).filter(({ state }) => ['saved', 'refused'].includes(state));

/** How many are in each state. */
export const counts = () => transact('readonly', ({ records }, done) => {
  const of = {};
  for (const state of Object.keys(STATES)) {
    const request = records.index('state').count(state);
    request.onsuccess = () => { of[state] = request.result; };
  }
  done(of);
});

/** Whether an answer of the server is the receipt for this record: any network can say 200. */
export const isReceipt = (answer, { id, text }) => answer?.id === id && answer.digest === sha256(text)
  && Number.isInteger(answer.seq) && typeof answer.epoch === 'string';

const update = (id, change) => transact('readwrite', ({ records }) => {
  records.get(id).onsuccess = ({ target: { result: row } }) => { if (row) records.put({ ...row, ...change }); };
});

/** The server has this record, and says so. */
export async function receive({ id }, { status, seq, epoch, received, attention }) {
  await update(id, { state: status === 'needs_attention' ? 'attention' : 'received', seq, epoch, received, say: attention });
  changed([id]);
}

/** The server says that this is no record. It stays here and is shown. */
export async function refuse({ id }, say) {
  await update(id, { state: 'refused', say, refused: Date.now() });
  changed();
}

/**
 * What follows from how the server stands: after it was restored from a backup, all it had taken
 * is sent again; what a backup covers for long enough is forgotten. Times are the server's.
 */
export async function settleWith({ epoch, backed_up: backedUp, now }) {
  const again = await transact('readwrite', ({ records }, done) => {
    let count = 0;
    records.openCursor().onsuccess = ({ target: { result: cursor } }) => {
      if (!cursor) return;
      const row = cursor.value;
      if (row.epoch && row.epoch !== epoch) {
        const { epoch: _, seq: __, received: ___, ...rest } = row;
        cursor.update({ ...rest, state: 'saved' });
        done(count += 1);
      } else if (row.state === 'received' && row.seq <= backedUp && now - row.received > KEPT) {
        cursor.delete();
      }
      cursor.continue();
    };
  });
  if (again) changed();
}

/** The file in which records are carried to another device. */
export const fileOf = (rows) => JSON.stringify({
  airmuster_outbox: 1, records: rows.map(({ text }) => text), signatures: rows.map(({ signature }) => signature ?? null),
  seals: rows.map(({ seal }) => seal ?? null),
});

/**
 * What this tablet says of itself with its questions: how many records the server has not taken, the
 * age of the oldest in milliseconds, the last number that it has written under its name, and its incarnation.
 */
export async function holds() {
  const { saved, refused } = await counts();
  const waiting = saved + refused ? await unsent() : [];
  const oldest = Math.max(0, ...waiting.map(({ at }) => Date.now() - at));
  const { tablet, number, incarnation } = await recall('count') ?? {};
  const own = number && (!tablet || tablet === await enrolledAs());
  return [waiting.length, Math.min(oldest, 0xffffffff), ...own ? [number, incarnation] : []].join(' ');
}
