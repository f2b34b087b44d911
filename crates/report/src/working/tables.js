// Long tables that sort and filter. Without this they are whole.
(() => {
  const { make } = elements;

  /** What a cell is sorted and filtered by: its value in full where it has one, else its words, without the mark before a verdict. */
  const valueOf = (cell) => cell.dataset.v ?? (cell.querySelector('b > i')?.nextSibling ?? cell).textContent.trim();

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

    const drawn = charts.chartsOf(table);
    if (drawn) for (const one of rows) charts.offerChart(one, drawn, heads);
    box.before(controls, said);
    show();
  }

  document.querySelectorAll('.table[data-sift]').forEach(sift);
})();
