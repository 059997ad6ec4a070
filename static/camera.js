// Taking a photograph at a step that failed: scaled down here, kept here, and named by a record of
// its own at once.
import { keepPhoto } from './photos.js';

const LONGEST = 1600;
const QUALITY = 0.82;

/** The picture, upright, its longest side at most 1600 pixels, as the bytes of a JPEG. */
async function scaled(file) {
  const picture = await createImageBitmap(file, { imageOrientation: 'from-image' });
  const by = Math.min(1, LONGEST / Math.max(picture.width, picture.height));
  const canvas = document.createElement('canvas');
  canvas.width = Math.max(1, Math.round(picture.width * by));
  canvas.height = Math.max(1, Math.round(picture.height * by));
  canvas.getContext('2d').drawImage(picture, 0, 0, canvas.width, canvas.height);
  picture.close();
  const blob = await new Promise((done) => { canvas.toBlob(done, 'image/jpeg', QUALITY); });
  canvas.className = 'shot';
  return { canvas, bytes: await blob.arrayBuffer() };
}

/** Puts the camera under a step. `write(digest)` writes the record that names the photograph. */
export function camera(card, title, write, trouble) {
  const make = (tag, properties) => Object.assign(document.createElement(tag), properties);
  const part = make('div', { className: 'camera' });
  const label = make('label', { className: 'do', textContent: 'Take a photo' });
  const input = make('input', { type: 'file', accept: 'image/*', className: 'vh' });
  input.capture = 'environment';
  input.setAttribute('aria-label', `Take a photo: ${title}`);
  label.append(input);
  const said = make('p', { className: 'soft' });
  said.setAttribute('role', 'status');
  part.append(label, said);
  card.append(part);
  input.addEventListener('change', async (event) => {
    event.stopPropagation();
    const [file] = input.files;
    input.value = '';
    if (!file) return;
    said.textContent = 'Keeping it.';
    try {
      const { canvas, bytes } = await scaled(file);
      canvas.setAttribute('role', 'img');
      canvas.setAttribute('aria-label', `Photo: ${title}`);
      await write(await keepPhoto(bytes));
      part.insertBefore(canvas, said);
      said.textContent = 'Saved on this tablet. It is sent by itself; the check does not wait for it.';
    } catch (e) {
      said.textContent = e.name === 'InvalidStateError' ? 'This is not a picture that the tablet can read. Take it again.' : trouble(e);
    }
  });
}
