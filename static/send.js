// Sends what was written down on this tablet. A record is gone from here only when an answer of
// the server names it and the hash of its bytes: any page of a network in between can say 200.
import { sent, unsent } from './draft.js';

const LONGEST = 5000;

async function digest(text) {
  // Without a secure connection there is nothing to hash with; the id must do then.
  if (!crypto.subtle) return null;
  const bytes = await crypto.subtle.digest('SHA-256', new TextEncoder().encode(text));
  return Array.from(new Uint8Array(bytes), (b) => b.toString(16).padStart(2, '0')).join('');
}

/** Whether an answer of the server is the receipt for this record. */
export const isReceipt = (answer, id, hash) => answer?.id === id && typeof answer.digest === 'string'
  && (hash === null || answer.digest === hash);

async function sendOne({ id, text }) {
  const response = await fetch('/api/v1/records', {
    method: 'POST',
    headers: { 'content-type': 'application/json' },
    body: text,
    keepalive: true,
    redirect: 'error',
    signal: AbortSignal.timeout(LONGEST),
  });
  if (!isReceipt(await response.json(), id, await digest(text))) throw new Error('not a receipt');
  await sent(id).catch(() => {});
}

/** Sends everything once, and what could not be kept here; answers the ids that the server named. */
export async function send(inHand = []) {
  const named = [];
  for (const record of [...await unsent().catch(() => []), ...inHand]) {
    try {
      await sendOne(record);
      named.push(record.id);
    } catch {
      // It stays, and the others are tried all the same.
    }
  }
  return named;
}

/** A new id. */
export function newId() {
  if (crypto.randomUUID) return crypto.randomUUID();
  const b = crypto.getRandomValues(new Uint8Array(16));
  b[6] = (b[6] & 0x0f) | 0x40;
  b[8] = (b[8] & 0x3f) | 0x80;
  const hex = Array.from(b, (x) => x.toString(16).padStart(2, '0')).join('');
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, '$1-$2-$3-$4-$5');
}
