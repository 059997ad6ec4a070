// What this tablet makes of a unit by its own records.
import { wasUsed } from './use.js';

/** Every standing. */
export const WORST_FIRST = ['retired', 'held', 'out', 'put-right', 'due', 'in'];
/** The worse of two. */
export const worse = (a, b) => (WORST_FIRST.indexOf(a) <= WORST_FIRST.indexOf(b) ? a : b);

/** What the tablet's own records make of a unit, oldest first. */
export function ownVerdict(rows) {
  let verdict;
  let dirty = wasUsed(rows) ? 'due' : 'in';
  for (const { outcome, verdict: said } of rows) {
    // What came back soiled is cleaned before a check says anything, and that is written at the station.
    if (outcome === 'used' && said !== 'due') dirty = worse(dirty, said);
    // What took it out of service stays; a complete check says anew whether the rest is put right.
    if (verdict !== 'out' && (outcome === 'complete' || !verdict)) verdict = said;
    else verdict = worse(verdict, said);
  }
  return verdict && worse(dirty, verdict);
}
