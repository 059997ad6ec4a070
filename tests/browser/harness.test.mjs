// The harness itself: each thing it promises to catch is done to it here, and caught.
import assert from 'node:assert/strict';
import { access, writeFile, mkdtemp, rm } from 'node:fs/promises';
import { createServer } from 'node:http';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { describe, test } from 'node:test';
import { OUT, PHONE, fileName, keepPromise, story } from './harness.mjs';
import { startProgram } from './program.mjs';

const PAGES = {
  '/clean': '<h1>Clean</h1><p>Nothing wrong here.</p>',
  '/complains': '<h1>Complains</h1><script src="/complains.js"></script>',
  '/throws': '<h1>Throws</h1><script src="/throws.js"></script>',
  '/inline-style': '<h1 style="color: red">Styled inline</h1>',
  '/inline-script': '<h1>Scripted inline</h1><script>document.title = "inline"</script>',
  '/outside': '<h1>Outside</h1><img alt="" src="http://elsewhere.example/a.png">',
  '/lost-image': '<h1>Lost image</h1><img alt="" src="/nothing.png">',
  '/broken': '<h1>Broken</h1>',
  '/do-this-first': '<h1>Do this first</h1>',
  '/unlabelled': '<h1>Unlabelled</h1><main><input type="text"></main>',
  '/wide': '<h1>Wide</h1><link rel="stylesheet" href="/wide.css">',
};
const FILES = {
  '/complains.js': ['text/javascript', 'console.error("the gauge fell off")'],
  '/throws.js': ['text/javascript', 'throw new Error("the strap tore")'],
  '/wide.css': ['text/css', 'h1 { width: 2000px }'],
  '/favicon.ico': ['image/x-icon', ''],
};
const STATUS = { '/broken': 500, '/do-this-first': 422 };

async function startPages() {
  const server = createServer((request, response) => {
    const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src *; form-action 'self'";
    const { pathname } = new URL(request.url, 'http://here');
    if (FILES[pathname]) {
      const [type, text] = FILES[pathname];
      response.writeHead(200, { 'content-type': type }).end(text);
    } else if (PAGES[pathname]) {
      response.writeHead(STATUS[pathname] ?? 200, {
        'content-type': 'text/html; charset=utf-8', 'content-security-policy': policy,
      });
      response.end(`<!doctype html><html lang="en"><meta name="viewport" content="width=device-width"><title>t</title>
        ${PAGES[pathname]}`);
    } else {
      response.writeHead(404).end();
    }
  });
  await new Promise((listening) => server.listen(0, '127.0.0.1', listening));
  return {
    url: `http://127.0.0.1:${server.address().port}`,
    stop: () => new Promise((closed) => { server.close(closed); server.closeAllConnections(); }),
  };
}

story('what the harness catches', (promise, stage) => {
  // Visits the page as a test would, and hands back what the harness made of it.
  async function verdictOn(path, options, more = async () => {}) {
    const name = `planted ${path}`;
    try {
      await keepPromise(stage, name, async ({ open }) => {
        const person = await open(options);
        await person.page.goto(path);
        await person.page.locator('h1').waitFor();
        await more(person);
      });
      return 'kept';
    } catch (e) {
      await access(join(OUT, `${fileName(`failed-${name}-1-1`)}.png`));
      await access(join(OUT, `${fileName(`failed-${name}-1-1`)}.html`));
      return e.message;
    }
  }

  promise('a clean page passes', async ({ open }) => {
    const person = await open(PHONE);
    await person.page.goto('/clean');
    await person.page.getByText('Nothing wrong here.').waitFor();
    await person.isFitToUse();
  });

  for (const [path, caught] of [
    ['/complains', /the gauge fell off/],
    ['/throws', /the strap tore/],
    ['/inline-style', /Content Security Policy/],
    ['/inline-script', /Content Security Policy/],
    ['/outside', /another origin: http:\/\/elsewhere\.example/],
    ['/lost-image', /status 404: .*nothing\.png/],
    ['/broken', /status 500/],
  ]) {
    test(`the harness catches ${path.slice(1)}`, async () => {
      assert.match(await verdictOn(path), caught);
    });
  }

  for (const [path, caught] of [
    ['/inline-style', /Content Security Policy/],
    ['/outside', /another origin/],
  ]) {
    test(`without JavaScript the harness catches ${path.slice(1)}`, async () => {
      assert.match(await verdictOn(path, { javaScript: false }), caught);
    });
  }

  test('without JavaScript no script runs', async () => {
    assert.equal(await verdictOn('/complains', { javaScript: false }), 'kept');
  });

  test('a page that answers 422 to a person is no trouble', async () => {
    assert.equal(await verdictOn('/do-this-first'), 'kept');
  });

  test('trouble that a test expects is no trouble, other trouble still is', async () => {
    const expecting = (pattern) => async (person) => person.expectTrouble(pattern);
    assert.equal(await verdictOn('/lost-image', {}, expecting(/404/)), 'kept');
    assert.match(await verdictOn('/lost-image', {}, expecting(/405/)), /404/);
  });

  test('a field without a label and a page too wide are not fit to use', async () => {
    const look = (person) => person.isFitToUse();
    assert.match(await verdictOn('/unlabelled', {}, look), /label/);
    assert.match(await verdictOn('/wide', PHONE, look), /2\d{3} px wide on a screen of 390 px/);
    assert.match(await verdictOn('/clean', { javaScript: false }, look), /needs JavaScript/);
  });
}, startPages);

// A stand-in for the program: the same arguments, the same line, and one habit.
async function standIn(habit) {
  const folder = await mkdtemp(join(tmpdir(), 'stand-in-'));
  const script = join(folder, 'stand-in.mjs');
  await writeFile(script, `
    import { createServer } from 'node:http';
    const habit = process.argv[2];
    if (habit === 'refuses') { console.error('the folder cannot be written'); process.exit(1); }
    if (habit === 'stubborn') process.on('SIGTERM', () => {});
    else process.on('SIGTERM', () => process.exit(0));
    const server = createServer((_, r) => r.end('ok')).listen(0, '127.0.0.1', () =>
      console.log('Open http://127.0.0.1:' + server.address().port + ' and sign in'));
    console.log(process.pid);`);
  return {
    options: { command: process.execPath, args: [script, habit], stopWithin: 1500 },
    remove: () => rm(folder, { recursive: true }),
  };
}

function alive(pid) {
  try {
    return process.kill(pid, 0);
  } catch {
    return false;
  }
}

describe('the program under test', () => {
  for (const [habit, ends] of [['polite', null], ['stubborn', /ended with 137/]]) {
    test(`a ${habit} program is gone after its tests`, async () => {
      const { options, remove } = await standIn(habit);
      const running = await startProgram(options);
      const pid = Number(/^\d+$/m.exec(running.said())[0]);
      assert.ok(alive(pid));
      if (ends) await assert.rejects(running.stop(), ends);
      else await running.stop();
      assert.ok(!alive(pid));
      await assert.rejects(access(running.data), 'its data folder is removed');
      await remove();
    });
  }

  test('a program that does not start is reported in its own words', async () => {
    const { options, remove } = await standIn('refuses');
    await assert.rejects(startProgram(options), /the folder cannot be written/);
    await remove();
  });
});
