// Starts the program under test and makes sure that it is gone afterwards.
import { spawn } from 'node:child_process';
import { statSync } from 'node:fs';
import { cp, mkdtemp, readdir, rename, rm, stat } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { dirname, join, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';

const here = dirname(fileURLToPath(import.meta.url));
export const BINARY = process.env.AIRMUSTER_BIN ?? resolve(here, '../../target/debug/airmuster');

// timeout(1) stands between: it passes the request to stop on, ends a program that does not heed it, and
// ends one that has outlived a test run that could not clean up.
const LONGEST_LIFE_S = 900;
const running = new Set();
process.on('exit', () => running.forEach((child) => child.kill('SIGTERM')));

// The demo hands in eighteen months of records when it starts on an empty folder. Once made, its folder is
// copied, for as long as the days in it are today's.
const PREPARED = 'airmuster-demo-';
const FRESH_MS = 30 * 60 * 1000;

async function prepareDemo() {
  const { size, mtimeMs } = statSync(BINARY);
  const folder = join(tmpdir(), `${PREPARED}${size}-${Math.round(mtimeMs)}-${Math.floor(Date.now() / FRESH_MS)}`);
  if (await stat(folder).catch(() => null)) return folder;
  for (const name of await readdir(tmpdir())) {
    const old = name.startsWith(PREPARED) && await stat(join(tmpdir(), name)).catch(() => null);
    if (old && Date.now() - old.mtimeMs > 2 * FRESH_MS) await rm(join(tmpdir(), name), { recursive: true, force: true });
  }
  const made = await startProgram({ args: ['demo'], prepared: false, keep: true });
  await made.stop();
  // Another test may have been quicker.
  await rename(made.data, folder).catch(() => rm(made.data, { recursive: true, force: true }));
  return folder;
}

/** Starts `command`, waits until it says where it listens and answers there. */
export async function startProgram({
  command = BINARY,
  args = ['demo'],
  data: given,
  prepared = command === BINARY && args.join() === 'demo' && !given,
  keep = Boolean(given),
  startWithin = 60_000,
  stopWithin = 15_000,
} = {}) {
  const data = given ?? await mkdtemp(join(tmpdir(), 'browser-test-'));
  if (prepared) await cp(await prepareDemo(), data, { recursive: true });
  const child = spawn(
    'timeout',
    [
      '--foreground', `--kill-after=${stopWithin / 1000}`, String(LONGEST_LIFE_S),
      command, ...args, '--listen', '127.0.0.1:0', '--data', data,
    ],
    { stdio: ['ignore', 'pipe', 'pipe'] },
  );
  running.add(child);
  let said = '';
  const exited = new Promise((done) => {
    child.on('error', (e) => { said += `${e}\n`; done('not started'); });
    child.on('close', (code, signal) => done(signal ?? code));
  });
  exited.then(() => running.delete(child));

  async function stop() {
    child.kill('SIGTERM');
    const how = await exited;
    if (!keep) await rm(data, { recursive: true, force: true });
    if (how !== 0) throw new Error(`asked to stop, the program ended with ${how}\n${said}`);
  }

  try {
    const url = await new Promise((found, failed) => {
      const listen = (chunk) => {
        said += chunk;
        const match = /http:\/\/127\.0\.0\.1:(\d+)\b.*\n/.exec(said);
        if (match) found(`http://127.0.0.1:${match[1]}`);
      };
      child.stdout.on('data', listen);
      child.stderr.on('data', listen);
      exited.then((how) => failed(new Error(`ended before it listened (${how})`)));
      after(startWithin).then(() => failed(new Error('did not say where it listens')));
    });
    await answers(`${url}/healthz`, startWithin);
    return { url, data, stop, said: () => said };
  } catch (e) {
    await stop().catch(() => {});
    throw new Error(`${e.message}\nThe program said:\n${said}`);
  }
}

async function answers(url, within) {
  const until = Date.now() + within;
  for (;;) {
    try {
      if ((await fetch(url)).ok) return;
    } catch {
      // not yet
    }
    if (Date.now() > until) throw new Error(`${url} does not answer`);
    await after(50);
  }
}

// Does not keep this process alive by itself.
function after(ms) {
  return new Promise((done) => setTimeout(done, ms).unref());
}
