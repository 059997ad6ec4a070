// A ticket's stage by its digit, which stands on the button: with the focus among the stages alone, as a scanner
// types digits, too, and not while something is being typed.
const TYPING = 'input, textarea, select, [contenteditable]';
const form = document.getElementById('stages');

form?.addEventListener('keydown', (event) => {
  if (event.ctrlKey || event.altKey || event.metaKey || event.repeat || event.target.closest(TYPING)) return;
  const button = [...form.querySelectorAll('[data-key]')].find((b) => b.dataset.key === event.key);
  if (!button || button.disabled) return;
  event.preventDefault();
  button.click();
});

// Once it is on its way, further keys and taps add nothing; a page gone back to may send again.
let sent = false;
form?.addEventListener('submit', (event) => {
  if (sent) event.preventDefault();
  sent = true;
});
window.addEventListener('pageshow', () => { sent = false; });
