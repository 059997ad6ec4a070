// A ticket's stage by its digit, which stands on the button. Not while something is being typed or chosen.
const TYPING = 'input, textarea, select, [contenteditable]';

document.addEventListener('keydown', (event) => {
  if (event.ctrlKey || event.altKey || event.metaKey || event.repeat || event.target.closest?.(TYPING)) return;
  const button = [...document.querySelectorAll('#stages [data-key]')].find((b) => b.dataset.key === event.key);
  if (!button || button.disabled) return;
  event.preventDefault();
  button.click();
});
