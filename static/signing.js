// A record other than a check, signed and saved on this tablet: a name, a PIN that is locked up for the
// server at once, and the outbox. What is said of it is said until the station has it.
import { clock } from './clock.js';
import { enrolledAs } from './key.js';
import { list } from './list.js';
import { STATES, all, newId, onChange, write } from './outbox.js';
import { recall, storeTrouble } from './store.js';
import { sync } from './sync.js';

const PIN = /^\d{6,64}$/;

/** Says what is to be put right at a field, or with no text that nothing is. */
export function say(field, text) {
  const id = `${field.id}-problem`;
  document.getElementById(id)?.remove();
  field.toggleAttribute('aria-invalid', Boolean(text));
  if (!text) return field.removeAttribute('aria-describedby');
  const line = Object.assign(document.createElement('p'), { id, className: 'wrong', textContent: text });
  field.setAttribute('aria-describedby', id);
  (field.closest('.field') ?? field).append(line);
}

/** Says all of it, `[field, text]` each, and goes to the first that has one; whether none has. */
export function allRight(fields) {
  for (const [field, text] of fields) say(field, text);
  const [first] = fields.find(([, text]) => text) ?? [];
  (first?.matches('input, select, textarea') ? first : first?.querySelector('input, select'))?.focus();
  return !first;
}

/** What name and PIN lack. */
export const signedBy = ({ member, pin }) => [
  [member, member.value ? '' : 'Choose your name.'],
  [pin, PIN.test(pin.value) ? '' : 'Give your PIN: six digits or more.'],
];

/** What locks up a PIN for the server, or nothing where this browser cannot, or does not know its key. */
async function lock() {
  const { seal_key: to } = await list();
  const sealing = to && await import('./seal.js').catch(() => null);
  return sealing?.canSeal() ? (pin, digest, tablet) => sealing.sealPin(to, pin, digest, tablet) : undefined;
}

/** Whether a PIN can be locked up here; what is worth its signature alone is not saved without. */
export const canLock = async () => Boolean(await lock());

/** The name of this tablet in records: as it was enrolled, or as a page that came with one says. */
const nameOf = async (data) => await enrolledAs() ?? await recall('tablet').catch(() => null) ?? data.tablet;

/**
 * Saves records `{ id, kind, body, more(digest) }` of one signature, one after the other; one that is
 * here already from a try before stays as it is. Throws where one is not kept.
 */
export async function saveSigned(records, { member, pin }, data) {
  const tablet = await nameOf(data);
  const locks = await lock();
  const seal = locks && ((digest) => locks(pin.value, digest, tablet));
  const at = Date.now();
  for (const { id, kind, body, more } of records) {
    await write({ id, kind, tablet, at, client: data.client, by: member.value, body }, { more, seal })
      .catch((e) => { if (e.name !== 'ConstraintError') throw e; });
  }
  pin.value = '';
  sync();
}

/** Why nothing is saved, in words. */
export const notSaved = (e) => `${storeTrouble(e)} Nothing is saved. What you entered stays on this page: do not close it.`;

/** Keeps saying in `line` what has become of these records. */
export function follow(line, ids) {
  const show = async () => {
    const rows = (await all()).filter(({ id }) => ids.includes(id));
    const left = rows.find(({ state }) => state !== 'received') ?? rows[0];
    if (left) line.textContent = left.state === 'saved' ? `Saved on this tablet ${clock(left.at)}, not yet received.` : `${STATES[left.state]}.`;
  };
  onChange(() => show().catch(() => {}));
  return show();
}

export { newId };
