// On the page that stands in for one that could not be fetched: gloves, and the way back to a check.
import { chosen } from './choices.js';

document.documentElement.classList.toggle('gloves', chosen('gloves') === 'on');

const form = /^(\/units\/[^/]+\/check)(\/sign)?$/.exec(location.pathname)?.[1];
if (form) {
  document.querySelector('[data-get]').hidden = true;
  document.querySelector('[data-post]').hidden = false;
  Object.assign(document.querySelector('[data-back]'), { href: form, textContent: 'Back to the check' });
}
