// What a page does by itself: it sorts and filters its long tables, draws a valve's chart when asked for, reads the share outside limits that
// are moved, and reads the map of a lot.
// Everything it shows stands in the page. Without this script, and on paper, the tables are all there.
(() => {
  const make = (tag, properties, ...children) => {
    const element = Object.assign(document.createElement(tag), properties);
    element.append(...children);
    return element;
  };

  // ---- Tables -----------------------------------------------------------------------------------------------------

  /** What a cell is sorted and filtered by: its value in full where it has one, else its words. */
  const valueOf = (cell) => cell.dataset.v ?? cell.textContent.trim();

  /** Numbers by size, words by the alphabet with the numbers in them by size; what is empty comes last either way. */
  function compare(a, b, isNumber, way) {
    const [noA, noB] = [a === '' || a === '\u2013', b === '' || b === '\u2013'];
    if (noA || noB) return noA - noB;
    return way * (isNumber ? Number(a) - Number(b) : a.localeCompare(b, 'en', { numeric: true }));
  }

  /** The controls over a table: a select for each column that is marked, a field for any words, and how many rows are left. */
  function sift(box) {
    const table = box.querySelector('table');
    const body = table.tBodies[0];
    const heads = [...table.tHead.rows[0].cells];
    const rows = [...body.rows].map((row, place) => ({ row, place, words: null }));
    const said = make('p', { className: 'sifted' });
    said.setAttribute('role', 'status');
    const controls = make('form', { className: 'sift' });
    controls.setAttribute('aria-label', 'Choose rows: ' + box.getAttribute('aria-label'));
    const selects = [];

    function show() {
      const wanted = selects.filter(({ select }) => select.value !== 'all');
      const words = find.value.trim().toLowerCase().split(/\s+/).filter(Boolean);
      let left = 0;
      for (const one of rows) {
        if (words.length > 0) one.words ??= one.row.textContent.toLowerCase();
        const fits =
          wanted.every(({ select, column }) => '=' + valueOf(one.row.cells[column]) === select.value) &&
          words.every((word) => one.words.includes(word));
        one.row.hidden = !fits;
        if (one.drawn) one.drawn.hidden = !fits;
        left += fits;
      }
      const chosen = wanted.map(({ select, head }) => head.dataset.head + ' ' + select.value.slice(1)).concat(words);
      said.textContent = chosen.length === 0
        ? `All ${rows.length} rows.`
        : `${left} of ${rows.length} rows: ${chosen.join(', ')}.`;
    }

    heads.forEach((head, column) => {
      head.dataset.head = head.textContent;
      if (head.dataset.choose === undefined) return;
      const counts = new Map();
      for (const { row } of rows) {
        const value = valueOf(row.cells[column]);
        counts.set(value, (counts.get(value) ?? 0) + 1);
      }
      if (counts.size < 2) return;
      const select = make('select', {}, make('option', { value: 'all', textContent: 'all' }));
      const values = [...counts.keys()].sort((a, b) => compare(a, b, false, 1));
      for (const value of values) {
        // A value may be the word "all": values carry a sign of equality.
        select.append(make('option', { value: '=' + value, textContent: `${value || 'none'} (${counts.get(value)})` }));
      }
      select.addEventListener('change', show);
      selects.push({ select, column, head });
      controls.append(make('label', {}, head.textContent + ' ', select));
    });
    const find = make('input', { type: 'search' });
    find.addEventListener('input', show);
    controls.append(make('label', {}, 'Words ', find));
    controls.addEventListener('submit', (event) => event.preventDefault());

    heads.forEach((head, column) => {
      const button = make('button', { type: 'button', className: 'sort', textContent: head.textContent });
      head.replaceChildren(button);
      button.addEventListener('click', () => {
        // Up, down, and back to the order of the page.
        const next = { none: 'ascending', ascending: 'descending', descending: 'none' }[head.getAttribute('aria-sort') ?? 'none'];
        for (const other of heads) other.removeAttribute('aria-sort');
        if (next !== 'none') head.setAttribute('aria-sort', next);
        const isNumber = head.classList.contains('number');
        const way = next === 'descending' ? -1 : 1;
        const order = [...rows];
        if (next !== 'none') {
          const keys = new Map(rows.map(({ row }) => [row, valueOf(row.cells[column])]));
          order.sort((a, b) => compare(keys.get(a.row), keys.get(b.row), isNumber, way) || a.place - b.place);
        }
        body.append(...order.flatMap(({ row, drawn }) => (drawn ? [row, drawn] : [row])));
      });
    });

    const charts = table.dataset.charts && JSON.parse(document.getElementById(table.dataset.charts).textContent);
    if (charts) for (const one of rows) offerChart(one, charts, table.dataset, heads);
    box.before(controls, said);
    show();
  }

  // ---- Charts -----------------------------------------------------------------------------------------------------

  /** Makes a row's name a button that draws its chart in a row under it, and takes it away again. */
  function offerChart(one, charts, words, heads) {
    const data = charts.valves[one.row.dataset.chart];
    if (!data) return;
    const cell = one.row.querySelector('th');
    const button = make('button', { type: 'button', className: 'draw', title: 'Draw its readings' }, ...cell.childNodes);
    button.setAttribute('aria-expanded', 'false');
    cell.append(button);
    button.addEventListener('click', () => {
      const open = one.drawn === undefined;
      button.setAttribute('aria-expanded', String(open));
      if (open) {
        const told = [...one.row.cells].map((c, k) => `${heads[k].dataset.head}: ${c.textContent.trim()}`).join('; ');
        one.drawn = make('tr', { className: 'drawn' }, make('td', { colSpan: heads.length }, chart(data, charts, words, told)));
        one.row.after(one.drawn);
      } else {
        one.drawn.remove();
        delete one.drawn;
      }
    });
  }

  /** Round steps for an axis: 1, 2 or 5 times a power of ten, at most `most` of them. */
  function ticks(low, high, most) {
    const rough = (high - low) / most;
    const power = 10 ** Math.floor(Math.log10(rough));
    const step = power * [1, 2, 5, 10].find((s) => s * power >= rough);
    const places = Math.max(0, -Math.floor(Math.log10(step) + 1e-9));
    const all = [];
    for (let k = Math.ceil(low / step); k * step <= high; k += 1) all.push([k * step, (k * step).toFixed(places)]);
    return all;
  }

  /** A chart under construction: elements with the classes of the page's figures. */
  function canvas(width, height, told) {
    // The name of the SVG language, as the browser spells it: the page holds nothing that looks like an address.
    const svg = make('template', { innerHTML: '<svg></svg>' }).content.firstChild;
    const space = svg.namespaceURI;
    const add = (tag, attributes, text) => {
      const element = document.createElementNS(space, tag);
      for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
      if (text !== undefined) element.textContent = text;
      svg.append(element);
    };
    svg.setAttribute('viewBox', `0 0 ${width} ${height}`);
    svg.setAttribute('width', width);
    svg.setAttribute('height', height);
    svg.setAttribute('role', 'img');
    svg.setAttribute('aria-label', told);
    const taken = [];
    const at = (points) => points.map(([x, y]) => `${x.toFixed(1)},${y.toFixed(1)}`).join(' ');
    return {
      svg,
      line: (points, ink, w, dash) =>
        add('polyline', { points: at(points), class: 's-' + ink, fill: 'none', 'stroke-width': w, ...(dash && { 'stroke-dasharray': dash }) }),
      area: (points, ink) => add('polygon', { points: at(points), class: 'f-' + ink }),
      dot: (x, y, ink) => add('circle', { cx: x, cy: y, r: 3.2, class: 'f-' + ink }),
      ring: (x, y, ink) => add('circle', { cx: x, cy: y, r: 3, class: 'f-paper s-' + ink, 'stroke-width': 1.3 }),
      text: (words, x, y, ink, anchor = 'middle') =>
        add('text', { x, y: y + 4, class: 'f-' + ink, 'font-size': 12, 'text-anchor': anchor }, words),
      keepFree: (x, y, r) => taken.push([x - r, y - r, x + r, y + r]),
      /** The first of `places` where the words lie on no mark; none where there is none, since the row says the same. */
      put(words, places, ink) {
        const half = words.length * 3.8;
        const place = places.find(([x, y]) =>
          x > half && x < width - half &&
          taken.every(([l, t, r, b]) => x + half < l || x - half > r || y + 8 < t || y - 8 > b));
        if (place) this.text(words, ...place, ink);
      },
    };
  }

  /** The readings of a valve with the fitted line, its bands and the limits: as the page's own figures of valves. */
  function chart({ now, start, crossing, towards, series, band }, { horizon, lower, upper }, { unit, feature }, told) {
    const narrow = window.matchMedia('(max-width: 40rem)').matches;
    const [width, height] = narrow ? [320, 290] : [620, 340];
    const [left, right, top, bottom] = [50, width - 14, 46, height - 40];
    const limits = [lower, upper].filter((l) => l !== null);
    const earliest = Math.min(start, ...series.map(([hours]) => hours));
    const near = crossing.filter((h) => h !== null && h <= now + 1.5 * horizon);
    const last = Math.max(now + horizon, ...near) || Math.max(...band.map(([hours]) => hours));
    const [first, end] = [earliest - 0.02 * (last - earliest), last + 0.02 * (last - earliest)];
    const inside = band.filter(([hours]) => hours >= first && hours <= end);
    const values = [...series.map(([, , v]) => v), ...inside.flatMap(([, fit, half]) => [fit - half, fit + half]), ...limits];
    const [least, most] = [Math.min(...values), Math.max(...values)];
    const room = 0.07 * (most - least || 1);
    const [low, high] = [least - room, most + room];
    const x = (hours) => left + ((hours - first) / (end - first)) * (right - left);
    const y = (value) => bottom - ((Math.min(Math.max(value, low), high) - low) / (high - low)) * (bottom - top);
    const c = canvas(width, height, told);

    for (const [limit, outer] of [[lower, low], [upper, high]]) {
      if (limit === null) continue;
      const [a, b] = [y(limit), y(outer)].sort((p, q) => p - q);
      c.area([[left, a], [right, a], [right, b], [left, b]], 'limit-wash');
      for (let s = 10; s < right - left + b - a; s += 10) {
        const from = Math.max(s - (b - a), 0), to = Math.min(s, right - left);
        c.line([[left + from, a + s - from], [left + to, a + s - to]], 'limit', 0.4);
      }
    }
    for (const [value, words] of ticks(low, high, (bottom - top) / 40)) {
      c.line([[left, y(value)], [right, y(value)]], 'grid', 1);
      c.text(words, left - 6, y(value), 'muted', 'end');
    }
    c.text(unit ? `${feature}, ${unit}` : feature, 0, top - 28, 'muted', 'start');
    for (const [value, words] of ticks(first, end, (right - left) / 70)) {
      c.line([[x(value), bottom], [x(value), bottom + 4]], 'muted', 1);
      c.text(words, Math.min(x(value), width - words.length * 3.8), bottom + 13, 'muted');
    }
    c.line([[left, bottom], [right, bottom]], 'muted', 1);
    c.text('meter, h', right, bottom + 29, 'muted', 'end');

    const edge = (k, sign) => inside.map((p) => [x(p[0]), y(p[1] + sign * p[k])]);
    c.area([...edge(2, -1), ...edge(2, 1).reverse()], 'main-wash');
    for (const sign of [-1, 1]) c.line(edge(3, sign), 'main', 0.9, '3 3');
    c.line(edge(2, 0), 'main', 2);
    for (const limit of limits) c.line([[left, y(limit)], [right, y(limit)]], 'limit', 1.8);
    for (const [hours, words] of [[now, 'now'], ...(horizon > 0 ? [[now + horizon, `+${horizon} h`]] : [])]) {
      c.line([[x(hours), top - 4], [x(hours), bottom]], 'muted', 1, '8 4');
      c.text(words, Math.min(Math.max(x(hours), words.length * 3.8), width - words.length * 3.8), top - 11, 'ink');
      for (let v = top; v < bottom; v += 8) c.keepFree(x(hours), v, 5);
    }
    series.forEach(([hours, , value, kind, segment], k) => {
      const [u, v] = [x(hours), y(value)];
      c.keepFree(u, v, 5);
      if (k > 0 && series[k - 1][4] !== segment) c.line([[u, bottom], [u, bottom - 10]], 'second', 3);
      if (kind === 2) for (const s of [-4, 4]) c.line([[u - 4, v - s], [u + 4, v + s]], 'limit', 1.6);
      else if (kind === 1) c.ring(u, v, 'muted');
      else c.dot(u, v, 'ink');
    });
    for (const line of [edge(2, 0), edge(3, -1), edge(3, 1)]) {
      line.slice(1).forEach(([u, v], k) => {
        for (let t = 0; t <= 1; t += 0.1) c.keepFree(line[k][0] + t * (u - line[k][0]), line[k][1] + t * (v - line[k][1]), 3);
      });
    }
    const limit = towards === 'lower' ? lower : upper;
    const [early, middle, late] = crossing;
    if (limit !== null && early !== null && early <= end && early >= first) {
      const v = y(limit);
      c.line([[x(early), v], [x(Math.min(late ?? end, end)), v]], 'limit', 7);
      if (middle !== null && middle <= end && middle >= first) {
        const m = x(middle);
        c.area([[m, v - 7], [m + 6, v], [m, v + 7], [m - 6, v]], 'limit');
        const inward = limit === upper ? 1 : -1;
        const places = [17, 30, 43, 56, 75, 95, 120].flatMap((dy) => [0, -40, 40, -80, 80, -120, 120, -170].map((dx) => [m + dx, v + inward * dy]));
        c.put(middle <= now ? 'outside now' : `${Math.round(middle)} h`, places, 'limit');
      }
    }
    return make('figure', { className: 'asked' }, c.svg, readings(series, unit));
  }

  /** The numbers in a chart. */
  function readings(series, unit) {
    const head = make('tr', {}, ...['meter, h', 'date', unit ? `reading, ${unit}` : 'reading', 'what'].map((words) =>
      make('th', { scope: 'col', textContent: words })));
    const rows = series.map(([hours, day, value, kind]) => {
      const date = day === null ? '\u2013' : new Date(day * 864e5).toISOString().slice(0, 10);
      const what = ['', 'before the last job', 'given little weight'][kind];
      return make('tr', {}, ...[hours, date, value, what].map((words) => make('td', { textContent: words })));
    });
    const table = make('table', {}, make('thead', {}, head), make('tbody', {}, ...rows));
    return make('details', {}, make('summary', { textContent: 'The numbers in this chart' }), table);
  }

  // ---- Limits that are moved ----------------------------------------------------------------------------------------

  const numbersIn = (element) => JSON.parse(element.querySelector('script').textContent);

  /** A share in percent, two digits. */
  const percent = (share) => (share < 5e-7 ? 'less than 0.0001 %' : `${Number((100 * share).toPrecision(2))} %`);

  /** The share outside other limits, from the program's table; a nominal shifts the distribution, a scatter stretches it about its mean. */
  function moveLimits(form) {
    const data = numbersIn(form);
    /** The share beyond a limit: the cubic through the logarithms; at most that of the table's end where the limit lies beyond it. */
    function beyond({ at, log }, outermost) {
      const curve = reckon.cubic(at, log);
      const [small, large] = outermost === 'first' ? [0, at.length - 1] : [at.length - 1, 0];
      return (limit) => {
        if (limit >= at[0] && limit <= at[at.length - 1]) return { share: Math.exp(curve(limit)), known: true };
        const isSmall = limit < at[0] === (small === 0);
        return { share: Math.exp(log[isSmall ? small : large]), known: !isSmall };
      };
    }
    const sides = {
      lower: data.lower.at.length > 2 ? beyond(data.lower, 'first') : null,
      upper: data.upper.at.length > 2 ? beyond(data.upper, 'last') : null,
    };
    const field = (name) => form.elements.namedItem(name);
    const number = (name, otherwise) => (field(name) && field(name).value !== '' ? Number(field(name).value) : otherwise);
    const out = form.querySelector('output');
    function show() {
      const by = number('by', 0) * number('dimension', 0);
      const stretch = Math.sqrt(Math.max(1e-12, 1 + number('scatter', 0) * (number('times', 1) ** 2 - 1)));
      const [lower, upper] = [number('lower', null), number('upper', null)];
      const allowed = number('allowed', 100 * data.allowed) / 100;
      if (lower !== null && upper !== null && lower >= upper) {
        out.textContent = 'The lower limit must be below the upper one.';
        return;
      }
      let [share, known] = [data.lost, true];
      for (const [side, limit] of [['lower', lower], ['upper', upper]]) {
        if (limit === null || !sides[side]) continue;
        const one = sides[side](data.mean + (limit - by - data.mean) / stretch);
        share += one.share;
        known = known && one.known;
      }
      share = Math.min(1, share);
      out.dataset.share = share;
      out.dataset.known = known;
      const than = share <= allowed ? 'not more than' : 'more than';
      out.textContent = `Outside: ${known ? '' : 'at most about '}${percent(share)}, ${than} the ${percent(allowed)} allowed.`;
    }
    form.addEventListener('input', show);
    form.addEventListener('submit', (event) => event.preventDefault());
    form.addEventListener('reset', () => setTimeout(show));
    form.hidden = false;
    show();
  }

  // ---- The map of a lot -----------------------------------------------------------------------------------------------

  /** Reads the map at a bias and a scatter: under the pointer, or by two sliders. */
  function readMap(form) {
    const { bias, sd, ratio, deciding, frames } = numbersIn(form);
    const names = [...form.querySelectorAll('li')].map((li) => li.textContent);
    const [across, up] = [form.elements.namedItem('bias'), form.elements.namedItem('scatter')];
    const out = form.querySelector('output');
    const nearest = (values, x) => Math.min(values.length - 1, Math.max(0, Math.round((x - values[0]) / (values[1] - values[0]))));
    function show() {
      const [i, j] = [nearest(bias, Number(across.value)), nearest(sd, Number(up.value))];
      const r = ratio[i][j];
      const much = r < 0.005 ? 'hardly anything' : `${r > 99 ? 'more than 99' : r.toPrecision(2)} times what is acceptable`;
      const verdict = r <= 1 ? 'the pack bears such a lot; first to give out would be' : 'the pack does not bear such a lot; by';
      out.textContent = `Bias ${bias[i].toFixed(4)} mm, scatter ${sd[j].toFixed(4)} mm: ${much} outside, ${verdict} ${names[deciding[i][j]]}.`;
    }
    form.closest('section').querySelectorAll(`#${CSS.escape(form.dataset.map)} svg`).forEach((svg) => {
      const frame = frames[svg.classList.contains('narrow') ? 1 : 0];
      svg.addEventListener('pointermove', (event) => {
        const box = svg.getBoundingClientRect();
        const [u, v] = [((event.clientX - box.left) / box.width) * frame.width, ((event.clientY - box.top) / box.height) * frame.height];
        if (u < frame.left || u > frame.right || v < frame.top || v > frame.bottom) return;
        across.value = bias[0] + ((u - frame.left) / (frame.right - frame.left)) * (bias[bias.length - 1] - bias[0]);
        up.value = ((frame.bottom - v) / (frame.bottom - frame.top)) * sd[sd.length - 1];
        show();
      });
    });
    form.addEventListener('input', show);
    form.addEventListener('submit', (event) => event.preventDefault());
    form.hidden = false;
    show();
  }

  // ---- The plan at other settings ---------------------------------------------------------------------------------------

  const iso = (day) => (day === null ? '\u2013' : new Date(day * 864e5).toISOString().slice(0, 10));

  /** Larger fleets are planned again when a setting is moved, so that the page opens at once. */
  const MOST_AT_ONCE = 300;

  /** Day, risk, horizon, usage and places moved: who is due when, who has which place, what it costs; and how to ask the program for the rest. */
  function planAgain(form) {
    const data = numbersIn(form);
    const field = (name) => form.elements.namedItem(name);
    const rows = [...form.querySelectorAll('tbody tr')];
    const [out, ask] = [form.querySelector('output'), form.querySelector('pre')];
    const first = { today: data.today, risk: data.risk, horizon: data.horizon, times: 1, places: data.windows.map((w) => w[2]) };
    const asked = () => ({
      today: Math.round(Date.parse(field('day').value) / 864e5),
      risk: Number(field('risk').value) / 100,
      horizon: Number(field('horizon').value),
      times: Number(field('times').value),
      places: data.windows.map((w, k) => (field(`places-${k}`) ? Math.max(1, Math.round(Number(field(`places-${k}`).value))) : w[2])),
    });
    const sound = (s) => s.today >= data.first && s.risk > 0 && s.risk < 1 && s.horizon > 0 && s.times > 0 && s.times <= 4;
    /** The plan as the page stands; reckoned when it is first needed, since a fleet of thousands takes a second. */
    let now = null;
    function begin() {
      if (now) return;
      for (const engine of data.engines) {
        engine.any = fleet.chanceOf(engine);
        for (const valve of engine.valves) valve.chance = fleet.chanceOf(valve);
      }
      now = fleet.plan(data, first);
    }
    const placeOf = (plan, e) => (e.atOnce ? 'at once' : e.window === null ? 'no place' : `${iso(plan.open[e.window][0])} \u2026`);
    const money = (cost) => `${Math.round(cost)} ${form.dataset.cost}`.trim();

    /** How the program is asked for what the page cannot know: its words, the work, the parts. */
    function command(s) {
      const scenario = ['scenario = "other settings"'];
      if (s.risk !== first.risk) scenario.push(`risk = ${s.risk}`);
      if (s.times !== 1) scenario.push('[running]', `all = ${s.times}`);
      s.places.forEach((n, k) => {
        if (n !== first.places[k]) scenario.push('[[resize]]', `start = ${iso(data.windows[k][0])}`, `engines = ${n}`);
      });
      const day = s.today === first.today ? '' : ` --today ${iso(s.today)}`;
      const lines = [];
      if (s.horizon !== first.horizon) lines.push(`# in the policy file: horizon = ${s.horizon}`);
      if (scenario.length > 1) lines.push('# other.toml', ...scenario, '');
      lines.push(`packdrift due ${form.dataset.asked}${day}${scenario.length > 1 ? ' --scenario other.toml' : ''}`);
      return lines.join('\n');
    }

    function show() {
      const s = asked();
      if (!sound(s)) {
        out.textContent = `A day from ${iso(data.first)} on, a risk between 0 and 100 %, a horizon above 0 and running of up to 4 times today's.`;
        return;
      }
      begin();
      const plan = fleet.plan(data, s);
      const { sum } = plan;
      const places = plan.taken.map((n, w) => `${n} of ${plan.open[w][2]}`).join(', ');
      const cost = sum.cost === null ? '' : ` Expected cost until ${iso(plan.end)}: ${money(sum.cost)}, now ${money(now.sum.cost)}.`;
      // Which of two forecasts stands for a doubted reading, and how models are weighed, is decided anew at another day or horizon.
      const foretold = s.today === first.today && s.horizon === first.horizon ? ''
        : 'By the forecasts of this page, which the program makes anew for another day or horizon: run the command below before you rely on it. ';
      out.dataset.exact = foretold === '';
      out.textContent = `${foretold}To do at once, overdue or past the latest date: ${sum.atOnce} (as the page stands: ${now.sum.atOnce}). Chance above ${percent(s.risk)} within ${s.horizon} h: ` +
        `${sum.above} (${now.sum.above}). Places taken: ${places || 'no window'}. Done after their latest date: ${sum.late} (${now.sum.late}).${cost}`;
      plan.engines.forEach((e, k) => {
        const was = now.engines[k];
        const cells = rows[k].cells;
        [[iso(e.due), iso(was.due)], [percent(e.within), percent(was.within)], [placeOf(plan, e), placeOf(now, was)]].forEach(([word, before], c) => {
          cells[c + 1].textContent = word === before ? word : `${word} (${before})`;
          cells[c + 1].classList.toggle('changed', word !== before);
        });
      });
      ask.textContent = command(s);
      form.answer = plan;
    }
    let waiting = null;
    form.addEventListener('input', () => {
      clearTimeout(waiting);
      waiting = setTimeout(show, 60);
    });
    form.addEventListener('submit', (event) => event.preventDefault());
    form.addEventListener('reset', () => setTimeout(show));
    form.hidden = false;
    if (data.engines.length <= MOST_AT_ONCE) show();
    else out.textContent = 'Move a setting, and the fleet is planned again.';
  }

  document.querySelectorAll('.table[data-sift]').forEach(sift);
  document.querySelectorAll('form.again').forEach(planAgain);
  document.querySelectorAll('form.limits').forEach(moveLimits);
  document.querySelectorAll('form.map').forEach(readMap);
})();
