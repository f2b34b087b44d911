// A fleet's plan at other settings.
(() => {
  const { make, numbersIn, percent, chance } = elements;

  const iso = (day) => (day === null ? '\u2013' : new Date(day * 864e5).toISOString().slice(0, 10));

  /** Larger fleets are planned again when a setting is moved, so that the page opens at once. */
  const MOST_AT_ONCE = 300;

  /** Day, risk, horizon, usage and places moved: who is due when, who has which place, what it costs; and how to ask the program for the rest. */
  function planAgain(form) {
    const data = numbersIn(form);
    const field = (name) => form.elements.namedItem(name);
    const rows = [...form.querySelectorAll(':scope > .table tbody tr')];
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

    const picked = field('engine');
    const place = form.querySelector('.engine');
    /** Engines in the order of the page's tables, the most urgent first. */
    const listed = rows.filter((row) => row.dataset.about !== undefined).sort((a, b) => a.dataset.about - b.dataset.about);
    picked.append(...listed.map((row) => make('option', { value: row.dataset.about, textContent: row.cells[0].textContent })));
    for (const row of listed) {
      const button = make('button', { type: 'button', className: 'draw', title: 'Show this engine', textContent: row.cells[0].textContent });
      row.cells[0].replaceChildren(button);
      button.addEventListener('click', () => {
        picked.value = row.dataset.about;
        pick();
        place.querySelector('h3').focus();
      });
    }
    function pick() {
      engine.show(place, picked.value);
      here();
    }
    /** The engine that is picked, at the settings as they stand, where these are not the page's own. */
    function here() {
      const line = place.querySelector('.here');
      const k = rows.findIndex((row) => row.dataset.about === picked.value);
      const plan = form.answer;
      if (!line || k < 0) return;
      const moved = plan && JSON.stringify(form.setting) !== JSON.stringify(first);
      const e = moved && plan.engines[k];
      line.textContent = !moved ? '' :
        `At these settings: latest date ${iso(e.due)} (${iso(now.engines[k].due)}), chance within ${form.setting.horizon} h ${chance(e.within)} (${chance(now.engines[k].within)}), ` +
        `place ${placeOf(plan, e)} (${placeOf(now, now.engines[k])}). What stands above and below is as the page stands.`;
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
        [[iso(e.due), iso(was.due)], [chance(e.within), chance(was.within)], [placeOf(plan, e), placeOf(now, was)]].forEach(([word, before], c) => {
          cells[c + 1].textContent = word === before ? word : `${word} (${before})`;
          cells[c + 1].classList.toggle('changed', word !== before);
        });
      });
      ask.textContent = command(s);
      [form.answer, form.setting] = [plan, s];
      here();
    }
    let waiting = null;
    form.addEventListener('input', (event) => {
      if (event.target === picked) {
        pick();
        return;
      }
      clearTimeout(waiting);
      waiting = setTimeout(show, 60);
    });
    form.addEventListener('submit', (event) => event.preventDefault());
    // The settings go back, not the reader's choice.
    form.addEventListener('reset', () => {
      const kept = picked.value;
      setTimeout(() => {
        picked.value = kept;
        show();
      });
    });
    form.hidden = false;
    pick();
    if (data.engines.length <= MOST_AT_ONCE) show();
    else out.textContent = 'Move a setting, and the fleet is planned again.';
  }

  document.querySelectorAll('form.again').forEach(planAgain);
})();
