// Stands between the network and the program, to be what no running program can be: the next release of
// itself, one with a fault, or one that was restored from a backup. As long as nothing is changed, what the
// program says passes as it is.
//
//   const release = await startRelease(program.url);
//   release.changes('/static/store.js', (text) => text.replace('strict', 'relaxed'));
//   release.isNow('build-2');           // a new build: the list and the worker say so
//   release.leadsTo(other.url);         // another program at the same address
import { createServer, request as ask } from 'node:http';

/** A release of the program at `url`. */
export async function startRelease(url) {
  let target = new URL(url);
  const changed = new Map();

  const server = createServer((request, response) => {
    const { pathname } = new URL(request.url, target);
    const change = changed.get(pathname.replace(/^\/kept\/[^/]+/, ''));
    const headers = { ...request.headers };
    if (change) {
      // What is changed must be there as text, whatever the browser has of it.
      for (const name of ['accept-encoding', 'if-none-match']) delete headers[name];
    }
    const { hostname: host, port } = target;
    const onward = ask({ host, port, method: request.method, path: request.url, headers }, (answer) => {
      if (!change) {
        response.writeHead(answer.statusCode, answer.headers);
        answer.pipe(response);
        return;
      }
      const parts = [];
      answer.on('data', (part) => parts.push(part));
      answer.on('end', () => {
        const now = change(Buffer.concat(parts).toString(), answer.headers);
        const { 'content-length': _, etag: __, 'transfer-encoding': ___, ...rest } = answer.headers;
        response.writeHead(answer.statusCode, rest);
        response.end(now);
      });
    });
    onward.on('error', () => response.destroy());
    request.pipe(onward);
  });
  await new Promise((listening) => { server.listen(0, '127.0.0.1', listening); });

  return {
    url: `http://127.0.0.1:${server.address().port}`,
    /** What is at `path` is what `change(text, headers)` makes of it. */
    changes(path, change) { changed.set(path, change); },
    /** A whole new release, with this name in its list and its worker. */
    isNow(build) {
      changed.set('/offline/list', (text) => JSON.stringify({ ...JSON.parse(text), build }));
      changed.set('/sw.js', (text) => `${text}\n// ${build}\n`);
    },
    /** As the program is. */
    isItself() { changed.clear(); },
    /** Another program takes over the address. */
    leadsTo(other) { target = new URL(other); },
    stop: () => new Promise((closed) => { server.close(closed); server.closeAllConnections(); }),
  };
}
