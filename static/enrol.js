// The page on which a tablet is enrolled: it makes its key here, before the code is sent.
import './base.js';
import { canSign, makeKey } from './key.js';
import { storeTrouble } from './store.js';

const form = document.getElementById('enrol');
const says = document.querySelector('[data-key]');
const hidden = (name, value) => Object.assign(document.createElement('input'), { type: 'hidden', name, value });

if (canSign()) says.textContent = 'This tablet makes a key of its own, which never leaves it, and signs with it what it hands in.';

let sending = false;
form.addEventListener('submit', async (event) => {
  if (!canSign()) return;
  event.preventDefault();
  if (sending) return;
  sending = true;
  const digits = form.elements.code.value.replace(/[^0-9]/g, '');
  try {
    const { point, proof } = await makeKey(`airmuster enrolment 1\n${digits}`);
    form.append(hidden('key', point), hidden('proof', proof));
    form.submit();
  } catch (e) {
    // Enrolled without a key it would be believed less, and nobody would know why.
    says.textContent = `${storeTrouble(e)} Without that it cannot keep a key. The code is not used up.`;
    says.className = 'attention';
    sending = false;
  }
});
