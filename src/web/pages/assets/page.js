// What every page does: times as the reader writes them, copying, and taking over what changed.

const locale = document.documentElement.dataset.numbers || navigator.language;
const toTheMinute = new Intl.DateTimeFormat(locale, { dateStyle: 'medium', timeStyle: 'short' });
const toTheDay = new Intl.DateTimeFormat(locale, { dateStyle: 'medium' });

/** The server writes times in UTC; the browser knows where the reader is. */
export function setTimes(within) {
  for (const time of within.querySelectorAll('time[datetime]:not([title])')) {
    const at = new Date(time.dateTime);
    if (Number.isNaN(at.getTime())) continue;
    time.title = time.textContent;
    time.textContent = (time.dataset.day === undefined ? toTheMinute : toTheDay).format(at);
  }
}

/** Takes the parts of a page that say they are live from a newer answer. */
export async function renew(url, signal) {
  const answer = await fetch(url, { signal, headers: { Accept: 'text/html' } });
  if (!answer.ok) throw new Error(`${answer.status}`);
  const page = new DOMParser().parseFromString(await answer.text(), 'text/html');
  for (const part of document.querySelectorAll('[data-live]')) {
    const newer = page.getElementById(part.id);
    if (newer && !isInUse(part)) {
      const taken = document.importNode(newer, true);
      setTimes(taken);
      part.replaceWith(taken);
    }
  }
  document.dispatchEvent(new Event('renewed'));
}

/** Nobody loses what they type, mark or stand on. */
function isInUse(part) {
  const { activeElement } = document;
  const isTyped = [...part.querySelectorAll('input, textarea, select')].some((field) =>
    field.type === 'checkbox' ? field.checked !== field.defaultChecked
      : field.defaultValue !== undefined && field.value !== field.defaultValue);
  const marked = document.getSelection();
  return isTyped || (activeElement !== document.body && part.contains(activeElement))
    || (marked && !marked.isCollapsed && part.contains(marked.anchorNode));
}

function listen() {
  const note = document.querySelector('.changed');
  if (!window.EventSource || !note) return;
  let before;
  let timer;
  const tell = (event) => {
    // The first word says where things stand; what was just asked for may have come before it.
    const isDone = before !== undefined || !new URLSearchParams(location.search).has('told');
    if (isDone && (before === undefined || event.data === before)) {
      before = event.data;
      return;
    }
    before = event.data;
    clearTimeout(timer);
    timer = setTimeout(async () => {
      if (!document.querySelector('[data-live]') || document.hidden) {
        note.hidden = false;
        return;
      }
      try {
        await renew(location.href);
        note.hidden = ![...document.querySelectorAll('[data-live]')].some(isInUse);
      } catch {
        note.hidden = false;
      }
    }, 150);
  };
  const changes = new EventSource('/api/v1/changes');
  changes.addEventListener('change', tell);
  changes.addEventListener('message', tell);
  addEventListener('pagehide', () => changes.close());
  document.addEventListener('visibilitychange', () => {
    if (!document.hidden && !note.hidden) renew(location.href).then(() => { note.hidden = true; }, () => {});
  });
}

async function copy(button) {
  const source = document.getElementById(button.dataset.copy);
  const text = source.value ?? source.textContent;
  const label = button.textContent;
  try {
    await navigator.clipboard.writeText(text);
  } catch {
    // Not allowed, as on plain HTTP from another machine.
    source.focus();
    source.select?.();
    button.textContent = 'Marked: copy it by keyboard';
    return;
  }
  button.textContent = 'Copied';
  setTimeout(() => { button.textContent = label; }, 1600);
}

document.addEventListener('click', (event) => {
  const button = event.target.closest('[data-copy]');
  if (button) copy(button);
});
for (const only of document.querySelectorAll('[data-script]')) only.hidden = false;
setTimes(document);
// On a phone the navigation is wider than the window.
document.querySelector('.rail [aria-current]')?.scrollIntoView({ block: 'nearest', inline: 'nearest' });
document.addEventListener('renewed', () => {
  for (const only of document.querySelectorAll('[data-script]')) only.hidden = false;
});
listen();
