// The proxy, for tests in JavaScript. It stands between a browser and the program under test:
//
//   const net = await startProxy(program.url);
//   await page.goto(net.url);                       // the origin that the browser knows
//   await net.breaks('cut-before-the-reply', { path: '/api/', times: 1 });
//   await net.breaks({ pass: 8, delay: 1, 'deliver-again': 1 });
//   await net.heals();
//   (await net.counts()).reached['POST /api/v1/records'] // what the server heard
//   await net.stop();
import { spawn } from 'node:child_process';
import { dirname, resolve } from 'node:path';
import { createInterface } from 'node:readline';
import { fileURLToPath } from 'node:url';

const here = dirname(fileURLToPath(import.meta.url));
const BINARY = process.env.FAULTPROXY_BIN ?? resolve(here, '../../target/debug/faultproxy');

/** Starts a proxy before the server at `url`; it ends by itself after `seconds`. */
export async function startProxy(url, { seed = 1, seconds = 600 } = {}) {
  const child = spawn(BINARY, ['--to', new URL(url).host, '--seed', String(seed), '--for', String(seconds)], {
    stdio: ['ignore', 'pipe', 'inherit'],
  });
  const gone = new Promise((done) => { child.on('close', done); child.on('error', done); });
  process.on('exit', () => child.kill());
  const places = {};
  const said = (async () => {
    for await (const line of createInterface({ input: child.stdout })) {
      const [name, place] = line.split(' ');
      places[name] = place;
      if (places.proxy && places.control) return;
    }
  })();
  await Promise.race([said, gone]);
  if (!places.control) throw new Error(`${BINARY} did not say where it listens`);

  const ask = async (method, path, body) => {
    const answer = await fetch(places.control + path, { method, body: body && JSON.stringify(body) });
    const said = await answer.json();
    if (!answer.ok) throw new Error(said.say ?? `${method} ${path}: ${answer.status}`);
    return said;
  };
  return {
    url: places.proxy,
    /** From now on this goes wrong: a mode, or modes with their weights. Resolves once it holds. */
    breaks: (mode, { path, times, slow } = {}) => ask('POST', '/mode', { mode, path, times, slow }),
    heals: () => ask('POST', '/mode', { mode: 'pass' }),
    /** Connections, requests by what became of them, what reached the server, and its replies. */
    counts: () => ask('GET', '/counts'),
    forget: () => ask('POST', '/forget'),
    stop: async () => { child.kill(); await gone; },
  };
}
