// The chart of prices: lines on and off at once, and a closer look at a span.

const locale = document.documentElement.dataset.numbers || navigator.language;
function start(figure) {
  const [from, until] = figure.dataset.span.split(' ').map((at) => new Date(at).getTime());
  const area = figure.querySelector('.area');
  const below = figure.querySelector('.below');
  const grid = area.querySelector('.grid.time');
  const out = area.querySelector('.mark-out');
  const day = 86_400_000;
  let seen = [0, 1];

  const draw = () => {
    const [low, high] = seen;
    area.setAttribute('viewBox', `${1000 * low} 0 ${1000 * (high - low)} 1000`);
    const start = from + low * (until - from);
    const length = (high - low) * (until - from);
    const count = Math.max(2, Math.min(6, Math.floor(area.clientWidth / 110)));
    const name = new Intl.DateTimeFormat(locale, length < 3 * day
      ? { day: 'numeric', month: 'short', hour: 'numeric' } : { day: 'numeric', month: 'short', year: '2-digit' });
    const texts = [];
    let lines = '';
    for (let tick = 0; tick < count; tick += 1) {
      const share = (tick + 0.5) / count;
      const text = document.createElementNS('http://www.w3.org/2000/svg', 'text');
      text.setAttribute('x', `${100 * share}%`);
      text.setAttribute('y', '16');
      text.setAttribute('text-anchor', 'middle');
      text.textContent = name.format(new Date(start + share * length));
      texts.push(text);
      lines += `M${1000 * (low + share * (high - low))} 0V1000`;
    }
    below.replaceChildren(...texts);
    grid.setAttribute('d', lines);
    figure.querySelector('[data-do="whole"]').disabled = low === 0 && high === 1;
  };

  /** Keeps the span within the record and not shorter than an hour. */
  const look = (low, high) => {
    const least = Math.min(1, 3_600_000 / Math.max(1, until - from));
    const width = Math.min(1, Math.max(least, high - low));
    const begin = Math.min(1 - width, Math.max(0, low + (high - low - width) / 2));
    seen = [begin, begin + width];
    draw();
  };
  const scale = (factor) => {
    const [low, high] = seen;
    const half = (high - low) * factor / 2;
    look((low + high) / 2 - half, (low + high) / 2 + half);
  };
  const shift = (share) => {
    const [low, high] = seen;
    const by = Math.min(1 - high, Math.max(-low, share * (high - low)));
    look(low + by, high + by);
  };
  const acts = {
    closer: () => scale(0.5), further: () => scale(2),
    earlier: () => shift(-0.5), later: () => shift(0.5), whole: () => look(0, 1),
  };
  figure.addEventListener('click', (event) => acts[event.target.closest('[data-do]')?.dataset.do]?.());

  const shareAt = (event) => {
    const box = area.getBoundingClientRect();
    const share = Math.min(1, Math.max(0, (event.clientX - box.left) / box.width));
    return seen[0] + share * (seen[1] - seen[0]);
  };
  area.addEventListener('pointerdown', (event) => {
    if (event.button !== 0 || event.pointerType === 'touch') return;
    area.setPointerCapture(event.pointerId);
    const begin = shareAt(event);
    const span = (moved) => [begin, shareAt(moved)].sort((one, other) => one - other);
    const move = (moved) => {
      const [low, high] = span(moved);
      out.setAttribute('x', 1000 * low);
      out.setAttribute('width', 1000 * (high - low));
    };
    area.addEventListener('pointermove', move);
    area.addEventListener('pointerup', (up) => {
      area.removeEventListener('pointermove', move);
      out.setAttribute('width', 0);
      const [low, high] = span(up);
      if (high - low > (seen[1] - seen[0]) / 50) look(low, high);
    }, { once: true });
  });

  const show = (box) => {
    figure.querySelector(`[data-series="${box.dataset.line}"]`)?.toggleAttribute('hidden', !box.checked);
  };
  figure.addEventListener('change', (event) => {
    if (event.target.dataset.line !== undefined) show(event.target);
  });
  figure.querySelectorAll('input[data-line]').forEach(show);
  addEventListener('resize', draw);
  draw();
}

document.querySelectorAll('figure[data-span]').forEach(start);
