// The page on the wall: hears from the station every few seconds, draws itself anew when a record
// came in or a minute has passed, and says so when it hears nothing.
const lost = document.getElementById('lost');
const LOST = 20_000;
const OLD = 60_000;

let heard = Date.now();
let drawn = Date.now();

/** Takes what the station would show now. */
async function draw() {
  const answer = await fetch(location.pathname, { signal: AbortSignal.timeout(5000), cache: 'no-store' });
  if (!answer.ok) return;
  const page = new DOMParser().parseFromString(await answer.text(), 'text/html');
  const now = page.getElementById('wall');
  if (now) document.getElementById('wall').replaceWith(now);
  drawn = Date.now();
}

const source = new EventSource('/wall/events');
source.addEventListener('message', (event) => {
  heard = Date.now();
  lost.hidden = true;
  const changed = event.data !== document.getElementById('wall').dataset.seq;
  if (changed || heard - drawn > OLD) draw().catch(() => {});
});

setInterval(() => {
  if (Date.now() - heard < LOST) return;
  const since = new Date(heard).toLocaleTimeString([], { hour: '2-digit', minute: '2-digit' });
  lost.textContent = `Out of touch with the station since ${since}. What stands here is as it was then.`;
  lost.hidden = false;
}, 1000);
