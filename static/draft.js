// What was answered, kept on the tablet: each answer is written when it is given, and a record
// stays until the server has named it and the hash of its bytes.

const NAME = 'airmuster';
const VERSION = 1;
let opening = null;

function open() {
  opening ??= new Promise((resolve, reject) => {
    const request = indexedDB.open(NAME, VERSION);
    request.onupgradeneeded = () => {
      request.result.createObjectStore('drafts', { keyPath: 'key' });
      request.result.createObjectStore('records', { keyPath: 'id' });
    };
    request.onblocked = () => reject(new Error('an older page holds the store'));
    request.onerror = () => reject(request.error);
    request.onsuccess = () => {
      const db = request.result;
      // A tablet in the background can lose its connection, and a newer page may need the store.
      db.onclose = () => { opening = null; };
      db.onversionchange = () => { db.close(); opening = null; };
      resolve(db);
    };
  });
  opening.catch(() => { opening = null; });
  return opening;
}

// Runs one transaction; it has happened only when this resolves. A lost connection is reopened once.
async function transact(mode, work, again = true) {
  const db = await open();
  let transaction;
  try {
    transaction = db.transaction(['drafts', 'records'], mode, { durability: 'strict' });
  } catch (e) {
    if (!again || e.name !== 'InvalidStateError') throw e;
    opening = null;
    return transact(mode, work, false);
  }
  return new Promise((resolve, reject) => {
    const request = work(transaction.objectStore('drafts'), transaction.objectStore('records'));
    transaction.oncomplete = () => resolve(request?.result);
    transaction.onabort = () => reject(transaction.error);
  });
}

/** The draft under this key. */
export const load = (key) => transact('readonly', (drafts) => drafts.get(key));

/** Keeps a draft and, in the same transaction, a record to be sent. */
export const save = (draft, record) => transact('readwrite', (drafts, records) => {
  drafts.put(draft);
  if (record) records.put(record);
});

/** Throws a draft away. Its records stay. */
export const drop = (key) => transact('readwrite', (drafts) => { drafts.delete(key); });

/** Throws the draft of this run away, once its check was received. */
export const received = (run) => transact('readwrite', (drafts) => {
  drafts.openCursor().onsuccess = ({ target: { result: cursor } }) => {
    if (!cursor) return;
    if (cursor.value.run === run) cursor.delete();
    cursor.continue();
  };
});

/** Records that the server has not yet named. */
export const unsent = () => transact('readonly', (_, records) => records.getAll());

/** Forgets a record that the server has named. */
export const sent = (id) => transact('readwrite', (_, records) => { records.delete(id); });
