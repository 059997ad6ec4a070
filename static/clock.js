// Times as people here read them: by the department's clock, which the page shows, and not by
// whatever zone the tablet is set to.

/** When the server made this page. */
export const made = Number(globalThis.document?.querySelector('meta[name=made]')?.content);

/** How far the department's clock is ahead of UTC, from a moment and what its clock showed then. */
export function ahead(moment, shown) {
  const [, hours, minutes] = /(\d+):(\d+)$/.exec(shown ?? '') ?? [];
  if (!minutes || !Number.isFinite(moment)) return -new Date().getTimezoneOffset();
  const there = Number(hours) * 60 + Number(minutes);
  const utc = Math.floor(moment / 60000) % 1440;
  // Nearer midnight than noon: the few zones beyond get the right time, and the day before.
  return ((there - utc + 1440 + 720) % 1440) - 720;
}

const zone = () => ahead(made, document.querySelector('.top .clock')?.textContent) * 60000;

/** A moment as people read it: the time, and the day where it is another one. */
export function clock(ms) {
  const day = (t) => new Date(t + zone()).toISOString().slice(0, 10);
  const other = day(ms) !== day(Date.now());
  return new Date(ms + zone()).toLocaleString('en', {
    timeZone: 'UTC', hour: '2-digit', minute: '2-digit', hourCycle: 'h23', ...(other ? { day: 'numeric', month: 'short' } : {}),
  });
}
