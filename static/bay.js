// How warm the bay is, and what that means for a cylinder's pressure: the words of the server's
// src/domain/bay.rs, from the table it sends along. The limit is never moved by it.
// tests/vectors/bay.json holds both to the same words.
import { choose, chosen } from './choices.js';
import { clock } from './clock.js';

const HOUR = 3600 * 1000;
// To how many thousandths a pressure is rounded in words.
const ROUND = { psi: 1000, kPa: 1000, bar: 100, MPa: 10 };
const FIRST = -60;
const [COLDEST, HOTTEST] = [-60, 90];

/** A temperature as typed, or null where no bay is like that. */
export function degrees(text, scale) {
  const typed = text.trim().replace('−', '-');
  if (!/^-?\d+(\.\d{1,3})?$/.test(typed)) return null;
  const value = Number(typed);
  const celsius = scale === 'F' ? (value - 32) / 1.8 : value;
  return celsius >= COLDEST && celsius <= HOTTEST ? { value, scale, celsius } : null;
}

function between(column, celsius) {
  const place = (celsius - FIRST) / 10;
  const row = Math.min(column.length - 2, Math.floor(place));
  return column[row] + Math.round((column[row + 1] - column[row]) * (place - row));
}

/** A reading like "4010 psi" in thousandths of the table's unit; null where it cannot be read. */
export function thousandths(text, grains, unit) {
  const [, number, own] = /^(\d+(?:\.\d{1,3})?) *([A-Za-z]+)$/.exec(text ?? '') ?? [];
  if (!number || !grains[own]) return null;
  const [exact, per] = [BigInt(Math.round(Number(number) * 1000)) * BigInt(grains[own]), BigInt(grains[unit])];
  return Number((2n * exact + per) / (2n * per));
}

/** What to say at a temperature, beside a reading (thousandths) or null. */
export function bayWords(table, at, reading) {
  const [full, low] = [between(table.full, at.celsius), between(table.low, at.celsius)];
  const words = (value) => {
    const step = ROUND[table.unit];
    const rounded = Math.floor((value + step / 2) / step) * step;
    return `${(rounded / 1000).toLocaleString('en', { maximumFractionDigits: 3 })} ${table.unit}`;
  };
  const standard = at.scale === 'F' ? '70 °F' : '21 °C';
  const [rated, level] = [words(table.rated), words(table.level)];
  const refill = full > table.rated
    ? `recharge it: ${words(full)} here is ${rated} at ${standard}. Go above ${rated} only if the maker and your fill station allow it`
    : `recharge it to ${words(full)} and no further`;
  const text = `At ${String(at.value).replace('-', '−')} °${at.scale} a full cylinder reads ${words(full)}.`;
  if (reading === null) return text;
  if (reading > full + table.division) {
    return `${text} This one is over its rating: ${words(reading - full)} more than full. Keep it out of the heat, fill nothing into it, and have it bled down slowly to ${words(full)} by someone trained at the fill station. Ask how it was filled.`;
  }
  const short = `${words(full - reading)}`;
  if (reading <= table.level && full < table.rated) {
    if (reading + table.division >= full) {
      return `${text} Cold explains it: this one is as full as it may be here. The limit is not moved: it stays low until it reads above ${level}. Fit one kept in the warm, or tell your officer.`;
    }
    const explains = reading > low ? `Cold explains it: at ${standard} this one would stand above ${level}` : 'Cold does not explain it';
    return `${text} ${explains}. Cold takes ${words(table.rated - full)} of the ${words(table.rated - reading)} below rated; ${short} is air that is not there. The limit is not moved: change it, or ${refill}.`;
  }
  if (reading <= table.level) return `${text} This one is ${short} short of full. Change it, or ${refill}.`;
  if (reading <= low) return `${text} Warmth hides that this one is low: at ${standard} it would stand at or below ${level}. Change it, or ${refill}.`;
  if (reading > table.rated) return `${text} It reads more than ${rated} because it is warm. It is not overfilled.`;
  return text;
}

/** Whether what was entered at `at` belongs to the shift that runs now; an early check belongs to it. */
export function sameShift({ start, hours }, at, now) {
  const long = hours * HOUR;
  return at >= start + Math.floor((now - start) / long) * long - HOUR;
}

const KEPT = 'bay';

/** Makes the field work, and remembers it for the shift on this tablet. None where the form has none. */
export function attachBay(form, data, changed) {
  const { bay: field, bay_scale: scale } = form.elements;
  if (!field || !data.bay) return null;
  const says = document.getElementById('bay-says');
  const from = document.getElementById('bay-kept');
  const now = () => degrees(field.value, scale.value);
  const kept = JSON.parse(chosen(KEPT) ?? 'null');
  if (kept && !field.value && sameShift(data.shift, kept.at, Date.now())) {
    [field.value, scale.value] = [kept.value, kept.scale];
    from.textContent = `As entered on this tablet ${clock(kept.at)}.`;
    from.hidden = false;
  }
  const entered = () => {
    from.hidden = true;
    if (now()) choose(KEPT, JSON.stringify({ value: field.value, scale: scale.value, at: Date.now() }));
    changed();
  };
  field.addEventListener('input', entered);
  scale.addEventListener('change', entered);
  return {
    at: field.closest('article'),
    show(reading) {
      const at = now();
      const lost = field.value.trim() ? 'Write the temperature as a number, like 21 or −5.' : '';
      const text = at ? bayWords(data.bay, at, thousandths(reading, data.limits.grains, data.bay.unit)) : lost;
      if (says.textContent !== text) says.textContent = text;
    },
    said: () => (now() ? says.textContent : ''),
    text: () => now() && `${now().value} ${now().scale}`,
  };
}
