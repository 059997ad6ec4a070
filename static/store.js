// The store of this tablet: drafts, the records that it wrote, and what it knows of itself. A
// record stays until a backup of the server covers it; a draft until its check is written.

const NAME = 'airmuster';
const VERSION = 3;
const STORES = ['drafts', 'records', 'meta', 'photos'];
let opening = null;
let blocked = null;

// Forwards only, from whatever version is here. What an older page kept is never thrown away.
function upgrade(db, transaction, from) {
  if (from < 1) {
    db.createObjectStore('drafts', { keyPath: 'key' });
    db.createObjectStore('records', { keyPath: 'id' });
  }
  if (from < 2) {
    db.createObjectStore('meta', { keyPath: 'key' });
    const records = transaction.objectStore('records');
    records.createIndex('state', 'state');
    records.openCursor().onsuccess = ({ target: { result: cursor } }) => {
      if (!cursor) return;
      cursor.update({ state: 'saved', number: 0, at: 0, ...cursor.value });
      cursor.continue();
    };
  }
  if (from < 3) db.createObjectStore('photos', { keyPath: 'digest' });
}

/** Why the store cannot be used, in words that say what to do. */
export function storeTrouble(e) {
  switch (e?.name) {
    case 'QuotaExceededError': return 'The storage of this tablet is full.';
    case 'Blocked': return 'An older page of this program holds the store. Close every other tab of it, then go on here.';
    case 'VersionError': return 'A newer version of this program has used the store. Load this page again once you are done with it.';
    default: return 'This browser keeps nothing for this program.';
  }
}

function open() {
  // Behind a request that is blocked another one would wait without a word.
  if (blocked) return Promise.reject(blocked);
  opening ??= new Promise((resolve, reject) => {
    const request = indexedDB.open(NAME, VERSION);
    request.onupgradeneeded = ({ oldVersion }) => upgrade(request.result, request.transaction, oldVersion);
    // It may open later all the same, once the old page is gone; the page is then told.
    request.onblocked = () => {
      blocked = new DOMException('an older page holds the store', 'Blocked');
      reject(blocked);
    };
    request.onerror = () => {
      blocked = null;
      reject(request.error);
    };
    request.onsuccess = () => {
      const db = request.result;
      // A tablet in the background can lose its connection, and a newer page may need the store.
      db.onclose = () => { opening = null; };
      db.onversionchange = () => { db.close(); opening = null; };
      opening = Promise.resolve(db);
      resolve(db);
      if (blocked) {
        blocked = null;
        dispatchEvent(new Event('storefree'));
      }
    };
  });
  const mine = opening;
  opening.catch(() => { if (opening === mine) opening = null; });
  return opening;
}

/**
 * Runs one transaction; it has happened only when this resolves, with what `work` handed to its
 * second argument. A lost connection is reopened once.
 */
export async function transact(mode, work, again = true) {
  const db = await open();
  let transaction;
  try {
    transaction = db.transaction(STORES, mode, { durability: 'strict' });
  } catch (e) {
    if (!again || e.name !== 'InvalidStateError') throw e;
    opening = null;
    return transact(mode, work, false);
  }
  return new Promise((resolve, reject) => {
    let result;
    const stores = Object.fromEntries(STORES.map((name) => [name, transaction.objectStore(name)]));
    transaction.oncomplete = () => resolve(result);
    transaction.onabort = () => reject(transaction.error ?? new DOMException('not kept', 'AbortError'));
    work(stores, (value) => { result = value; });
  });
}

/** What one request answers. */
export const ask = (mode, question) => transact(mode, (stores, done) => {
  const request = question(stores);
  request.onsuccess = () => done(request.result);
});

/** What this tablet knows under this key. */
export const recall = async (key) => (await ask('readonly', ({ meta }) => meta.get(key)))?.value;

/** Notes what this tablet knows. */
export const note = (key, value) => transact('readwrite', ({ meta }) => { meta.put({ key, value }); });
