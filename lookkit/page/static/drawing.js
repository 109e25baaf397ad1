// The one drawing of a step, with handles.

const SPACE = 'http://www.w3.org/2000/svg';

function make(name, attributes = {}, text) {
  const element = document.createElementNS(SPACE, name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  if (text !== undefined) element.textContent = text;
  return element;
}

const W = 360, H = 170, LEFT = 34, TOP = 8, PLOT = 120;

// on: {move(key, value, show), done(key, value, before), rest()}; see number.js
export function drawing(svg, data, context, on) {
  svg.replaceChildren();
  if (data.form === 'hues') hues(svg, data, context, on);
  else tone(svg, data, context, on);
}

function tone(svg, data, context, on) {
  svg.setAttribute('viewBox', `0 0 ${W} ${H + 12 * context.levels.length}`);
  const [low, high] = data.x, print = data.form === 'print';
  let most = print ? 1 : 0.3;
  if (!print) for (const curve of data.curves) for (const y of curve) most = Math.max(most, Math.min(Math.abs(y), 4));
  const steps = [0.3, 0.5, 1, 2, 4], top = print ? 1 : steps.find((one) => one >= most) ?? 4;
  const bottom = print ? 0 : -top;
  const X = (x) => LEFT + (W - LEFT - 8) * (x - low) / (high - low);
  const Y = (y) => TOP + PLOT * (top - y) / (top - bottom);
  for (let x = low; x <= high; x += 2) {
    svg.append(make('line', {x1: X(x), x2: X(x), y1: TOP, y2: TOP + PLOT, class: 'grid'}));
    svg.append(make('text', {x: X(x), y: H + 8 + 12 * context.levels.length, class: 'tick', 'text-anchor': 'middle'},
      x === 0 ? 'grey' : (x > 0 ? '+' : '\u2212') + Math.abs(x)));
  }
  for (const y of print ? [0, 0.5, 1] : [bottom, 0, top]) {
    svg.append(make('line', {x1: LEFT, x2: W - 8, y1: Y(y), y2: Y(y), class: y === 0 && !print ? 'axis' : 'grid'}));
    svg.append(make('text', {x: LEFT - 4, y: Y(y) + 3, class: 'tick', 'text-anchor': 'end'},
      print ? y : y === 0 ? 'same' : (y > 0 ? '+' : '\u2212') + Math.abs(y)));
  }
  data.curves.forEach((curve, channel) => {
    const step = (high - low) / (curve.length - 1);
    const path = curve.map((y, k) => `${k ? 'L' : 'M'}${X(low + k * step).toFixed(1)} ${Y(Math.max(bottom, Math.min(top, y))).toFixed(1)}`).join('');
    svg.append(make('path', {d: path, class: `curve channel${channel}`}));
  });
  context.levels.forEach((one, row) => {
    const base = TOP + PLOT + 22 + 12 * row, step = (high - low) / one.share.length;
    const path = one.share.map((y, k) => `L${X(low + (k + 0.5) * step).toFixed(1)} ${(base - 16 * Math.sqrt(y)).toFixed(1)}`).join('');
    svg.append(make('path', {d: `M${X(low)} ${base}${path}L${X(high)} ${base}Z`, class: 'ridge'}));
    svg.append(make('text', {x: W - 8, y: base - 2, class: 'tick', 'text-anchor': 'end'}, one.scene ?? 'the film'));
  });
  if (context.point !== null && context.point !== undefined)
    svg.append(make('line', {x1: X(context.point), x2: X(context.point), y1: TOP, y2: H + 4, class: 'point'}));
  for (const handle of data.handles ?? []) {
    const dot = make('circle', {cx: X(handle.x), cy: Y(Math.max(bottom, Math.min(top, handle.y))), r: 6, class: 'handle',
      tabindex: 0, role: 'slider', 'aria-label': `${handle.name}: arrows move it`,
      'data-at': on.place(handle.ykey), 'aria-valuenow': handle.y, 'aria-valuetext': `${handle.y} at ${handle.x} stops`});
    const height = handle.y + (handle.sum ? handle.x : 0);
    let grip = null, axis = null, last = null;
    const at = (event) => {
      const box = svg.getBoundingClientRect(), scale = svg.viewBox.baseVal.width / box.width;
      return {x: low + ((event.clientX - box.left) * scale - LEFT) / (W - LEFT - 8) * (high - low),
        y: top - ((event.clientY - box.top) * scale - TOP) / PLOT * (top - bottom)};
    };
    const round = (v) => Math.round(v * 20) / 20;
    dot.addEventListener('pointerdown', (event) => { event.preventDefault(); dot.setPointerCapture(event.pointerId); dot.focus(); dot.classList.add('held'); grip = {x: event.clientX, y: event.clientY}; axis = null; });
    dot.addEventListener('pointermove', (event) => {
      if (!grip) return;
      const dx = Math.abs(event.clientX - grip.x), dy = Math.abs(event.clientY - grip.y);
      if (!axis && Math.max(dx, dy) < 4) return;
      axis ??= dx > dy ? 'x' : 'y';
      const here = at(event);
      last = axis === 'x' ? [handle.xkey, round(here.x), handle.x] : [handle.ykey, round(here.y + (handle.sum ? handle.x : 0)), height];
      on.move(last[0], last[1], () => { if (axis === 'x') dot.setAttribute('cx', X(here.x)); else dot.setAttribute('cy', Y(here.y)); });
    });
    const end = () => { if (grip && last) on.done(...last); grip = last = null; dot.classList.remove('held'); on.rest(); };
    dot.addEventListener('pointerup', end);
    dot.addEventListener('pointercancel', end);
    dot.addEventListener('keydown', (event) => {
      const by = {ArrowUp: [0, 0.05], ArrowDown: [0, -0.05], ArrowLeft: [-0.1, 0], ArrowRight: [0.1, 0]}[event.key];
      if (!by) return;
      event.preventDefault();
      const change = by[0] ? [handle.xkey, round(handle.x + by[0] * (event.shiftKey ? 10 : 1)), handle.x]
        : [handle.ykey, round(height + by[1] * (event.shiftKey ? 10 : 1)), height];
      on.done(...change);
    });
    svg.append(dot);
  }
}

function hues(svg, data, context, on) {
  const R = 92, cx = W / 2, cy = 106;
  svg.setAttribute('viewBox', `0 0 ${W} 212`);
  const spot = (hue, r) => [cx + r * Math.cos(hue * Math.PI / 180), cy - r * Math.sin(hue * Math.PI / 180)];
  const arc = (from, to, r) => {
    const [x1, y1] = spot(from, r), [x2, y2] = spot(to, r);
    return `M${x1} ${y1}A${r} ${r} 0 ${to - from > 180 ? 1 : 0} 0 ${x2} ${y2}`;
  };
  svg.append(make('circle', {cx, cy, r: R, class: 'ring'}));
  for (const [hue, chroma] of context.hues) {
    const [x, y] = spot(hue, Math.min(1, chroma * 1.6) * (R - 4));
    svg.append(make('circle', {cx: x, cy: y, r: 1.5, class: 'dot', fill: `oklch(0.68 ${Math.min(0.2, chroma * 0.6)} ${hue})`}));
  }
  for (const [word, hue] of [['red', 25], ['yellow', 100], ['green', 145], ['sky', 240], ['blue', 265], ['violet', 318]]) {
    const [x, y] = spot(hue, R + 8);
    svg.append(make('text', {x, y: y + 3, class: 'tick', 'text-anchor': x > cx + 8 ? 'start' : x < cx - 8 ? 'end' : 'middle'}, word));
  }
  data.bands.forEach((band, k) => {
    const half = Math.min(band.width / 2, 179);
    svg.append(make('path', {d: `${arc(band.centre - half, band.centre + half, R - 10)}L${cx} ${cy}Z`, class: 'wedge'}));
    if (band.turn) svg.append(make('path', {d: band.turn > 0 ? arc(band.centre, band.centre + band.turn, R - 22) : arc(band.centre + band.turn, band.centre, R - 22), class: 'turn'}));
    if (band.turn) { const [x, y] = spot(band.centre + band.turn, R - 22); svg.append(make('circle', {cx: x, cy: y, r: 3, class: 'tip'})); }
    const [x, y] = spot(band.centre, R - 10);
    const dot = make('circle', {cx: x, cy: y, r: 6, class: 'handle', tabindex: 0, role: 'slider',
      'aria-label': `band ${k + 1}: arrows move it around the circle`, 'data-at': on.place([...band.key, 'centre']), 'aria-valuenow': band.centre, 'aria-valuetext': `${band.centre} degrees`});
    const key = [...band.key, 'centre'];
    let grip = false, last = null;
    dot.addEventListener('pointerdown', (event) => { event.preventDefault(); dot.setPointerCapture(event.pointerId); dot.focus(); dot.classList.add('held'); grip = true; });
    dot.addEventListener('pointermove', (event) => {
      if (!grip) return;
      const box = svg.getBoundingClientRect(), scale = W / box.width;
      const angle = Math.atan2(cy - (event.clientY - box.top) * scale, (event.clientX - box.left) * scale - cx) * 180 / Math.PI;
      last = Math.round((angle + 360) % 360);
      const [px, py] = spot(last, R - 10);
      on.move(key, last, () => { dot.setAttribute('cx', px); dot.setAttribute('cy', py); });
    });
    const end = () => { if (grip && last !== null) on.done(key, last, band.centre); grip = false; last = null; dot.classList.remove('held'); on.rest(); };
    dot.addEventListener('pointerup', end);
    dot.addEventListener('pointercancel', end);
    dot.addEventListener('keydown', (event) => {
      const by = {ArrowUp: 1, ArrowRight: -1, ArrowLeft: 1, ArrowDown: -1}[event.key];
      if (!by) return;
      event.preventDefault();
      on.done(key, (band.centre + by * (event.shiftKey ? 10 : 1) + 360) % 360, band.centre);
    });
    svg.append(dot);
  });
  if (context.pickedHue !== null && context.pickedHue !== undefined) {
    const [x, y] = spot(context.pickedHue, R);
    svg.append(make('line', {x1: cx, y1: cy, x2: x, y2: y, class: 'point'}));
  }
}
