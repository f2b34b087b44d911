// Figures that are read: the share beyond moved limits, the map of a lot.
(() => {
  const { numbersIn, percent } = elements;

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
    const tables = {
      lower: data.lower.at.length > 2 ? beyond(data.lower, 'first') : null,
      upper: data.upper.at.length > 2 ? beyond(data.upper, 'last') : null,
    };
    /** Below a lower limit, or above an upper one. Where that is most of all packs it is what the other side leaves: the tables are fine where shares are small. */
    function shareOn(side, other) {
      const [own, rest] = [tables[side], tables[other]];
      if (!own) return null;
      return (limit) => {
        const here = own(limit);
        return here.share > 0.5 && rest ? { share: Math.max(0, 1 - data.lost - rest(limit).share), known: true } : here;
      };
    }
    const sides = { lower: shareOn('lower', 'upper'), upper: shareOn('upper', 'lower') };
    const field = (name) => form.elements.namedItem(name);
    const number = (name, otherwise) => (field(name) && field(name).value !== '' ? Number(field(name).value) : otherwise);
    const [out, at] = [form.querySelector('output.outside'), form.querySelector('output.at')];
    /** A share, with what it lacks of all in two digits where that is little. */
    const inFull = (share) => {
      const lacks = 100 * (1 - share);
      if (share < 0.99 || lacks <= 0) return percent(share);
      return lacks < 1e-6 ? 'more than 99.999999 %' : `${(100 - lacks).toFixed(1 - Math.floor(Math.log10(lacks)))} %`;
    };
    /** The shares on either side of a value, of the distribution as it was computed; what lies beyond a table is less than its end. */
    function readAt() {
      const value = number('at', null);
      at.textContent = '';
      if (value === null || !Number.isFinite(value)) return;
      const words = [['lower', 'below'], ['upper', 'above']].filter(([side]) => sides[side]).map(([side, where]) => {
        const { share, known } = sides[side](value);
        at.dataset[side] = share;
        return `${known || share < 5e-7 ? '' : 'at most '}${inFull(share)} ${where}`;
      });
      at.textContent = `At ${field('at').value} ${data.unit}: ${words.join(', ')}.`;
    }
    form.closest('section').querySelectorAll(`#${CSS.escape(form.dataset.figure)} svg`).forEach((svg) => {
      const frame = data.frames[svg.classList.contains('narrow') ? 1 : 0];
      svg.addEventListener('pointermove', (event) => {
        const box = svg.getBoundingClientRect();
        const u = ((event.clientX - box.left) / box.width) * frame.width;
        if (u < frame.left || u > frame.right) return;
        const value = frame.low + ((u - frame.left) / (frame.right - frame.left)) * (frame.high - frame.low);
        field('at').value = value.toFixed(data.places);
        readAt();
      });
    });
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
    field('at').addEventListener('input', readAt);
    form.addEventListener('input', show);
    form.addEventListener('submit', (event) => event.preventDefault());
    form.addEventListener('reset', () => setTimeout(() => { show(); readAt(); }));
    form.hidden = false;
    show();
  }

  /** Reads the map at a bias and a scatter: under the pointer, or by two sliders. */
  function readMap(form) {
    const { unit, bias, sd, ratio, deciding, frames } = numbersIn(form);
    const names = [...form.querySelectorAll('li')].map((li) => li.textContent);
    const [across, up] = [form.elements.namedItem('bias'), form.elements.namedItem('scatter')];
    const out = form.querySelector('output');
    const nearest = (values, x) => Math.min(values.length - 1, Math.max(0, Math.round((x - values[0]) / (values[1] - values[0]))));
    function show() {
      const [i, j] = [nearest(bias, Number(across.value)), nearest(sd, Number(up.value))];
      const r = ratio[i][j];
      const much = r < 0.005 ? 'hardly anything' : `${r > 99 ? 'more than 99' : r.toPrecision(2)} times what is acceptable`;
      const verdict = r <= 1 ? 'the pack bears such a lot; first to give out would be' : 'the pack does not bear such a lot; by';
      const length = (x) => `${x.toFixed(unit === 'in' ? 5 : 4)} ${unit}`;
      out.textContent = `Bias ${length(bias[i])}, scatter ${length(sd[j])}: ${much} outside, ${verdict} ${names[deciding[i][j]]}.`;
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

  document.querySelectorAll('form.limits').forEach(moveLimits);
  document.querySelectorAll('form.map').forEach(readMap);
})();
