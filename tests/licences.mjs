// Every crate that the program is built from has a licence that deny.toml allows, and comes from the
// registry that it names. What cargo-deny would also see, banned crates, is not looked at here.
//
//   node tests/licences.mjs
import { execFileSync } from 'node:child_process';
import { readFileSync } from 'node:fs';

const deny = readFileSync(new URL('../deny.toml', import.meta.url), 'utf8');
const list = (text) => [...text.matchAll(/"([^"]+)"/g)].map(([, word]) => word);
const allowed = new Set(list(/^allow = \[([^\]]*)\]/m.exec(deny)[1]));
const excepted = new Map([...deny.matchAll(/\{ crate = "([^"]+)", allow = \[([^\]]*)\]/g)].map(([, name, of]) => [name, list(of)]));
const registries = list(/^allow-registry = \[([^\]]*)\]/m.exec(deny)[1]);
// A crate that names a file of its own in place of a licence: what it says, as read by a person.
const read = new Map([...deny.matchAll(/^ *# ([\w-]+): its LICENSE is (\S+)$/gm)].map(([, name, id]) => [name, id]));

/** Whether an SPDX expression is met: any of what OR joins, all of what AND joins. */
export function met(expression, may) {
  const words = expression.replaceAll('/', ' OR ').match(/[()]|[^\s()]+/g) ?? [];
  let at = 0;
  const one = () => {
    const word = words[at];
    at += 1;
    if (word === '(') {
      const inside = any();
      at += 1;
      return inside;
    }
    // An exception allows more than its licence does, never less.
    if (words[at] === 'WITH') at += 2;
    return may.has(word);
  };
  const all = () => {
    let good = one();
    while (words[at] === 'AND') {
      at += 1;
      good = one() && good;
    }
    return good;
  };
  function any() {
    let good = all();
    while (words[at] === 'OR') {
      at += 1;
      good = all() || good;
    }
    return good;
  }
  return words.length > 0 && any() && at === words.length;
}

// It must be able to fail.
const mit = new Set(['MIT']);
const examples = { MIT: true, 'MIT OR GPL-3.0': true, 'MIT AND GPL-3.0': false, '(GPL-3.0 OR MIT) AND MIT': true, 'GPL-3.0/X': false, '': false };
for (const [expression, good] of Object.entries(examples)) {
  if (met(expression, mit) !== good) throw new Error(`the reading of “${expression}” is wrong`);
}

const metadata = JSON.parse(execFileSync('cargo', ['metadata', '--format-version', '1', '--locked'], { maxBuffer: 1 << 28 }));
const wrong = [];
for (const { name, version, license, source } of metadata.packages) {
  if (source === null) continue;
  if (!registries.some((r) => source === `registry+${r}`)) wrong.push(`${name} ${version} comes from ${source}`);
  const may = new Set([...allowed, ...(excepted.get(name) ?? [])]);
  if (!met(license ?? read.get(name) ?? '', may)) wrong.push(`${name} ${version}: ${license ?? 'no licence named'}`);
}
if (wrong.length) {
  console.error(wrong.join('\n'));
  process.exit(1);
}
console.log(`${metadata.packages.length} crates: licences and sources as deny.toml allows`);
