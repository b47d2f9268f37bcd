// The queue by keyboard: one question at a time, and keys that can be switched off (WCAG 2.2, 2.1.4).

const KEPT = 'rigtide.keys';
const questions = () => [...document.querySelectorAll('.question')];
const box = document.getElementById('keys');
let at = 0;

function go(to) {
  const all = questions();
  if (all.length === 0) return;
  at = Math.min(all.length - 1, Math.max(0, to));
  all.forEach((one, number) => one.classList.toggle('at', number === at));
  const calm = matchMedia('(prefers-reduced-motion: reduce)').matches;
  all[at].scrollIntoView({ block: 'nearest', behavior: calm ? 'auto' : 'smooth' });
  all[at].focus({ preventScroll: true });
}

/** Presses a button of the question one is at. */
function press(act) {
  const button = questions()[at]?.querySelector(`button[data-key="${act}"]`);
  if (!button) return;
  sessionStorage.setItem('rigtide.at', at);
  button.click();
}

document.addEventListener('keydown', (event) => {
  if (!box?.checked || event.ctrlKey || event.metaKey || event.altKey) return;
  if (event.target.closest('input:not([type="checkbox"]), textarea, select')) return;
  const key = event.key.toLowerCase();
  const acts = { j: () => go(at + 1), k: () => go(at - 1), a: () => press('1'), r: () => press('r'), n: () => press('n') };
  const act = acts[key] ?? (/^[1-9]$/.test(key) ? () => press(key) : undefined);
  if (act) {
    event.preventDefault();
    act();
  }
});
document.addEventListener('focusin', (event) => {
  const number = questions().findIndex((one) => one.contains(event.target));
  if (number >= 0) {
    at = number;
    questions().forEach((one, index) => one.classList.toggle('at', index === at));
  }
});
if (box) {
  box.checked = localStorage.getItem(KEPT) !== 'off';
  box.addEventListener('change', () => localStorage.setItem(KEPT, box.checked ? 'on' : 'off'));
}
const kept = sessionStorage.getItem('rigtide.at');
sessionStorage.removeItem('rigtide.at');
if (kept !== null) go(Number(kept));
else questions()[0]?.classList.add('at');
