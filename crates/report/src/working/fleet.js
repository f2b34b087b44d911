// The plan of a fleet at other settings: the program's own rules, reckoned again from the tables of chances in the page.
'use strict';
const fleet = (() => {
  const TEN_YEARS = 3653;
  /** Points and weights that stand for the hours run, as the program's (A. Stroud, D. Secrest, 1966). */
  const HERMITE = [
    [-3.750439717725742, 5.482688559722179e-4], [-2.366759410734541, 3.075712396758645e-2],
    [-1.154405394739968, 0.2401231786050128], [0, 0.4571428571428571], [1.154405394739968, 0.2401231786050128],
    [2.366759410734541, 3.075712396758645e-2], [3.750439717725742, 5.482688559722179e-4],
  ];

  /** Scores as the page writes them, in hundred-thousandths: the first, the first step, then by how much each step differs from the one before. */
  function decoded(coded) {
    let [value, step] = [0, 0];
    return coded.map((difference, i) => {
      if (i > 0) step += difference;
      value += i > 0 ? step : difference;
      return value / 1e5;
    });
  }

  /** A chance over hours from its normal scores at reach (i/n)^2. */
  function chanceOf({ reach, scores: coded }) {
    const scores = decoded(coded);
    const score = reckon.cubic(scores.map((_, i) => i), scores);
    const n = scores.length - 1;
    return (hours) => {
      const z = score(n * Math.sqrt(Math.min(Math.max(hours, 0), reach) / reach));
      return z <= -37 ? 0 : z >= 37 ? 1 : reckon.normal(z);
    };
  }

  /** An engine that runs so many times as much as today. */
  function running(engine, times) {
    const usage = engine.usage && engine.usage.map((x) => x * times);
    /** Average of f over the hours run in so many days: lognormal, since hours are never negative. */
    function average(days, f) {
      if (!usage || days <= 0) return f(0);
      const [aWeek, error, aDay] = usage;
      const mean = (aWeek / 7) * days;
      const variance = aDay * days + ((error / 7) * days) ** 2;
      const s2 = Math.log1p(variance / mean ** 2);
      return HERMITE.reduce((sum, [z, w]) => sum + w * f(mean * Math.exp(Math.sqrt(s2) * z - 0.5 * s2)), 0);
    }
    const chance = (day) => average(day - engine.last, engine.any);
    return {
      usage,
      chance,
      within: (day, hours) => average(day - engine.last, (h) => engine.any(h + hours)),
      valve: (k, day) => average(day - engine.last, engine.valves[k].chance),
      /** The last day on which the chance is still below the risk. */
      latest(risk) {
        const reached = (days) => chance(engine.last + days) >= risk;
        if (reached(0)) return engine.last - 1;
        if (!usage || !reached(TEN_YEARS)) return null;
        let [low, high] = [0, TEN_YEARS];
        while (high - low > 1) {
          const middle = (low + high) >> 1;
          if (reached(middle)) high = middle;
          else low = middle;
        }
        return engine.last + low;
      },
      /** Integral of a function of the chance over days, by Simpson's rule on 32 pieces. */
      integral(from, to, f) {
        const step = Math.max(to - from, 0) / 32;
        let sum = 0;
        for (let k = 0; k <= 32; k += 1) sum += (k === 0 || k === 32 ? 1 : 2 + 2 * (k % 2)) * f(chance(from + k * step));
        return (sum * step) / 3;
      },
    };
  }

  /** The windows to come, and the plan's end. */
  function calendarOf({ windows, gap }, today) {
    const open = windows.filter(([, end]) => end >= today);
    const end = Math.max(...open.map((w) => w[1]), open.length ? -Infinity : today) + gap;
    return {
      open, end,
      done(column, due) {
        if (column >= open.length) return end;
        const [from, to] = [Math.max(open[column][0], today), open[column][1]];
        return due !== null && due >= from && due < to ? due : to;
      },
      needed(due) {
        if (due === null || due >= end) return open.length;
        for (let w = open.length - 1; w >= 0; w -= 1) if (Math.max(open[w][0], today) <= due) return w;
        return 0;
      },
    };
  }

  /** Engines (rows of costs) to windows at the least total cost: cheapest chains of moves out of windows that hold too many. */
  function assign(cost, capacity) {
    const columns = capacity.length + 1;
    const column = cost.map((row) => row.indexOf(Math.min(...row)));
    const nil = 1e-12 * Math.max(Number.MIN_VALUE, ...cost.map((row) => Math.max(...row.map(Math.abs))));
    for (;;) {
      const free = Array.from({ length: columns }, (_, w) =>
        w < capacity.length ? capacity[w] - column.filter((c) => c === w).length : 1);
      if (free.every((f) => f >= 0)) return column;
      const mover = Array.from({ length: columns }, () => Array(columns).fill(null));
      const extra = (e, to) => cost[e][to] - cost[e][column[e]];
      column.forEach((from, e) => {
        for (let to = 0; to < columns; to += 1) {
          const best = mover[from][to];
          if (to !== from && (best === null || extra(e, to) < extra(best, to))) mover[from][to] = e;
        }
      });
      const chain = free.map((f) => ({ total: f < 0 ? 0 : Infinity, from: null }));
      const leadsTo = (at, to) => {
        for (; chain[at].from !== null; at = chain[at].from) if (chain[at].from === to) return true;
        return at === to;
      };
      for (let round = 1; round < columns; round += 1) {
        for (let from = 0; from < columns; from += 1) {
          for (let to = 0; to < columns; to += 1) {
            const e = mover[from][to];
            if (e === null) continue;
            const total = chain[from].total + cost[e][to] - cost[e][from];
            if (total < chain[to].total - nil && !leadsTo(from, to)) chain[to] = { total, from };
          }
        }
      }
      let end = null;
      free.forEach((f, w) => {
        if (f > 0 && Number.isFinite(chain[w].total) && (end === null || chain[w].total < chain[end].total)) end = w;
      });
      if (end === null) return column;
      const moves = [];
      for (let to = end; chain[to].from !== null; to = chain[to].from) moves.push([mover[chain[to].from][to], to]);
      for (const [e, to] of moves) column[e] = to;
    }
  }

  /** Everything the page says at a setting: today, risk, horizon, times, places. */
  function plan(data, setting) {
    const { today, risk, horizon, times } = setting;
    const windows = data.windows.map(([start, end], k) => [start, end, setting.places[k]]);
    const calendar = calendarOf({ windows, gap: data.gap }, today);
    const { open, end } = calendar;
    const later = open.length;
    const engines = data.engines.map((engine) => {
      const runs = running(engine, times);
      // What is in its zone stays there: it is no better on a later day.
      const overdue = engine.overdue || engine.valves.some((v, k) => (v.said && today >= data.today) || runs.valve(k, today) > 0.5);
      const latest = engine.forecast ? runs.latest(risk) : null;
      const due = overdue ? (latest !== null && latest < today ? latest : engine.last - 1) : latest;
      const past = overdue || (due !== null && due < today);
      return { runs, due, within: runs.within(today, horizon), atOnce: past && !data.late, past, rate: engine.rate };
    });
    const lived = (e, day) => e.runs.integral(today, day, (c) => 1 - c) * (e.runs.usage ? e.runs.usage[0] / 7 : 0);
    /** Expected cost of a job on a day and of what begins with it, up to the plan's end. */
    function expected(e, day) {
      if (!data.costs) return 0;
      const [planned, failure] = data.costs;
      const chance = e.runs.chance(day);
      const whole = Math.max(end - today, 0) * (e.runs.usage ? e.runs.usage[0] / 7 : 0);
      return planned * (1 - chance) + failure * chance + e.rate * (whole - lived(e, day));
    }
    function price(e, column) {
      const day = calendar.done(column, e.due);
      let entered = 0;
      if (e.due !== null && e.due < day) {
        entered = e.runs.chance(day) + (0.1 * e.runs.integral(today, day, (c) => Math.max(c - risk, 0))) / 365.25;
      }
      const last = calendar.needed(e.due);
      if (data.costs) return expected(e, day) + 10 * data.costs[1] * entered + (column < last ? 0.1 * data.costs[0] : 0);
      const wait = e.due === null ? 1 : Math.min(Math.max(e.due - today, 0), TEN_YEARS) / TEN_YEARS;
      return entered + (1e-3 * risk * Math.max(last - column, 0) * (1 + wait)) / (later + 1);
    }
    const placed = engines.filter((e) => e.runs.usage && !e.atOnce);
    const costs = placed.map((e) => Array.from({ length: later + 1 }, (_, w) => price(e, w)));
    assign(costs, open.map((w) => w[2])).forEach((w, k) => { placed[k].column = w; });
    const sum = { atOnce: 0, above: 0, late: 0, entered: 0, cost: data.costs ? 0 : null };
    for (const e of engines) {
      const column = e.column ?? later;
      e.window = column < later && !e.atOnce ? column : null;
      e.done = e.atOnce ? today : calendar.done(column, e.due);
      e.daysLate = e.due === null ? 0 : Math.max(e.done - e.due, 0);
      sum.atOnce += e.atOnce;
      sum.above += e.within > risk;
      if (!e.runs.usage && !e.atOnce) continue;
      sum.late += e.daysLate > 0 && !e.atOnce;
      sum.entered += e.runs.chance(e.done);
      if (data.costs) sum.cost += expected(e, e.done);
    }
    return { engines, open, end, sum, taken: open.map((_, w) => engines.filter((e) => e.window === w).length) };
  }

  return { chanceOf, plan };
})();
