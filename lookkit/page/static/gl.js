// Pictures drawn from scene light: 16-bit places in a lattice, read tetrahedrally.

const CORNERS = `#version 300 es
void main() {
  vec2 p = vec2(float((gl_VertexID << 1) & 2), float(gl_VertexID & 2));
  gl_Position = vec4(p * 2.0 - 1.0, 0.0, 1.0);
}`;

const HEAD = `#version 300 es
precision highp float;
precision highp int;
precision highp usampler2D;
uniform usampler2D light;
uniform sampler2D lattice;
uniform int points;
uniform vec2 at, cell, size;
out vec4 colour;

// A lattice lies flat: its second and third axis are rows. Floats are what a processor without
// a graphics card reads fastest, four times as fast as half floats.
vec3 read(sampler2D cube, int n, vec3 place) {
  vec3 p = place * float(n - 1);
  vec3 low = min(floor(p), vec3(float(n - 2)));
  vec3 f = p - low;
  vec3 over = step(f.yzx, f);
  ivec3 i = ivec3(low);
  ivec3 a = i + ivec3(over * (1.0 - over.zxy));
  ivec3 b = i + 1 - ivec3((1.0 - over) * over.zxy);
  float high = max(max(f.x, f.y), f.z), small = min(min(f.x, f.y), f.z);
  float middle = f.x + f.y + f.z - high - small;
  return texelFetch(cube, ivec2(i.x, i.y + n * i.z), 0).rgb * (1.0 - high)
       + texelFetch(cube, ivec2(a.x, a.y + n * a.z), 0).rgb * (high - middle)
       + texelFetch(cube, ivec2(b.x, b.y + n * b.z), 0).rgb * (middle - small)
       + texelFetch(cube, ivec2(i.x + 1, i.y + 1 + n * (i.z + 1)), 0).rgb * small;
}
ivec2 pixel(vec2 here) { return min(ivec2(vec2(here.x, 1.0 - here.y) * size), ivec2(size) - 1); }
vec3 placeOf(usampler2D light, ivec2 q) { return vec3(texelFetch(light, q, 0).rgb) / 65535.0; }
`;

const LIVE = HEAD + `
void main() { colour = vec4(read(lattice, points, placeOf(light, pixel((gl_FragCoord.xy - at) / cell))), 1.0); }`;

const PIXELS = HEAD + `
uniform usampler2D otherLight;
uniform sampler2D before, exact, other;
uniform int otherPoints, left, right;
uniform float line;
void main() {
  vec2 here = (gl_FragCoord.xy - at) / cell;
  ivec2 q = pixel(here);
  int way = here.x < line ? left : right;
  if (way == 2) colour = vec4(texelFetch(before, q, 0).rgb, 1.0);
  else if (way == 3) colour = vec4(texelFetch(exact, q, 0).rgb, 1.0);
  else if (way == 1) colour = vec4(read(other, otherPoints, placeOf(otherLight, q)), 1.0);
  else colour = vec4(read(lattice, points, placeOf(light, q)), 1.0);
}`;

const UNITS = {light: 0, before: 1, exact: 2, lattice: 3, other: 4, otherLight: 5};

export const NOW = 0, OTHER = 1, BEFORE = 2, EXACT = 3;

export class Film {
  // `most`: points of a lattice at rest, fewer where the card has no textures as high.
  constructor(canvas, most) {
    this.canvas = canvas;
    this.most = most;
    this.frames = new Map();
    this.sets = [null, null];
    this.space = 'srgb';
    this.onrestored = () => {};
    canvas.addEventListener('webglcontextlost', (event) => event.preventDefault());
    canvas.addEventListener('webglcontextrestored', () => { this.start(); this.again(); this.onrestored(); });
    this.start();
  }

  start() {
    const gl = this.canvas.getContext('webgl2', {antialias: false, alpha: true, depth: false});
    if (!gl) throw new Error('this browser has no WebGL 2, which the page draws with');
    this.gl = gl;
    if (gl.getParameter(gl.MAX_TEXTURE_SIZE) < this.most ** 2) this.most = 33;
    if (this.space !== 'srgb') this.widen(this.space);
    this.programs = {live: this.program(LIVE), whole: this.program(PIXELS)};
    gl.pixelStorei(gl.UNPACK_ALIGNMENT, 1);
    gl.enable(gl.SCISSOR_TEST);
  }

  // Draw in wider colours, where the browser can; say whether it does.
  widen(space) {
    try { this.gl.drawingBufferColorSpace = space; } catch { return false; }
    if (this.gl.drawingBufferColorSpace !== space) return false;
    this.space = space;
    return true;
  }

  program(text) {
    const gl = this.gl, program = gl.createProgram();
    for (const [kind, source] of [[gl.VERTEX_SHADER, CORNERS], [gl.FRAGMENT_SHADER, text]]) {
      const shader = gl.createShader(kind);
      gl.shaderSource(shader, source);
      gl.compileShader(shader);
      if (!gl.getShaderParameter(shader, gl.COMPILE_STATUS) && !gl.isContextLost())
        throw new Error(gl.getShaderInfoLog(shader));
      gl.attachShader(program, shader);
    }
    gl.linkProgram(program);
    gl.useProgram(program);
    const at = {};
    for (const name of ['points', 'otherPoints', 'left', 'right', 'at', 'cell', 'size', 'line'])
      at[name] = gl.getUniformLocation(program, name);
    for (const [name, unit] of Object.entries(UNITS)) gl.uniform1i(gl.getUniformLocation(program, name), unit);
    return {program, at};
  }

  // After a lost context everything goes up again from what is kept here.
  again() {
    for (const frame of this.frames.values()) {
      frame.textures = {};
      for (const what of ['light', 'trimmed', 'before', 'exact']) if (frame[what]) this.upload(frame, what);
    }
    for (const set of this.sets) if (set) for (const cube of set.cubes) { cube.texture = null; this.raise(set.n, cube); }
  }

  frame(index, what, w, h, data) {
    let frame = this.frames.get(index);
    if (!frame || frame.w !== w || frame.h !== h) {
      if (frame) for (const texture of Object.values(frame.textures)) this.gl.deleteTexture(texture);
      frame = {w, h, textures: {}, fresh: false};
      this.frames.set(index, frame);
    }
    frame[what] = data;
    if (what === 'exact') frame.fresh = true;
    this.upload(frame, what);
  }

  upload(frame, what) {
    const gl = this.gl, whole = what === 'light' || what === 'trimmed';
    if (!frame.textures[what]) {
      frame.textures[what] = gl.createTexture();
      gl.bindTexture(gl.TEXTURE_2D, frame.textures[what]);
      gl.texStorage2D(gl.TEXTURE_2D, 1, whole ? gl.RGB16UI : gl.RGB8, frame.w, frame.h);
      gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_MIN_FILTER, gl.NEAREST);
      gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_MAG_FILTER, gl.NEAREST);
    }
    gl.bindTexture(gl.TEXTURE_2D, frame.textures[what]);
    gl.texSubImage2D(gl.TEXTURE_2D, 0, 0, 0, frame.w, frame.h,
      whole ? gl.RGB_INTEGER : gl.RGB, whole ? gl.UNSIGNED_SHORT : gl.UNSIGNED_BYTE, frame[what]);
  }

  stale() { for (const frame of this.frames.values()) frame.fresh = false; }

  // A message of lattices: which picture has which and whether it is over light after its trims,
  // their numbers, and the codes of those that this page does not have yet.
  lattices(slot, n, data) {
    const [pictures, count] = new Uint32Array(data, 20, 2);
    const words = new Uint32Array(data, 28, 2 * (pictures + count)), each = n * n * n;
    const which = [...words.subarray(0, pictures)], trimmed = [...words.subarray(pictures, 2 * pictures)], old = this.sets[slot], cubes = [], spare = [];
    const kept = new Map(old ? old.cubes.map((cube) => [cube.number, cube]) : []);
    const numbers = [...words.subarray(2 * pictures, 2 * pictures + count)];
    for (const [number, cube] of kept)
      if (!numbers.includes(number)) old.n === n ? spare.push(cube.texture) : this.gl.deleteTexture(cube.texture);
    let from = 28 + 4 * words.length;
    numbers.forEach((number, k) => {
      if (!words[2 * pictures + count + k]) { cubes.push(kept.get(number)); return; }
      const codes = new Uint16Array(data, from, 3 * each), values = new Float32Array(4 * each);
      from += 6 * each;
      for (let i = 0, j = 0; i < codes.length; i += 3, j += 4) {
        values[j] = codes[i] / 65535; values[j + 1] = codes[i + 1] / 65535; values[j + 2] = codes[i + 2] / 65535;
      }
      const cube = {number, values, texture: kept.get(number)?.texture ?? spare.pop() ?? null};
      this.raise(n, cube);
      cubes.push(cube);
    });
    for (const texture of spare) this.gl.deleteTexture(texture);
    this.sets[slot] = {n, which, trimmed, cubes};
  }

  raise(n, cube) {
    const gl = this.gl;
    if (!cube.texture) {
      cube.texture = gl.createTexture();
      gl.bindTexture(gl.TEXTURE_2D, cube.texture);
      gl.texStorage2D(gl.TEXTURE_2D, 1, gl.RGBA32F, n, n * n);
      gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_MIN_FILTER, gl.NEAREST);
      gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_MAG_FILTER, gl.NEAREST);
    }
    gl.bindTexture(gl.TEXTURE_2D, cube.texture);
    gl.texSubImage2D(gl.TEXTURE_2D, 0, 0, 0, n, n * n, gl.RGBA, gl.FLOAT, cube.values);
  }

  // cells: {index, of, x, y, w, h} in canvas pixels, y from the top; of: whose lattice.
  draw(cells, {scale = 1, line = 0, other = null, live = false, slot = 0, high = this.canvas.height} = {}) {
    const gl = this.gl;
    const now = this.sets[slot];
    if (!now || gl.isContextLost()) return;
    gl.disable(gl.SCISSOR_TEST);
    gl.clearColor(0, 0, 0, 0);
    gl.clear(gl.COLOR_BUFFER_BIT);
    gl.enable(gl.SCISSOR_TEST);
    for (const cell of cells) {
      const frame = this.frames.get(cell.index);
      if (!frame || !frame.light || !frame.before) continue;
      const x = Math.round(cell.x * scale), w = Math.round(cell.w * scale);
      const h = Math.round(cell.h * scale), y = high - Math.round(cell.y * scale) - h;
      gl.viewport(x, y, w, h);
      gl.scissor(x, y, w, h);
      const bind = (unit, texture) => { gl.activeTexture(gl.TEXTURE0 + unit); gl.bindTexture(gl.TEXTURE_2D, texture); };
      const exact = !live && slot === 0 && frame.fresh && !cell.all, plain = other === null && !exact;
      const {program, at} = plain ? this.programs.live : this.programs.whole;
      gl.useProgram(program);
      const lightOf = (set) => set.trimmed[cell.of] && frame.textures.trimmed || frame.textures.light;
      bind(UNITS.light, lightOf(now));
      bind(UNITS.lattice, now.cubes[now.which[cell.of]].texture);
      gl.uniform1i(at.points, now.n);
      gl.uniform2f(at.at, x, y);
      gl.uniform2f(at.cell, w, h);
      gl.uniform2f(at.size, frame.w, frame.h);
      if (!plain) {
        const second = other === OTHER && this.sets[1] ? this.sets[1] : now;
        bind(UNITS.otherLight, lightOf(second));
        bind(UNITS.before, frame.textures.before);
        bind(UNITS.exact, frame.textures.exact || frame.textures.before);
        bind(UNITS.other, second.cubes[second.which[cell.of]].texture);
        gl.uniform1i(at.otherPoints, second.n);
        gl.uniform1i(at.right, exact ? EXACT : NOW);
        gl.uniform1i(at.left, other === null ? NOW : other);
        gl.uniform1f(at.line, other === null || cell.all === NOW ? -1 : cell.all === OTHER ? 2 : line);
      }
      gl.drawArrays(gl.TRIANGLES, 0, 3);
    }
  }

  // The film under another set of lattices, w by h pixels, drawn aside.
  miniature(slot, cells, w, h) {
    const gl = this.gl, texture = gl.createTexture(), aside = gl.createFramebuffer();
    gl.activeTexture(gl.TEXTURE0);
    gl.bindTexture(gl.TEXTURE_2D, texture);
    gl.texStorage2D(gl.TEXTURE_2D, 1, gl.RGBA8, w, h);
    gl.bindFramebuffer(gl.FRAMEBUFFER, aside);
    gl.framebufferTexture2D(gl.FRAMEBUFFER, gl.COLOR_ATTACHMENT0, gl.TEXTURE_2D, texture, 0);
    this.draw(cells, {slot, live: true, high: h});
    const rows = new Uint8Array(4 * w * h), data = new Uint8ClampedArray(4 * w * h);
    gl.readPixels(0, 0, w, h, gl.RGBA, gl.UNSIGNED_BYTE, rows);
    for (let y = 0; y < h; y++) data.set(rows.subarray(4 * w * y, 4 * w * (y + 1)), 4 * w * (h - 1 - y));
    gl.bindFramebuffer(gl.FRAMEBUFFER, null);
    gl.deleteFramebuffer(aside);
    gl.deleteTexture(texture);
    return new ImageData(data, w, h, {colorSpace: this.space});
  }
}
