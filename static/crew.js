// Says under each seat whether whoever is chosen may wear its facepiece.
for (const select of document.querySelectorAll('select[data-says]')) {
  const say = document.getElementById(select.dataset.says);
  const tell = () => { say.textContent = select.selectedOptions[0]?.dataset.say ?? ''; };
  select.addEventListener('change', tell);
  // A browser that comes back to the page has put in again what was chosen.
  tell();
}
