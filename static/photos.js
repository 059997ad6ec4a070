// Photographs that this tablet took: kept apart from the records that name them, and sent after
// them, one at a time. A record never waits for one.
import { sha256 } from './sha256.js';
import { ask, transact } from './store.js';

const LIMIT = 60000;
// What the server does not take is offered to it again after so long.
const AGAIN = 3600 * 1000;

/** Keeps a photograph; answers its name. */
export async function keepPhoto(bytes) {
  const digest = sha256(new Uint8Array(bytes));
  await transact('readwrite', ({ photos }) => { photos.put({ digest, bytes, at: Date.now() }); });
  return digest;
}

/** How many are still here. */
export const photosHere = () => ask('readonly', ({ photos }) => photos.count());

const drop = (digest) => transact('readwrite', ({ photos }) => { photos.delete(digest); });

// Taken only when the answer names it: any network can say 200.
async function sendPhoto({ digest, bytes }) {
  const response = await fetch(`/api/v1/photos/${digest}`, {
    method: 'PUT', body: new Blob([bytes]), cache: 'no-store', redirect: 'error', signal: AbortSignal.timeout(LIMIT),
    headers: { 'content-type': 'application/octet-stream' },
  });
  const answer = await response.json();
  return { taken: response.ok && answer.digest === digest, say: String(answer.say ?? '') };
}

/** Sends what there is; stops at the first that cannot be sent now. */
export async function sendPhotos() {
  const names = await ask('readonly', ({ photos }) => photos.getAllKeys());
  for (const name of names) {
    const row = await ask('readonly', ({ photos }) => photos.get(name));
    if (!row || Math.abs(Date.now() - (row.refused ?? 0)) < AGAIN) continue;
    const { taken, say } = await sendPhoto(row);
    if (taken) await drop(name);
    else await transact('readwrite', ({ photos }) => { photos.put({ ...row, refused: Date.now(), say }); });
  }
}
