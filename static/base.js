// On every page: what needs no page of its own.

// Larger controls for gloves, switched without losing what stands on the page.
const KEY = 'gloves';
const root = document.documentElement;
const button = document.querySelector('button[name=gloves]');

function wear(on) {
  root.classList.toggle('gloves', on);
  if (!button) return;
  button.value = on ? 'off' : 'on';
  button.textContent = on ? 'Gloves off' : 'Gloves on';
}

const kept = localStorage.getItem(KEY);
if (kept) wear(kept === 'on');

button?.form.addEventListener('submit', (event) => {
  event.preventDefault();
  const { value } = button;
  wear(value === 'on');
  localStorage.setItem(KEY, value);
  // The server draws the next page accordingly; without it this tablet remembers.
  fetch(button.form.action, { method: 'POST', body: new URLSearchParams({ gloves: value }) }).catch(() => {});
});

document.getElementById('problems')?.focus();
