// Keeps on this tablet what it needs with no network: the pages of its station, by build a whole
// set or none. The server is asked first, for a short while; a POST is never kept.

const TOP = 'airmuster';
const SET = 'airmuster ';
const LIST = '/offline/list';
const AWAY = '/static/away.html';
const SHORT = 800;
const LONG = 10000;
const AGAIN = 60 * 1000;
const ALL_AGAIN = 10 * 60 * 1000;

const set = (build) => caches.open(SET + build);
const after = (ms) => new Promise((_, fail) => { setTimeout(fail, ms, new Error('too late')); });
const get = (path, options) => fetch(path, { cache: 'no-store', signal: AbortSignal.timeout(LONG), ...options });

/** The list of the set in use. */
async function inUse() {
  const list = await (await caches.open(TOP)).match(LIST);
  return list?.json();
}

// Given up, or signed out on a device of one's own: what the department's pages say stays here no
// longer. What was written here is elsewhere, and stays until it is received.
async function forget() {
  for (const name of await caches.keys()) if (name === TOP || name.startsWith(SET)) await caches.delete(name);
}

// A tablet that lost its cookies keeps the station whose pages it has.
async function listNow() {
  const station = /^\/stations\/(.+)$/;
  const [, kept] = station.exec((await inUse())?.pages.find((path) => station.test(path))) ?? [];
  const response = await get(kept ? `${LIST}?station=${kept}` : LIST);
  const list = await response.json();
  if (response.status === 401 && typeof list.say === 'string') await forget();
  if (typeof list.build !== 'string' || !Array.isArray(list.pages)) throw new Error('not our list');
  return list;
}

// ---------------------------------------------------------------- filling a set

// A response made here has no address of its own: what a script imports is then looked for beside the
// address under which the set gave it out, and not at the server.
const named = (headers) => ['content-type', 'content-security-policy', 'referrer-policy', 'x-content-type-options']
  .filter((n) => headers.has(n)).map((n) => [n, headers.get(n)]);

// A page is the tablet's, not a person's. What it loads comes from its own set, so that it never
// gets a script of another build; and it says that it was kept.
function asKept(html, { headers }, build) {
  const own = html
    .replaceAll('src="/static/', `src="/kept/${build}/static/`)
    .replaceAll('rel="stylesheet" href="/static/', `rel="stylesheet" href="/kept/${build}/static/`)
    .replace('<meta name="made"', '<meta name="kept" content="yes">\n<meta name="made"');
  return new Response(own, { headers: named(headers) });
}

const isPersonal = (html) => html.includes('action="/sign-out"');
const isPage = (r) => r.ok && !r.redirected && r.headers.get('content-type')?.startsWith('text/html');

async function fetchPage(path, build) {
  const response = await get(path, { headers: { 'airmuster-ahead': 'yes' } });
  if (!isPage(response)) throw new Error(`${path}: ${response.status}`);
  const html = await response.text();
  if (isPersonal(html)) throw new Error(`${path} is somebody’s own page`);
  return asKept(html, response, build);
}

async function fetchAsset(path, build) {
  const response = await get(path);
  if (!response.ok || response.redirected) throw new Error(`${path}: ${response.status}`);
  if (path.endsWith('.html')) return asKept(await response.text(), response, build);
  return new Response(await response.blob(), { headers: named(response.headers) });
}

async function fillWith({ build, pages, assets }) {
  const cache = await set(build);
  const there = new Set((await cache.keys()).map(({ url }) => new URL(url).pathname));
  const keep = async (path) => cache.put(path, assets.includes(path) ? await fetchAsset(path, build) : await fetchPage(path, build));
  const left = [...assets.filter((path) => !there.has(path)), ...pages];
  // The first form gives this tablet its name, if it has none; all others then have the same.
  const form = left.find((path) => path.endsWith('/check'));
  if (form) await keep(form);
  const hand = async () => {
    for (let path = left.shift(); path; path = left.shift()) if (path !== form) await keep(path);
  };
  await Promise.all([hand(), hand(), hand()]);
  // Replaced while it was being filled, it would be a mixture.
  if ((await listNow()).build !== build) throw new Error('the server has a new build');
}

/** Fills the set of the server's build; answers its list. The list is put in last: with it the set is whole. */
async function fill() {
  const list = await listNow();
  try {
    await fillWith(list);
  } catch (e) {
    const used = await inUse();
    if (used?.build !== list.build) await caches.delete(SET + list.build);
    throw e;
  }
  await (await set(list.build)).put(LIST, Response.json(list));
  return list;
}

// From now on this set is used, and no other is kept.
async function takeOver(list) {
  await (await caches.open(TOP)).put(LIST, Response.json({ ...list, filled: Date.now() }));
  const cache = await set(list.build);
  for (const { url } of await cache.keys()) {
    const { pathname } = new URL(url);
    if (![...list.pages, ...list.assets, LIST].includes(pathname)) await cache.delete(url);
  }
  for (const name of await caches.keys()) if (name.startsWith(SET) && name !== SET + list.build) await caches.delete(name);
}

// ---------------------------------------------------------------- not while a check is half done

const halfDone = (client) => new Promise((resolve) => {
  const { port1, port2 } = new MessageChannel();
  port1.onmessage = ({ data }) => resolve(data);
  client.postMessage('half done?', [port2]);
  // A page that does not answer may be a form that is frozen.
  setTimeout(() => resolve(new URL(client.url).pathname.endsWith('/check')), 1000);
});

async function isIdle() {
  const pages = await self.clients.matchAll({ type: 'window', includeUncontrolled: true });
  return !(await Promise.all(pages.map(halfDone))).includes(true);
}

/** The newest whole set. */
async function newest() {
  const lists = await Promise.all((await caches.keys()).filter((name) => name.startsWith(SET))
    .map(async (name) => (await (await caches.open(name)).match(LIST))?.json()));
  return lists.filter(Boolean).sort((a, b) => b.made - a.made)[0];
}

self.addEventListener('install', (event) => event.waitUntil((async () => {
  const list = await fill();
  if (!await inUse()) await takeOver(list);
  if (await isIdle()) await self.skipWaiting();
})()));

self.addEventListener('activate', (event) => event.waitUntil((async () => {
  const list = await newest();
  if (list) await takeOver(list);
  await self.clients.claim();
})()));

// ---------------------------------------------------------------- refreshing

let seen = { seq: -1, at: 0 };
let refreshing = Promise.resolve();

async function refresh(seq, loaded) {
  const used = await inUse();
  const since = Math.abs(Date.now() - seen.at);
  const list = loaded || since > AGAIN ? await listNow() : used;
  const others = (a) => [a?.build, ...a?.pages ?? []].join();
  const stale = (seq !== seen.seq && since > AGAIN) || Math.abs(Date.now() - (used?.filled ?? 0)) > ALL_AGAIN;
  if (others(list) === others(used) && !stale) return;
  const filled = await fill();
  seen = { seq, at: Date.now() };
  if (filled.build === used?.build || await isIdle()) await takeOver(filled);
}

self.addEventListener('message', (event) => {
  const { data } = event;
  if (data.takeOver) event.waitUntil(isIdle().then((idle) => idle && self.skipWaiting()));
  if (data.refresh === undefined) return;
  refreshing = refreshing.then(() => refresh(data.refresh, data.loaded)).catch(() => {});
  event.waitUntil(refreshing);
});

// ---------------------------------------------------------------- answering

/** The page kept for this address, if there is one; a unit that moved in has the form of its kind. */
async function keptFor(url) {
  const list = await inUse();
  if (!list) return undefined;
  const cache = await set(list.build);
  const { pathname: path, searchParams } = url;
  if (path === '/') return Response.redirect(list.pages.find((p) => p.startsWith('/stations/')) ?? '/stations');
  // The officer's own pages are not kept: the roster that is leads on.
  const [, rig] = /^\/rigs\/([^/]+)(?:\/accept)?$/.exec(path) ?? [];
  if (rig) return cache.match(`/rigs/${rig}/roster`);
  const [, number] = /^\/units\/([^/]+)\/check$/.exec(path) ?? [];
  // What was stopped can be gone on with from what this tablet has; another purpose is another form, and of
  // those the one after use is kept for each kind of unit.
  searchParams.delete('continues');
  const afterUse = searchParams.get('purpose') === 'after-use';
  if (afterUse) searchParams.delete('purpose');
  if (searchParams.size) return undefined;
  const unit = list.units?.find((u) => u.number === decodeURIComponent(number ?? ''));
  const kept = await cache.match(path);
  const html = number && kept ? await kept.clone().text() : '';
  // What is held or retired is not checked: its page without a form stays, and no form of its kind.
  if (html && !html.includes('<form class="check"')) return kept;
  if (afterUse && !html.includes('name="purpose" value="after-use"')) {
    return unit && cache.match(`/forms/${unit.profile}/after-use`);
  }
  return kept ?? (unit && cache.match(`/forms/${unit.profile}`));
}

async function away() {
  const list = await inUse();
  const page = list && await (await set(list.build)).match(AWAY);
  return page ?? Response.error();
}

// What the server answers anew takes the place of what was kept.
async function renew(url, response) {
  const list = await inUse();
  if (!list?.pages.includes(url.pathname) || url.search || !isPage(response)) return;
  const html = await response.text();
  if (isPersonal(html)) return;
  await (await set(list.build)).put(url.pathname, asKept(html, response, list.build));
}

async function navigate(event) {
  const { request } = event;
  const url = new URL(request.url);
  const answer = fetch(request);
  if (request.method !== 'GET') return Promise.race([answer, after(LONG)]).catch(away);
  event.waitUntil(answer.then((response) => renew(url, response.clone())).catch(() => {}));
  const kept = await keptFor(url).catch(() => undefined);
  if (!kept) return Promise.race([answer, after(LONG)]).catch(away);
  const first = await Promise.race([answer, after(SHORT)]).catch(() => null);
  return first && first.status < 500 ? first : kept;
}

async function ofSet(path) {
  const [, build, asset] = /^\/kept\/([^/]+)(\/static\/.+)$/.exec(path) ?? [];
  return (build && await (await set(build)).match(asset)) ?? Response.error();
}

async function asset(request, path) {
  const kept = async () => {
    const list = await inUse();
    return (list && await (await set(list.build)).match(path)) ?? Response.error();
  };
  return Promise.race([fetch(request), after(LONG)]).catch(kept);
}

self.addEventListener('fetch', (event) => {
  const { request } = event;
  const { origin, pathname } = new URL(request.url);
  if (origin !== self.location.origin) return;
  if (request.mode === 'navigate') event.respondWith(navigate(event));
  else if (pathname.startsWith('/kept/')) event.respondWith(ofSet(pathname));
  else if (/^\/static\/[^/]+$/.test(pathname)) event.respondWith(asset(request, pathname));
});
