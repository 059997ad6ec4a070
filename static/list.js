// Who may sign and which units there are: as last heard from the station, or else as it was kept
// with the pages, which a store that was lost does not take along.
import { recall } from './store.js';

const withPages = async () => (await (await caches.open('airmuster')).match('/offline/list')).json();

/** Members and units; empty on a tablet that was never at a station. */
export const list = async () => await recall('list').catch(() => null) ?? await withPages().catch(() => null)
  ?? { members: [], units: [] };
