// The budget on the ladder: dragged, moved by keys or typed; the build follows at once from the rungs
// that came with the page, and the rest of the page from the server once the budget rests.

import { renew } from './page.js';

const locale = document.documentElement.dataset.numbers || navigator.language;
let running;

function start() {
  const figure = document.querySelector('figure[data-rungs]');
  if (!figure || figure === running?.figure) return;
  running = { figure, ...JSON.parse(figure.dataset.rungs) };
  for (const rung of running.rungs) rung.picks = rung.picks.map(told);
  const { exponent, least, most } = running;
  running.unit = 10 ** exponent;
  const money = new Intl.NumberFormat(locale, { minimumFractionDigits: exponent, maximumFractionDigits: exponent });
  running.money = (minor) => money.format(minor / running.unit);
  const signed = new Intl.NumberFormat(locale, { minimumFractionDigits: 1, maximumFractionDigits: 1, signDisplay: 'always' });
  const one = new Intl.NumberFormat(locale, { minimumFractionDigits: 1, maximumFractionDigits: 1 });
  running.score = (score) => one.format(score);
  running.gain = (gain) => signed.format(gain);
  running.share = (minor) => Math.min(1, Math.max(0, (minor - least) / (most - least)));
  const slide = figure.querySelector('.slide');
  const area = figure.querySelector('.area');
  slide.hidden = false;
  slide.addEventListener('input', () => follow(Number(slide.value)));
  area.addEventListener('pointerdown', (event) => {
    if (event.button !== 0) return;
    event.preventDefault();
    area.setPointerCapture(event.pointerId);
    slide.focus({ preventScroll: true });
    const move = (moved) => {
      const box = area.getBoundingClientRect();
      const share = Math.min(1, Math.max(0, (moved.clientX - box.left) / box.width));
      const step = Number(slide.step);
      follow(Math.round((least + share * (most - least)) / step) * step);
    };
    move(event);
    area.addEventListener('pointermove', move);
    const end = () => area.removeEventListener('pointermove', move);
    area.addEventListener('pointerup', end, { once: true });
    area.addEventListener('pointercancel', end, { once: true });
  });
}

document.addEventListener('input', (event) => {
  if (event.target.id !== 'budget' || !running) return;
  const typed = Math.round(Number(event.target.value) * running.unit);
  if (Number.isFinite(typed) && typed > 0) follow(typed);
});

/** Parts and names came once each, and are told by number. */
function told([role, part, quantity, retailer, landed]) {
  const [id, name] = running.parts[part];
  return {
    role: running.names[role], part: id, name, quantity,
    retailer: retailer === null ? null : running.names[retailer], landed_minor: landed,
  };
}

/** The dearest rung that the budget pays for. */
function rungAt(budget) {
  let at = -1;
  while (at + 1 < running.rungs.length && running.rungs[at + 1].total_minor <= budget) at += 1;
  return at;
}

function follow(budget) {
  performance.mark('budget');
  const { figure, rungs } = running;
  const slide = figure.querySelector('.slide');
  const at = rungAt(budget);
  document.body.classList.add('following');
  slide.value = budget;
  slide.setAttribute('aria-valuetext', `${running.currency} ${running.money(budget)}`);
  const field = document.getElementById('budget');
  if (document.activeElement !== field) field.value = (budget / running.unit).toFixed(running.exponent);
  const x = 1000 * running.share(budget);
  figure.querySelector('.rule').setAttribute('d', `M${x} 0V1000`);
  figure.querySelector('.reach').setAttribute('width', x);
  for (const dot of figure.querySelectorAll('.here')) {
    dot.setAttribute('d', at < 0 ? '' : rungs[at].dot);
  }
  if (at < 0) say('none', budget);
  else {
    say(rungs[at], budget);
    picks(rungs[at]);
  }
  steps(at, budget);
  performance.measure('follow', 'budget');
  rest(budget);
}

function write(name, text) {
  for (const element of document.querySelectorAll(`[data-follow="${name}"]`)) {
    if (element.textContent !== text) element.textContent = text;
  }
}

function say(rung, budget) {
  const has = rung !== 'none';
  write('budget', running.money(budget));
  write('total', has ? running.money(rung.total_minor) : '–');
  write('score', has ? running.score(rung.score) : '–');
  write('left', has ? running.money(budget - rung.total_minor) : '–');
}

/** Each role's row takes the rung's pick; what only the server knows of it comes when the budget rests. */
function picks(rung) {
  for (const row of document.querySelectorAll('#picks tr[data-role]')) {
    const pick = rung.picks.find((one) => one.role === row.dataset.role);
    const [part, retailer, landed] = ['part', 'retailer', 'landed'].map((cell) => row.querySelector(`[data-cell="${cell}"]`));
    const isSame = pick && row.dataset.part === pick.part && row.dataset.landed === String(pick.landed_minor);
    if (isSame) continue;
    // What the server said of the pick holds for that pick alone.
    row.dataset.was ??= `${row.dataset.part} ${row.dataset.landed}`;
    row.classList.toggle('stale', row.dataset.was !== `${pick?.part} ${pick?.landed_minor}`);
    row.classList.remove('moved');
    if (!pick) {
      part.textContent = 'none';
      part.removeAttribute('href');
      retailer.textContent = '';
      landed.textContent = '';
      delete row.dataset.part;
      continue;
    }
    row.dataset.part = pick.part;
    row.dataset.landed = pick.landed_minor;
    part.textContent = pick.quantity > 1 ? `${pick.quantity} × ${pick.name}` : pick.name;
    part.setAttribute('href', `/part/${encodeURIComponent(pick.part)}`);
    retailer.textContent = pick.retailer ?? 'owned';
    landed.textContent = running.money(pick.landed_minor);
    // Set anew, so that the fading begins anew.
    requestAnimationFrame(() => row.classList.add('moved'));
  }
}

function steps(at, budget) {
  const body = document.querySelector('#steps tbody');
  if (!body) return;
  const from = running.rungs[at];
  const rows = running.rungs.slice(at + 1, at + 5).map((rung) => {
    const row = document.createElement('tr');
    const cell = (tag, kind, text) => {
      const made = document.createElement(tag);
      made.className = kind;
      made.textContent = text;
      row.append(made);
    };
    const was = new Map((from?.picks ?? []).map((pick) => [pick.role, pick.part]));
    const changed = rung.picks.filter((pick) => was.get(pick.role) !== pick.part).map((pick) => pick.name);
    const least = from?.total_minor ?? budget;
    cell('th', 'num', `+${running.money(rung.total_minor - least)}`);
    row.firstChild.scope = 'row';
    cell('td', 'num', from ? running.gain(rung.score - from.score) : running.score(rung.score));
    cell('td', '', changed.length > 4 ? `${changed.slice(0, 3).join(', ')} and ${changed.length - 3} more` : changed.join(', '));
    return row;
  });
  if (rows.length === 0) {
    const row = document.createElement('tr');
    const cell = document.createElement('td');
    cell.colSpan = 3;
    cell.textContent = running.whole ? 'Nothing more to be had for any money.' : 'The ladder was cut off here.';
    row.append(cell);
    rows.push(row);
  }
  body.replaceChildren(...rows);
}

let timer;
let asked;
function rest(budget) {
  clearTimeout(timer);
  timer = setTimeout(async () => {
    const url = new URL(location.href);
    url.searchParams.set('budget', (budget / running.unit).toFixed(running.exponent));
    history.replaceState(null, '', url);
    // From now on this is what the page says, and not something half typed.
    for (const field of [document.getElementById('budget'), running.figure.querySelector('.slide')]) {
      if (field) field.defaultValue = field.value;
    }
    asked?.abort();
    asked = new AbortController();
    const said = document.getElementById('said');
    try {
      await renew(url, asked.signal);
      document.body.classList.remove('following');
      if (said) said.textContent = document.getElementById('in-words')?.textContent ?? '';
    } catch (error) {
      if (error.name !== 'AbortError' && said) said.textContent = 'The rest of the page could not be asked for; load it again.';
    }
  }, 350);
}

document.addEventListener('renewed', start);
start();
