// Drawings: SVG at the width of the page, so that text keeps its size.

const NAMESPACE = 'http://www.w3.org/2000/svg';
const DAY = 86400;
/** The rule of 95 % of a normal distribution, in standard deviations. */
export const TWO_SIDED_95 = 1.96;

/** An element of a drawing. */
export function svg(name, attributes = {}, ...children) {
  const element = document.createElementNS(NAMESPACE, name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  element.append(...children);
  return element;
}

/** An empty drawing in the place of the one before. */
function fresh(place, height, label) {
  const width = Math.max(place.clientWidth, 280);
  const drawing = svg('svg', { viewBox: `0 0 ${width} ${height}`, role: 'img', 'aria-label': label });
  place.replaceChildren(drawing);
  return [drawing, width];
}

const n = (number) => Math.round(number * 10) / 10;

/** A path through points; a new piece begins where one is missing. */
function path(points) {
  let pen = 'M';
  let out = '';
  for (const point of points) {
    if (point) out += `${pen}${n(point[0])} ${n(point[1])}`;
    pen = point ? 'L' : 'M';
  }
  return out;
}

/** The area between two rows of points, piece by piece. */
function area(points) {
  const pieces = [[]];
  for (const point of points) {
    if (point) pieces.at(-1).push(point);
    else if (pieces.at(-1).length) pieces.push([]);
  }
  return pieces.filter((piece) => piece.length > 1)
    .map((piece) => `${path([...piece.map(([x, low]) => [x, low]), ...piece.toReversed().map(([x, , high]) => [x, high])])}Z`)
    .join('');
}

/** The sign of an alarm's family: a triangle that points down for lows, up for highs, a square for the rest. */
export function sign(family, x, y) {
  const shape = { lows: 'l-6 -10h12z', highs: 'l-6 10h12z', others: 'm-5 0v-9h10v9z' }[family];
  return svg('path', { class: family, d: `M${n(x)} ${family === 'highs' ? y - 10 : y}${shape}` });
}

/** A glucose axis from 40 to `top` mg/dL with its labels in the chosen unit. */
function glucoseAxis(drawing, unit, top, left, right, y) {
  const steps = unit.mmol ? [3.9, 5, 10, 15, 20] : [70, 100, 180, 250, 300, 350];
  for (const step of steps) {
    const mgDl = unit.toMgDl(step);
    if (mgDl > top) continue;
    drawing.append(svg('path', { class: 'grid', d: `M${left} ${n(y(mgDl))}H${right}` }));
    drawing.append(svg('text', { class: 'axis', x: left - 5, y: n(y(mgDl)) + 4, 'text-anchor': 'end' }, unit.mmol ? step.toFixed(1) : `${step}`));
  }
  for (const limit of [70, 180]) drawing.append(svg('path', { class: 'limit', d: `M${left} ${n(y(limit))}H${right}` }));
  drawing.append(svg('text', { class: 'axis', x: 2, y: 12 }, unit.name));
}

function hours(drawing, x, left, width, y) {
  const every = width < 500 ? 6 : 3;
  for (let hour = 0; hour <= 24; hour += every) {
    const anchor = hour === 24 ? 'end' : hour ? 'middle' : 'start';
    drawing.append(svg('path', { class: 'grid', d: `M${n(x(hour * 3600))} 18V${y}` }));
    drawing.append(svg('text', { class: 'axis', x: n(x(hour * 3600)), y: y + 16, 'text-anchor': anchor }, `${String(hour).padStart(2, '0')}:00`));
  }
}

/** The highest value that an axis must show. */
function topOf(values) {
  const most = values.reduce((top, value) => (value > top ? value : top), 0);
  return most > 290 ? 410 : 310;
}

/** One day of a replay: the estimate with its band, readings, silences, fingersticks, rings, and the forecast at the
 * moment chosen. */
export function drawDay(place, { samples, all, rings, sticks, day, chosen, family, unit, longest, label, choose }) {
  const height = 330;
  const [drawing, width] = fresh(place, height, label);
  const [left, right, bottom] = [40, width - 8, height - 24];
  const top = topOf([...samples.map((s) => s.sensor), ...samples.map((s) => s.plasma + TWO_SIDED_95 * s.sd)]);
  const x = (second) => left + (second / DAY) * (right - left);
  const y = (mgDl) => bottom - ((Math.min(Math.max(mgDl, 30), top) - 30) / (top - 30)) * (bottom - 62);
  const at = (wall) => x(wall - day * DAY);
  drawing.append(svg('defs', {}, svg('pattern', { id: 'hatch', width: 7, height: 7, patternUnits: 'userSpaceOnUse', patternTransform: 'rotate(45)' }, svg('path', { class: 'hatch', d: 'M0 0V7' }))));
  hours(drawing, x, left, width, bottom);
  for (let k = 1; k < all.length; k++) {
    const [from, to] = [all[k - 1].wall, all[k].wall];
    if (all[k].at - all[k - 1].at <= longest || to < day * DAY || from > (day + 1) * DAY) continue;
    const [a, b] = [Math.max(at(from), left), Math.min(at(to), right)];
    drawing.append(svg('rect', { class: 'silent', x: n(a), y: 62, width: n(Math.max(b - a, 0)), height: bottom - 62 }));
  }
  glucoseAxis(drawing, unit, top, left, right, y);
  const points = samples.flatMap((s, k) => {
    const known = Number.isFinite(s.plasma) && Number.isFinite(s.sd);
    const apart = k > 0 && s.at - samples[k - 1].at > longest;
    return [...(apart ? [null] : []), known ? [at(s.wall), s] : null];
  });
  const spread = (s) => TWO_SIDED_95 * s.sd;
  drawing.append(svg('path', { class: 'band', d: area(points.map((p) => p && [p[0], y(p[1].plasma - spread(p[1])), y(p[1].plasma + spread(p[1]))])) }));
  drawing.append(svg('path', { class: 'dots', d: samples.map((s) => `M${n(at(s.wall))} ${n(y(s.sensor))}h0`).join('') }));
  drawing.append(svg('path', { class: 'line', d: path(points.map((p) => p && [p[0], y(p[1].plasma)])) }));
  for (const [wall, glucose, , used] of sticks) {
    drawing.append(svg('path', { class: used ? 'stick' : 'stick refused', d: `M${n(at(wall))} ${n(y(glucose) - 6)}l6 6l-6 6l-6 -6z` }));
  }
  // a row for each family
  const down = { lows: 30, highs: 43, others: 56 };
  for (const ring of rings) drawing.append(sign(family(ring.kind), at(ring.wall), down[family(ring.kind)]));
  if (chosen) {
    const here = at(chosen.wall);
    drawing.append(svg('path', { class: 'cursor', d: `M${n(here)} 38V${bottom}` }));
    const ahead = chosen.ahead.filter(([, value, sd]) => Number.isFinite(value) && Number.isFinite(sd));
    for (const [minutes, value, sd] of ahead) {
      const there = at(chosen.wall + minutes * 60);
      if (there > right) continue;
      const [low, high] = [y(value - TWO_SIDED_95 * sd), y(value + TWO_SIDED_95 * sd)];
      drawing.append(svg('path', { class: 'ahead', d: `M${n(there)} ${n(low)}V${n(high)}m-4 0h8M${n(there - 4)} ${n(low)}h8` }));
      drawing.append(svg('circle', { class: 'ahead-dot', cx: n(there), cy: n(y(value)), r: 3.5 }));
    }
  }
  drawing.addEventListener('click', (event) => {
    const box = drawing.getBoundingClientRect();
    const second = (((event.clientX - box.left) * (width / box.width) - left) / (right - left)) * DAY;
    choose(day * DAY + second);
  });
}

/** The shares of five ranges, one bar. */
export function drawRanges(place, shares, names) {
  const height = 132;
  const label = names.map((name, k) => `${name}: ${shares[k].toFixed(1)} %`).join('; ');
  const [drawing, width] = fresh(place, height, label);
  const half = width < 560;
  let x = 0;
  shares.forEach((share, k) => {
    const wide = (share / 100) * width;
    if (wide > 0) drawing.append(svg('rect', { class: `r${k} edge`, x: n(x), y: 0, width: n(wide), height: 30 }));
    x += wide;
  });
  names.forEach((name, k) => {
    const [column, row] = half ? [0, k] : [Math.floor(k / 3), k % 3];
    const [left, down] = [column * (width / 2), 40 + row * (half ? 18.4 : 22)];
    drawing.append(svg('rect', { class: `r${k}`, x: left, y: down, width: 14, height: 12 }));
    drawing.append(svg('text', { x: left + 22, y: down + 11 }, `${name}: ${shares[k].toFixed(1)} %`));
  });
}

/** The pattern of the day: percentiles by quarter of an hour. */
export function drawPattern(place, quarters, unit, label) {
  const height = 290;
  const [drawing, width] = fresh(place, height, label);
  const [left, right, bottom] = [40, width - 8, height - 24];
  const top = topOf(quarters.map((quarter) => quarter[6]));
  const x = (second) => left + (second / DAY) * (right - left);
  const y = (mgDl) => bottom - ((Math.min(Math.max(mgDl, 30), top) - 30) / (top - 30)) * (bottom - 24);
  hours(drawing, x, left, width, bottom);
  glucoseAxis(drawing, unit, top, left, right, y);
  const middle = (minute) => x((minute + 7.5) * 60);
  const between = (a, b) => quarters.map((q) => (Number.isFinite(q[a]) ? [middle(q[0]), y(q[a]), y(q[b])] : null));
  drawing.append(svg('path', { class: 'band', d: area(between(2, 6)) }));
  drawing.append(svg('path', { class: 'half', d: area(between(3, 5)) }));
  drawing.append(svg('path', { class: 'line', d: path(quarters.map((q) => (Number.isFinite(q[4]) ? [middle(q[0]), y(q[4])] : null))) }));
}
