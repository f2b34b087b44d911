// A valve's chart, drawn when asked for.
const charts = (() => {
  const { make, ticks, canvas } = elements;

  /** The charts of a table's rows: numbers from the page, names from the table. */
  function chartsOf(table) {
    const { charts, features } = table.dataset;
    return charts && { ...JSON.parse(document.getElementById(charts).textContent), features: JSON.parse(features) };
  }

  /** Makes a row's name a button that draws its chart in a row under it, and takes it away again. */
  function offerChart(one, charts, heads) {
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
        one.drawn = make('tr', { className: 'drawn' }, make('td', { colSpan: heads.length }, chart(data, charts, told)));
        one.row.after(one.drawn);
      } else {
        one.drawn.remove();
        delete one.drawn;
      }
    });
  }

  /** The readings of a valve with the fitted line, its bands and the limits: as the page's own figures of valves. */
  function chart({ of = 0, now, start, crossing, towards, series, band }, { horizon, limits: all, features }, told) {
    const [[lower, upper], [feature, unit]] = [all[of], features[of]];
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
    const wrapped = make('div', { className: 'table' }, table);
    return make('details', {}, make('summary', { textContent: 'The numbers in this chart' }), wrapped);
  }

  return { chartsOf, offerChart, chart };
})();
