// A timer that runs in place: a ring, a large count, a sound at the end, one button to tap.

const TICK = 100;
let sound = null;

/** A short tone. The first one must follow a tap, or the browser stays silent. */
export function beep(times = 1) {
  sound ??= new AudioContext();
  sound.resume();
  for (let i = 0; i < times; i += 1) {
    const [tone, loudness, at] = [sound.createOscillator(), sound.createGain(), sound.currentTime + i * 0.3];
    tone.frequency.value = 880;
    loudness.gain.setValueAtTime(0.4, at);
    loudness.gain.setValueAtTime(0, at + 0.18);
    tone.connect(loudness).connect(sound.destination);
    tone.start(at);
    tone.stop(at + 0.2);
  }
}

/** Seconds as a person notes them: tenths, never rounded up to a limit that was not reached. */
export const noted = (ms) => String(Math.floor(ms / 100) / 10);

/**
 * What a timer does at each tap, by kind of step; `done(fields)` gets what is to be entered.
 * Pure: the clock is an argument, so that a test can run it.
 */
export function course(kind, seconds, done) {
  const whole = seconds * 1000;
  const taps = {
    hold: ['It let go', (t) => done({ held: noted(t) })],
    drop: ['Stop'],
    stages: ['First warning', (t, c) => { c.first = noted(t); }, 'Full alarm', (t, c) => done({ first: c.first, full: noted(t) })],
  }[kind] ?? ['Stop'];
  const ends = { hold: () => done({ held: String(seconds) }), drop: () => done({ seconds: String(seconds) }) }[kind];
  return {
    noted: {},
    at: 0,
    /** Stages come late too: they are watched for half as long again. */
    lasts: kind === 'stages' ? whole * 1.5 : whole,
    countsUp: kind === 'stages',
    label() { return taps[this.at]; },
    /** Whether it is over. */
    tap(elapsed) {
      taps[this.at + 1]?.(elapsed, this.noted);
      this.at += 2;
      return this.at >= taps.length;
    },
    end() { ends?.(); },
  };
}

/** Makes the button of a step's timer work. */
export function attach(button, kind, done) {
  const step = button.dataset.timer;
  const seconds = Number(button.dataset.seconds);
  const ring = document.querySelector(`[data-ring="${step}"]`);
  const count = document.querySelector(`[data-count="${step}"]`);
  const start = button.textContent;
  const calm = matchMedia('(prefers-reduced-motion: reduce)');
  let running = null;

  const show = (elapsed) => {
    const share = Math.min(1, elapsed / 1000 / seconds);
    const left = running?.course.countsUp ? Math.floor(elapsed / 1000) : Math.ceil(seconds - elapsed / 1000);
    const text = String(Math.max(0, left));
    if (count.textContent === text && calm.matches) return;
    count.textContent = text;
    ring.setAttribute('stroke-dashoffset', String(100 - 100 * share));
  };
  const stop = () => {
    clearInterval(running.ticking);
    running = null;
    button.textContent = start;
  };
  button.addEventListener('click', () => {
    if (running) {
      const elapsed = performance.now() - running.since;
      const over = running.course.tap(elapsed);
      beep();
      if (over) stop();
      else button.textContent = running.course.label();
      return;
    }
    beep();
    const since = performance.now();
    const own = course(kind, seconds, done);
    const ticking = setInterval(() => {
      const elapsed = performance.now() - since;
      show(elapsed);
      if (elapsed < own.lasts) return;
      stop();
      beep(3);
      own.end();
    }, TICK);
    running = { since, ticking, course: own };
    button.textContent = own.label();
    show(0);
  });
}
