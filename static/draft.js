// What was answered, kept on the tablet: each answer is written when it is given.
import { ask, transact } from './store.js';

/** The draft under this key. */
export const load = (key) => ask('readonly', ({ drafts }) => drafts.get(key));

/** Every draft. */
export const drafts = () => ask('readonly', (stores) => stores.drafts.getAll());

/** Keeps a draft. */
export const save = (draft) => transact('readwrite', (stores) => { stores.drafts.put(draft); });

/** Throws a draft away. The records of its run stay. */
export const drop = (key) => transact('readwrite', (stores) => { stores.drafts.delete(key); });

/** Throws the draft of this run away, once its check was received. */
export const received = (run) => transact('readwrite', (stores) => {
  stores.drafts.openCursor().onsuccess = ({ target: { result: cursor } }) => {
    if (!cursor) return;
    if (cursor.value.run === run) cursor.delete();
    cursor.continue();
  };
});
