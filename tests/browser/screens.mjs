// Every screen of the program, found as people find them: by signing in and following what leads on.
import { readFileSync } from 'node:fs';

// Of one kind of screen, so many are looked at for what they lead to: not every unit is soiled.
const ENOUGH = 2;

const ROUTES = readFileSync(new URL('../../src/web/routes.rs', import.meta.url), 'utf8');

/** The demo's people, the one who may least first. Nobody is whoever stands before the tablet. */
export const PEOPLE = [null, 'm-102', 'm-101', 'm-201', 'm-301'];
const PIN = '246810';

// What people come to without being led there: at the door, at the wall, by a program.
const DOORS = [
  '/stations', '/sign-in', '/enrol', '/unsent', '/unproven', '/forms/us-4500-third', '/forms/us-4500-third/after-use',
  '/assets/facepiece:F-101',
];

// Addresses of what is not for eyes, and what is seen once, before there is anybody.
const NO_SCREENS = [
  '/healthz', '/readyz', '/static/{*path}', '/sw.js', '/offline/list', '/first-start', '/photos/{digest}',
  '/wall/events', '/upkeep.ics', '/register/import/{table}', '/past/pack',
  '/rules/{digest}/text', '/lists/{file}',
];

/** The addresses at which there is a screen, as the program lists them. */
export const PATTERNS = [...ROUTES.matchAll(/(?:show|shelved)\(\s*"([^"]+)"/g)].map(([, pattern]) => pattern)
  .filter((pattern) => !pattern.startsWith('/api/') && !NO_SCREENS.includes(pattern));

const SHAPES = PATTERNS.map((pattern) => ({
  pattern,
  shape: new RegExp(`^${pattern.replace(/\{[^}]+\}/g, '([^/]+)').replaceAll('.', '\\.')}$`),
})).sort((a, b) => a.pattern.split('{').length - b.pattern.split('{').length);

const patternOf = (path) => SHAPES.find(({ shape }) => shape.test(path))?.pattern;

/**
 * Leads each of the demo's people through one screen of each kind, and stops at those that nobody before
 * has come to: `look(person, pattern)`. Returns the kinds of screens that nobody came to.
 */
export async function walk(open, look, options) {
  const met = new Set();
  for (const member of PEOPLE) {
    const person = await open(options);
    // Some links lead where not everybody may go; the page there says so. The worker asks for it.
    person.expectTrouble(/^status 40[34]: /);
    if (member) await person.signIn(member, PIN);
    const been = new Map();
    const next = [...DOORS];
    while (next.length) {
      const path = next.shift();
      const pattern = patternOf(path);
      const those = been.get(pattern) ?? new Set();
      if (!pattern || those.has(path) || those.size === ENOUGH) continue;
      been.set(pattern, those.add(path));
      const answer = await person.page.goto(path);
      if (!answer.ok()) continue;
      const links = await person.page.locator('a[href]:not([download])').evaluateAll((all) => all.map((a) => a.href));
      next.push(...links.map((href) => new URL(href)).filter((url) => url.origin === person.url).map((url) => url.pathname));
      const here = patternOf(new URL(person.page.url()).pathname) ?? pattern;
      if (met.has(here)) continue;
      met.add(here);
      await look(person, here);
    }
  }
  return PATTERNS.filter((pattern) => !met.has(pattern));
}
