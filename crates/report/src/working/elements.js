// What the other parts are made with: elements, the page's numbers, shares in words, charts.
const elements = (() => {
  const make = (tag, properties, ...children) => {
    const element = Object.assign(document.createElement(tag), properties);
    element.append(...children);
    return element;
  };

  const numbersIn = (element) => JSON.parse(element.querySelector('script').textContent);

  /** A share in percent, two digits. */
  const percent = (share) => {
    if (share < 5e-7) return 'less than 0.0001 %';
    if (share > 0.994 && share < 1) return 'more than 99 %';
    return `${Number((100 * share).toPrecision(2))} %`;
  };

  /** A chance in percent as the program writes it: never all or nothing, which no forecast is. */
  const chance = (c) => (c > 0.9994 ? '> 99.9 %' : c < 0.0006 ? '< 0.1 %' : `${(100 * c).toFixed(1)} %`);

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
    // A listener has the chart's name and the table under it; loose numbers from the axes tell nothing.
    const drawing = document.createElementNS(space, 'g');
    drawing.setAttribute('aria-hidden', 'true');
    svg.append(drawing);
    const add = (tag, attributes, text) => {
      const element = document.createElementNS(space, tag);
      for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
      if (text !== undefined) element.textContent = text;
      drawing.append(element);
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

  return { make, numbersIn, percent, chance, ticks, canvas };
})();
