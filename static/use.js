// Words about records that several scripts share: whether a unit was used, what a page of the station can know,
// which state a verdict means.

/** The checks that ask everything that a use may have done. */
export const AFTER_USE = ['after-use', 'proving'];

/** Whether a record says that a unit was used. */
export const saysUsed = ({ raises }) => Boolean(raises?.some((ground) => ground.startsWith('used/')));

/** Whether one of these records, oldest first, says that a unit was used, and none that it was looked at since. */
export const wasUsed = (rows) => rows.reduce((used, row) => {
  const { outcome, purpose, verdict } = row;
  if (saysUsed(row)) return true;
  return used && !(outcome === 'complete' && verdict === 'in' && AFTER_USE.includes(purpose));
}, false);

/** Whether a page that the server made at `made` knows a record. */
export const isKnown = ({ received, state }, made) => received !== undefined && received <= made && state !== 'saved';

const STANDING = { out_of_service: 'out', put_right: 'put-right', incomplete: 'due', in_service: 'in' };

/** The state that a verdict means, as the pages name it. */
export const stateOf = (verdict) => STANDING[verdict];
