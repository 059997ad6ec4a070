// The last look before a check is saved on this tablet, and the word it comes to: what the server
// shows when it can be reached, made by the script when it cannot. A PIN is sealed to the server at
// once: there is nothing here to hold it against.
import { answerWords } from './answers.js';
import { stateOf } from './use.js';

const STATE = { out_of_service: 'out', put_right: 'put-right', remark: 'remark' };
const WORST_FIRST = ['out', 'put-right', 'remark'];
const MARKS = { good: 0, remark: 0, missing: 1, 'put-right': 2, out: 3 };
const WORDS = { good: 'done', remark: 'remark', missing: 'to do', 'put-right': 'to be put right', out: 'out of service' };
const WILL_BE = {
  in: 'Signed like this, the unit may ride.',
  'put-right': 'Put it right on the spot, then do the step again. Until then it does not ride.',
  due: 'Not complete: the unit stays due.',
  out: 'Signed like this, the unit does not ride.',
};

const PROVES_NOTHING = 'Something failed in this check, even if another one was then good: it proves nothing. Make the check again.';
const COUNTERSIGNED = 'Signed like this, it counts once an officer has countersigned it.';

const make = (tag, className, ...children) => {
  const made = document.createElement(tag);
  if (className) made.className = className;
  made.append(...children);
  return made;
};
const sentence = (text) => `${text.charAt(0).toUpperCase()}${text.slice(1)}${/[.!?]$/.test(text) ? '' : '.'}`;

/** The shapes, as the page has them already. */
const mark = (state) => document.querySelectorAll('.rail a .marks')[0].children[MARKS[state]].cloneNode(true);
const standing = (name) => document.getElementById('standings').content.querySelector(`.is-${name}`).cloneNode(true);

function findingItem(form, f, answers) {
  const state = STATE[f.consequence];
  const card = form.querySelector(`article[data-step="${f.step}"]`);
  const item = make('li', `finding is-${state}`, make('h3', '', mark(state), ` ${f.title}`), make('p', 'working', sentence(f.working)));
  if (f.item) {
    const thing = `${sentence(f.subject).slice(0, -1)} ${f.item}`;
    item.append(make('p', '', f.settled && state === 'out' ? `${thing} is out of service itself; another one was good.` : thing));
  }
  const note = answers.find((a) => a.step === f.step && a.try === f.try)?.note;
  if (note) item.append(make('p', 'note', `“${note}”`));
  const now = card?.querySelector('.caution-now')?.cloneNode(true);
  if (now) item.append(Object.assign(now, { className: 'now' }));
  if (f.basis) item.append(make('p', 'basis', `Limit from: ${f.basis}`));
  return item;
}

function enteredGroup(section, limits, answers, judged) {
  const rows = [...section.querySelectorAll('article[data-step]')].flatMap((card) => {
    const step = limits.steps.find(({ id }) => id === card.dataset.step);
    return answers.filter((a) => a.step === step?.id).map((a) => {
      const finding = judged.findings.find((f) => f.step === a.step && f.try === a.try);
      const said = answerWords(step, a);
      const state = finding ? STATE[finding.consequence] : said ? 'good' : 'missing';
      const title = a.try > 1 ? `${step.title} (try ${a.try})` : step.title;
      const dd = make('dd', '', make('b', '', said ?? 'no answer'), ' ', make('span', 'soft', card.querySelector('.how div + div dd')?.textContent ?? ''));
      if (a.note) dd.append(make('span', 'note', `“${a.note}”`));
      return make('div', `is-${state}`, make('dt', '', mark(state), ` ${title}`, make('span', 'vh', `: ${WORDS[state]}`)), dd);
    });
  });
  if (!rows.length) return [];
  return [make('section', 'entered', make('h3', '', section.querySelector('h2').textContent), make('dl', '', ...rows))];
}

/** What cannot be read, as the server says it: leads to each field, and takes the focus. */
export function problemsOf(form, limits, problems) {
  const lines = problems.map(({ step, attempt, field, say }) => {
    const set = form.querySelector(`article[data-step="${step}"] fieldset[data-attempt="${attempt}"]`);
    const input = set?.querySelector(`[name$=".${field}"]`) ?? set?.querySelector('input');
    input?.setAttribute('aria-invalid', 'true');
    const title = limits.steps.find(({ id }) => id === step)?.title ?? step;
    const link = make('a', '', `${title}: ${sentence(say).replace(/^./, (c) => c.toLowerCase())}`);
    link.href = `#${input?.id ?? 'main'}`;
    return make('li', '', link);
  });
  const heading = make('h2', '', lines.length === 1 ? 'One thing to put right' : `${lines.length} things to put right`);
  heading.id = 'problems-title';
  const section = make('section', 'problems', heading, make('p', '', 'Everything you entered is still here.'), make('ul', '', ...lines));
  Object.assign(section, { id: 'problems', tabIndex: -1 });
  section.setAttribute('aria-labelledby', 'problems-title');
  return section;
}

const part = (name) => document.getElementById('away').content.querySelector(`[data-part=${name}]`).cloneNode(true);

const PIN = /^\d{6,64}$/;

/**
 * The review. `save({ by, written_by }, pin)` is called when it is to be saved, and answers whether
 * it is; `back` when not.
 * Without `seals` no PIN is asked.
 */
export function reviewOf({ form, data, answers, judged, members, bay, seals, save, back }) {
  const page = part('review');
  const of = (name) => page.querySelector(`[data-of=${name}]`);
  const will = stateOf(judged.verdict);
  page.querySelector('h1').textContent = `Unit ${data.unit}: review and sign`;
  const after = will === 'in' ? data.after : null;
  const shown = after?.state ?? will;
  const fails = data.purpose === 'proving' && will === 'in' && judged.findings.some((f) => f.consequence === 'out_of_service');
  const say = fails ? PROVES_NOTHING : after ? after.say : will === 'in' && data.countersigned ? COUNTERSIGNED : WILL_BE[will];
  of('willbe').classList.add(`is-${shown}`);
  of('willbe').append(standing(shown), make('p', '', say));
  if (after && !fails) of('willbe').append(make('ul', '', ...after.because.map((text) => make('li', '', text))));
  const count = judged.findings.length;
  of('findings').hidden = !count;
  of('findings').querySelector('h2').textContent = count === 1 ? 'One finding' : `${count} findings`;
  const worstFirst = [...judged.findings].sort((a, b) => WORST_FIRST.indexOf(STATE[a.consequence]) - WORST_FIRST.indexOf(STATE[b.consequence]));
  of('findings').querySelector('ul').append(...worstFirst.map((f) => findingItem(form, f, answers)));
  of('missing').hidden = !judged.missing.length;
  of('missing').querySelector('h2').textContent = `${judged.missing.length} still to do`;
  const title = (id) => data.limits.steps.find((s) => s.id === id).title;
  of('missing').querySelector('ul').append(...judged.missing.map((id) => make('li', '', mark('missing'), ` ${title(id)}`)));
  if (bay) of('missing').after(make('section', 'bay-said', make('h2', '', 'Cold, heat and the pressure'), make('p', '', bay)));
  of('entered').append(...[...form.querySelectorAll('section[data-group]')].flatMap((s) => enteredGroup(s, data.limits, answers, judged)));
  const [by, writer] = [page.querySelector('#member'), page.querySelector('#written_by')];
  for (const { id, name } of members) for (const list of [by, writer]) list.append(new Option(name, id));
  page.querySelector('[data-do=back]').addEventListener('click', back);
  const pin = page.querySelector('#pin');
  of('pin').hidden = !seals;
  of('unsealed').hidden = seals;
  const lacks = (field, missing) => {
    page.querySelector(`#${field.id}-problem`).hidden = !missing;
    field.toggleAttribute('aria-invalid', missing);
    return missing && field;
  };
  page.querySelector('[data-do=save]').addEventListener('click', async () => {
    const without = seals && !pin.value && page.querySelector('#without-pin').checked;
    const problems = [lacks(by, !by.value), lacks(pin, seals && !without && !PIN.test(pin.value))].filter(Boolean);
    if (problems.length) return void problems[0].focus();
    const written_by = writer.value && writer.value !== by.value ? writer.value : undefined;
    if (await save({ by: by.value, written_by }, seals && !without ? pin.value : undefined)) pin.value = '';
  });
  return page;
}

/** The word a saved check comes to. */
export function verdictOf({ data, judged, said, board }) {
  const page = part('verdict');
  const will = stateOf(judged.verdict);
  const after = will === 'in' ? data.after : null;
  // What this tablet adds to the station's word stands under the word of its standing.
  const name = after ? after.word ?? 'after' : will === 'in' && data.countersigned ? 'awaited' : will;
  const word = page.querySelector(`[data-word=${name}]`);
  if (after?.word) word.querySelector('.lead').textContent = after.say;
  page.querySelectorAll('[data-word]').forEach((other) => { if (other !== word) other.remove(); });
  page.querySelector('[data-of=unit]').textContent = `Unit ${data.unit}`;
  page.querySelector('[data-of=because]').append(...judged.findings.filter((f) => !f.settled)
    .map((f) => make('li', '', sentence(f.working.startsWith(f.title) ? f.working : `${f.title}: ${f.working}`))));
  if (after) page.querySelector('[data-of=because]').append(...after.because.map((text) => make('li', '', text)));
  if (judged.missing.length) page.querySelector('[data-of=because]').append(make('li', '', `${judged.missing.length} steps still to do.`));
  page.querySelector('[data-of=said]').textContent = said;
  page.querySelector('[data-of=board]').href = board;
  return page;
}
