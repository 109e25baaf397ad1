// Pictures drawn from scene light: 16-bit places in a lattice, read tetrahedrally.

const CORNERS = `#version 300 es
void main() {
  vec2 p = vec2(float((gl_VertexID << 1) & 2), float(gl_VertexID & 2));
  gl_Position = vec4(p * 2.0 - 1.0, 0.0, 1.0);
}`;

const PIXELS = `#version 300 es
precision highp float;
precision highp int;
precision highp usampler2D;
precision highp sampler3D;
uniform usampler2D light;
uniform sampler2D before, exact;
uniform sampler3D lattice, other;
uniform int points, otherPoints, left, right;
uniform vec2 at, cell, size;
uniform float line;
out vec4 colour;

vec3 read(sampler3D cube, int n, vec3 place) {
  vec3 p = place * float(n - 1);
  vec3 low = min(floor(p), vec3(float(n - 2)));
  vec3 f = p - low;
  ivec3 i = ivec3(low);
  vec3 over = step(f.yzx, f);
  vec3 most = over * (1.0 - over.zxy);
  vec3 least = (1.0 - over) * over.zxy;
  float high = max(max(f.x, f.y), f.z), small = min(min(f.x, f.y), f.z);
  float middle = f.x + f.y + f.z - high - small;
  return texelFetch(cube, i, 0).rgb * (1.0 - high)
       + texelFetch(cube, i + ivec3(most), 0).rgb * (high - middle)
       + texelFetch(cube, i + 1 - ivec3(least), 0).rgb * (middle - small)
       + texelFetch(cube, i + 1, 0).rgb * small;
}

void main() {
  vec2 here = (gl_FragCoord.xy - at) / cell;
  ivec2 q = min(ivec2(vec2(here.x, 1.0 - here.y) * size), ivec2(size) - 1);
  int way = here.x < line ? left : right;
  if (way == 2) colour = vec4(texelFetch(before, q, 0).rgb, 1.0);
  else if (way == 3) colour = vec4(texelFetch(exact, q, 0).rgb, 1.0);
  else {
    vec3 place = vec3(texelFetch(light, q, 0).rgb) / 65535.0;
    colour = vec4(way == 1 ? read(other, otherPoints, place) : read(lattice, points, place), 1.0);
  }
}`;

export const NOW = 0, OTHER = 1, BEFORE = 2, EXACT = 3;

export class Film {
  constructor(canvas) {
    this.canvas = canvas;
    this.frames = new Map();
    this.sets = [null, null];
    this.onrestored = () => {};
    canvas.addEventListener('webglcontextlost', (event) => event.preventDefault());
    canvas.addEventListener('webglcontextrestored', () => { this.start(); this.again(); this.onrestored(); });
    this.start();
  }

  start() {
    const gl = this.canvas.getContext('webgl2', {antialias: false, alpha: true, depth: false});
    if (!gl) throw new Error('this browser has no WebGL 2, which the page draws with');
    this.gl = gl;
    const program = gl.createProgram();
    for (const [kind, source] of [[gl.VERTEX_SHADER, CORNERS], [gl.FRAGMENT_SHADER, PIXELS]]) {
      const shader = gl.createShader(kind);
      gl.shaderSource(shader, source);
      gl.compileShader(shader);
      if (!gl.getShaderParameter(shader, gl.COMPILE_STATUS) && !gl.isContextLost())
        throw new Error(gl.getShaderInfoLog(shader));
      gl.attachShader(program, shader);
    }
    gl.linkProgram(program);
    gl.useProgram(program);
    this.at = {};
    for (const name of ['light', 'before', 'exact', 'lattice', 'other', 'points', 'otherPoints',
      'left', 'right', 'at', 'cell', 'size', 'line']) this.at[name] = gl.getUniformLocation(program, name);
    gl.uniform1i(this.at.light, 0);
    gl.uniform1i(this.at.before, 1);
    gl.uniform1i(this.at.exact, 2);
    gl.uniform1i(this.at.lattice, 3);
    gl.uniform1i(this.at.other, 4);
    gl.pixelStorei(gl.UNPACK_ALIGNMENT, 1);
    gl.enable(gl.SCISSOR_TEST);
  }

  // After a lost context everything goes up again from what is kept here.
  again() {
    for (const frame of this.frames.values()) {
      frame.textures = {};
      for (const what of ['light', 'before', 'exact']) if (frame[what]) this.upload(frame, what);
    }
    this.sets.forEach((set, slot) => { if (set) { set.textures = null; this.lattices(slot, set.n, set.which, set.data); } });
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
    const gl = this.gl, whole = what === 'light';
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

  lattices(slot, n, which, data) {
    const gl = this.gl, each = n * n * n * 4;
    let set = this.sets[slot];
    const count = data.length / each;
    if (!set || set.n !== n || !set.textures || set.textures.length !== count) {
      if (set && set.textures) for (const texture of set.textures) gl.deleteTexture(texture);
      set = this.sets[slot] = {textures: []};
      for (let k = 0; k < count; k++) {
        const texture = gl.createTexture();
        gl.bindTexture(gl.TEXTURE_3D, texture);
        gl.texStorage3D(gl.TEXTURE_3D, 1, gl.RGBA16F, n, n, n);
        gl.texParameteri(gl.TEXTURE_3D, gl.TEXTURE_MIN_FILTER, gl.NEAREST);
        gl.texParameteri(gl.TEXTURE_3D, gl.TEXTURE_MAG_FILTER, gl.NEAREST);
        set.textures.push(texture);
      }
    }
    Object.assign(set, {n, which, data});
    set.textures.forEach((texture, k) => {
      gl.bindTexture(gl.TEXTURE_3D, texture);
      gl.texSubImage3D(gl.TEXTURE_3D, 0, 0, 0, 0, n, n, n, gl.RGBA, gl.HALF_FLOAT,
        data.subarray(k * each, (k + 1) * each));
    });
  }

  // cells: {index, of, x, y, w, h} in canvas pixels, y from the top; of: whose lattice.
  draw(cells, {scale = 1, line = 0, other = null, live = false} = {}) {
    const gl = this.gl, canvas = this.canvas;
    const now = this.sets[0];
    if (!now || gl.isContextLost()) return;
    gl.disable(gl.SCISSOR_TEST);
    gl.clearColor(0, 0, 0, 0);
    gl.clear(gl.COLOR_BUFFER_BIT);
    gl.enable(gl.SCISSOR_TEST);
    for (const cell of cells) {
      const frame = this.frames.get(cell.index);
      if (!frame || !frame.light || !frame.before) continue;
      const x = Math.round(cell.x * scale), w = Math.round(cell.w * scale);
      const h = Math.round(cell.h * scale), y = canvas.height - Math.round(cell.y * scale) - h;
      gl.viewport(x, y, w, h);
      gl.scissor(x, y, w, h);
      const bind = (unit, target, texture) => { gl.activeTexture(gl.TEXTURE0 + unit); gl.bindTexture(target, texture); };
      const exact = !live && frame.fresh;
      bind(1, gl.TEXTURE_2D, frame.textures.before);
      bind(2, gl.TEXTURE_2D, frame.textures.exact || frame.textures.before);
      bind(3, gl.TEXTURE_3D, now.textures[now.which[cell.of]]);
      const second = other === OTHER && this.sets[1] ? this.sets[1] : now;
      bind(4, gl.TEXTURE_3D, second.textures[second.which[cell.of]]);
      bind(0, gl.TEXTURE_2D, frame.textures.light);
      gl.uniform1i(this.at.points, now.n);
      gl.uniform1i(this.at.otherPoints, second.n);
      gl.uniform1i(this.at.right, exact ? EXACT : NOW);
      gl.uniform1i(this.at.left, other === null ? NOW : other);
      gl.uniform1f(this.at.line, other === null ? -1 : line);
      gl.uniform2f(this.at.at, x, y);
      gl.uniform2f(this.at.cell, w, h);
      gl.uniform2f(this.at.size, frame.w, frame.h);
      gl.drawArrays(gl.TRIANGLES, 0, 3);
    }
  }
}
