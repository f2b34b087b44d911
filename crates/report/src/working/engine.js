// One engine of a plan, from the page's own tables: how it stands, its job, what to take along, its valves with readings and forecasts.
const engine = (() => {
  const { make } = elements;

  const heads = (table) => [...table.tHead.rows[0].cells].map((head) => head.dataset.head ?? head.textContent);

  /** Rows of a table about an engine, each as its cells by their heads; none where the page has no such table. */
  function rowsAbout(name, about) {
    const table = document.querySelector(`table[data-name="${name}"]`);
    if (!table) return [];
    const columns = heads(table);
    const own = [...table.tBodies[0].rows].filter((row) => row.dataset.about === about);
    return own.map((row) => ({ chart: row.dataset.chart, cells: new Map(columns.map((head, k) => [head, row.cells[k]])) }));
  }

  const words = (cell) => (cell.querySelector('button') ?? cell).textContent.trim();
  const isEmpty = (cell) => ['', '\u2013'].includes(words(cell));
  /** What a cell holds, with the mark of its verdict. */
  const copy = (cell) => [...(cell.querySelector('button') ?? cell).childNodes].map((node) => node.cloneNode(true));
  const without = (cells, left) => [...cells].filter(([head]) => !left.includes(head));

  /** How an engine stands: a term for each column. */
  function facts({ cells }) {
    const told = without(cells, ['engine']).filter(([, cell]) => !isEmpty(cell));
    return make('dl', { className: 'facts' }, ...told.map(([head, cell]) => make('div', {}, make('dt', { textContent: head }), make('dd', {}, ...copy(cell)))));
  }

  /** Its work, one row a valve, and what to take along. */
  function job(work) {
    if (work.length === 0) return [make('p', { textContent: 'No work is planned for it.' })];
    const shown = (row) => without(row.cells, ['engine', 'window from', 'take along']);
    const head = make('tr', {}, ...shown(work[0]).map(([words]) => make('th', { scope: 'col', textContent: words })));
    const rows = work.map((row) => make('tr', {}, ...shown(row).map(([, cell]) => cell.cloneNode(true))));
    const table = make('table', {}, make('thead', {}, head), make('tbody', {}, ...rows));
    const box = make('div', { className: 'table', tabIndex: 0 }, table);
    box.setAttribute('role', 'group');
    for (const named of [box, table]) named.setAttribute('aria-label', 'Its job');
    const parts = work.filter(({ cells }) => !isEmpty(cells.get('take along')));
    const along = parts.map(({ cells }) => make('li', { textContent: `${words(cells.get('valve'))}: ${words(cells.get('take along'))}` }));
    return parts.length === 0 ? [box] : [box, make('h4', { textContent: 'Take along' }), make('ul', {}, ...along)];
  }

  /** A valve by one feature: how it stands, and its chart where the page has its readings. */
  function valve({ chart, cells }, drawn) {
    const data = drawn && drawn.valves[chart];
    const name = [words(cells.get('valve')), ...(isEmpty(cells.get('feature')) ? [] : [words(cells.get('feature'))])].join(', ');
    const told = without(cells, ['engine', 'valve', 'feature']).filter(([, cell]) => !isEmpty(cell)).map(([head, cell]) => `${head}: ${words(cell)}`).join('; ');
    const caption = [make('h5', { textContent: name }), make('p', { className: 'soft', textContent: told })];
    if (!data) return make('div', {}, ...caption, make('p', { className: 'note', textContent: 'Its readings are not in this page.' }));
    const figure = charts.chart(data, drawn, `Readings, fit with its band, and limits of ${name}`);
    figure.prepend(make('figcaption', {}, ...caption));
    return figure;
  }

  /** The numbers of the page's charts, read when an engine is first shown. */
  let drawn = null;

  /** Fills `place` with the engine at `about` in the tables. */
  function show(place, about) {
    const table = document.querySelector('table[data-name="valves-today"]');
    drawn ??= (table && charts.chartsOf(table)) || {};
    const [own] = rowsAbout('engines', about);
    if (!own) return;
    const heading = make('h3', { id: 'picked', tabIndex: -1, textContent: `Engine ${words(own.cells.get('engine'))}` });
    const valves = rowsAbout('valves-today', about).map((row) => valve(row, drawn.valves && drawn));
    place.setAttribute('role', 'region');
    place.setAttribute('aria-labelledby', 'picked');
    place.replaceChildren(
      heading, facts(own), make('p', { className: 'here' }),
      make('h4', { textContent: 'Job' }), ...job(rowsAbout('valves-to-do', about)),
      make('h4', { textContent: 'Valves' }), make('div', { className: 'pair' }, ...valves),
    );
  }

  return { show };
})();
