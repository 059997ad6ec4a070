// Small choices of this tablet. A browser that keeps nothing for this program makes the store
// itself throw; the page goes on without.

/** What was chosen, if it is known. */
export function chosen(key) {
  try {
    return localStorage.getItem(key);
  } catch {
    return null;
  }
}

/** Remembers a choice, where that is possible. */
export function choose(key, value) {
  try {
    localStorage.setItem(key, value);
  } catch {
    // Asked for again the next time.
  }
}
